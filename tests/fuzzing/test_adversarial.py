"""Files and words nobody should give are answered by one line and a code."""

from pathlib import Path

import pytest

from fuzzing.adversarial import CASES, words_of
from wattsump_analysis.commands.program import main

_ANSWERED = (0, 2, 3, 4, 5)


@pytest.mark.parametrize("case", CASES)
def test_whatever_is_given_the_answer_is_a_line_and_a_code(
    case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    try:
        code = main(words_of(case, tmp_path, 1))
    except SystemExit as end:
        code = int(end.code or 0)
    said = capsys.readouterr()
    assert code in _ANSWERED, said.err
    assert "Traceback" not in said.err
    assert not (tmp_path.parent / "evil.csv").exists()
    if code in (2, 3, 4):
        assert said.err.count("\n") == 1
        assert len(said.err) < 1000
