"""A real rig whose cooler was swapped: oil side, temperatures, and what each can tell."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.codes import codes
from checkout import ROOT, script
from wattsump_analysis.proof.prove import prove
from wattsump_analysis.results import Proof, Verdict
from wattsump_logger.session.reader import Session, load_session

RIG = ROOT / "sample-data" / "rig"
TEMPERATURES = ("tank_c", "ambient_c")


def without(session: Session, *, keep: tuple[str, ...]) -> Session:
    columns = {name: values for name, values in session.columns.items() if name in keep}
    return replace(session, columns=columns)


@pytest.fixture(scope="module")
def session() -> Session:
    return load_session(RIG / "rig.csv")


@pytest.fixture(scope="module")
def whole(session: Session) -> Proof:
    return prove(session)


@pytest.fixture(scope="module")
def temperatures(session: Session) -> Proof:
    return prove(without(session, keep=TEMPERATURES))


def test_the_session_is_what_its_script_makes_of_the_published_rows(tmp_path: Path) -> None:
    made = script(RIG / "make_session.py").main(tmp_path)
    assert made.read_bytes() == (RIG / "rig.csv").read_bytes()


def test_the_air_lies_where_the_cooling_efficiency_puts_it(session: Session) -> None:
    air = session.columns["ambient_c"]
    # independent: (TS3 - TS4) / CE by hand over the rows of each window; the first row, in
    # which the cooler is still cold, and the one row between the windows stand apart.
    assert air[1:53].min() > 21.4
    assert air[1:53].max() < 22.7
    # independent: as above.
    assert air[54:].min() > 24.3
    assert air[54:].max() < 25.3


def test_the_oil_side_gives_the_specific_dissipation_at_both_settings(whole: Proof) -> None:
    first, second = (segment.oil_side_w_k for segment in whole.segments)
    assert first is not None
    assert second is not None
    # independent: cooling power over (TS3 - air) by the rig's own columns, cycles 45 to 53.
    assert first.value == pytest.approx(49.4, rel=0.02)
    # independent: the same, cycles 760 to 768.
    assert second.value == pytest.approx(67.7, rel=0.02)


def test_no_fit_runs_across_the_swap(whole: Proof) -> None:
    swap_s = 732 * 60.0
    assert len(whole.segments) == 2
    assert all(s.end_s <= swap_s or s.start_s >= swap_s for s in whole.segments)
    assert "cut-mark" in codes(whole.notes)


def test_without_its_mark_the_swap_is_still_not_blended_in(session: Session) -> None:
    unmarked = replace(session, marks=())
    proof = prove(without(unmarked, keep=(*TEMPERATURES, "motor_w")))
    assert [s.end_s < 4000 or s.start_s > 43000 for s in proof.segments] == [True, True]


def test_temperatures_alone_give_ratios_only_and_say_so(temperatures: Proof) -> None:
    assert temperatures.verdict is Verdict.CANNOT_TELL
    assert temperatures.k_w_k is None
    assert temperatures.k_refers_to == "tank oil"
    assert temperatures.ledger is None
    assert codes(temperatures.reasons) == ["no-scale"]
    for segment in temperatures.segments:
        assert segment.k_w_k is None
        assert segment.capacity_j_k is None
        assert segment.heat_in_w is None


def test_temperatures_alone_give_the_time_constants(temperatures: Proof) -> None:
    warm_up, after = (fit.tau_s for fit in temperatures.phase_fits)
    # independent: nonlinear least squares on TS1, cycles 2 to 53: 828 s (error 6 s). Two
    # minutes are left out here after every switch, which moves it by 1 %.
    assert warm_up.value == pytest.approx(828.0, rel=0.02)
    # independent: the same, cycles 735 to 768: 659 s (error 7 s).
    assert after.value == pytest.approx(659.0, abs=3.0)
    # The residuals follow one another (0.6 to 0.8), so the honest interval is far wider.
    assert warm_up.high - warm_up.low > 4 * 6.0


def test_the_warm_up_of_the_rig_is_not_one_exponential(temperatures: Proof) -> None:
    assert not temperatures.phase_fits[0].trusted
    why = temperatures.phase_fits[0].why
    assert why is not None
    assert why.code == "not-exponential"


def test_the_oil_side_as_known_heat_gives_the_capacity(whole: Proof) -> None:
    for segment in whole.segments:
        assert segment.capacity_j_k is not None
        # independent: three other ways to the rig's capacity give 49 to 65 kJ/K.
        assert 49e3 < segment.capacity_j_k.value < 65e3
        assert segment.capacity_j_k.low < 49e3
        assert segment.capacity_j_k.high > 65e3


def test_the_change_of_k_by_temperatures_overlaps_that_of_the_oil_side(whole: Proof) -> None:
    first = whole.segments[0].oil_side_w_k
    oil, thermal = (route.k_w_k for route in whole.routes)
    assert first is not None
    change_oil, change = oil.value - first.value, thermal.value - first.value
    # independent: 67.7 - 49.4 = 18.3 W/K by the rig's own columns.
    assert change_oil == pytest.approx(18.3, abs=0.5)
    # independent: as above; the thermal interval is wide because the shell's loss is unknown.
    assert change == pytest.approx(18.3, rel=0.25)
    assert thermal.low < oil.high
    assert oil.low < thermal.high


def test_the_rig_s_own_cooler_circuit_is_recognised(whole: Proof) -> None:
    assert whole.k_refers_to == "oil into the cooler"
    assert "own-circuit" in codes(whole.cautions)


def test_the_same_seed_gives_the_same_answer(session: Session, temperatures: Proof) -> None:
    again = prove(without(session, keep=TEMPERATURES))
    assert [s.k_over_c_per_s for s in again.segments] == [
        s.k_over_c_per_s for s in temperatures.segments
    ]
    assert np.array_equal(again.series_s, temperatures.series_s)
