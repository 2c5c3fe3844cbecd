"""The sender that the documents print, written from the specification alone."""

from pathlib import Path

import pytest

from wattsump_logger.wire.events import EventFrame, Hello, Reading
from wattsump_logger.wire.explain import explain
from wattsump_logger.wire.frames import FrameParser

PAGE = Path(__file__).parents[2] / "docs" / "own-sender.md"


def test_the_sender_of_the_page_conforms_line_by_line_and_is_as_short_as_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = PAGE.read_text(encoding="utf-8").split("```python\n")[1].split("```")[0]
    assert len(program.splitlines()) <= 42
    monkeypatch.chdir(tmp_path)
    exec(compile(program, str(PAGE), "exec"), {"__name__": "sender"})
    data = (tmp_path / "card.txt").read_bytes()
    parser = FrameParser()
    events = parser.feed(data)
    others = [event for event in events if not isinstance(event, Hello | Reading)]
    assert len(others) == 1
    assert sum(isinstance(event, Hello) for event in events) == 3
    assert sum(isinstance(event, Reading) for event in events) == 120
    assert events[1] == EventFrame(seq=1, uptime_ms=0, code="boot", detail="power")
    assert parser.hello is not None
    for line in data.splitlines():
        assert explain(line, parser.hello.channels) == ()
