"""A short run of the validation, so that a change that breaks the method shows at once."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from budgets import Middling, budget_rows, joined
from families import FAMILIES
from form import left_out, needed
from outings import PROTOCOLS, outing, profile_of, session_of
from page import cell_of, draw_figure, page
from run import cases, keep, kept
from score import SHARES, Case, Score, happened, score_case

from wattsump_analysis.proof.prove import prove
from wattsump_analysis.reading.cuts import record_of
from wattsump_analysis.reading.phases import hidden_switchings, saw_tooth, switches_of
from wattsump_analysis.reading.record import Record
from wattsump_analysis.reading.samples import gather
from wattsump_analysis.reading.suspects import suspects_of


def scored(family: str, miss: float, words: tuple[str, ...] = ("cannot tell",) * 4) -> Score:
    """A made-up score whose range of 10 % either way misses the truth by `miss` in ln K."""
    case = Case(family=family, protocol="guided", machines=20, seed=1, one=0)
    found = dict.fromkeys(("K", "Q", "heat at label"), (np.exp(miss), 1.0, 1 / 1.1, 1.1))
    return Score(case=case, found=found, words=words, form=0.0, why="")


@pytest.mark.parametrize(
    ("family", "protocol"),
    [
        ("part misses the cooler", "guided, metered flow"),
        ("two coolers", "guided, probes on the pipes"),
        ("leakage through the cooler", "guided"),
        ("tank beside the engine", "ordinary work, one fan-off"),
        ("part misses the cooler", "ordinary work, fan-off, breaks"),
    ],
)
def test_ranges_hold_most_machines_are_of_use_and_give_no_wrong_verdict(
    family: str, protocol: str, tmp_path: Path
) -> None:
    wanted = cases([protocol], [family], machines=2, seed=404)
    scores = list(keep(tmp_path / "scores.jsonl", map(score_case, wanted)))
    assert kept(tmp_path / "scores.jsonl") == scores
    cell = cell_of(scores)
    # Two 95 % ranges both miss with a chance of 0.3 %.
    assert cell.held["K"][0] >= 1
    assert cell.held["heat at label"][0] >= 1
    # pinned: twice the half-width of docs/validation.md, for medians of two scatter, and a little
    # more for leakage, whose oil flows so slowly that probes seem late.
    assert cell.half_width < 0.45
    # 2.5 wrong in 100 make more than one in eight with a chance of 2 %.
    assert cell.wrong <= 1
    assert len(cell.decided) == len(SHARES)


def test_the_form_that_is_needed_makes_19_of_20_intervals_hold() -> None:
    # independent: ranges of 10 % either way that miss by 0.00, 0.02, ... 0.38 in the logarithm;
    # the last but one, 0.36, is held by sqrt(0.36^2 - ln(1.1)^2) / 1.96 = 0.1771, and the grid of
    # 0.005 is gone up.
    scores = [scored("two coolers", 0.02 * i) for i in range(20)]
    assert needed(scores) == pytest.approx(0.18)
    assert needed(scores[:5]) == 0.0
    # independent: with a form of 0.18 in use already, taking it out leaves nothing to spare, so
    # that what is missing is what is needed of 0.36 alone: 0.36 / 1.96 = 0.1837.
    used = [replace(score, form=0.18) for score in scores]
    assert needed(used) == pytest.approx(0.185)


def test_a_family_left_out_is_held_by_what_the_others_need() -> None:
    easy = [scored("two coolers", 0.01 * i) for i in range(20)]
    hard = [scored("fan on the belt", 0.5) for _ in range(4)]
    found = left_out([*easy, *hard])
    # independent: ln(1.1) = 0.095 holds misses up to 0.09, so 0.18 of the last but one needs
    # sqrt(0.18^2 - 0.0953^2) / 1.96 = 0.078; 0.5 is out of its reach.
    form, *counted = found["fan on the belt"]
    assert form == pytest.approx(0.08)
    assert counted == [0, 4]
    assert found["two coolers"][1:] == (20, 20)


def test_wrong_verdicts_and_refusals_are_counted_and_shown(tmp_path: Path) -> None:
    # Wrong are "meets" below a label and "falls short" above it: three here.
    words = ("meets", "meets", "falls short", "meets")
    none = Score(
        case=replace(scored("two coolers", 0.0).case, one=1),
        found={},
        words=("cannot tell",) * 4,
        form=0.0,
        why="Cannot tell, because.",
    )
    scores = [scored("two coolers", 0.0, words), none]
    cell = cell_of(scores)
    # independent: counted by hand.
    assert (cell.wrong, cell.refused, cell.decided) == (3, 0.5, (0.5, 0.5, 0.5, 0.5))
    text = page(scores)
    assert "| guided | 1 of 1 (two coolers) | 100 % of 1 |" in text
    assert "| guided | 38 (two coolers) | 37.5 |" in text
    for name in ("first.svg", "again.svg"):
        draw_figure(scores, tmp_path / name)
    assert (tmp_path / "first.svg").read_bytes() == (tmp_path / "again.svg").read_bytes()


def test_budgets_are_what_a_simulation_of_their_equations_spreads_by() -> None:
    m, rng, count = Middling(), np.random.default_rng(3), 400_000

    def off(u: float) -> np.ndarray:
        return 1.0 + u * rng.standard_normal(count)

    oil = off(0.03)
    metal = sum(part * off(0.13) for part in m.parts_j_k) * off(0.04)
    capacity = (m.oil_j_k * off(0.04) * oil + metal) / m.capacity_j_k
    excess = m.excess_k / (m.excess_k + rng.normal(0.0, 0.08, count) + rng.normal(0.0, 0.4, count))
    # A load of memory m and relative spread w, averaged over the fan's off and on times.
    power = m.wander * m.load_w / (m.cooler_w_k * m.excess_k)
    means = [power * np.sqrt(120.0 / t) * rng.standard_normal(count) for t in (1600.0, 2400.0)]
    by_capacity = capacity * excess * (1.0 + means[0] - means[1])
    drop = 1.0 + (rng.normal(0, 0.08, count) - rng.normal(0, 0.08, count)) / m.drop_k
    by_flow = off(0.03) * oil * drop * excess
    # independent: Monte Carlo of the measurement equations (JCGM 101); 400 000 draws give a
    # standard deviation to 0.2 %, products of some per cent differ from first order by less.
    budget = {row.protocol: row.half_width for row in budget_rows(m)}
    assert 1.96 * np.std(by_capacity) == pytest.approx(budget["guided"], rel=0.01)
    table = np.cov(by_capacity, by_flow)
    least = 1.0 / np.sqrt(np.linalg.inv(table).sum())
    assert 1.96 * least == pytest.approx(budget["guided, metered flow"], rel=0.01)
    # independent: JCGM 100:2008, eq. 10, of two equal independent results.
    assert joined(0.05, 0.05, 0.0) == pytest.approx(0.05 / np.sqrt(2.0))


def records(family: str, machines: int, *, fan: bool = True) -> list[Record]:
    """The binned outings of machines at ordinary work; without a fan channel unless `fan`."""
    ran = outing(FAMILIES[family], PROTOCOLS["ordinary work"], machines, 77)
    found = []
    for one in range(machines):
        session = session_of(ran, one)
        kept_columns = {n: v for n, v in session.columns.items() if fan or n != "fan_on"}
        samples = gather(replace(session, columns=kept_columns), profile_of(ran, one, 100.0))
        found.append(record_of(samples, switches_of(samples)[0], {}, None))
    return found


def test_healthy_machines_at_work_are_hardly_ever_accused() -> None:
    healthy = records("heat in the metal", 30)
    # 2.5 accused in 100 make more than two of 30 with a chance of 4 %.
    assert sum(bool(suspects_of(record)) for record in healthy) <= 2
    assert sum(hidden_switchings(record) > 0 for record in healthy) == 0


def test_a_fan_that_switches_is_seen_where_logged_and_sometimes_where_not() -> None:
    logged = records("fan on a thermostat", 30)
    unlogged = records("fan on a thermostat", 30, fan=False)
    # pinned: 18 and 18 are seen; a threshold that sees more is not to be bought with false ones.
    assert sum(bool(np.any(saw_tooth(record))) for record in logged) >= 16
    assert sum(hidden_switchings(record) > 0 for record in unlogged) >= 16


def test_the_ledgers_totals_hold_what_the_machine_did() -> None:
    case = Case(family="bursts and pauses", protocol="guided", machines=2, seed=505, one=0)
    ran, held = happened(case), []
    for one in range(2):
        proof = prove(session_of(ran, one), profile_of(ran, one, 100.0), seed=one)
        ledger, rows = proof.ledger, ran.rows(one)
        assert ledger is not None
        for total, heat_w in (
            (ledger.heat_in_kwh, ran.controls["load_w"]),
            (ledger.cooler_kwh, ran.cooler_w),
            (ledger.shell_kwh, ran.shell_w),
        ):
            kwh = heat_w[rows, one].sum() / 3.6e6
            held.append(total.low <= kwh <= total.high)
        # pinned: what no part of the balance explains is under a hundredth of the heat in.
        assert abs(ledger.unexplained_kwh.value) < 0.01 * ledger.heat_in_kwh.value
    # 95 % ranges hold 4 or more of 6 with a chance of 99.8 %; those of one machine go together.
    assert np.count_nonzero(held) >= 4
