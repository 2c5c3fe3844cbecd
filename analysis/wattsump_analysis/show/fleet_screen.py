"""A fleet in words: a row for each machine on a screen of 80 columns, and as data for programs."""

import textwrap
from collections.abc import Sequence

from wattsump_analysis.results import Interval
from wattsump_analysis.season.fleet import Member
from wattsump_analysis.season.state import Standing, State
from wattsump_analysis.season.trend import FEWEST_OUTINGS, LeftOut, in_order
from wattsump_analysis.show.season_screen import (
    COOL_DOWN,
    capital,
    headline,
    likely_text,
    next_steps,
)
from wattsump_analysis.show.words import day_text, figure
from wattsump_logger.remark import shown_in
from wattsump_logger.width import columns, fitted

__all__ = ("FLEET_FORMAT", "fleet_data", "fleet_screen", "left_out_text", "next_of", "word_of")

FLEET_FORMAT = "wattsump-fleet-1"
_NAME, _STATE, _K, _HEAT, _DAY = 22, 15, 16, 14, 12


def fleet_screen(
    members: Sequence[Member], left_out: Sequence[LeftOut] = (), units: str = "si"
) -> str:
    """Return a fleet as lines of at most 80 columns, the machine to look at first on top."""
    heads = ("machine", "state", "K", "heat", "newest")
    is_narrow = columns() < len(_row(*heads))
    lines = [] if is_narrow else [_row(*heads)]
    for member in members:
        newest = (member.outings[-1].start_utc or "")[:10] or "no date"
        k, heat = (_value(member, at, units) for at in range(2))
        row = (member.machine, str(member.standing), k, heat, newest)
        lines += fitted([_row(*row)], [("", *heads[1:]), row])
        lines += textwrap.wrap(
            word_of(member), columns(), initial_indent="    ", subsequent_indent="    "
        )
    if left_out:
        lines += ["", *textwrap.wrap(left_out_text(left_out, units), columns())]
    return "\n".join(lines)


def word_of(member: Member) -> str:
    """Return what a machine's outings say together, in a sentence or two."""
    said = _said(member)
    return said if member.remark is None else f"{said} {capital(member.remark.text)}."


def _said(member: Member) -> str:
    trend, count = member.trend, len(member.outings)
    if trend is None:
        usable, idle = in_order(member.outings)
        text = f"{len(usable)} of the {FEWEST_OUTINGS} outings that a trend needs."
        return text + f" {len(idle)} more not counted; wattsump trend says why." * bool(idle)
    if not trend.steps:
        k, heat = trend.would_have_seen
        return (
            f"Nothing beyond repeatability over {count} outings; {100 * k:.0f} % less K or "
            f"{100 * heat:.0f} % more heat would have been seen."
        )
    step = trend.steps[-1]
    title, rest = headline(step.k, step.heat)
    day = day_text(step.start_utc or "") or step.name
    return f"{title} since {day}, {rest}: {likely_text(step.causes)}."


def next_of(member: Member) -> str:
    """Return the next thing to do for a machine; "" where there is none."""
    if member.trend is None:
        return COOL_DOWN.text if member.standing is Standing.TOO_HOT else ""
    steps = next_steps(member.trend)
    return steps[0].text if steps else ""


def left_out_text(left_out: Sequence[LeftOut], units: str = "si") -> str:
    """Return how many files count for no machine, with the first of them."""
    files = "file counts" if len(left_out) == 1 else "files count"
    first = f"{left_out[0].name} ({shown_in(left_out[0].why, units)})"
    return f"{len(left_out)} {files} for no machine, such as {first}."


def fleet_data(members: Sequence[Member], left_out: Sequence[LeftOut] = ()) -> dict[str, object]:
    """Return a fleet as data that `json` can write, the machine to look at first in front."""
    return {
        "format": FLEET_FORMAT,
        "machines": [
            {
                "machine": member.machine,
                "folder": None if member.folder is None else member.folder.as_posix(),
                "standing": member.standing.name.lower(),
                "outings": len(member.outings),
                "newest_utc": member.outings[-1].start_utc,
                "k_w_k": _interval(member.state, 0),
                "heat_w": _interval(member.state, 1),
                "sentence": word_of(member),
                "next_step": next_of(member) or None,
                "remark": None if member.remark is None else member.remark.as_json(),
            }
            for member in members
        ],
        "left_out": [{"name": left.name, "why": left.why.text} for left in left_out],
    }


def _row(name: str, state: str, k: str, heat: str, newest: str) -> str:
    name = name if len(name) < _NAME else name[: _NAME - 2] + "."
    row = f"{name:<{_NAME}}{state:<{_STATE}}{k:>{_K}}{heat:>{_HEAT}}{newest:>{_DAY}}"
    return row.rstrip()


def _value(member: Member, at: int, units: str) -> str:
    """Return K (0) or heat (1) as it is now, of the newest outing where there is no trend."""
    kind = ("conductance", "power")[at]
    if member.state is not None:
        found = (member.state.k_w_k, member.state.heat_w)[at].value
        return figure(found, kind, units, both=False)
    newest = member.outings[-1]
    value = (newest.k_w_k, newest.heat_w)[at]
    return "-" if value is None else figure(value, kind, units, both=False)


def _interval(state: State | None, at: int) -> dict[str, float] | None:
    if state is None:
        return None
    found: Interval = (state.k_w_k, state.heat_w)[at]
    return {"low": found.low, "value": found.value, "high": found.high}
