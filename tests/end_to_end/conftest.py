"""The program as a person runs it, in this process."""

from collections.abc import Callable
from pathlib import Path

import pytest

from end_to_end.ended import Ended
from wattsump_analysis.commands import demo, program


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demonstration's outing, recorded as fast as memory allows."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("wattsump_logger.bench.controller.has_ptys", lambda: False)
        return demo.record(tmp_path_factory.mktemp("outing"), 2000.0)[0]


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
