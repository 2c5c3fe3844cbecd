"""Pictures: no peak is lost, nothing changes from run to run, every line has its name."""

import itertools
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from matplotlib.axes import Axes

from analysis import proof_fixture
from refusal import refused
from wattsump_analysis.commands.prove import Proved
from wattsump_analysis.reading.samples import Samples
from wattsump_analysis.results import Proof
from wattsump_analysis.show.plots import outing
from wattsump_analysis.show.plots.files import inline_svg, save
from wattsump_analysis.show.plots.pens import MOST_BUCKETS, decimate
from wattsump_logger.errors import UsageError
from wattsump_logger.session.reader import load_session, write_session

DRAWERS = (outing.plot_outing, outing.plot_ledger, outing.plot_label, outing.plot_residuals)


def words(axes: Axes) -> list[str]:
    return [text.get_text() for text in axes.texts]


@given(
    arrays(np.float64, st.integers(0, 400), elements=st.floats(-50, 150, width=16)),
    st.integers(1, 40),
)
def test_thinning_keeps_the_highest_and_lowest_of_each_stretch_and_the_ends(
    y: np.ndarray[tuple[int], np.dtype[np.float64]], buckets: int
) -> None:
    x = np.arange(y.size, dtype=np.float64)
    thin_x, thin_y = decimate(x, y, buckets)
    assert thin_x.size <= max(y.size, 5 * buckets)
    assert np.array_equal(y[thin_x.astype(int)], thin_y)
    if y.size <= 5 * buckets:
        assert thin_x.size == y.size
        return
    for part in np.split(np.arange(y.size), np.linspace(0, y.size, buckets + 1).astype(int)[1:-1]):
        kept = thin_y[(thin_x >= part[0]) & (thin_x <= part[-1])]
        assert kept.max() == y[part].max()
        assert kept.min() == y[part].min()
        assert (kept[0], kept[-1]) == (y[part[0]], y[part[-1]])


@pytest.mark.parametrize("at", [0, 1, 77_777, 1_000_000, 1_999_999])
def test_one_hot_sample_in_two_million_is_drawn(at: int) -> None:
    y = np.full(2_000_000, 60.0)
    y[at] = 97.25
    x = np.arange(y.size, dtype=np.float64)
    thin_x, thin_y = decimate(x, y)
    assert thin_x[np.argmax(thin_y)] == at
    assert thin_y.max() == y[at]
    assert thin_x.size <= 5 * MOST_BUCKETS


def test_a_gap_stays_a_gap_and_hides_no_peak_beside_it() -> None:
    y = np.full(10_000, 50.0)
    y[4000:4400] = np.nan
    y[4401] = 80.0
    thin_x, thin_y = decimate(np.arange(10_000.0), y, 100)
    assert np.isnan(thin_y[(thin_x >= 4000) & (thin_x < 4400)]).all()
    assert np.nanmax(thin_y) == y[4401]


def test_a_stretch_of_gaps_alone_is_no_trouble() -> None:
    _, thin_y = decimate(np.arange(1000.0), np.full(1000, np.nan), 10)
    assert np.isnan(thin_y).all()


def samples_of(proof: Proof, **temps_c: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Samples:
    """Readings as of the proof's own series, with the fan on all the time."""
    return Samples(
        elapsed_s=proof.series_s,
        temps_c={**proof.series_c, **temps_c},
        fan=np.ones_like(proof.series_s),
        engine=None,
        moving=None,
        heater_w=None,
        flow_m3_s=None,
        notes=(),
    )


def test_a_spike_is_a_cross_and_sets_no_axis_and_one_beyond_it_keeps_its_figure() -> None:
    proof = proof_fixture.falls_short()
    tank = proof.series_c["tank"].copy()
    tank[100] = 412.0
    axes = outing.plot_outing(proof, samples=samples_of(proof, tank=tank))
    low, high = axes.get_ylim()
    assert high < 100.0
    crosses = [line for line in axes.lines if line.get_marker() == "x"]
    heights = [float(np.asarray(line.get_ydata()).item()) for line in crosses]
    assert high in heights
    assert all(low <= height <= high for height in heights)
    assert "412" in words(axes)


def test_the_upright_axis_fits_what_is_drawn() -> None:
    proof = replace(proof_fixture.falls_short(), limits_c={"oil_warn": 66.0, "oil_max": 150.0})
    low, high = outing.plot_outing(proof).get_ylim()
    seen = np.concatenate(list(proof.series_c.values()))
    size = seen.max() - seen.min()
    assert seen.min() - 0.15 * size < low < seen.min()
    assert seen.max() < high < seen.max() + 0.15 * size


def test_the_outing_names_each_line_limit_and_phase_and_has_units_on_its_axes() -> None:
    proof = proof_fixture.falls_short()
    axes = outing.plot_outing(proof, samples=samples_of(proof))
    said = words(axes)
    for name in ("tank", "cooler in", "cooler out", "ambient", "fan", "soak"):
        assert name in said
    assert "oil warning\n66.0 °C" in said
    assert axes.get_ylabel() == "temperature, °C"
    assert axes.get_xlabel() == "minutes into the outing"
    assert outing.plot_outing(proof, units="us").get_ylabel() == "temperature, °F"


def test_marks_are_named_on_the_picture_and_those_without_room_are_handed_back() -> None:
    few = replace(proof_fixture.falls_short(), marks=((600.0, "fan-off-rise"), (660.0, "load")))
    axes = outing.plot_outing(few)
    assert {"fan off rise", "load"} <= set(words(axes))
    assert outing.unnamed_marks(axes, few.marks) == []
    crowd = tuple((600.0 + second, f"press {second}") for second in range(40))
    many = replace(few, marks=crowd)
    axes = outing.plot_outing(many)
    left = outing.unnamed_marks(axes, crowd)
    named = [text for text in words(axes) if text.startswith("press")]
    assert 0 < len(left) < len(crowd)
    assert sorted((*named, *(text for _, text in left))) == sorted(text for _, text in crowd)


@pytest.mark.parametrize("lasting", [1, 5])
def test_a_hot_reading_of_a_session_reaches_the_picture(tmp_path: Path, lasting: int) -> None:
    tank = np.full(9000, 58.0)
    tank[3131 : 3131 + lasting] = 93.0
    write_session(tmp_path / "a.csv", np.arange(9000.0), {"tank_c": tank})
    proved = Proved(proof=proof_fixture.falls_short(), outing=load_session(tmp_path / "a.csv"))
    axes = outing.plot_outing(proved.proof, samples=proved.samples())
    drawn = np.concatenate([np.asarray(line.get_ydata(), dtype=float) for line in axes.lines])
    assert np.nanmax(drawn) == tank.max() or "93" in words(axes)


def test_lines_differ_without_colour() -> None:
    proof = proof_fixture.falls_short()
    axes = outing.plot_outing(replace(proof, limits_c={}, marks=()))
    looks = {(str(line._unscaled_dash_pattern), line.get_linewidth()) for line in axes.lines}  # type: ignore[attr-defined] # the only place that tells custom dashes
    assert len(looks) == len(proof.series_c)


def test_the_ledger_draws_heat_in_with_its_band_and_where_it_went() -> None:
    axes = outing.plot_ledger(proof_fixture.falls_short())
    assert {"into the oil", "cooler", "shell", "stored"} <= set(words(axes))
    assert axes.get_ylabel() == "heat, kW"
    assert len(axes.collections) > 0


def test_the_label_stands_at_its_own_temperature_difference() -> None:
    axes = outing.plot_label(proof_fixture.falls_short())
    diamond = next(line for line in axes.lines if line.get_marker() == "D")
    assert np.asarray(diamond.get_xdata()).item() == 55
    assert np.asarray(diamond.get_ydata()).item() == 6


def test_a_label_without_a_difference_stands_where_it_would_be_true() -> None:
    proof = proof_fixture.without_etd()
    axes = outing.plot_label(proof)
    diamond = next(line for line in axes.lines if line.get_marker() == "D")
    assert proof.k_w_k is not None
    assert np.asarray(diamond.get_xdata()).item() == pytest.approx(6000 / proof.k_w_k.value)
    assert any("true at" in text for text in words(axes))


@pytest.mark.parametrize("draw", DRAWERS)
def test_given_axes_are_drawn_on_and_returned(draw: "type[outing.plot_outing]") -> None:  # type: ignore[valid-type] # a function stands for its type
    axes = outing.new_axes(5.0, 4.0)
    assert draw(proof_fixture.falls_short(), axes) is axes  # type: ignore[misc]


@pytest.mark.parametrize("draw", DRAWERS)
@pytest.mark.parametrize("make", [proof_fixture.falls_short, proof_fixture.cannot_tell])
def test_the_same_proof_gives_the_same_bytes(draw: object, make: object) -> None:
    first, second = (inline_svg(draw(make()), "a", "x") for _ in range(2))  # type: ignore[operator]
    assert first == second


def test_pyplots_global_state_is_left_alone() -> None:
    outing.plot_outing(proof_fixture.falls_short())
    module = sys.modules.get("matplotlib.pyplot")
    assert module is None or module.get_fignums() == []


@pytest.mark.parametrize(
    ("ending", "begins"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")]
)
def test_a_picture_is_written_in_the_format_of_its_name(
    tmp_path: Path, ending: str, begins: bytes
) -> None:
    path = tmp_path / f"outing.{ending}"
    save(outing.plot_outing(proof_fixture.falls_short()), path)
    before = path.read_bytes()
    save(outing.plot_outing(proof_fixture.falls_short()), path)
    assert before.startswith(begins)
    assert path.read_bytes() == before


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with refused(UsageError, "picture"):
        save(outing.plot_outing(proof_fixture.falls_short()), tmp_path / "outing.bmp")


def test_a_missing_folder_is_one_line(tmp_path: Path) -> None:
    with refused(UsageError, "outing.svg"):
        save(outing.plot_outing(proof_fixture.falls_short()), tmp_path / "no" / "outing.svg")


def test_names_at_the_ends_of_lines_are_moved_apart_and_stay_in_order() -> None:
    moved = outing.spread([10.0, 10.1, 10.2, 40.0], [2.0] * 4)
    assert all(b - a > 1.99 for a, b in itertools.pairwise(moved))
    assert moved[3] == 40


@pytest.mark.parametrize("size", [(9.0, 4.2), (4.2, 5.0)])
def test_no_word_on_the_outing_lies_on_another(size: tuple[float, float]) -> None:
    proof = proof_fixture.falls_short()
    axes = outing.plot_outing(proof, outing.new_axes(*size), samples=samples_of(proof))
    drawing = axes.get_figure(root=True)
    assert drawing is not None
    drawing.draw_without_rendering()
    written = [text for text in axes.texts if not text.get_text().isdigit()]
    boxes = [text.get_window_extent() for text in written]
    named = " ".join(text.get_text().replace("\n", " ") for text in written)
    for name in ("soak", "warm-up", "fan on", "steady work", "stopped cool-down"):
        assert name in named
    assert len(boxes) >= 4 + 2 + 1 + 5  # lines, limits, the fan, phases of which four go together
    overlapping = [
        (one.get_text(), other.get_text())
        for (one, a), (other, b) in itertools.combinations(zip(written, boxes, strict=True), 2)
        if a.overlaps(b)
    ]
    assert overlapping == []


def test_the_svg_of_a_page_has_its_words_its_own_ids_and_colours_by_name() -> None:
    text = inline_svg(outing.plot_label(proof_fixture.falls_short()), "label", 'a "b" <c>')
    assert 'role="img" aria-label="a &quot;b&quot; &lt;c&gt;"' in text
    assert 'id="axes_1"' not in text
    assert 'id="label-axes_1"' in text
    assert "var(--ink-limit)" in text
    assert not any(colour in text for colour in outing.INKS.values())
    assert "<style" not in text


def drawn_nothing(proof: Proof) -> list[str]:
    return [words(draw(proof))[0] for draw in DRAWERS[1:]]


def test_what_is_not_known_is_said_in_place_of_a_picture() -> None:
    said = drawn_nothing(proof_fixture.cannot_tell())
    assert [text.split(":")[0] for text in said] == [
        "no watts",
        "no watts per degree to draw",
        "no fit to compare with",
    ]


def test_a_mark_of_the_program_is_in_the_units_of_the_axis() -> None:
    marks = ((600.0, "alarm: tank above 82 degC (83.0 degC)"),)
    axes = outing.plot_outing(replace(proof_fixture.falls_short(), marks=marks), units="us")
    assert "180 °F (181.4 °F)" in " ".join(words(axes))
