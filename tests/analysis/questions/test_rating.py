"""The label question, as typed by a person, against published and hand-worked values."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis import proof_fixture
from analysis.codes import answer_codes, code_of, codes, value
from checkout import BRACKEN
from refusal import refused
from wattsump_analysis.physics.label import word_of
from wattsump_analysis.proof.verdict import check_label
from wattsump_analysis.questions.answer import ESTIMATE, Answer, Figure, temperature
from wattsump_analysis.questions.asked import RatingAsked
from wattsump_analysis.questions.givens import Givens, MissingError, givens_from
from wattsump_analysis.questions.rating import rate
from wattsump_analysis.questions.typed import typed_fields
from wattsump_analysis.results import Verdict
from wattsump_analysis.statistics.intervals import interval
from wattsump_logger.errors import RangeError

DESCRIBED = givens_from(None, BRACKEN)


def ask(givens: Givens | None = None, /, **typed: str) -> Answer:
    return rate(typed_fields(RatingAsked, typed), givens or Givens())


def verdict(answer: Answer) -> str:
    """Return the word of the verdict, which is one of `Verdict`."""
    text = next(remark.text for remark in answer.headline if remark.code == "label-verdict")
    return next(word for word in Verdict if text.startswith(f"Verdict: {word}"))


def test_a_btu_per_minute_at_a_hundred_fahrenheit_is_its_nist_conductance() -> None:
    answer = ask(label_heat="1 BTU/min", label_etd="100 degF")
    # independent: NIST SP 811 factors, 1055.05585262 J/60 s/(100/1.8 K), six digits.
    assert value(answer, "label_w_k") == pytest.approx(0.316517, rel=2e-6)


def test_a_label_without_its_difference_is_read_at_every_basis() -> None:
    table = ask(label_heat="6 kW").table("bases")
    claims = {row[0]: row[2].value for row in table.rows if isinstance(row[2], Figure)}
    # independent: 100 °F, 40 K, 60 °F and 25 K make 108, 150, 180 and 240 W/K of 6 kW, by division.
    assert claims["100 °F entering difference"] == pytest.approx(108.0)
    # independent: as above.
    assert claims["25 K entering difference"] == pytest.approx(240.0)
    assert "40 °F leaving approach" not in claims
    assert any("needs oil flow" in row for row in table.rows)


def test_a_leaving_approach_is_read_once_the_oil_flow_is_known() -> None:
    table = ask(label_heat="6 kW", oil_flow="20 L/min").table("bases")
    row = next(row for row in table.rows if row[0] == "40 °F leaving approach")
    assert isinstance(row[1], Figure)
    # independent: approach 22.2 K plus 6 kW over 1/3000 m³/s x 1.74 MJ/(m³ K) = 580 W/K, so
    # 10.3 K: 32.6 K; the oil's heat is known to 3 %, which is 0.3 K.
    assert row[1].value == pytest.approx(32.6, abs=0.4)


def test_the_difference_that_makes_the_label_true_carries_the_measured_interval() -> None:
    figure = ask(label_heat="6 kW", measured="95 to 115 W/K").row("true_etd_k").figure
    # Heat over conductance, the ends swapped: the stronger cooler needs the smaller difference.
    # independent: 6 kW over either end, by hand.
    assert figure.low == pytest.approx(6000.0 / 115)
    assert figure.high == pytest.approx(6000.0 / 95)


def test_a_cooler_far_below_every_basis_falls_short_without_the_difference_being_known() -> None:
    answer = ask(label_heat="6 kW", measured="50 to 55 W/K")
    assert verdict(answer) == Verdict.FALLS_SHORT
    undecided = ask(label_heat="6 kW", measured="95 to 115 W/K")
    assert verdict(undecided) == Verdict.CANNOT_TELL


def test_a_verdict_needs_an_interval() -> None:
    answer = ask(label_heat="6 kW", label_etd="55 K", measured="100 W/K")
    assert "no-verdict" in answer_codes(answer)
    with pytest.raises(KeyError):
        answer.row("probability_met")


def test_the_probability_is_that_of_the_normal_table() -> None:
    # The label is one standard uncertainty of the logarithm below what was measured.
    u_log = 0.05
    spread = math.exp(1.959964 * u_log)
    claim = 100.0 / math.exp(u_log)
    answer = ask(
        label_heat=f"{claim * 50.0} W",
        label_etd="50 K",
        measured=f"{100.0 / spread} to {100.0 * spread} W/K",
    )
    # published: standard normal table, 0.8413 at one standard deviation; four digits.
    assert value(answer, "probability_met") == pytest.approx(0.8413, abs=5e-5)


def test_a_proof_and_its_rating_say_the_same_chance_in_the_same_word() -> None:
    rng = np.random.default_rng(3)
    # Lopsided, as a posterior is; a log-normal of its interval would say another chance.
    draws = 85.0 + 12.0 * rng.gamma(2.0, 1.0, 400)
    weights = rng.uniform(0.5, 1.5, 400)
    weights /= weights.sum()
    label = check_label(6000.0, 55.0, draws, weights)
    assert label.probability_met is not None
    proof = replace(
        proof_fixture.falls_short(), label=label, k_w_k=interval(draws, weights),
        k_draws_w_k=draws, k_weights=weights,
    )  # fmt: skip
    givens = givens_from(Givens.of(proof), BRACKEN)
    answer = ask(givens)
    # independent: the weight of the draws that meet the label, as the proof counts it.
    assert value(answer, "probability_met") == pytest.approx(label.probability_met, abs=1e-12)
    assert proof.k_w_k is not None
    word = word_of(label.probability_met, proof.k_w_k.half_width_rel)
    assert verdict(answer) == word
    # Another label is held against the same draws.
    other = ask(givens, label_heat="5 kW", label_etd="50 K")
    # independent: as above, 5 kW at 50 K claim 100 W/K.
    assert value(other, "probability_met") == pytest.approx(weights[draws >= 5000 / 50].sum())


def test_a_label_is_held_against_oil_at_the_inlet_also_where_only_the_tank_was_read() -> None:
    draws, weights = np.linspace(70.0, 90.0, 400), np.full(400, 1 / 400)
    proof = replace(
        proof_fixture.falls_short(), label=check_label(6000.0, 55.0, draws, weights),
        k_w_k=proof_fixture.near(107.0, 0.2), k_refers_to="tank oil",
        k_draws_w_k=draws, k_weights=weights,
    )  # fmt: skip
    answer = ask(givens_from(Givens.of(proof), BRACKEN))
    # independent: the middle of the draws over 6000 W at 55 K, as the proof counts it.
    assert value(answer, "share") == pytest.approx(80.0 / (6000.0 / 55.0), rel=1e-3)
    assert verdict(answer) == "falls short"


def test_a_range_too_wide_for_a_word_says_so() -> None:
    answer = ask(label_heat="6 kW", label_etd="55 K", measured="30 to 80 W/K")
    assert verdict(answer) == Verdict.CANNOT_TELL
    assert "measured-too-wide" in answer_codes(answer)


def test_a_typed_label_does_not_inherit_the_difference_of_the_profiles_label() -> None:
    # independent: 6 kW at 55 K of the profile, by hand.
    assert ask(DESCRIBED, label_heat="20000 BTU/h").table("bases").rows
    assert value(ask(DESCRIBED), "label_w_k") == pytest.approx(6000.0 / 55)


def test_ceilings_are_the_capacity_rates_of_the_streams() -> None:
    answer = ask(label_heat="6 kW", label_etd="10 K", air_flow="0.3 m3/s", air_temp="0 degC")
    # independent: CoolProp dry air at 0 °C, 1.2931 kg/m³ x 1005.7 J/(kg K) x 0.3 m³/s = 390.1 W/K;
    # the ideal gas and the table's cp differ from it by under 0.2 %.
    assert value(answer, "air_ceiling_w_k") == pytest.approx(390.1, rel=0.002)
    assert "label-over-ceiling" in answer_codes(answer)
    mild = ask(label_heat="6 kW", label_etd="55 K", air_flow="0.3 m3/s")
    assert "label-over-ceiling" not in answer_codes(mild)


def test_a_measured_value_above_a_stream_is_doubted_rather_than_scaled() -> None:
    answer = ask(
        measured="500 W/K", air_flow="0.3 m3/s", oil_flow="40 L/min",
        heat="5 kW", hottest="30 degC", peak="60 degC",
    )  # fmt: skip
    assert "measured-over-ceiling" in answer_codes(answer)
    with pytest.raises(KeyError):
        answer.row("two_in_parallel_w_k")


def test_thin_air_lowers_the_cooler_by_at_most_its_pressure_ratio() -> None:
    figure = ask(measured="100 W/K", other_altitude="2000 m").row("altitude_w_k").figure
    # published: ISO 2533 pressure at 2000 m, 79 495 Pa; at equal air temperature the density
    # ratio is that of the pressures. Five digits.
    assert figure.low == pytest.approx(100.0 * 79_495.0 / 101_325.0, rel=2e-5)
    assert figure.high is not None
    assert figure.low is not None
    assert figure.low < figure.value < figure.high < 100.0


def test_thinner_oil_than_a_rating_oil_is_no_worse() -> None:
    answer = ask(measured="100 W/K", viscosity="46 mm2/s", other_viscosity="10 mm2/s")
    assert value(answer, "viscosity_w_k") > 100.0
    with refused(RangeError, "viscosity in the cooler"):
        ask(measured="100 W/K", other_viscosity="500 mm2/s")


def test_other_flows_need_both_flows_as_measured() -> None:
    with pytest.raises(MissingError) as caught:
        ask(measured="100 W/K", air_flow="0.3 m3/s", other_air_flow="0.5 m3/s")
    assert caught.value.options == ("oil_flow",)
    same = ask(
        measured="100 W/K", air_flow="0.3 m3/s", oil_flow="20 L/min", other_air_flow="0.3 m3/s"
    )
    # independent: the same flows leave the typed 100 W/K as it was.
    assert value(same, "flows_w_k") == pytest.approx(100.0, rel=1e-6)
    more = ask(
        measured="100 W/K", air_flow="0.3 m3/s", oil_flow="20 L/min", other_oil_flow="40 L/min"
    )
    assert value(more, "flows_w_k") > 100.0


def test_two_small_coolers_and_the_effectiveness_are_those_of_the_streams() -> None:
    answer = ask(
        measured="100 W/K", oil_flow="20 L/min", air_flow="0.3 m3/s", air_temp="0 degC",
        heat="5 kW", hottest="30 degC", peak="60 degC", margin="0 %",
    )  # fmt: skip
    # 20 L/min x 1.74 MJ/(m³ K) = 580 W/K, known to 3 %; 5 kW over 30 K needs 166.7 W/K.
    by_hand = 580.0 * (1.0 - math.sqrt(1.0 - 166.7 / 580.0))
    # independent: energy balance of the oil by hand; 3 % of the oil's heat moves it by 0.3 %.
    assert value(answer, "each_of_two_w_k") == pytest.approx(by_hand, rel=0.005)
    # independent: CoolProp dry air at 0 °C, 390.1 W/K, the lower of the two streams; 0.2 %.
    assert value(answer, "effectiveness") == pytest.approx(100.0 / 390.1, rel=0.002)
    hot = ask(heat="20 kW", hottest="30 degC", peak="60 degC", oil_flow="12 L/min")
    assert "flow-carries-less" in answer_codes(hot)


def test_a_proof_brings_its_own_label_along() -> None:
    proof = proof_fixture.falls_short()
    assert proof.label is not None
    assert proof.label.label_etd_k is not None
    answer = ask(Givens.of(proof))
    # independent: the fixture's label over its difference.
    expected = proof.label.label_heat_w / proof.label.label_etd_k
    assert answer.row("label_w_k").figure.value == pytest.approx(expected)


def test_a_proof_is_sized_for_its_heavy_work() -> None:
    givens = Givens.of(proof_fixture.falls_short())
    assert givens.heat_p90_w is not None
    answer = ask(givens, hottest="35 degC", peak="66 degC")
    assert value(answer, "heat_w") == givens.heat_p90_w.value
    assert code_of(answer.row("heat_w").note) == "heat-of-heavy-work"


def test_the_next_cooler_carries_the_heat_with_its_guard_and_margin() -> None:
    answer = ask(heat="3 kW +- 10 %", hottest="35 degC", peak="65 degC", margin="20 %")
    # Energy balance, one-sided 95 % guard of JCGM 106: by hand from the formula's own parts.
    u_log = math.log(1.1) / 1.959964
    wanted = 3000.0 * math.exp(1.645 * u_log) * 1.2 / 30.0
    assert value(answer, "needed_w_k") == pytest.approx(wanted)
    labels = answer.table("labels_needed").rows
    heat_at_40 = next(row[1] for row in labels if isinstance(row[0], Figure) and row[0].value == 40)
    assert isinstance(heat_at_40, Figure)
    assert heat_at_40.value == pytest.approx(wanted * 40.0)


def test_two_coolers_are_never_twice_one_and_the_oil_bounds_them() -> None:
    answer = ask(
        measured="100 W/K", air_flow="0.3 m3/s", oil_flow="12 L/min",
        heat="5 kW", hottest="35 degC", peak="65 degC",
    )  # fmt: skip
    series, pair = value(answer, "two_in_series_w_k"), value(answer, "two_in_parallel_w_k")
    assert 100.0 < pair <= 200.0
    assert 100.0 < series < 200.0
    assert value(answer, "air_factor") > 1.0


def test_a_drive_without_measurement_is_an_estimate_and_says_so() -> None:
    answer = ask(power="6 hp", pump_efficiency="80 %", motor_efficiency="80 %", hottest="35 degC")
    # ISO 4391: 1 - 0.8 x 0.8 of 6 x 745.69987 W.
    # published: NIST SP 811, a mechanical horsepower is 745.69987 W; ISO 4391 for the loss.
    assert value(answer, "drive_loss_w") == pytest.approx(0.36 * 6 * 745.69987)
    assert answer.row("drive_loss_w").flag == ESTIMATE
    assert answer.row("needed_w_k").flag == ESTIMATE


def test_a_measured_heat_needs_no_estimate() -> None:
    measured = Givens.of(proof_fixture.falls_short())
    answer = ask(measured, power="6 hp", hottest="35 degC")
    assert answer.row("needed_w_k").flag is None
    with pytest.raises(KeyError):
        answer.row("drive_loss_w")


def test_nothing_to_rate_is_refused() -> None:
    with pytest.raises(MissingError) as caught:
        ask()
    assert caught.value.options == ("label_heat", "measured", "power")


# independent: heat over 66 - 35 K against 6 kW over 55 K, 109 W/K, is 3.38 kW.
@pytest.mark.parametrize(
    ("heat", "word"),
    [
        ("2 to 3 kW", "label-enough"),
        ("3 to 3.6 kW", "label-probably-enough"),
        ("3 to 4.2 kW", "label-hardly-enough"),
        ("4 to 5 kW", "label-not-enough"),
    ],
)
def test_whether_a_label_is_enough_is_one_sentence(heat: str, word: str) -> None:
    answer = ask(label_heat="6 kW", label_etd="55 K", heat=heat)
    assert codes(answer.headline) == ["label-claims", word]
    assert temperature(35.0) in answer.headline[1].pieces
    # "Probably" is said where the range of what it takes holds the claim, and says so.
    assert ("inside the range" in answer.headline[1].text) == (
        word in ("label-probably-enough", "label-hardly-enough")
    )


def test_a_label_without_its_difference_is_enough_at_every_basis_or_nobody_can_tell() -> None:
    # independent: 5.86 kW is 106 to 234 W/K over 55.6 to 25 K; needed are 65, 161 and 290 W/K.
    for heat, word in (("2 kW", "enough"), ("5 kW", "perhaps-enough"), ("9 kW", "not-enough")):
        assert codes(ask(label_heat="20 MBH", heat=heat).headline)[-1] == f"label-{word}"


def test_with_a_measured_cooler_the_label_is_not_taken_as_true() -> None:
    answer = ask(label_heat="6 kW", label_etd="55 K", heat="3 kW", measured="70 to 80 W/K")
    assert not any(code.endswith("enough") for code in codes(answer.headline))
