"""The few units that are read without pint's whole list mean what they mean there."""

import subprocess
import sys
from decimal import Decimal

import pytest

from wattsump_logger.units.quantities import parse
from wattsump_logger.units.registry import FEW, registry

# They have no factor, and are held at temperatures instead.
OFFSET = {"degC", "degF"}


@pytest.mark.parametrize("word", sorted(FEW - OFFSET))
def test_a_word_of_the_few_is_pint_s_own(word: str) -> None:
    few, whole = (registry(one).Quantity(Decimal(1), word).to_root_units() for one in (True, False))
    # independent: pint's own definitions, to the last places of 28
    assert float(few.magnitude) == pytest.approx(float(whole.magnitude), rel=1e-15, abs=0)
    assert {str(d): p for d, p in few.dimensionality.items()} == {
        str(d): p for d, p in whole.dimensionality.items()
    }


@pytest.mark.parametrize("scale", sorted(OFFSET))
@pytest.mark.parametrize("at", ["-40", "0", "100", "212"])
def test_a_temperature_of_the_few_is_pint_s_own(scale: str, at: str) -> None:
    few, whole = (registry(one).Quantity(Decimal(at), scale).to("kelvin") for one in (True, False))
    # independent: pint's own definitions
    assert float(few.magnitude) == pytest.approx(float(whole.magnitude), rel=1e-15, abs=0)


def test_a_word_beyond_the_few_is_still_known() -> None:
    # published: 1 ton of refrigeration is 12 000 BTU/h, 3516.853 W, NIST SP 811, B.8
    assert parse("1 ton_of_refrigeration", "power") == pytest.approx(3516.853, rel=1e-6)


def test_whatever_is_shown_and_usual_to_type_is_among_the_few() -> None:
    code = (
        "from wattsump_logger.units import registry\n"
        "from wattsump_logger.units.quantities import KINDS, parse, show, _KINDS\n"
        "for kind in KINDS:\n"
        "    parse(_KINDS[kind].example, kind)\n"
        "    for system in ('si', 'us'):\n"
        "        for value in (1.0, 1e9):\n"
        "            show(value, kind, system)\n"
        "assert registry.registry.cache_info().misses == 1\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
