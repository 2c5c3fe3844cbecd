"""What a proof and a profile leave known, and draws from it."""

import math
import pickle
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis import proof_fixture
from analysis.codes import codes
from checkout import BRACKEN
from refusal import refused
from wattsump_analysis.proof.proof_json import (
    proof_data,
    proof_from_data,
    proof_from_file,
    proof_text,
)
from wattsump_analysis.questions.answer import Figure
from wattsump_analysis.questions.givens import (
    Givens,
    MissingError,
    capacity_of,
    draws,
    from_samples,
    givens_from,
    needed,
)
from wattsump_analysis.results import Proof, Segment
from wattsump_logger.errors import UsageError


def figure(value: float, low: float, high: float) -> Figure:
    return Figure(value=value, kind="conductance", low=low, high=high)


@pytest.mark.parametrize("make", [proof_fixture.falls_short, proof_fixture.cannot_tell])
def test_a_proof_is_read_back_as_it_was_written(make: Callable[[], Proof], tmp_path: Path) -> None:
    (tmp_path / "proof.json").write_text(proof_text(make()), encoding="utf-8")
    assert proof_text(proof_from_file(tmp_path / "proof.json")) == proof_text(make())


def test_what_is_known_is_what_the_proof_says() -> None:
    proof = proof_fixture.falls_short()
    givens, segment = Givens.of(proof), proof.segments[-1]
    assert givens.k_w_k is not None
    assert proof.k_w_k is not None
    assert (givens.k_w_k.low, givens.k_w_k.high) == (proof.k_w_k.low, proof.k_w_k.high)
    assert givens.capacity_j_k is not None
    assert segment.capacity_j_k is not None
    assert givens.capacity_j_k.value == segment.capacity_j_k.value
    assert proof.ledger is not None
    assert givens.heat_p90_w is not None
    assert givens.heat_p90_w.value == proof.ledger.working_p90_w
    assert givens.k_refers_to == "oil into the cooler"
    assert givens.tank_c is proof.series_c["tank"]


def test_a_quantile_of_the_load_keeps_the_relative_interval_of_the_heat() -> None:
    givens = Givens.of(proof_fixture.falls_short())
    assert givens.heat_w is not None
    assert givens.heat_p90_w is not None
    assert givens.heat_p90_w.u_log == pytest.approx(givens.heat_w.u_log)


def test_a_proof_that_could_not_tell_leaves_things_unknown() -> None:
    givens = Givens.of(proof_fixture.cannot_tell())
    with pytest.raises(MissingError) as caught:
        needed("forecast", measured=givens.k_w_k, other_air_flow=None)
    assert caught.value.options == ("measured", "other_air_flow")
    assert pickle.loads(pickle.dumps(caught.value)).options == caught.value.options


def test_the_last_stretch_speaks_where_something_was_swapped() -> None:
    proof = proof_fixture.falls_short()
    segment = proof.segments[0]
    assert segment.shell_w_k is not None
    other = replace(segment, shell_w_k=replace(segment.shell_w_k, value=20.0, low=18.0, high=22.0))
    givens = Givens.of(replace(proof, segments=(segment, other)))
    assert givens.shell_w_k is not None
    assert givens.shell_w_k.value == 20.0
    assert codes(givens.notes) == ["last-stretch-used"]


@pytest.mark.parametrize("broken", [{"segments": [3]}, {"k_w_k": {"value": 3.0}}, {"peaks_c": 4}])
def test_a_part_of_another_form_is_refused(broken: dict[str, object]) -> None:
    with refused(UsageError, "proof"):
        proof_from_data(proof_data(proof_fixture.falls_short()) | broken)


def test_the_profile_stands_in_for_what_was_not_measured() -> None:
    givens = givens_from(None, BRACKEN)
    assert givens.capacity_j_k is not None
    # independent: 18 L x 1.69 MJ/(m³ K) (Cragoe's cp 1959 and 862 kg/m³ at 30 °C, by hand) and
    # 24 kg steel, 34 kg iron, 4 kg aluminium at handbook 0.45 to 0.92 kJ/(kg K); 5 % between
    # handbooks.
    assert givens.capacity_j_k.value == pytest.approx(61_500.0, rel=0.05)
    assert codes(givens.notes) == ["capacity-from-profile"]
    measured = givens_from(Givens.of(proof_fixture.falls_short()), BRACKEN)
    assert measured.capacity_j_k is not None
    assert measured.capacity_j_k.value == proof_fixture.CAPACITY_J_K
    assert measured.notes == ()


def test_the_profiles_capacity_has_an_interval_of_its_stated_uncertainties() -> None:
    result = capacity_of(BRACKEN)
    assert result is not None
    assert 0.02 < result.u_log < 0.08


def test_a_machine_without_listed_metal_has_no_capacity() -> None:
    assert capacity_of(replace(BRACKEN, metal=())) is None


def test_draws_have_the_median_and_spread_they_were_asked_for() -> None:
    (drawn,) = draws(figure(100.0, 90.0, 100.0**2 / 90.0))
    result = from_samples(drawn, "conductance")
    # 4000 draws: the standard error of a quantile's log is about 2 % of its spread.
    # independent: the quantiles that were asked for; sampling error as below.
    assert result.value == pytest.approx(100.0, rel=0.005)
    assert result.low == pytest.approx(90.0, rel=0.01)


def test_one_scale_cancels_in_a_ratio_and_two_scales_add() -> None:
    heat, cooler = figure(3400.0, 3100.0, 3400.0**2 / 3100.0), figure(95.0, 86.6, 95.0**2 / 86.6)
    shared = np.divide(*draws(heat, cooler))
    separate = np.divide(*draws(heat, cooler, one_scale=False))
    # JCGM 100, equation 12: relative uncertainties of a quotient add in quadrature when separate.
    together = math.hypot(heat.u_log, cooler.u_log)
    assert float(np.std(np.log(separate))) == pytest.approx(together, rel=0.05)
    assert float(np.std(np.log(shared))) < 0.1 * together


def test_a_figure_without_an_interval_is_drawn_constant() -> None:
    constant, drawn = draws(Figure(value=3.0, kind="number"), figure(2.0, 1.0, 4.0))
    assert np.all(constant == 3.0)
    assert np.std(drawn) > 0.0


def test_draws_are_the_same_every_time() -> None:
    one, two = draws(figure(2.0, 1.0, 4.0)), draws(figure(2.0, 1.0, 4.0))
    assert np.array_equal(one[0], two[0])


def test_never_among_the_draws_stays_never() -> None:
    result = from_samples(np.array([60.0] * 60 + [math.inf] * 40), "duration")
    assert result.value == 60.0
    assert result.high == math.inf


def test_the_inlets_lead_over_the_tank_is_seen_at_warm_work() -> None:
    proof = proof_fixture.falls_short()
    givens = Givens.of(proof)
    # The proof was made with an inlet 0.6/340 K per watt of heat above the tank, at 2.9 and 3.4 kW.
    assert 2900.0 * 0.6 / 340.0 - 0.2 < givens.inlet_above_tank_k < 3400.0 * 0.6 / 340.0 + 0.2
    from_tank = Givens.of(replace(proof, k_refers_to="tank oil"))
    assert from_tank.inlet_above_tank_k == 0.0
    unseen = Givens.of(replace(proof, phases=()))
    assert unseen.inlet_above_tank_k == 0.0


def test_heat_and_capacity_are_of_the_stretch_that_gave_k() -> None:
    proof = proof_fixture.falls_short()
    segment = proof.segments[0]
    assert segment.capacity_j_k is not None
    later = replace(
        segment, k_w_k=None, capacity_j_k=replace(segment.capacity_j_k, value=1.0), heat_in_w=None
    )
    givens = Givens.of(replace(proof, segments=(segment, later)))
    assert givens.capacity_j_k is not None
    assert givens.capacity_j_k.value == segment.capacity_j_k.value
    assert givens.heat_w is not None


def test_the_note_names_the_stretch_that_is_used() -> None:
    proof = proof_fixture.falls_short()
    segment = proof.segments[0]
    without = replace(segment, capacity_j_k=None)
    other = replace(segment, k_w_k=None)

    def note(*segments: Segment) -> str:
        (note,) = Givens.of(replace(proof, segments=segments)).notes
        return note.text

    # The stretch that gave K has no heat capacity in the second, so another one is used.
    assert note(segment, other) != note(without, other, other)
