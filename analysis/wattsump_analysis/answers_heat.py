"""What an oil temperature does to oil, seals, hoses and skin, as sentences."""

from collections.abc import Iterator

from wattsump_analysis import limits
from wattsump_analysis.answers import Figure, Pieces, temperature

__all__ = ("said_of",)


def said_of(hottest_c: float, coldest_c: float | None = None) -> Iterator[Pieces]:
    """Say what the trade calls a temperature, which parts it leaves, and when skin burns.

    Nothing is said of a mild one. `coldest_c` adds what a cold soak does to seals and hoses.
    """
    for level in limits.levels_passed(hottest_c)[-1:]:
        yield (f"{level.meaning}: from ", temperature(level.temp_c), f" ({level.source}).")
    cold_c = hottest_c if coldest_c is None else min(coldest_c, hottest_c)
    for part in limits.materials_exceeded(cold_c, hottest_c):
        low, high = temperature(part.low_c), temperature(part.high_c)
        yield (f"Beyond {part.name}: ", low, " to ", high, f" ({part.source}).")
    burn = limits.burn_at(hottest_c)
    if burn is not None:
        yield (
            "Bare metal or oil from ", temperature(burn.temp_c), " burns skin in about ",
            Figure(value=burn.careful_s, kind="duration"), f" ({burn.source}).",
        )  # fmt: skip
