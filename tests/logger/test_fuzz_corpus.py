"""Bytes found by a coverage-guided search, replayed: what they reach must go on holding.

`tests/fuzzing/run.py` makes them; those with a name in words broke a promise once.
"""

from pathlib import Path

import pytest

from fuzzing.targets import SIDECAR_BELOW, TARGETS, frames_target, session_target
from wattsump_logger.wire.frames import FrameParser

KEPT = Path(__file__).parents[1] / "data" / "fuzz"
HEAD = b"time_utc,elapsed_s,seq,tank_c,fault,mark\r\n"


@pytest.mark.parametrize("name", TARGETS)
def test_every_input_that_is_kept_holds(name: str) -> None:
    kept = sorted((KEPT / name).iterdir())
    assert len(kept) >= 10
    for path in kept:
        TARGETS[name](path.read_bytes())


@pytest.mark.parametrize(
    "row",
    [
        b",1_0,2,3,,\r\n",
        b",\xef\xbc\x91,2,3,,\r\n",
        b"\n\xee\xee,1,2,3,,\r\n",
        b"9999-12-31T23:59:59Z,-1e18,2,3,,\r\n",
    ],
    ids=["underscore", "wide digit", "no text", "beyond the calendar"],
)
def test_a_number_or_time_that_is_none_is_left_out_or_refused(row: bytes) -> None:
    session_target(HEAD + b",0.0,1,20.0,,\r\n" + row)
    session_target(HEAD + row)


@pytest.mark.parametrize(
    "sidecar",
    [
        b"[" * 100_000,
        b'{"notes":[{}],"url":1,"tableSchema":{"columns":[{"name":[1]}]}}',
        b'{"notes":[1],"url":"","tableSchema":{"columns":[]}}',
    ],
    ids=["nested", "a list for a name", "a number for notes"],
)
def test_a_sidecar_that_makes_no_sense_is_not_used(sidecar: bytes) -> None:
    session_target(HEAD + b",0.0,1,20.0,,\r\n" + SIDECAR_BELOW + sidecar)


def test_a_parser_that_depends_on_how_bytes_are_cut_is_noticed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    feed = FrameParser.feed
    monkeypatch.setattr(FrameParser, "feed", lambda parser, data: feed(parser, data[:50]))
    with pytest.raises(AssertionError, match="cut made a difference"):
        frames_target((KEPT / "frames" / "plain").read_bytes())
