"""Causes that cannot be separated from one change, and the test that would separate them."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from wattsump_analysis.results import Interval
from wattsump_analysis.season.causes import SURE, Cause, Likely
from wattsump_analysis.season.events import EventKind
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import degrees

__all__ = ("TESTS", "splitting")

_FAN_TEST = Remark(
    code="test-by-fan-steps",
    text=(
        "at working speed and oil of ",
        degrees(60.0),
        " to ",
        degrees(70.0),
        ", switch the fan off and on three times, five minutes each: the change of slope is the "
        "cooler's air side alone",
    ),
)
_OIL_TEST = Remark(
    code="test-by-oil-side",
    text="measure oil flow and the temperatures at both cooler ports: flow times drop is the "
    "cooler's heat without the machine's heat capacity",
)
_PROBE_TEST = Remark(
    code="test-probes-in-bucket",
    text="put all probes into one warm bucket, enter the offsets, and repeat the same work",
)
_SCALE_TEST = Remark(
    code="test-by-heater",
    text="run a metered heater for half an hour: it gives the heat capacity, on which K and heat "
    "both rest, anew",
)
_MORE_OUTINGS = Remark(
    code="more-outings-or-oil-side", text=f"more outings on both sides, or {_OIL_TEST}"
)
TESTS: Mapping[EventKind, Remark] = MappingProxyType(
    {
        EventKind.OIL: _OIL_TEST,
        EventKind.PROBE: _PROBE_TEST,
        EventKind.FAN: _FAN_TEST,
        EventKind.COOLER: _FAN_TEST,
        EventKind.CLEAN: _FAN_TEST,
        EventKind.DRIVE: _OIL_TEST,
    }
)


def splitting(
    shares: Sequence[Interval | None], causes: Sequence[Likely], kinds: Sequence[EventKind]
) -> tuple[Remark | None, Remark | None]:
    """Why the causes cannot be separated, and the test that would; None, None if they can."""
    groups = {_group(kind) for kind in kinds} - {None}
    if len(groups) > 1:
        done = " and ".join(kind.value for kind in kinds)
        other = [kind for kind in kinds if _group(kind) != "air side"]
        text = f"{done} between the two: both may have moved K and the heat"
        return Remark(code="several-changes", text=text), TESTS[other[0]]
    if None in shares or not any(s is not None and s.low * s.high > 0 for s in shares):
        return None, None
    if causes[0].probability >= SURE:
        return None, None
    pair = {likely.cause for likely in causes[:2]}
    why = Remark(code="several-causes", text=f"{causes[0].cause} or {causes[1].cause}")
    if pair == {Cause.COOLER, Cause.FAN}:
        return why, _FAN_TEST
    if Cause.OTHER in pair:
        return why, _SCALE_TEST
    return why, _MORE_OUTINGS


def _group(kind: EventKind) -> str | None:
    if kind in (EventKind.CLEAN, EventKind.COOLER, EventKind.FAN):
        return "air side"
    return {EventKind.OIL: "oil", EventKind.PROBE: "probe", EventKind.DRIVE: "drive"}[kind]
