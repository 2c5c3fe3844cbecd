"""The hot-day question against closed forms, an ODE solution and the test code's rule."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis import proof_fixture
from analysis.codes import answer_codes, code_of, codes, value
from checkout import BRACKEN
from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.questions.answer import Answer, Figure
from wattsump_analysis.questions.asked import ForecastAsked
from wattsump_analysis.questions.forecast import foresee
from wattsump_analysis.questions.givens import Givens, MissingError, givens_from
from wattsump_analysis.questions.typed import typed_fields
from wattsump_analysis.questions.writing import screen

EXACT = {
    "measured": "90 W/K", "shell": "10 W/K", "heat": "4 kW", "capacity": "60 kJ/K",
    "ambient": "30 degC", "measured_ambient": "20 to 25 degC",
}  # fmt: skip
PROVED = Givens.of(proof_fixture.falls_short())


def ask(givens: Givens | None = None, /, **typed: str) -> Answer:
    return foresee(typed_fields(ForecastAsked, typed), givens or Givens())


def test_exact_inputs_give_the_energy_balance_without_an_interval() -> None:
    figure = ask(**EXACT).row("settles_p50_c").figure
    # independent: energy balance by hand, 4 kW over 90 + 10 W/K.
    assert figure.value == pytest.approx(30.0 + 4000.0 / (90 + 10))
    assert figure.low is None


def test_the_limiting_air_and_the_margin_are_degree_for_degree() -> None:
    answer = ask(**EXACT, hottest="35 degC", limit="75 degC")
    # independent: energy balance by hand, 4 kW over 90 + 10 W/K below a limit of 75 °C.
    assert value(answer, "limiting_typed_limit_p50_c") == pytest.approx(75.0 - 4000.0 / 100)
    assert value(answer, "margin_typed_limit_p50_k") == pytest.approx(75.0 - 4000.0 / 100 - 35.0)


def test_minutes_to_the_limit_match_an_independent_ode_solution() -> None:
    answer = ask(**EXACT, limit="60 degC", start="5 degC")

    def reached(_: float, temp: FloatArray) -> float:
        return float(temp[0] - 60.0)

    solved = solve_ivp(
        lambda _, temp: (4000.0 - 100.0 * (temp - 30.0)) / 60_000.0,
        (0.0, 5000.0),
        [5.0],
        events=reached,
        rtol=1e-10,
        atol=1e-10,
    )
    assert solved.t_events is not None
    assert value(answer, "minutes_from_cold_s") == pytest.approx(solved.t_events[0][0], rel=1e-6)


def test_a_stopped_fan_leaves_the_shell_and_the_still_cooler() -> None:
    answer = ask(**EXACT, now="50 degC", still="10 W/K", limit="60 degC")
    # independent: energy balance by hand, 4 kW over 10 + 10 W/K.
    assert value(answer, "fan_off_settles_c") == pytest.approx(30.0 + 4000.0 / 20)
    # First order by hand: tau C/G = 3000 s, from 50 towards 230 °C.
    by_hand = 3000.0 * math.log((230.0 - 50.0) / (230.0 - 60.0))
    assert value(answer, "fan_off_minutes_s") == pytest.approx(by_hand, rel=1e-9)
    assert code_of(answer.row("fan_off_settles_c").flag) == "stop-long-before"


def test_what_no_oil_stands_is_not_told_to_the_degree() -> None:
    answer = ask(**(EXACT | {"heat": "16 kW"}))
    # independent: energy balance by hand, 16 kW over 90 + 10 W/K; data keep the number.
    assert value(answer, "settles_p50_c") == pytest.approx(30.0 + 16000.0 / 100)
    assert code_of(answer.row("settles_p50_c").flag) == "beyond-oil"
    said = screen(answer)
    assert "settles at over 150.0 °C, beyond what the oil withstands." in " ".join(said.split())
    assert "190.0" not in said
    # 66 °C less 160 K: an air that nobody will meet.
    assert code_of(answer.row("limiting_oil_advised_p50_c").flag) == "no-air-so-cold"
    assert "over 302 °F" in screen(answer, "us")
    # Half of the range may lie beyond: its end is then no number either.
    doubtful = ask(**(EXACT | {"heat": "10 to 14 kW"}))
    assert "to over 150)" in screen(doubtful)


def test_a_fan_that_fails_past_one_limit_counts_to_the_next() -> None:
    answer = ask(**EXACT, now="70 degC", still="10 W/K")
    # First order by hand: tau C/G = 3000 s, from 70 towards 230 °C, to the highest oil, 82 °C.
    by_hand = 3000.0 * math.log((230.0 - 70.0) / (230.0 - 82.0))
    assert value(answer, "fan_off_minutes_s") == pytest.approx(by_hand, rel=1e-9)
    assert "the limit is oil, highest, 82.0 °C" in " ".join(screen(answer).split())


def test_a_machine_without_shell_loss_has_no_end_without_its_fan() -> None:
    typed = {name: text for name, text in EXACT.items() if name != "shell"}
    answer = ask(**typed)
    assert value(answer, "fan_off_settles_c") == math.inf
    assert "over 150.0 °C" in screen(answer)
    assert "shell-loss-zero" in answer_codes(answer)


def test_a_settled_temperature_of_a_proof_is_better_known_than_its_watts() -> None:
    proved = ask(PROVED, ambient="20 degC").row("settles_p50_c").figure
    separate = (
        ask(ambient="20 degC", measured="88.7 to 100.5 W/K", heat="3162 to 3638 W", shell="12 W/K")
        .row("settles_p50_c")
        .figure
    )
    assert proved.low is not None
    assert proved.high is not None
    assert separate.low is not None
    assert separate.high is not None
    assert proved.high - proved.low < 0.5 * (separate.high - separate.low)


def test_typed_intervals_propagate_as_the_guide_says() -> None:
    answer = ask(ambient="20 degC", measured="100 W/K +- 8 %", heat="4 kW +- 6 %")
    figure = answer.row("settles_p50_c").figure
    # JCGM 100, equation 12, relative uncertainties of a quotient in quadrature; 40 K rise.
    u_rel = math.hypot(math.log(1.08), math.log(1.06))
    assert figure.high is not None
    assert figure.high - 20.0 == pytest.approx(40.0 * math.exp(u_rel), rel=0.02)


def test_the_heavier_load_settles_hotter_and_reaches_limits_in_cooler_air() -> None:
    answer = ask(PROVED, ambient="20 degC")
    assert value(answer, "settles_p90_c") > value(answer, "settles_p50_c")
    assert value(answer, "limiting_oil_advised_p90_c") < value(answer, "limiting_oil_advised_p50_c")


@pytest.mark.parametrize(
    ("ambient", "words"),
    [("30 degC", []), ("40 degC", ["STRETCHED"]), ("50 degC", ["NOT TRUSTED"])],
)
def test_air_far_from_what_was_measured_is_flagged(ambient: str, words: list[str]) -> None:
    # Measured up to 25 °C; trusted 10 K beyond, stretched 20 K: common practice, no source.
    head = ask(**(EXACT | {"ambient": ambient})).headline
    beyond = [remark.text for remark in head if remark.code == "forecast-beyond-measured"]
    assert [text.split(":")[0] for text in beyond] == words


def test_air_that_nobody_measured_is_said_to_be_unchecked() -> None:
    typed = {name: text for name, text in EXACT.items() if name != "measured_ambient"}
    assert "forecast-not-checked" in answer_codes(ask(**typed))


def test_a_work_rate_scales_the_rise() -> None:
    # independent: half as much again of the 40 K rise, by hand.
    assert value(ask(**EXACT, work="150 %"), "settles_p50_c") == pytest.approx(30.0 + 1.5 * 40)


def test_thin_air_warms_the_oil() -> None:
    high = ask(**EXACT, altitude="2000 m")
    assert value(high, "settles_p50_c") > value(ask(**EXACT), "settles_p50_c")
    figure = high.row("altitude_w_k").figure
    assert figure.low is not None
    assert figure.high is not None
    assert figure.low < figure.value < figure.high < 90.0


def test_another_channel_follows_the_test_codes_rule() -> None:
    proof = proof_fixture.falls_short()
    peaks = dict(proof.peaks_c) | {"case_drain": (60.0, 3000.0)}
    limits = dict(proof.limits_c) | {"case_drain": 80.0}
    series = dict(proof.series_c) | {"ambient": np.full_like(proof.series_s, 25.0)}
    givens = Givens.of(replace(proof, peaks_c=peaks, limits_c=limits, series_c=series))
    answer = ask(givens, ambient="25 degC")
    # published: SAE J1393 limiting ambient temperature: limit 80 °C, 60 °C in 25 °C air: 45 °C.
    assert value(answer, "limiting_case_drain_c") == pytest.approx(45.0)


def test_without_a_heat_capacity_no_time_is_made_up() -> None:
    typed = {name: text for name, text in EXACT.items() if name != "capacity"}
    answer = ask(**typed)
    with pytest.raises(KeyError):
        answer.row("minutes_from_cold_s")
    assert "capacity-unknown" in answer_codes(answer)


def test_a_hot_machine_is_told_what_that_temperature_is_called() -> None:
    assert {"level-reached", "burns-skin"} < set(answer_codes(ask(**EXACT)))


def test_without_a_typed_air_that_of_the_outing_counts_and_is_said() -> None:
    assert PROVED.ambients_c is not None
    middle = sum(PROVED.ambients_c) / 2
    typed = ask(PROVED, ambient=f"{middle} degC")
    untyped = ask(PROVED)
    assert value(untyped, "settles_p50_c") == pytest.approx(value(typed, "settles_p50_c"))
    assert "air-of-the-outing" in answer_codes(untyped)
    assert "air-of-the-outing" not in answer_codes(typed)


def test_what_is_missing_is_named() -> None:
    with pytest.raises(MissingError) as caught:
        ask()
    assert caught.value.options == ("measured", "heat", "ambient")


def test_the_shell_of_a_proof_loses_from_the_tank_and_not_from_the_inlet() -> None:
    givens = replace(
        PROVED,
        k_w_k=Figure(value=90.0, kind="conductance"),
        shell_w_k=Figure(value=10.0, kind="conductance"),
        heat_w=Figure(value=4000.0, kind="power"),
        inlet_above_tank_k=8.0,
    )
    answer = ask(givens, ambient="20 degC")
    inlet_c = value(answer, "settles_p50_c")
    # Energy balance: cooler from the inlet, shell from the tank, make the heat.
    balance_w = 90.0 * (inlet_c - 20.0) + 10.0 * (inlet_c - 8.0 - 20.0)
    # independent: the heat that was put in.
    assert balance_w == pytest.approx(4000.0)
    assert value(answer, "settles_tank_p50_c") == pytest.approx(inlet_c - 8.0)


def test_a_heavier_load_never_looks_cooler_than_the_middle_one() -> None:
    givens = replace(PROVED, heat_p90_w=PROVED.heat_w)
    answer = ask(givens, ambient="20 degC")
    assert value(answer, "settles_p90_c") == value(answer, "settles_p50_c")


DESCRIBED = givens_from(None, BRACKEN)


def test_the_hottest_day_alone_is_a_question() -> None:
    answer = ask(PROVED, hottest="35 degC")
    assert "35.0 °C" in answer.headline[0].text
    assert "air-of-the-outing" not in codes(answer.assumed)


def test_before_anything_is_measured_label_and_drive_stand_in_and_say_so() -> None:
    answer = ask(DESCRIBED, hottest="35 degC")
    assert {"label-taken-as-true", "heat-from-drive"} <= set(codes(answer.assumed))
    # independent: 15 kW x (1 - 0.85 x 0.85) over 6 kW / 55 K above 35 degC, no shell loss; the
    # median of what is drawn is that of the range, not of its middle, hence 3 K.
    by_hand = 35 + 15000 * (1 - 0.85 * 0.85) / (6000 / 55)
    assert value(answer, "settles_p50_c") == pytest.approx(by_hand, abs=3.0)
    assert "label-taken-as-true" not in codes(ask(DESCRIBED, **EXACT).assumed)


def test_a_typed_limit_takes_the_place_of_the_usual_ones() -> None:
    answer = ask(**EXACT, limit="70 degC")
    # independent: 4 kW over 90 + 10 W/K below the limit
    assert value(answer, "limiting_typed_limit_p50_c") == pytest.approx(70.0 - 40.0)
    with pytest.raises(KeyError):
        answer.row("limiting_oil_highest_p50_c")
