"""Lines: oil in hoses and core, velocity by dash size, hose class, flare sizes."""

import re
from collections.abc import Iterator, Sequence
from typing import get_args

from wattsump_analysis.physics import hoses
from wattsump_analysis.physics.oil import volumetric_heat_j_m3k
from wattsump_analysis.questions.answer import Answer, Figure, Row, Section, Table
from wattsump_analysis.questions.asked import LinesAsked
from wattsump_analysis.questions.givens import Givens, missing
from wattsump_analysis.questions.typed import quantity, value_of
from wattsump_logger.errors import UsageError
from wattsump_logger.remark import Remark

__all__ = ("dash_number", "plumb")

_CAUTIONS = (
    Remark(
        code="leak-by-card",
        text="Look for a leak with a piece of card, never with a hand: oil under pressure "
        "penetrates skin. It looks trivial and is a surgical emergency: go to a hospital at "
        "once.",
    ),
    Remark(
        code="pressure-off-first",
        text="Before touching or tightening a fitting stop the engine and let the pressure off.",
    ),
    Remark(
        code="core-on-return-side",
        text="A cooler core belongs on the case-drain or return side only, with a bypass for cold "
        "oil; in the case drain it must keep the case below its maker's pressure, or the "
        "shaft seal goes.",
    ),
    Remark(
        code="flares-never-mixed",
        text="A 37° flare and a 45° flare screw together and leak: never mix them.",
    ),
    Remark(
        code="hot-oil-burns",
        text="Hot oil burns; let the circuit cool before opening it. Local codes and licensed "
        "practice come first.",
    ),
)

_DASHES = (6, 8, 10, 12, 16)
_FILL_C = 40.0
_HOSE = re.compile(r"\s*(?P<bore>.+?)\s+x\s+(?P<length>.+?)\s*")
_DASH = re.compile(r"-?(\d{1,2})")


def plumb(asked: LinesAsked, givens: Givens) -> Answer:
    """Answer how much oil lines hold, how fast it flows and what pressure they withstand.

    Raises
    ------
    UsageError
        No line given, or a text that is not a line, a dash size or a hose.
    RangeError
        A value out of its formula's range.
    """
    flow = value_of(asked.flow, givens.cooler.oil_flow_m3_s)
    kind = _line(asked.line)
    sections = [
        *_speeds(asked, flow, kind),
        *_fill(asked, givens),
        *_pressure(asked),
        _flares(asked),
    ]
    if len(sections) == 1 and not asked.dash:
        raise missing(
            "lines",
            "flow",
            "hose",
            "containers",
            "dash",
            text="--flow, --hose, --containers or --dash",
        )
    return Answer(
        question="lines",
        headline=tuple(_headline(asked, flow, kind, sections)),
        sections=tuple(sections),
        cautions=_CAUTIONS,
        assumed=tuple(_assumed(asked, flow)),
    )


def _line(text: str | None) -> hoses.Line:
    kinds: tuple[hoses.Line, ...] = get_args(hoses.Line)
    for name in kinds:
        if name == (text or "return"):
            return name
    raise UsageError(
        expected="one of " + ", ".join(kinds), found=repr(text), where="--line", do="name one"
    )


def dash_number(text: str) -> int:
    """Read "-8" or "8".

    Raises
    ------
    UsageError
        Another text.
    """
    match = _DASH.fullmatch(text.strip())
    if match is None:
        raise UsageError(
            expected="a dash size such as -8",
            found=repr(text),
            where="dash size",
            do="count sixteenths of an inch",
        )
    return int(match[1])


def _hoses(asked: LinesAsked) -> list[hoses.Hose]:
    return [_one_hose(text) for text in asked.hose or ()]


def _one_hose(text: str) -> hoses.Hose:
    match = _HOSE.fullmatch(text)
    if match is None:
        raise UsageError(
            expected="bore x length such as '-8 x 3 m' or '12.7 mm x 3 m'",
            found=repr(text),
            where="--hose",
            do="write both with an x between",
        )
    bore = match["bore"]
    if _DASH.fullmatch(bore):
        bore_m = hoses.hose_bore_m(dash_number(bore))
    else:
        bore_m = quantity(bore, "length", "--hose").value
    return hoses.Hose(bore_m=bore_m, length_m=quantity(match["length"], "length", "--hose").value)


def _dashes(asked: LinesAsked) -> tuple[int, ...]:
    return tuple(dash_number(text) for text in asked.dash) if asked.dash else _DASHES


def _speeds(asked: LinesAsked, flow: float | None, kind: hoses.Line) -> Iterator[Section]:
    if flow is None:
        return
    rows: list[tuple[str | Figure, ...]] = []
    for dash in _dashes(asked):
        bore = hoses.hose_bore_m(dash)
        rows.append((f"-{dash}", *_speed_cells(flow, bore, kind)))
    if asked.bore is not None:
        rows.append(("typed", *_speed_cells(flow, asked.bore.value, kind)))
    low, high = hoses.COMMON_VELOCITY_M_S[kind]
    remark = Remark(code="velocity-usual", text=(
        f"Common practice in a {kind} line, no one source: ",
        Figure(low, "speed"), " to ", Figure(high, "speed"), ".",
    ))  # fmt: skip
    table = Table(key="velocities", heads=("dash", "bore", "velocity", ""), rows=tuple(rows))
    yield Section(title=f"Velocity in a {kind} line", table=table, remarks=(remark,))


def _speed_cells(flow: float, bore_m: float, kind: hoses.Line) -> tuple[str | Figure, ...]:
    speed = hoses.velocity_m_s(flow, bore_m)
    figures = Figure(bore_m, "bore"), Figure(speed, "speed")
    return (*figures, hoses.velocity_judgement(kind, speed))


def _volume(value: float) -> Figure:
    return Figure(value, "volume")


def _fill(asked: LinesAsked, givens: Givens) -> Iterator[Section]:
    """Oil added by cooler and hoses, calculated or poured in, and its heat capacity."""
    fitted, rows = _hoses(asked), []
    core = value_of(asked.core, 0.0)
    if fitted or asked.core is not None:
        held = sum(hoses.hose_volume_m3(hose.bore_m, hose.length_m) for hose in fitted)
        rows.append(Row("hoses_m3", "hoses hold", _volume(held)))
        added = hoses.added_fill_m3(fitted, core)
        rows.append(Row("added_m3", "cooler and hoses add", _volume(added)))
        rows += _stored(added, givens)
    if asked.containers is not None:
        if asked.container is None:
            raise missing("poured oil", "container", text="--container, the size of one")
        remaining = value_of(asked.left, 0.0)
        poured = hoses.poured_m3(asked.containers.value, asked.container.value, remaining)
        rows.append(Row("poured_m3", "poured in", _volume(poured)))
        if not fitted and asked.core is None:
            rows += _stored(poured, givens)
    if rows:
        yield Section(title="Fill", rows=tuple(rows))


def _stored(volume_m3: float, givens: Givens) -> Iterator[Row]:
    stored = volume_m3 * volumetric_heat_j_m3k(_FILL_C, givens.density_15_kg_m3)
    yield Row(
        "added_j_k",
        "heat capacity of that oil",
        Figure(stored, "heat_capacity"),
        note=Remark(code="add-litres", text="add the litres to the profile's"),
    )
    if givens.profile is not None and givens.profile.oil.volume_m3 > 0.0:
        share = Figure(volume_m3 / givens.profile.oil.volume_m3, "fraction")
        yield Row("added_share", "of the profile's fill", share)


def _pressure(asked: LinesAsked) -> Iterator[Section]:
    if asked.pressure is None and asked.hose_class is None:
        return
    if asked.pressure is None or asked.hose_class is None:
        raise missing("hose pressure", "pressure" if asked.pressure is None else "hose_class")
    rows: list[tuple[str | Figure, ...]] = []
    for dash in _dashes(asked) if asked.dash else sorted(_class_sizes(asked.hose_class)):
        bears = hoses.hose_working_pressure_pa(asked.hose_class, dash)
        use = hoses.pressure_use(asked.pressure.value, bears)
        word = "MUST GO" if use > 1.0 else ""
        rows.append(
            (
                f"-{dash}",
                Figure(bears, "pressure"),
                Figure(use, "fraction"),
                word,
            )
        )
    table = Table(key="pressures", heads=("dash", "bears", "used", ""), rows=tuple(rows))
    remark = Remark(
        code="cold-start-peak",
        text="Compare the cold-start peak, not the warm gauge; the marking on the hose applies.",
    )
    yield Section(title=f"Hose {asked.hose_class}", table=table, remarks=(remark,))


def _class_sizes(hose: str) -> Sequence[int]:
    name = hose.strip().upper().removeprefix("SAE").strip()
    # An unknown class is refused when its pressure at a size is looked up.
    return tuple(hoses.HOSE_WORKING_PRESSURE_PA.get(name, {0: 0.0}))


def _flares(asked: LinesAsked) -> Section:
    sizes = [(dash, hoses.flare_size(dash)) for dash in _dashes(asked)]
    rows = tuple(
        (
            f"-{size.dash}",
            Figure(size.tube_od_m, "bore"),
            size.thread,
            size.nut_hex_in or "see the standard",
        )
        for _, size in sizes
        if size is not None
    )
    heads = ("dash", "tube", "thread, in", "nut hexagon, in")
    text = "A dash is a sixteenth of an inch of tube: -8 is half an inch."
    remarks = [Remark(code="a-dash-is", text=text)]
    none = ", ".join(f"-{dash}" for dash, size in sizes if size is None)
    if none:
        remarks.append(Remark(code="no-flare", text=f"The standard has no 37° flare for {none}."))
    table = Table(key="flares", heads=heads, rows=rows)
    return Section(title="37° flare sizes", table=table, remarks=tuple(remarks))


def _headline(
    asked: LinesAsked, flow: float | None, kind: hoses.Line, sections: Sequence[Section]
) -> Iterator[Remark]:
    if flow is not None:
        good = [
            f"-{dash}"
            for dash in _dashes(asked)
            if hoses.velocity_judgement(kind, hoses.velocity_m_s(flow, hoses.hose_bore_m(dash)))
            == "within common practice"
        ]
        sizes = ", ".join(good) if good else "none of these sizes"
        yield Remark(
            code="sizes-for-flow",
            text=(
                Figure(flow, "flow"),
                f" in a {kind} line: {sizes} within common practice.",
            ),
        )
    for section in sections:
        for row in section.rows:
            if row.key in ("added_m3", "poured_m3"):
                yield Remark(code="fill", text=(f"{row.label.capitalize()} ", row.figure, "."))


def _assumed(asked: LinesAsked, flow: float | None) -> Iterator[Remark]:
    if flow is not None and asked.line is None:
        yield Remark(
            code="return-line", text="A return line; say --line suction or pressure for another."
        )
    yield Remark(code="bores-nominal", text="Bores are nominal; real ones are a few per cent off.")
