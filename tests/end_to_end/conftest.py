"""The program as a person runs it, in this process."""

from collections.abc import Callable
from pathlib import Path

import pytest

from end_to_end.ended import Ended
from wattsump_analysis.commands import program


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Ended]:
    def call(*words: str | Path) -> Ended:
        try:
            code = program.main([str(word) for word in words])
        except SystemExit as end:
            code = int(end.code or 0)
        said = capsys.readouterr()
        return Ended(code=code, out=said.out, err=said.err)

    return call
