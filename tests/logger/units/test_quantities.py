"""Typed quantities against NIST SP 811 and exact definitions."""

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_logger.errors import UnitError, UsageError
from wattsump_logger.units import quantities

# published: NIST SP 811 (2008), appendix B.8 and B.9; exact by definition unless rounded,
# then as many digits as printed there.
_SP_811 = [
    ("1 hp", "power", 745.69987158227022, 1e-15),
    ("1 PS", "power", 735.49875, 1e-15),
    ("1 BTU", "energy", 1055.05585262, 1e-15),
    ("1 BTU/h", "power", 0.2930710701722, 1e-12),
    ("12000 BTU/h", "power", 3516.852842067, 1e-12),
    ("1 gal", "volume", 3.785411784e-3, 1e-15),
    ("1 gpm", "flow", 6.30901964e-5, 1e-15),
    ("1 psi", "pressure", 6894.757293168, 1e-12),
    ("1 inHg", "pressure", 3386.389, 2e-7),
    ("1 kgf/cm2", "pressure", 98066.5, 1e-15),
    ("1 in3", "volume", 16.387064e-6, 1e-15),
    ("1 ft*lbf", "energy", 1.3558179483314, 1e-14),
    ("1 BTU/(lb degF)", "specific_heat", 4186.8, 1e-12),
    ("1 BTU/(h degF)", "conductance", 0.52752792631, 1e-11),
    ("1 ft2", "area", 0.09290304, 1e-15),
    ("1 cSt", "viscosity", 1.0, 1e-15),
]


@pytest.mark.parametrize(("text", "kind", "value", "tolerance"), _SP_811)
def test_units_have_the_sizes_of_nist_sp_811(
    text: str, kind: str, value: float, tolerance: float
) -> None:
    # published: the table above.
    assert quantities.parse(text, kind) == pytest.approx(value, rel=tolerance)


def test_a_horsepower_is_the_mechanical_one_and_a_btu_the_international_one() -> None:
    # published: NIST SP 811, hp(mech) = 2544.43358 Btu_IT/h, rounded there to 9 digits.
    assert quantities.parse("1 hp", "power") / quantities.parse(
        "1 BTU/h", "power"
    ) == pytest.approx(2544.43358, abs=5e-6)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("-40 degF", -40.0), ("0 degF", -17.7778), ("68 degF", 20.0), ("104 degF", 40.0),
        ("160 degF", 71.1111), ("180 °F", 82.2222), ("212 F", 100.0), ("71 degC", 71.0),
        ("71 °C", 71.0), ("71C", 71.0), ("344.15 K", 71.0), ("-10 degC", -10.0),
        ("−10 degC", -10.0),
    ],
)  # fmt: skip
def test_a_temperature_comes_to_celsius(text: str, celsius: float) -> None:
    # published: (F - 32)/1.8, NIST SP 811 B.8; four decimals.
    assert quantities.parse(text, "temperature") == pytest.approx(celsius, abs=5e-5)


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [("100 degF", 55.5556), ("100 °F", 55.5556), ("40 degC", 40.0), ("55 K", 55.0), ("0 F", 0.0)],
)
def test_a_temperature_difference_never_loses_32(text: str, kelvin: float) -> None:
    # published: 5/9 K a degree Fahrenheit, NIST SP 811 B.8; four decimals.
    assert quantities.parse(text, "temperature_difference") == pytest.approx(kelvin, abs=5e-5)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("18 L", "volume", 0.018),
        ("18 l", "volume", 0.018),
        ("12 L/min", "flow", 0.0002),
        ("12 lpm", "flow", 0.0002),
        ("20 500 W", "power", 20500.0),
        ("20\u202f500 W", "power", 20500.0),
        ("6kW", "power", 6000.0),
        ("1.5e3 W", "power", 1500.0),
        (".5 kW", "power", 500.0),
        ("80 %", "fraction", 0.8),
        ("80%", "fraction", 0.8),
        ("0.8", "fraction", 0.8),
        (0.75, "fraction", 0.75),
        (1, "fraction", 1.0),
        ("2 W/cm²", "heat_flux", 2e4),
        ("870 kg/m^3", "density", 870.0),
        ("870 kg m-3", "density", 870.0),
        ("870 kg/m**3", "density", 870.0),
        ("5 km/h", "speed", 5 / 3.6),
        ("90 min", "duration", 5400.0),
        ("1 hr", "duration", 3600.0),
        ("60 Ah", "charge", 60.0),
        ("62 kJ/K", "heat_capacity", 62000.0),
    ],
)
def test_ordinary_spellings_are_read(text: str | float, kind: str, value: float) -> None:
    # published: SI prefixes and accepted units, NIST SP 811 tables 5 and 6; exact.
    assert quantities.parse(text, kind) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "watts"),
    [("1.250 kW", 1250.0), ("0.500 W", 0.5), ("439.607 W", 439.607), ("18.5 W", 18.5)],
)
def test_a_point_that_cannot_stand_for_thousands_is_a_decimal_point(
    text: str, watts: float
) -> None:
    assert quantities.parse(text, "power") == pytest.approx(watts, rel=1e-15)


def test_a_round_number_of_litres_is_the_nearest_number_of_cubic_metres() -> None:
    assert quantities.parse("18 L", "volume") == 0.018


@pytest.mark.parametrize(
    ("value", "kind", "told"),
    [
        ("18", "volume", "add a unit, as in '18 L'"),
        ("18", "mass", "'130 lb'"),
        (18, "volume", "a bare number"),
        (18.5, "temperature", "a bare number"),
        ("18 kg", "volume", "a unit of something else"),
        ("6 kWh", "power", "a unit of something else"),
        ("20 K", "power", "a unit of something else"),
        ("18 apples", "volume", "unknown unit 'apples'"),
        ("20,000 W", "power", "a comma"),
        ("1/0 in", "length", "unit"),
        ("5,5 kW", "power", "a comma"),
        ("20.000 BTU/h", "power", "either 20000 BTU/h or 20 BTU/h"),
        ("18.000 W", "power", "either 18000 W or 18 W"),
        ("18.500W", "power", "either 18500 W or 18.5 W"),
        ("1.250 cfm", "air_flow", "either 1250 cfm or 1.25 cfm"),
        ("kW", "power", "no number first; start with one, as in '6 kW'"),
        ("", "power", "start with one"),
        ("6 kW or so", "power", "unit"),
        ("5 9**9**9**9", "mass", "unreadable unit"),
        ("5 kg**99999", "mass", "unreadable unit"),
        ("5 (", "mass", "unreadable unit"),
        ("5 kg)", "mass", "unreadable unit"),
        ("5 __import__", "mass", "unit"),
        ("5 kg;", "mass", "unreadable unit"),
        ("-3 L", "volume", "cannot be below 0 m3"),
        ("-300 degC", "temperature", "cannot be below -273.15 degC"),
        ("1e999 kg", "mass", "finite"),
        (math.nan, "fraction", "finite"),
        (math.inf, "fraction", "finite"),
        ("50 L", "fraction", "use % or a bare number"),
        (True, "fraction", "bool"),
        (None, "mass", "NoneType"),
        ("1" * 80 + " kg", "mass", "83 characters"),
        ("80 % %", "fraction", "unit"),
    ],
)
def test_what_is_no_such_quantity_is_refused_in_one_line(
    value: object, kind: str, told: str
) -> None:
    with pytest.raises(UnitError) as caught:
        quantities.parse(value, kind)  # type: ignore[arg-type]
    message = str(caught.value)
    assert told in message
    assert "\n" not in message
    assert f"a{'n' if kind[0] in 'aeiou' else ''} {kind.replace('_', ' ')} such as" in message


def test_an_unknown_kind_or_system_is_our_own_callers_mistake() -> None:
    with refused(UsageError, "units"):
        quantities.parse("1 kg", "heft")
    with refused(UsageError, "system of units"):
        quantities.show(1.0, "mass", "imperial")


def _outcome(text: str, kind: str) -> float | UnitError:
    try:
        return quantities.parse(text, kind)
    except UnitError as error:
        return error


@given(st.text(max_size=30), st.sampled_from(quantities.KINDS))
def test_no_text_does_anything_but_parse_or_be_refused(text: str, kind: str) -> None:
    outcome = _outcome(text, kind)
    assert outcome.where == repr(text) if isinstance(outcome, UnitError) else math.isfinite(outcome)


@given(
    st.integers(min_value=0, max_value=9).map(lambda n: f"{n}.{n} "),
    st.lists(
        st.sampled_from(["kg", "m", "/", "*", " ", "^2", "3", "degC", "(", ")", "%", "W"]),
        max_size=6,
    ),
)
def test_no_heap_of_unit_words_does_anything_else_either(number: str, words: list[str]) -> None:
    outcome = _outcome(number + "".join(words), "mass")
    assert "mass" in outcome.expected if isinstance(outcome, UnitError) else math.isfinite(outcome)


@pytest.mark.parametrize(
    ("value", "kind", "si", "us"),
    [
        (6000.0, "power", "6.00 kW", "20,500 BTU/h"),
        (999.7, "power", "1.00 kW", "3410 BTU/h"),
        (-500.0, "power", "-500 W", "-1710 BTU/h"),
        (0.0, "power", "0 W", "0 BTU/h"),
        (105.5, "conductance", "106 W/K", "200 BTU/(h °F)"),
        (55.5556, "temperature_difference", "55.6 K", "100 °F"),
        (71.1111, "temperature", "71.1 °C", "160 °F"),
        (-0.01, "temperature", "0.0 °C", "32 °F"),
        (0.018, "volume", "18.0 L", "4.76 gal"),
        (2e-4, "flow", "12.0 L/min", "3.17 gpm"),
        (0.805, "fraction", "80.5 %", "80.5 %"),
        (90.0, "duration", "90.0 s", "90.0 s"),
        (1800.0, "duration", "30.0 min", "30.0 min"),
        (101325.0, "pressure", "101 kPa", "14.7 psi"),
        (350.0, "altitude", "350 m", "1150 ft"),
        (math.nan, "power", "unknown", "unknown"),
    ],
)
def test_values_are_shown_with_three_digits_and_their_unit(
    value: float, kind: str, si: str, us: str
) -> None:
    assert quantities.show(value, kind) == si
    assert quantities.show(value, kind, "us") == us


@given(
    st.floats(min_value=1e-3, max_value=1e6),
    st.sampled_from([k for k in quantities.KINDS if k != "temperature_difference"]),
    st.sampled_from(quantities.SYSTEMS),
)
def test_what_is_shown_reads_back_to_the_shown_digits(value: float, kind: str, system: str) -> None:
    back = quantities.parse(quantities.show(value, kind, system, digits=9), kind)
    if kind == "temperature":
        assert abs(back - value) < 0.06
    else:
        assert back == pytest.approx(value, rel=1e-8)


def test_a_tables_numbers_are_in_the_unit_its_heading_names() -> None:
    assert quantities.shown_unit("power", largest=8000.0) == "kW"
    assert quantities.to_shown(500.0, "power", largest=8000.0) == 0.5
    assert quantities.shown_unit("temperature", "us") == "°F"
    # published: 71.1111 °C is 160 °F, NIST SP 811 B.8.
    assert quantities.to_shown(71.1111, "temperature", "us") == pytest.approx(160.0, abs=1e-4)


def test_pint_is_not_paid_for_before_it_is_used() -> None:
    code = "import sys, wattsump_logger.machine.profile; print('pint' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


@pytest.mark.parametrize(
    ("text", "kind", "inside"),
    [
        # published: NIST SP 811, B.8: Btu_IT/h 0.2930711 W, inch 0.0254 m exactly
        ("20,000 BTU/h", "power", 20_000 * 0.2930711),
        ("20 MBH", "power", 20_000 * 0.2930711),
        ("1,250.5 Btu/h", "power", 1250.5 * 0.2930711),
        ("3/4 in", "length", 0.75 * 0.0254),
        ("1 1/2 in", "length", 1.5 * 0.0254),
        ('1-1/4"', "length", 1.25 * 0.0254),
        # published: NIST SP 811, B.8: gallon 3.785412e-3 m³
        ("5 1/2 gal", "volume", 5.5 * 3.785412e-3),
    ],
)
def test_numbers_as_labels_and_fittings_print_them_are_read(
    text: str, kind: str, inside: float
) -> None:
    # tolerance: the source's seven digits
    assert quantities.parse(text, kind) == pytest.approx(inside, rel=2e-7)
