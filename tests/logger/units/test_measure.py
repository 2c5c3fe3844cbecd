"""A quantity inside a sentence."""

import pytest

from wattsump_logger.units.measure import Measure, kelvins
from wattsump_logger.units.quantities import show


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("power_w", [9996.0, 999.6, 5200.0, -14.0, 0.0])
def test_a_quantity_has_the_digits_in_a_sentence_that_it_has_alone(
    power_w: float, system: str
) -> None:
    assert Measure(value=power_w, kind="power").in_units(system) == show(power_w, "power", system)


def test_what_rounds_to_nothing_has_no_sign() -> None:
    assert str(kelvins(-0.04)) == str(kelvins(0.04))
