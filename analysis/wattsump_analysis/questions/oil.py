"""Oil: viscosity cold, idling and at the peak, and that of other grades."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics import oil
from wattsump_analysis.physics.engine_oil import EngineOil, engine_oil, names_engine_oil
from wattsump_analysis.questions.answer import (
    Answer,
    Figure,
    Row,
    Section,
    Table,
    temperature,
)
from wattsump_analysis.questions.asked import OilAsked
from wattsump_analysis.questions.givens import Givens, missing
from wattsump_analysis.questions.limits import TOO_THICK, life_rows, remarks_on
from wattsump_analysis.questions.typed import value_of
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.oil_label import U_GRADE_REL, viscosity_index
from wattsump_logger.machine.oil_line import Walther, walther_from_two_points
from wattsump_logger.remark import Remark

__all__ = ("PEAK_TITLE", "compare_oils")

# The report gives the section of this title a part of its own.
PEAK_TITLE = "What the peak does"

_COMPARED = ("VG 32", "VG 46", "VG 68", "VG 46 VI 150")
# Straight D341 lines mislead below the pour point; common practice for mineral oil, no source.
_LINE_TRUSTED_ABOVE_C = -20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Oil:
    """One oil: its name, its line and the relative standard uncertainty of a viscosity."""

    name: str
    line: Walther
    u_rel: float
    engine: EngineOil | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """The oil in the machine, other oils, the temperatures, and the outing if there is one."""

    there: _Oil
    others: tuple[_Oil, ...]
    temps_c: dict[str, float]
    thickest: float
    thinnest: float
    best: tuple[float, float]
    density_15: float
    elapsed_s: FloatArray | None
    tank_c: FloatArray | None

    def window(self, line: Walther) -> oil.Window:
        """The two temperatures an oil allows."""
        return oil.window(line, self.thickest, self.thinnest)


def compare_oils(asked: OilAsked, givens: Givens) -> Answer:
    """Answer how thick the oil is cold, idling and hot, and how thick other grades would be.

    Raises
    ------
    UsageError
        The oil is unknown, or a text is not a grade.
    RangeError
        A value out of its formula's range.
    """
    case = _case(asked, givens)
    return Answer(
        question="oil",
        headline=tuple(_headline(case)),
        sections=(
            _this_oil(case),
            _grades(case),
            *_outside(case),
            *_heat(case),
        ),
        assumed=tuple(_assumed(asked, givens, case)),
    )


def _oil_of(text: str, index: float | None = None) -> _Oil:
    """Read the name of a hydraulic or an engine oil; `index` replaces the label's own."""
    if names_engine_oil(text):
        engine = engine_oil(text)
        return _Oil(name=engine.name, line=engine.line, u_rel=engine.u_rel, engine=engine)
    try:
        line = oil.walther_from_grade(text, index)
    except UsageError as error:
        raise UsageError(
            expected=f"{error.expected}, or an engine oil such as '10W-30'",
            found=error.found,
            where=error.where,
            do="correct it, or give --viscosity-40 and --viscosity-100",
        ) from error
    name = text.strip() if index is None else f"{text.strip()} VI {index:g}"
    return _Oil(name=name, line=line, u_rel=math.hypot(U_GRADE_REL, oil.U_WALTHER_REL))


def _there(asked: OilAsked, givens: Givens) -> _Oil:
    """The oil in the machine: two typed viscosities, a typed grade, or the profile's."""
    fitted = None if givens.profile is None else givens.profile.oil
    if asked.viscosity_40 is not None and asked.viscosity_100 is not None:
        v40, v100 = asked.viscosity_40.value, asked.viscosity_100.value
        line = walther_from_two_points(40.0, v40, 100.0, v100)
        name = f"{v40:g} / {v100:g}, VI {viscosity_index(v40, v100):.0f}"
        return _Oil(name=name, line=line, u_rel=oil.U_WALTHER_REL)
    if (asked.viscosity_40 is None) != (asked.viscosity_100 is None):
        raise missing(
            "oil",
            "viscosity_40",
            "viscosity_100",
            text="both --viscosity-40 and --viscosity-100",
        )
    if asked.grade is not None:
        return _oil_of(asked.grade, None if asked.index is None else asked.index.value)
    if fitted is None:
        raise missing("oil", "grade", text="--grade, or --viscosity-40 and --viscosity-100")
    written = givens.profile.typed.get("oil") if givens.profile else None
    from_sheet = isinstance(written, dict) and "viscosity_40" in written
    u_rel = math.hypot(0.0 if from_sheet else U_GRADE_REL, oil.U_WALTHER_REL)
    return _Oil(name=fitted.grade, line=fitted.line, u_rel=u_rel)


def _case(asked: OilAsked, givens: Givens) -> _Case:
    bounds = givens.limits
    there = _there(asked, givens)
    return _Case(
        there=there,
        others=tuple(
            other
            for other in (_oil_of(text) for text in asked.compare or _COMPARED)
            if not _alike(other, there)
        ),
        temps_c=_temps(asked, givens),
        thickest=value_of(asked.thickest, bounds.viscosity_max_start_mm2_s),
        thinnest=value_of(asked.thinnest, bounds.viscosity_min_mm2_s),
        best=(bounds.viscosity_best_low, bounds.viscosity_best_high),
        density_15=value_of(asked.density, givens.density_15_kg_m3),
        elapsed_s=givens.elapsed_s,
        tank_c=givens.tank_c,
    )


def _alike(oil_1: _Oil, oil_2: _Oil) -> bool:
    """Whether two oils' viscosities agree within 0.1 % at the temperatures of data sheets."""
    return all(
        math.isclose(
            oil.viscosity_mm2_s(at, oil_1.line), oil.viscosity_mm2_s(at, oil_2.line), rel_tol=1e-3
        )
        for at in (40.0, 100.0)
    )


def _temps(asked: OilAsked, givens: Givens) -> dict[str, float]:
    """Cold start, idle and peak: typed, else the first and the hottest of the outing."""
    temps_c: dict[str, float] = {}
    tank = None if givens.tank_c is None else givens.tank_c[np.isfinite(givens.tank_c)]
    for name, typed in (("cold start", asked.cold), ("idle", asked.idle), ("peak", asked.peak)):
        if typed is not None:
            temps_c[name] = typed.value
        elif tank is not None and tank.size and name != "idle":
            temps_c[name] = float(tank[0] if name == "cold start" else tank.max())
        elif name == "idle" and givens.idle_c is not None:
            temps_c[name] = givens.idle_c
    if "peak" not in temps_c and "tank" in givens.peaks_c:
        temps_c["peak"] = givens.peaks_c["tank"]
    return temps_c


def _thickness(of: _Oil, temp_c: float, *, interval: bool = True) -> Figure:
    value = oil.viscosity_mm2_s(temp_c, of.line)
    if not interval:
        return Figure(value, "viscosity")
    spread = math.exp(NORMAL_95 * of.u_rel)
    return Figure(value, "viscosity", low=value / spread, high=value * spread)


def _headline(case: _Case) -> Iterator[Remark]:
    allowed = case.window(case.there.line)
    yield Remark(code="oil-allows", text=(
        f"{case.there.name} allows ", temperature(allowed.coldest_c), " to ",
        temperature(allowed.hottest_c), ".",
    ))  # fmt: skip
    for name, temp_c in case.temps_c.items():
        word = _unfit(case, oil.viscosity_mm2_s(temp_c, case.there.line))
        if word is not None:
            yield Remark(
                code="oil-unfit-at", text=(f"At {name}, ", temperature(temp_c), f", it is {word}.")
            )


def _unfit(case: _Case, viscosity: float) -> Remark | None:
    if viscosity > case.thickest:
        return TOO_THICK
    return Remark(code="too-thin", text="too thin") if viscosity < case.thinnest else None


def _this_oil(case: _Case) -> Section:
    rows = []
    for name, temp_c in case.temps_c.items():
        figure = _thickness(case.there, temp_c)
        key = name.replace(" ", "_")
        rows.append(
            Row(
                f"{key}_mm2_s",
                f"at {name}",
                figure,
                flag=_unfit(case, figure.value),
                note=_at(temp_c),
            )
        )
    rows += _properties(case)
    return Section(title=f"This oil, {case.there.name}", rows=tuple(rows))


def _at(temp_c: float) -> Remark:
    if temp_c < _LINE_TRUSTED_ABOVE_C:
        text = ("at ", temperature(temp_c), ", line not trusted so cold")
        return Remark(code="line-too-cold", text=text)
    return Remark(code="viscosity-at", text=("at ", temperature(temp_c)))


def _properties(case: _Case) -> Iterator[Row]:
    at_c = case.temps_c.get("peak", 40.0)
    where = "at the peak" if "peak" in case.temps_c else "at 40 °C"
    for key, label, kind, function, u_rel in (
        ("density_kg_m3", "density", "density", oil.density_kg_m3, oil.U_DENSITY_REL),
        (
            "specific_heat_j_kgk",
            "specific heat",
            "specific_heat",
            oil.specific_heat_j_kgk,
            oil.U_SPECIFIC_HEAT_REL,
        ),
    ):
        value = function(at_c, case.density_15)
        spread = math.exp(NORMAL_95 * u_rel)
        figure = Figure(value, kind, low=value / spread, high=value * spread)
        yield Row(key, f"{label}, {where}", figure)


def _grades(case: _Case) -> Section:
    """Every grade at the same temperatures, and the two it allows."""
    heads = ("grade", *case.temps_c, "from", "to")
    rows: list[tuple[str | Figure, ...]] = []
    for each in (case.there, *case.others):
        allowed = case.window(each.line)
        cells = [_thickness(each, temp_c, interval=False) for temp_c in case.temps_c.values()]
        name = f"{each.name} (in it)" if each is case.there else each.name
        ends = (temperature(allowed.coldest_c), temperature(allowed.hottest_c))
        rows.append((name, *cells, *ends))
    between = Remark(code="viscosity-limits", text=(
        "From ", Figure(case.thickest, "viscosity"), " at the start to ",
        Figure(case.thinnest, "viscosity"), " at the hottest; best ",
        Figure(case.best[0], "viscosity"), " to ",
        Figure(case.best[1], "viscosity"), ".",
    ))  # fmt: skip
    warning = Remark(
        code="oil-changes-heat",
        text="Another oil changes the heat that is made and the heat that is rejected, so the "
        "temperatures too: these rows hold them as they were.",
    )
    return Section(
        title="Grades at the same temperatures",
        table=Table(key="grades", heads=heads, rows=tuple(rows)),
        remarks=(between, warning),
    )


def _outside(case: _Case) -> Iterator[Section]:
    """Minutes of the outing outside the window, for each grade."""
    if case.elapsed_s is None or case.tank_c is None:
        return
    # A proof's series has steps of minutes, a session's of seconds; a gap is much longer than that.
    gap = 5.0 * float(np.median(np.diff(case.elapsed_s)))
    rows: list[tuple[str | Figure, ...]] = []
    for each in (case.there, *case.others):
        minutes = oil.minutes_outside(
            case.elapsed_s, case.tank_c, case.window(each.line), longest_gap_s=max(gap, 30.0)
        )
        name = f"{each.name} (in it)" if each is case.there else each.name
        rows.append((name, *(Figure(60.0 * part, "duration") for part in minutes)))
    heads = ("grade", "too thick", "inside", "too thin")
    yield Section(
        title="Time of this outing", table=Table(key="time_outside", heads=heads, rows=tuple(rows))
    )


def _heat(case: _Case) -> Iterator[Section]:
    """Effects of the peak on oil life, seals, hoses and skin."""
    if "peak" not in case.temps_c:
        return
    peak, cold = case.temps_c["peak"], case.temps_c.get("cold start", 20.0)
    yield Section(
        title=PEAK_TITLE,
        rows=tuple(life_rows(peak)),
        remarks=tuple(remarks_on(peak, cold)),
    )


def _assumed(asked: OilAsked, givens: Givens, case: _Case) -> Iterator[Remark]:
    if givens.profile is None or asked.grade is not None:
        yield Remark(
            code="grade-is-mid-point",
            text="A grade is its mid-point, ± 10 % by the standard; index 100 where none is given.",
        )
    for each in (case.there, *case.others):
        if each.engine is not None:
            yield from _engine_words(each.engine)
    if givens.profile is None and (asked.thickest is None or asked.thinnest is None):
        yield Remark(
            code="viscosity-limits-usual",
            text="Viscosity limits: common practice, no source; the pump maker's come first.",
        )
    yield from givens.notes_without_capacity


def _engine_words(named: EngineOil) -> Iterator[Remark]:
    """Remarks on which figures an engine oil's name guarantees and which are only typical."""
    low, high, typical = (
        Figure(value, "viscosity")
        for value in (named.low_100_mm2_s, named.high_100_mm2_s, named.typical_40_mm2_s)
    )
    bounds = "SAE J300 (as others reprint it)" if named.bounded else "common practice, from memory"
    yield Remark(code="engine-oil-typical", text=(
        f"{named.name}: ", low, " to ", high, " at ", temperature(100.0), f", {bounds}; ",
        typical, " at ", temperature(40.0), " is typical, common practice, from memory.",
    ))  # fmt: skip
    if named.winter is not None:
        yield Remark(code="engine-oil-winter", text=(
            f"{named.name} cranks an engine down to ", temperature(named.winter.cranks_c),
            " and pumps down to ", temperature(named.winter.pumps_c),
            " (SAE J300): an engine's measure, not a hydraulic pump's.",
        ))  # fmt: skip
