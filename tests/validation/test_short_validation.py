"""A short run of the validation, so that a change that breaks the method shows at once."""

import numpy as np
import pytest
from form import needed
from run import kept_lines, levelled, line, page, rows_of
from score import HEAT_AT_LABEL, PLAINER, PROTOCOLS, Score, fit_one, knowledge, record_of, rehearse
from thermostat import seen_unlogged, switched, with_thermostats

from wattsump_analysis.emulation.rehearsal import SAMPLE_S
from wattsump_analysis.model.fit import fit_record
from wattsump_analysis.model.innovations import innovations
from wattsump_analysis.proof.ledger import make_ledger
from wattsump_analysis.reading.suspects import suspects_of
from wattsump_analysis.statistics.residuals import lag_one


@pytest.mark.parametrize(
    ("name", "machines", "worst", "widest"),
    [
        ("guided, five probes + flow", 6, 0.07, 0.12),
        ("guided, tank and ambient", 4, 0.14, 0.27),
        (f"{PLAINER}guided, five probes", 4, 0.12, 0.27),
    ],
)
def test_intervals_hold_the_truth_of_most_machines_and_are_of_use(
    name: str, machines: int, worst: float, widest: float
) -> None:
    rehearsed = rehearse(PROTOCOLS[name], machines, seed=404)
    scores = [fit_one(rehearsed, one) for one in range(machines)]
    assert all(score.found for score in scores)
    for quantity in ("K", HEAT_AT_LABEL):
        held = [low <= truth <= high for truth, _, low, high in (s.found[quantity] for s in scores)]
        # 95 % intervals hold 4 or more of 6 with a chance of 99.8 %, 3 of 4 with 98.6 %.
        assert np.count_nonzero(held) >= 2 + machines // 3
    rows = list(rows_of(name, scores))
    assert rows[0].quantity == "K"
    assert rows[0].refused == 0.0
    # pinned: about twice the median error and a third more than the half-width of
    # docs/validation.md, for the medians of few machines scatter.
    assert rows[0].error < worst
    # pinned: the same.
    assert rows[0].half_width < widest
    text = page([line(row) for row in rows], 404)
    assert f"| {name} | K |" in text
    assert len(kept_lines(text, ("short run",))) == len(rows)
    assert kept_lines(text, (name,)) == []


def test_the_form_that_is_needed_makes_19_of_20_intervals_hold() -> None:
    # independent: intervals of 10 % either way that miss by 0.00, 0.02, ... 0.38 in the
    # logarithm; the last but one, 0.36, is held by sqrt(0.36^2 - ln(1.1)^2) / 1.96 = 0.1771, and
    # the grid of 0.001 is gone up.
    misses = 0.02 * np.arange(20.0)
    scores = [
        Score(machine=i, found={"K": (np.exp(m), 1.0, 1 / 1.1, 1.1)}, effective_draws=1.0, nodes=4)
        for i, m in enumerate(misses)
    ]
    assert needed(scores, "K") == pytest.approx(0.178, abs=1e-9)
    assert needed(scores[:5], "K") == 0.0
    # independent: of misses of 0.02 apart those up to 0.08 lie within ln(1.1) = 0.095.
    assert levelled("some", scores) == "some: K held in 5 of 20 fits with levelled weights"


def test_healthy_machines_at_work_are_hardly_ever_accused() -> None:
    protocol = PROTOCOLS["ordinary work"]
    rehearsed = rehearse(protocol, 40, seed=77)
    accused = [
        bool(
            suspects_of(
                record_of(rehearsed.drawn, rehearsed.truth, rehearsed.readings, i, protocol)
            )
        )
        for i in range(40)
    ]
    # Of 300 such machines none was; one in 40 would be more than the two in 100 allowed.
    assert np.count_nonzero(accused) <= 1


def test_a_fan_that_switches_is_seen_where_logged_and_mostly_where_not() -> None:
    rehearsed = with_thermostats(30)
    # pinned: `thermostat.py` finds 21 unlogged and 27 logged; healthy machines are never accused,
    # so that a threshold which sees more is not bought with false ones.
    assert sum(seen_unlogged(rehearsed)) >= 20
    assert len(switched(rehearsed)) >= 26
    assert sum(seen_unlogged(rehearse(PROTOCOLS["ordinary work"], 40, seed=77))) == 0


def test_the_ledgers_totals_hold_what_the_plant_did_and_errors_ahead_are_nearly_white() -> None:
    rehearsed = rehearse(PROTOCOLS["guided, five probes + flow"], 5, seed=505)
    drawn, truth, protocol = rehearsed.drawn, rehearsed.truth, rehearsed.protocol
    held = []
    for one in range(5):
        record = record_of(drawn, truth, rehearsed.readings, one, protocol)
        rng = np.random.default_rng(one)
        fitted = fit_record(record, knowledge(drawn, one, protocol), rng)
        ledger = make_ledger(record, fitted)
        mode = fitted.posterior.parameters(fitted.posterior.mode)
        # pinned: 0.2 to 0.5 on 15 drawn machines (docs/method.md); of what the smoother leaves it
        # is 0.5 to 0.95, whatever the network.
        assert lag_one(innovations(fitted.network, mode).tank) < 0.6
        run = truth.running[:, one]
        for told, heat_w in (
            (ledger.heat_in_kwh, truth.load_w * truth.engine + truth.heater_w),
            (ledger.cooler_kwh, truth.cooler_w),
            (ledger.shell_kwh, truth.shell_w),
        ):
            kwh = heat_w[run, one].sum() * SAMPLE_S / 3.6e6
            held.append(told.low <= kwh <= told.high)
        left = ledger.unexplained_kwh
        # pinned: what no part of the balance explains is under a hundredth of the heat in.
        assert abs(left.value) < 0.01 * ledger.heat_in_kwh.value
    # 95 % ranges hold 11 or more of 15 with a chance of 99.9 %; those of one machine go together.
    assert np.count_nonzero(held) >= 11
