"""An error is known by its class and by what it is about; its sentence is free to change."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from wattsump_logger.errors import WattsumpError

__all__ = ("refused",)


@contextmanager
def refused(kind: type[WattsumpError], where: str) -> Iterator[pytest.ExceptionInfo[WattsumpError]]:
    """Expect an error of this class about `where`: an option, a value, or a file by its name."""
    with pytest.raises(kind) as caught:
        yield caught
    assert caught.value.where.rpartition("/")[2] == where.rpartition("/")[2]
