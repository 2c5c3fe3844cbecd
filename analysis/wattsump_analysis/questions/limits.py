"""Limits: what a temperature means in the trade, and its effect on oil, seals, hoses and skin."""

from collections.abc import Iterator

from wattsump_analysis.physics import harm
from wattsump_analysis.questions.answer import (
    Answer,
    Figure,
    Row,
    Section,
    Table,
    temperature,
)
from wattsump_analysis.questions.asked import LimitsAsked
from wattsump_analysis.questions.givens import Givens, needed
from wattsump_analysis.questions.typed import value_of
from wattsump_logger.machine.profile import OIL_ROLES
from wattsump_logger.remark import Remark

__all__ = (
    "TOO_THICK",
    "life_rows",
    "limits_of",
    "remarks_on",
)

_CAUTIONS = (
    Remark(
        code="hot-metal-burns",
        text="Hot oil and hot metal burn faster than a hand pulls back: let the machine cool "
        "before opening or touching anything.",
    ),
    Remark(
        code="makers-figures-first",
        text="These are the trade's figures. The makers' own for this machine, its oil and its "
        "hoses come first.",
    ),
)
# Of an oil above the viscosity a pump may start with.
TOO_THICK = Remark(code="too-thick", text="too thick to start")
# Oil life is relative to that at this temperature; the rule holds from 40 to 150 °C.
_LIFE_AT_C = 60.0
_SHORT = {
    harm.FROM_MEMORY: "ISO 13732-1, from memory",
    harm.READ_SECOND_HAND: "ISO 13732-1, quoted by others",
    harm.CIRCULATED: "a circulated list",
}


def limits_of(asked: LimitsAsked, givens: Givens) -> Answer:
    """Answer what a temperature does to oil, seals, hoses and skin.

    Raises
    ------
    UsageError
        No oil temperature is known.
    RangeError
        A coldest temperature above the hottest.
    """
    peaks_c = {str(name): givens.peaks_c[name] for name in OIL_ROLES if name in givens.peaks_c}
    where = max(peaks_c, key=lambda name: peaks_c[name], default="")
    peak = temperature(peaks_c[where]) if where else None
    (hottest,) = needed("limits", oil=asked.oil or peak)
    hottest_c = hottest.value
    # Levels and life are of the oil in the tank; metal, seals and skin meet the hottest.
    tank_c = hottest_c if asked.oil else peaks_c.get("tank", hottest_c)
    elsewhere = "" if asked.oil or where == "tank" else where
    cold_c = value_of(asked.cold, hottest_c)
    return Answer(
        question="limits",
        headline=tuple(_headline(tank_c, hottest_c, elsewhere, "tank" in peaks_c)),
        cautions=_CAUTIONS,
        is_hands_on=False,
        sections=(
            *_channels(givens),
            _oil(tank_c),
            _parts(cold_c, hottest_c),
            _skin(hottest_c),
        ),
    )


def _headline(
    tank_c: float, hottest_c: float, elsewhere: str, is_tank_seen: bool
) -> Iterator[Remark]:
    passed = harm.levels_passed(tank_c)
    word = passed[-1].meaning if passed else "nothing the trade has a word for"
    yield Remark(code="oil-at", text=("Oil at ", temperature(tank_c), f": {word}."))
    if not elsewhere:
        return
    where = elsewhere.replace("_", " ")
    if is_tank_seen:
        text: tuple[str | Figure, ...] = (f"Hottest in {where}: ", temperature(hottest_c), ".")
    else:
        text = (f"Read in {where}; no probe was in the tank, which is cooler.",)
    yield Remark(code="hottest-elsewhere", text=text)


def _channels(givens: Givens) -> Iterator[Section]:
    """Each channel's hottest reading beside its own limit."""
    rows: list[tuple[str | Figure, ...]] = []
    for name, limit_c in givens.limits_c.items():
        # The oil's two limits hold for the tank, the others for the channel they are named after.
        peak_c = givens.peaks_c.get("tank" if name.startswith("oil, ") else name)
        if peak_c is not None:
            over = "OVER" if peak_c > limit_c else ""
            rows.append((name, temperature(peak_c), temperature(limit_c), over))
    if rows:
        heads = ("limit", "hottest", "limit at", "")
        table = Table(key="channels", heads=heads, rows=tuple(rows))
        yield Section(title="This outing", table=table)


def _oil(hottest_c: float) -> Section:
    table = Table(
        key="levels",
        heads=("oil in the tank", "from", ""),
        rows=tuple(
            (level.meaning, temperature(level.temp_c), _mark(hottest_c >= level.temp_c))
            for level in harm.OIL_LEVELS
        ),
    )
    remark = Remark(code="levels-usual", text=f"Levels: {harm.COMMON}.")
    return Section(title="Oil", rows=tuple(life_rows(hottest_c)), table=table, remarks=(remark,))


def life_rows(hottest_c: float) -> Iterator[Row]:
    """Yield the row of oil life at a temperature, if the rule covers it."""
    if 40.0 <= hottest_c <= 150.0:
        life = Figure(harm.oil_life_factor(hottest_c, _LIFE_AT_C), "number")
        note = Remark(
            code="life-halves",
            text=(
                "times that at ",
                temperature(_LIFE_AT_C),
                "; half per ",
                Figure(10.0, "temperature_difference"),
                ", common practice",
            ),
        )
        yield Row("oil_life", "oil life there", life, note=note)


def _mark(reached: bool) -> str:
    return "REACHED" if reached else ""


def _parts(cold_c: float, hottest_c: float) -> Section:
    outside = harm.materials_exceeded(cold_c, hottest_c)
    table = Table(
        key="parts",
        heads=("part", "from", "to", ""),
        rows=tuple(
            (
                part.name,
                temperature(part.low_c),
                temperature(part.high_c),
                "OUTSIDE" if part in outside else "",
            )
            for part in harm.MATERIALS
        ),
    )
    remark = Remark(code="parts-usual", text=f"Parts: {harm.COMMON}.")
    return Section(title="Seals and hoses", table=table, remarks=(remark,))


def _skin(hottest_c: float) -> Section:
    """Every row at or under the temperature; both lists are shown though they disagree."""
    burns = [row for row in harm.BURNS if row.temp_c <= hottest_c]
    table = Table(
        key="burns",
        heads=("bare metal or oil from", "burns in about", "standing"),
        rows=tuple(
            (
                temperature(row.temp_c),
                Figure(row.careful_s, "duration"),
                _SHORT[row.source],
            )
            for row in burns
        ),
    )
    if burns:
        remark = Remark(
            code="burn-lists",
            text="The quoted rows hold for bare smooth metal; the list has been passed on since "
            "1997 without an author.",
        )
        return Section(title="Skin", table=table, remarks=(remark,))
    remark = Remark(code="no-burn", text="Neither list has a row for a surface so cool.")
    return Section(title="Skin", remarks=(remark,))


def remarks_on(hottest_c: float, coldest_c: float | None = None) -> Iterator[Remark]:
    """Remarks on what a temperature means, which parts it exceeds, and how fast it burns skin.

    A mild one has none. `coldest_c` adds the effect of a cold soak on seals and hoses.
    """
    for level in harm.levels_passed(hottest_c)[-1:]:
        yield Remark(
            code="level-reached",
            text=(f"{level.meaning}: from ", temperature(level.temp_c), f" ({level.source})."),
        )
    cold_c = hottest_c if coldest_c is None else min(coldest_c, hottest_c)
    for part in harm.materials_exceeded(cold_c, hottest_c):
        low, high = temperature(part.low_c), temperature(part.high_c)
        yield Remark(
            code="part-outside-range",
            text=(f"Beyond {part.name}: ", low, " to ", high, f" ({part.source})."),
        )
    burn = harm.burn_at(hottest_c)
    if burn is not None:
        yield Remark(code="burns-skin", text=(
            "Bare metal or oil from ", temperature(burn.temp_c), " burns skin in about ",
            Figure(burn.careful_s, "duration"), f" ({burn.source}).",
        ))  # fmt: skip
