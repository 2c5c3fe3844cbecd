"""The composed machines obey what heat obeys, and the scorer says what `prove` says."""

from dataclasses import replace

import numpy as np
import pytest
from families import FAMILIES, TIGHT, WORKING_RPM, draw
from ht import effectiveness_from_NTU
from outings import LABEL_ETD_K, PROTOCOLS, Protocol, Stage, outing, profile_of, session_of
from parts import Controls, Cooler, Link, Machine, Node, Path, Pump, Surface, advance, balance
from scipy.integrate import solve_ivp
from score import SHARES, Case, happened, judged, score_case

from wattsump_analysis.proof.prove import prove

ONE = np.ones(1)


def working(count: int, fan: float = 1.0, load_w: float = 4000.0) -> Controls:
    full = np.ones(count)
    return Controls(
        ambient_c=20.0 * full,
        speed=full,
        load=full,
        moving=full,
        fan=fan * full,
        load_w=load_w * full,
        heater_w=0.0 * full,
    )


@pytest.mark.parametrize("name", FAMILIES)
def test_steps_of_a_second_follow_a_solver_that_chooses_its_own(name: str) -> None:
    machine = draw(FAMILIES[name], 2, np.random.default_rng(5)).machine
    at_first = np.full((len(machine.nodes), 2), 20.0)
    temps, fan_off_s, end_s = at_first, 300, 500

    def slope(t: float, flat: np.ndarray) -> np.ndarray:
        now = flat.reshape(at_first.shape)
        return balance(machine, now, working(2, fan=float(t >= fan_off_s))).slope(now).ravel()

    for second in range(end_s):
        moment = balance(machine, temps, working(2, fan=float(second >= fan_off_s)))
        temps = advance(moment, temps, 1.0)
    first = solve_ivp(slope, (0, fan_off_s), at_first.ravel(), "LSODA", rtol=1e-8, atol=1e-8)
    then = solve_ivp(slope, (fan_off_s, end_s), first.y[:, -1], "LSODA", rtol=1e-8, atol=1e-8)
    # independent: scipy's LSODA to 1e-8; conductances held for a second cost hundredths of a
    # kelvin at most, a tenth of a probe's step.
    assert temps.ravel() == pytest.approx(then.y[:, -1], abs=0.03)


@pytest.mark.parametrize("name", FAMILIES)
def test_what_goes_in_is_stored_or_goes_out(name: str) -> None:
    machine = draw(FAMILIES[name], 3, np.random.default_rng(6)).machine
    rng = np.random.default_rng(1)
    temps = 40.0 + 20.0 * rng.random((len(machine.nodes), 3))
    moment = balance(machine, temps, working(3))
    stored = (moment.slope(temps) * moment.j_k).sum(axis=0)
    coolant = sum((h.w_k * (h.at_c - temps[machine.row[h.node]]) for h in machine.hot), np.zeros(3))
    # independent: the first law; all flows between nodes cancel to rounding.
    assert stored + moment.cooler_w + moment.shell_w - coolant == pytest.approx(4000.0, abs=1e-6)


def plain(cooler: Cooler) -> Machine:
    """A tank, a line and a core, no surfaces: heat leaves by the cooler alone."""
    return Machine(
        nodes={
            "tank": Node(j_k=20e3 * ONE, oil=True),
            "drive": Node(j_k=4e3 * ONE, oil=True),
            "outlet": Node(j_k=4e3 * ONE, oil=True),
            "core": Node(j_k=2e3 * ONE),
        },
        links=(Link(one="tank", other="drive", w_k=ONE),),
        surfaces=(Surface(node="tank", w_k=0.0 * ONE, motion=0.0 * ONE),),
        paths=(Path(before=("drive",), share=ONE, cooler=cooler, after=("outlet",)),),
        pump=Pump(flow_m3_s=4e-4 * ONE, slip=0.0 * ONE),
        load_to={"drive": ONE},
        heater_to={"tank": ONE},
        oil_heat=ONE,
        walther=(10.0 * ONE, 4.0 * ONE),
    )


def test_a_settled_cooler_rejects_what_its_two_exchangers_allow() -> None:
    cooler = Cooler(
        core="core",
        oil_side_w_k=300.0 * ONE,
        air_side_w_k=150.0 * ONE,
        air_flow_w_k=250.0 * ONE,
        still=0.05 * ONE,
        flow_power=0.5 * ONE,
        viscosity_power=0.0 * ONE,
        bypass_mm2_s=1e9 * ONE,
        belt=0.0 * ONE,
    )
    machine = plain(cooler)
    temps = np.full((4, 1), 60.0)
    c = working(1, load_w=2500.0)
    for _ in range(6000):
        temps = advance(balance(machine, temps, c), temps, 1.0)
    inlet = temps[machine.row["drive"]]
    rate = machine.moved_w_k(np.array([60.0]), ONE, ONE)
    # independent: ht's effectiveness of an exchanger against one temperature, either side's.
    oil = rate * effectiveness_from_NTU(NTU=float(300.0 / rate[0]), Cr=0.0)  # type: ignore[no-untyped-call] # no types
    air = 250.0 * effectiveness_from_NTU(NTU=150.0 / 250.0, Cr=0.0)  # type: ignore[no-untyped-call] # no types
    settled = oil * air / (oil + air)
    # The oil's own rate changes by a thousandth over the few kelvins off 60 °C.
    assert 2500.0 / (inlet - 20.0) == pytest.approx(settled, rel=0.005)
    assert machine.settled_w_k(inlet) == pytest.approx(2500.0 / (inlet - 20.0), rel=1e-4)


def test_flow_and_a_fan_on_the_belt_follow_the_engine_and_a_fan_of_its_own_does_not() -> None:
    belt = draw(
        replace(FAMILIES["fan on the belt"], misses=(0.0, 0.0)), 4, np.random.default_rng(2)
    )
    free = draw(FAMILIES["bursts and pauses"], 4, np.random.default_rng(2))
    warm = np.full(4, 65.0)
    half, full = 0.5 * np.ones(4), np.ones(4)
    for drawn in (belt, free):
        moved = drawn.machine.moved_w_k(warm, half, 0.0 * full)
        # independent: a pump that turns half as fast moves half as much.
        assert moved == pytest.approx(drawn.machine.moved_w_k(warm, full, 0.0 * full) / 2)
    slow = [d.machine.settled_w_k(warm, 0.5) / d.machine.settled_w_k(warm) for d in (belt, free)]
    assert np.all(slow[0] < slow[1])
    # independent: with the air halved the air's side falls to between a half and 0.5 ** 0.6.
    assert np.all(slow[0] < 0.8)


def test_a_machine_left_at_rest_in_the_night_is_warmer_than_air_and_cools() -> None:
    rest = Protocol(stages=(Stage(longest_s=600, engine="off"),))
    ran = outing(FAMILIES["a night still cooling"], rest, 6, 3)
    over = ran.seen_c["tank"] - ran.controls["air"]
    # pinned: what is left of 15 to 35 K after two to four hours is some kelvins.
    assert np.all((over[0] > 0.3) & (over[0] < 15.0))
    assert np.all(ran.seen_c["tank"][-1] < ran.seen_c["tank"][0])
    shed = outing(FAMILIES["out of a warm shed"], PROTOCOLS["guided"], 2, 3)
    # independent: the sheds drawn are 4 to 15 K over the outdoors, which swings by 5 K at most.
    assert np.all(shed.controls["air"][0] - shed.controls["air"][2000] > -1.0)
    assert np.all(shed.seen_c["tank"][0] == shed.controls["air"][0])


def test_owners_log_what_the_protocol_says_and_state_what_they_measured() -> None:
    ran = outing(FAMILIES["part misses the cooler"], PROTOCOLS["guided, flow by bucket"], 50, 4)
    owner, machine = ran.drawn.owner, ran.drawn.machine
    pumped = machine.pump.flow_m3_s * 60000.0
    past = sum(path.share for path in machine.cooled) * pumped * ran.drawn.work.idle
    # independent: a bucket at the cooler's end catches what the cooler passes, to 2 to 4 %
    # (standard); the mean of 50 such is within three times 4 % / sqrt(50).
    assert np.mean(owner.bucket_lpm / past) == pytest.approx(1.0, abs=0.017)
    # independent: volume a turn times turns a minute; a plate is right to 1 % (standard).
    plated = owner.turn_m3 * WORKING_RPM * 1000.0 * TIGHT
    assert plated / pumped == pytest.approx(1.0, abs=0.05)
    columns = session_of(ran, 0).columns
    assert {"tank_c", "cooler_in_c", "cooler_out_c", "case_drain_c", "ambient_c"} < set(columns)
    assert "engine_rpm" in columns
    assert "flow_lpm" not in columns
    profile = profile_of(ran, 0, 100.0)
    # independent: the label's definition, W/K times the difference.
    assert profile.cooler.label_heat_w == pytest.approx(100.0 * LABEL_ETD_K)


def test_words_at_other_labels_are_those_that_prove_says_itself() -> None:
    case = Case(family="heat in the lines", protocol="guided", machines=1, seed=1, one=0)
    score = score_case(case)
    ran = happened(case)
    session = session_of(ran, 0)
    proof, word_at = judged(session, profile_of(ran, 0, 100.0), seed=0)
    assert proof.k_w_k is not None
    label_w_k = proof.k_w_k.value / 0.7
    held = prove(session, profile_of(ran, 0, label_w_k), seed=0)
    assert held.verdict == word_at(label_w_k) == "falls short"
    assert len(score.words) == len(SHARES)


def test_oil_that_only_circulates_takes_up_the_charge_pumps_pressure() -> None:
    neutral = Protocol(stages=(Stage(longest_s=120, load=0.0),))
    ran = outing(FAMILIES["two coolers"], neutral, 50, 9)
    kw = ran.controls["load_w"][60] / 1000.0
    lpm = ran.flow_lpm[60]
    # practice: a charge pump's circuit drops 10 to 25 bar, and bar times litres a minute over 600
    # are kilowatts; both coolers together pass all of its oil. The slip is none without a load.
    assert np.all((kw * 600.0 / lpm > 9.99) & (kw * 600.0 / lpm < 25.01))
