"""Converter words against the datasheets' printed rows and an independent thermocouple library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_logger.errors import RangeError, UsageError
from wattsump_logger.thermocouples import converters as cv
from wattsump_logger.thermocouples.emf import emf_mv, temperature_c
from wattsump_logger.thermocouples.registers import PARTS

SLOPES_UV_PER_K = PARTS["max31855"].slopes_uv_per_k or {}


def _linear_report(word: int) -> float:
    return float((((word >> 18) ^ 0x2000) - 0x2000) * 0.25)


# published: MAX31855 datasheet, tables 2 to 5 (hot and cold codes), joined to whole words.
_MAX31855_WORDS = [
    (100.75, 25.0, 0x064C1900),
    (1600.0, 127.0, 0x64007F00),
    (1000.0, 100.5625, 0x3E806490),
    (25.0, 25.0, 0x01901900),
    (-0.25, -0.0625, 0xFFFCFFF0),
    (-1.0, -1.0, 0xFFF0FF00),
    (-250.0, -55.0, 0xF060C900),
    (71.25, 40.0, 0x04742800),
]


@pytest.mark.parametrize(("hot_c", "cold_c", "word"), _MAX31855_WORDS)
def test_max31855_fields_are_read_as_printed(hot_c: float, cold_c: float, word: int) -> None:
    decoded = cv.decode("max31855", "K", np.array([word]))
    assert decoded.cold_c.tolist() == [cold_c]
    # Undone by the route of the datasheet's own straight line, which is exact in the report.
    outside = not (-40 <= cold_c <= 125) or abs(hot_c) > 1000
    if not outside:
        emf = (hot_c - cold_c) * 0.041276 + float(emf_mv(cold_c, "K"))
        # independent: NIST reference function, inverted; the same arithmetic in one line.
        assert decoded.temp_c[0] == pytest.approx(float(temperature_c(emf, "K")), abs=1e-9)
        assert decoded.fault.tolist() == [""]
    else:
        assert decoded.fault.tolist() == ["cold_range"]
        assert np.isnan(decoded.temp_c[0])


@pytest.mark.parametrize(
    ("word", "fault"),
    [
        ("00011901", "open"),
        ("00011902", "short_ground"),
        ("00011904", "short_supply"),
        ("00011907", "open"),
        ("FFFFFFFF", "bus"),
        ("00000000", "suspect"),
        ("01901908", "bus"),
        ("01921900", "bus"),
        ("01911900", "bus"),
        ("01901901", "bus"),
        ("1901900", "form"),
        ("0190190G", "form"),
        ("0190190a", "form"),
        ("0x901900", "form"),
        (" 1901900", "form"),
        ("01 01900", "form"),
        ("٣1901900", "form"),
        ("", ""),
    ],
)
def test_a_max31855_fault_is_named_and_is_never_a_number(word: str, fault: str) -> None:
    decoded = cv.decode("max31855", "K", [word])
    assert decoded.fault.tolist() == [fault]
    assert np.isnan(decoded.temp_c[0])
    alone = cv.decode_word("max31855", "K", word)
    assert alone[2] == fault
    assert np.isnan(alone[0])


def test_a_reported_fault_still_tells_the_cold_junction() -> None:
    decoded = cv.decode("max31855", "K", ["00011901", "FFFFFFFF"])
    assert decoded.cold_c[0] == 25.0
    assert np.isnan(decoded.cold_c[1])


@pytest.mark.parametrize(
    ("true_c", "cold_c", "report_c"),
    [
        (0, 25, 0.767), (40, 25, 39.816), (71, 25, 70.851), (71, 40, 71.035), (100, 25, 100.007),
        (100, 0, 99.240), (120, 40, 120.146), (150, 25, 149.482), (-40, 25, -36.227),
        (500, 25, 500.919), (1000, 25, 1000.757),
    ],
)  # fmt: skip
def test_the_straight_line_errs_as_it_should_and_is_undone(
    true_c: float, cold_c: float, report_c: float
) -> None:
    word = int(cv.encode("max31855", "K", true_c, cold_c), 16)
    # independent: thermocouples_reference 0.20 through the printed 41.276 µV/K; half a step.
    assert _linear_report(word) == pytest.approx(report_c, abs=0.126)
    found, cold, fault = cv.decode_word("max31855", "K", f"{word:08X}")
    # Half a step of the report, 0.125 K, over the thinnest slope on the way (K at -40 °C).
    assert abs(found - true_c) < 0.125 * 41.276 / 37.0
    assert (cold, fault) == (cold_c, "")
    if abs(report_c - true_c) > 0.5:
        assert abs(_linear_report(word) - true_c) > abs(found - true_c)


@pytest.mark.parametrize("letter", sorted(SLOPES_UV_PER_K))
def test_each_slope_is_the_mean_slope_of_its_thermocouple(letter: str) -> None:
    high_c = 400.0 if letter == "T" else 1000.0
    # independent: NIST reference function over the part's span; slopes have 3 decimals (T 2).
    assert SLOPES_UV_PER_K[letter] == pytest.approx(
        float(emf_mv(high_c, letter)) / high_c * 1e3, abs=0.0011
    )


@pytest.mark.parametrize(
    ("hot_c", "word"),
    [(25, 0x0320), (71.25, 0x08E8), (100, 0x0C80), (100.75, 0x0C98)],
)
def test_max6675_rows_are_read_as_printed(hot_c: float, word: int) -> None:
    decoded = cv.decode("max6675", "K", [f"{word:04X}"])
    emf = (hot_c - 25.0) * 0.041 + float(emf_mv(25.0, "K"))
    # published: MAX6675 datasheet, 0.25 °C a step from D3 on, 41 µV/°C.
    assert decoded.temp_c[0] == pytest.approx(float(temperature_c(emf, "K")), abs=1e-9)
    assert np.isnan(decoded.cold_c[0])


@pytest.mark.parametrize(
    ("word", "fault"),
    [
        ("0004", "open"),
        ("0C84", "open"),
        ("7FF8", "range"),
        ("0000", "suspect"),
        ("0001", "suspect"),
        ("FFFF", "bus"),
        ("8320", "bus"),
        ("0322", "bus"),
        ("032", "form"),
    ],
)
def test_a_max6675_fault_is_named(word: str, fault: str) -> None:
    assert cv.decode("max6675", "K", [word]).fault.tolist() == [fault]


def test_max6675_errs_by_less_than_half_a_kelvin_on_a_cold_or_warm_board() -> None:
    temps = np.arange(30.0, 121.0, 1.0)
    for board_c in (10.0, 25.0, 45.0):
        words = [cv.encode("max6675", "K", float(t), board_c) for t in temps]
        error = cv.decode("max6675", "K", words).temp_c - temps
        # Half a step, and what the unknown board adds.
        assert np.abs(error).max() < 0.13 + 0.5


# published: MAX31856 datasheet's temperature tables, from memory, joined with cold rows.
@pytest.mark.parametrize(
    ("hot_c", "hot", "cold_c", "cold"),
    [
        (1000, 0x3E8000, 125, 0x7D00),
        (100.9375, 0x064F00, 64, 0x4000),
        (25, 0x019000, 25, 0x1900),
        (0.0625, 0x000100, 0.5, 0x0080),
        (0.0078125, 0x000020, 0.015625, 0x0004),
        (0, 0x000000, 25, 0x1900),
        (-0.0625, 0xFFFF00, -0.5, 0xFF80),
        (-0.25, 0xFFFC00, -25, 0xE700),
        (-1, 0xFFF000, -55, 0xC900),
        (-250, 0xF06000, -55, 0xC900),
    ],
)
def test_max31856_rows_are_read_as_printed(
    hot_c: float, hot: int, cold_c: float, cold: int
) -> None:
    word = f"{hot:06X}{cold:04X}00"
    assert cv.decode_word("max31856", "K", word) == (hot_c, cold_c, "")
    assert cv.encode("max31856", "K", hot_c, cold_c) == word


@pytest.mark.parametrize(
    ("status", "fault"),
    [
        (0x01, "open"), (0x02, "short_supply"), (0x80, "cold_range"), (0x40, "range"),
        (0x20, "cold_range"), (0x10, "cold_range"), (0x08, "range"), (0x04, "range"),
        (0x81, "open"),
    ],
)  # fmt: skip
def test_a_max31856_status_bit_is_named(status: int, fault: str) -> None:
    decoded = cv.decode("max31856", "K", [f"0190001900{status:02X}"])
    assert decoded.fault.tolist() == [fault]
    assert np.isnan(decoded.temp_c[0])


# published: MCP9600 DS20005426C, the equation of pages 24 and 26.
@pytest.mark.parametrize(
    ("hot_c", "hot"),
    [
        (1000, "3E80"),
        (100.75, "064C"),
        (25.0625, "0191"),
        (25, "0190"),
        (0.0625, "0001"),
        (-0.0625, "FFFF"),
        (-1, "FFF0"),
        (-62.5, "FC18"),
        (-200, "F380"),
    ],
)
def test_mcp9600_rows_are_read_as_printed(hot_c: float, hot: str) -> None:
    assert cv.decode_word("mcp9600", "K", f"{hot}019040") == (hot_c, 25.0, "")
    assert cv.encode("mcp9600", "K", hot_c, 25.0) == f"{hot}019040"


def test_an_mcp9600_beyond_its_input_range_says_so() -> None:
    assert cv.decode_word("mcp9600", "K", "0190019050")[2] == "range"
    assert cv.decode_word("mcp9600", "K", "FFFFFFFFFF")[2] == "bus"
    assert cv.decode_word("mcp9600", "K", "0000000000")[2] == "suspect"
    assert cv.decode_word("mcp9600", "K", "0190200040")[2] == "cold_range"


def test_mcp9600_cannot_report_an_open_junction_and_the_others_can() -> None:
    assert [name for name, part in PARTS.items() if "open" in part.reports] == [
        "max31855", "max6675", "max31856"
    ]  # fmt: skip
    with refused(UsageError, "fault of mcp9600"):
        cv.encode("mcp9600", "K", 71.0, 25.0, "open")


@pytest.mark.parametrize("source", cv.SOURCES)
@pytest.mark.parametrize("true_c", [71.0, 110.0, 150.0])
def test_a_part_with_the_wrong_probe_on_it_is_put_right(source: str, true_c: float) -> None:
    board_c = 25.0
    seen_mv = float(emf_mv(true_c, "T")) - float(emf_mv(board_c, "T"))
    # What a K part makes of a type T probe: the true temperature at which K gives that emf.
    as_k_c = float(temperature_c(seen_mv + float(emf_mv(board_c, "K")), "K"))
    word = cv.encode(source, "K", as_k_c, board_c)
    found = cv.decode_word(source, "K", word, "T")[0]
    assert abs(found - true_c) < 0.15
    assert abs(as_k_c - true_c) > 1.0


def test_out_of_reach_of_the_thermocouple_is_a_range_fault() -> None:
    # 1500 °C reported on type K, which ends at 1372 °C.
    word = (1500 * 4) << 18 | (25 * 16) << 4
    assert cv.decode("max31855", "K", np.array([word])).fault.tolist() == ["range"]


@pytest.mark.parametrize(
    ("source", "detail"), [("max31855", "B"), ("max6675", "J"), ("max31856", "X"), ("mcp9600", "")]
)
def test_a_part_nobody_makes_gives_no_temperature(source: str, detail: str) -> None:
    assert not cv.supports(source, detail)
    word = "1" * len(cv.encode(source, "K", 71.0, 25.0))
    assert cv.decode(source, detail, [word, ""]).fault.tolist() == ["form", ""]
    assert cv.decode_word(source, detail, word)[2] == "form"
    with pytest.raises(UsageError, match="letters"):
        cv.encode(source, detail, 71.0, 25.0)


def test_an_unknown_converter_or_probe_is_refused() -> None:
    with pytest.raises(UsageError, match="'max1'"):
        cv.decode("max1", "K", ["0"])
    with pytest.raises(UsageError, match="'max1'"):
        cv.decode_word("max1", "K", "0")
    with refused(UsageError, "probe type"):
        cv.decode("max31855", "K", ["01901900"], probe="X")
    assert not cv.supports("max1", "K")


def test_what_cannot_be_encoded_is_refused() -> None:
    with refused(RangeError, "cold junction of max31855"):
        cv.encode("max31855", "K", 71.0, 130.0)
    with refused(RangeError, "type K"):
        cv.encode("max31855", "K", 1400.0, 25.0)
    with refused(UsageError, "fault of max6675"):
        cv.encode("max6675", "K", 71.0, 25.0, "short_ground")


@pytest.mark.parametrize("source", cv.SOURCES)
def test_every_fault_that_can_be_injected_is_read_back(source: str) -> None:
    faults = ["form", "bus", "suspect", *(f for f in cv.FAULTS[4:] if _can(source, f))]
    words = [cv.encode(source, "K", 71.0, 25.0, fault) for fault in faults]
    assert cv.decode(source, "K", words).fault.tolist() == faults


def _can(source: str, fault: str) -> bool:
    try:
        cv.encode(source, "K", 71.0, 25.0, fault)
    except UsageError:
        return False
    return True


def test_words_are_the_bytes_that_the_datasheets_print() -> None:
    assert cv.encode("max31856", "T", 71.0, 40.0) == "047000280000"
    assert cv.encode("mcp9600", "K", 71.0, 40.0) == "0470028040"


def test_an_integer_too_wide_for_the_part_is_no_word_of_it() -> None:
    decoded = cv.decode("max6675", "K", np.array([0x10320, -1, 0x0320]))
    assert decoded.fault.tolist() == ["form", "form", ""]


def test_an_empty_column_decodes_to_nothing() -> None:
    assert cv.decode("max31855", "K", []).temp_c.size == 0


@given(
    st.sampled_from([(s, k, p) for s in cv.SOURCES for k in "KT" for p in (None, "J")]),
    st.integers(min_value=0, max_value=2**48 - 1),
)
def test_one_word_alone_gives_the_bits_of_the_whole_column(
    kind: tuple[str, str, str | None], seed: int
) -> None:
    source, detail, probe = kind
    digits = len(cv.encode(source, "K", 71.0, 25.0))
    words = [f"{(seed * step) % 16**digits:0{digits}X}" for step in (1, 3, 5, 7)]
    column = cv.decode(source, detail, words, probe=probe)
    for at, word in enumerate(words):
        temp_c, cold_c, fault = cv.decode_word(source, detail, word, probe)
        assert str(column.fault[at]) == fault
        assert np.array_equal([temp_c, cold_c], [column.temp_c[at], column.cold_c[at]], True)
        assert np.isnan(temp_c) == (fault != "")


@given(
    st.sampled_from("KJTNERS"),
    st.floats(min_value=-20.0, max_value=150.0),
    st.floats(min_value=-20.0, max_value=60.0),
)
def test_what_a_max31855_is_given_comes_back_within_its_steps(
    letter: str, true_c: float, cold_c: float
) -> None:
    word = cv.encode("max31855", letter, true_c, cold_c)
    found, cold, fault = cv.decode_word("max31855", letter, word)
    if fault == "suspect":
        return
    assert fault == ""
    assert abs(cold - cold_c) <= 0.03125
    # Half a step of report and of cold junction, over the slope of the curve there.
    low = min(true_c, cold_c, found)
    slope = float(np.min(np.diff(emf_mv(np.linspace(low - 0.5, 150.5, 200), letter))))
    slope /= (150.5 - low + 0.5) / 199
    step_mv = 0.126 * SLOPES_UV_PER_K[letter] * 1e-3
    assert abs(found - true_c) <= step_mv / slope + 0.15
