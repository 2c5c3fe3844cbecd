"""The page of a fleet, of the report's family: a row for each machine, worst first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from wattsump_analysis.season.fleet import Member
from wattsump_analysis.season.trend import LeftOut
from wattsump_analysis.show import words
from wattsump_analysis.show.fleet_screen import left_out_text, next_of, word_of
from wattsump_analysis.show.report.links import SEASON_PAGE, href_of
from wattsump_analysis.show.report.season_page import TONES
from wattsump_analysis.show.report.sheet import sheet

__all__ = ("render_fleet",)

_GO_ON = "Go on: log every machine at its usual work, and note what is done to it"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    machine: str
    href: str
    standing: str
    is_due: bool
    text: str
    k: str
    heat: str
    newest: str


def render_fleet(
    members: Sequence[Member],
    left_out: Sequence[LeftOut] = (),
    units: str = "si",
    *,
    page: Path | None = None,
    made_with: Mapping[str, str] | None = None,
) -> str:
    """Return the page of a fleet as HTML; the same text for the same input.

    Parameters
    ----------
    members : sequence of Member
        From `fleet_of`, the one to look at first in front.
    left_out : sequence of LeftOut
        Files that count for no machine.
    units : {"si", "us"}
        Units of display.
    page : Path, optional
        Where the page will lie; pages of seasons beside their sessions are linked from there.
    made_with : Mapping of str to str, optional
        Releases and folder, for whoever makes the page again.
    """
    due = sum(member.standing in TONES for member in members)
    first = next_of(members[0])
    values: dict[str, object] = {
        "title": f"{due} of {len(members)} to look at" if due else "Nothing to look at",
        "lead": f"{members[0].machine}: {word_of(members[0])}" if due else "",
        "tone": TONES.get(members[0].standing, "good"),
        "step": f"{members[0].machine}: {first}" if due and first else _GO_ON,
        "rows": [_row(member, units, page) for member in members],
        "left_out": left_out,
        "left_out_line": left_out_text(left_out, units) if left_out else "",
        "season_page": SEASON_PAGE,
        "pictures": {},
        "provenance": dict(made_with or {}),
    }
    return sheet("fleet.html.jinja", units, values)


def _row(member: Member, units: str, page: Path | None) -> _Row:
    state, newest = member.state, member.outings[-1]
    href = ""
    if page is not None and member.folder is not None:
        href = href_of(member.folder / SEASON_PAGE, page)
    if state is None:
        k, heat = (
            "not told" if value is None else words.figure(value, kind, units, both=False)
            for value, kind in ((newest.k_w_k, "conductance"), (newest.heat_w, "power"))
        )
    else:
        k, heat = (
            f"{words.figure(found.value, kind, units, both=False)} "
            f"({words.span(found, kind, units)})"
            for found, kind in ((state.k_w_k, "conductance"), (state.heat_w, "power"))
        )
    return _Row(
        machine=member.machine,
        href=href,
        standing=str(member.standing),
        is_due=member.standing in TONES,
        text=word_of(member),
        k=k,
        heat=heat,
        newest=words.day_text(newest.start_utc or "") or newest.name,
    )
