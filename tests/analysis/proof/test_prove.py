"""From a session to a verdict, and what is said when none can be given."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.codes import codes
from analysis.outing_maker import (
    FULL,
    GUIDED,
    bracken,
    lump_session,
    plant_session,
    session_of,
    true_k_w_k,
    with_columns,
)
from refusal import refused
from wattsump_analysis.model.fit import Fitted, fit_record
from wattsump_analysis.proof import refusals, stretch
from wattsump_analysis.proof.prove import OIL_HEAT_KEY, prove
from wattsump_analysis.results import Proof, Verdict
from wattsump_logger.errors import SessionError
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Fault, Mark, Session

FLAGS = ("fan_on", "engine_rpm", "drive_on")
PROBES = tuple(f"{name}_c" for name in FULL)


@pytest.fixture(scope="module")
def outing() -> Session:
    return plant_session(GUIDED)


@pytest.fixture(scope="module")
def guided(outing: Session) -> Proof:
    return prove(with_columns(outing, *PROBES, *FLAGS), bracken())


@pytest.fixture(scope="module")
def flowing(outing: Session) -> Proof:
    return prove(outing, bracken())


def lump_running(seconds: float = 4800.0, final_c: float = 60.0) -> Session:
    session = lump_session(seconds, 800.0, final_c)
    running = np.ones(session.elapsed_s.size)
    columns = {**session.columns, "engine_on": running, "drive_on": running}
    return replace(session, columns=columns)


@pytest.fixture(scope="module")
def unprinted() -> Proof:
    """A plain warm-up of tank and air with the engine on, and a label without its difference."""
    cooler = {"label_heat": "8 kW", "label_etd": "not printed", "fan_with_engine": True}
    return prove(lump_running(), bracken(cooler=cooler))


def test_a_guided_run_gives_k_near_the_plant_s(guided: Proof) -> None:
    assert guided.k_w_k is not None
    assert guided.reference_oil_c is not None
    # independent: the emulated plant's own conductance at that oil temperature; the profile
    # states its capacity, and the label asks for 145 W/K.
    assert guided.k_w_k.value == pytest.approx(true_k_w_k(guided.reference_oil_c), rel=0.2)
    assert guided.k_w_k.low < true_k_w_k(guided.reference_oil_c) < guided.k_w_k.high
    # Six tenths of the label: a wide range may leave it open, but it never passes.
    assert guided.verdict != "meets"
    assert guided.k_refers_to == "oil into the cooler"


def test_the_label_is_held_against_k_at_its_own_difference(guided: Proof) -> None:
    assert guided.label is not None
    assert guided.k_w_k is not None
    assert guided.label.heat_at_etd_w is not None
    assert guided.label.share_of_label is not None
    assert guided.label.heat_at_etd_w.value == pytest.approx(55.0 * guided.k_w_k.value)
    assert guided.label.share_of_label.value == pytest.approx(55.0 * guided.k_w_k.value / 8000.0)
    assert guided.label.probability_met is not None
    assert guided.label.probability_met <= 0.05


def test_phases_cover_the_outing_in_order(guided: Proof) -> None:
    kinds = [phase.kind for phase in guided.phases]
    assert kinds[:2] == ["soak", "warm-up"]
    assert kinds[-1] == "stopped cool-down"
    assert {"fan on", "fan off"} <= set(kinds)
    for before, after in zip(guided.phases, guided.phases[1:], strict=False):
        assert before.end_s == after.start_s


def test_a_soak_matches_the_probes_and_says_so(guided: Proof) -> None:
    assert "probes-matched" in codes(guided.notes)


def test_the_ledger_closes_at_every_bin(guided: Proof) -> None:
    ledger = guided.ledger
    assert ledger is not None
    out = ledger.cooler_w + ledger.shell_w + ledger.stored_w + ledger.unexplained_w
    assert out == pytest.approx(ledger.heat_in_w, abs=1e-6)
    assert np.all(ledger.heat_in_low_w <= ledger.heat_in_high_w)
    assert abs(ledger.unexplained_w.sum()) < 0.01 * ledger.heat_in_w.sum()


def test_switching_fan_or_engine_stores_no_heat_that_nobody_brought(guided: Proof) -> None:
    ledger = guided.ledger
    assert ledger is not None
    # pinned: 100 W about a mean of 1.9 kW; 540 W where capacity times temperature is taken for
    # what is stored, because the core's capacity ends with the oil's flow.
    assert np.sqrt(np.mean(ledger.unexplained_w**2)) < 0.1 * ledger.heat_in_w.mean()


def test_oil_flow_gives_a_route_of_its_own(flowing: Proof) -> None:
    by_name = {route.name: route.k_w_k for route in flowing.routes}
    oil = by_name["oil side"]
    assert "temperatures and capacity" in by_name
    assert flowing.reference_oil_c is not None
    truth = true_k_w_k(flowing.reference_oil_c)
    assert oil.low < truth < oil.high


def test_every_proof_names_what_it_was_made_of(guided: Proof) -> None:
    assert guided.provenance["session"] == "outing.csv"
    assert guided.provenance["machine"] == "Bracken"
    assert guided.series_c["tank"].shape == guided.series_s.shape
    assert guided.model_c is not None
    assert guided.model_c.shape == guided.series_s.shape
    assert guided.peaks_c["tank"][0] > 60.0
    assert guided.limits_c["oil_max"] == 82.0


def test_a_label_without_its_difference_is_told_from_what_it_could_mean(unprinted: Proof) -> None:
    assert unprinted.label is not None
    assert unprinted.label.label_etd_k is None
    assert unprinted.label.probability_met is None
    assert "share-at-usual-differences" in codes(unprinted.reasons)
    assert unprinted.next_step.code == "ask-for-difference"


def test_no_cool_down_and_no_fan_step_are_said(unprinted: Proof) -> None:
    assert "warm-up-only" in codes(unprinted.notes)
    assert unprinted.k_refers_to == "tank oil"


def stopped() -> Session:
    """A cool-down with the engine off throughout."""
    session = lump_session(2400.0, 800.0, 15.0, start_c=60.0)
    off = np.zeros_like(session.elapsed_s)
    return replace(session, columns={**session.columns, "engine_rpm": off})


def every_third_minute() -> Session:
    session = lump_session(9000.0, 800.0, 60.0)
    columns = {name: values[::180] for name, values in session.columns.items()}
    return replace(session, elapsed_s=session.elapsed_s[::180], columns=columns)


@pytest.mark.parametrize(
    ("session", "machine", "reason", "next_step"),
    [
        (lump_session(1500.0, 4000.0, 80.0), {}, "outing-too-short", "log-longer"),
        (lump_session(2400.0, 800.0, 60.0), {"metal": None}, "metal-not-listed", "list-metal"),
        (lump_session(2400.0, 800.0, 15.5), {}, "oil-never-moved", "log-longer"),
        (
            lump_session(2400.0, 800.0, 15.5),
            {"cooler": {"label_heat": "8 kW", "label_etd": "55 K", "fitted": False}},
            "no-cooler-fitted",
            "fit-a-cooler",
        ),
        (stopped(), {}, "engine-never-ran", "log-longer"),
        (lump_session(100.0, 800.0, 60.0), {}, "too-few-rows", "log-longer"),
        (every_third_minute(), {}, "too-few-rows", "log-oftener"),
    ],
    ids=[
        "under half a time constant",
        "metal not listed",
        "oil never warmed",
        "no cooler",
        "engine never ran",
        "a handful of rows",
        "read seldom",
    ],
)
def test_an_outing_that_cannot_tell_says_why_and_what_to_do(
    session: Session, machine: dict[str, Any], reason: str, next_step: str
) -> None:
    proof = prove(session, bracken(**machine))
    assert proof.verdict is Verdict.CANNOT_TELL
    assert (proof.k_w_k, proof.label) == (None, None)
    assert proof.reasons[0].code == reason
    assert proof.next_step.code == next_step


def test_a_plateau_at_an_unlogged_fan_thermostat_cannot_tell() -> None:
    warming = lump_session(3600.0, 300.0, 51.0)
    t = warming.elapsed_s
    held = replace(
        warming,
        columns={
            **warming.columns,
            "tank_c": warming.columns["tank_c"] + 0.8 * np.sin(t / 60.0) * (t > 900.0),
        },
    )
    cooler = {"label_heat": "8 kW", "label_etd": "55 K", "fan_thermostat": "50 degC"}
    proof = prove(held, bracken(cooler=cooler))
    assert proof.verdict is Verdict.CANNOT_TELL
    assert proof.k_w_k is None
    assert codes(proof.reasons) == ["held-at-setting"]


@pytest.mark.parametrize(("final_c", "is_thick"), [(36.0, True), (60.0, False)])
def test_a_figure_of_cold_oil_is_told_to_be_lowered_by_it(final_c: float, is_thick: bool) -> None:
    proof = prove(lump_running(final_c=final_c), bracken())
    assert ("oil-thick" in codes(proof.cautions)) is is_thick


def test_without_air_temperature_phases_and_peaks_are_all() -> None:
    proof = prove(with_columns(lump_session(2400.0, 800.0, 60.0), "tank_c"), bracken())
    assert proof.verdict is Verdict.CANNOT_TELL
    assert codes(proof.reasons) == ["no-air-temperature"]
    assert proof.next_step.code == "connect-air-probe"
    assert proof.phases
    assert proof.peaks_c["tank"][0] > 50.0
    assert "ambient" not in proof.series_c


def test_an_air_channel_that_is_all_faults_is_left_out_and_named() -> None:
    session = lump_session(2400.0, 800.0, 60.0)
    faulty = {**session.columns, "ambient_c": np.full(session.elapsed_s.size, np.nan)}
    proof = prove(replace(session, columns=faulty), bracken())
    assert codes(proof.reasons) == ["no-air-temperature"]
    (note,) = (note for note in proof.notes if note.code == "channel-left-out")
    assert "ambient_c" in note.text


def test_a_tank_channel_that_is_all_faults_is_refused_with_its_fault() -> None:
    session = lump_session(2400.0, 800.0, 60.0)
    faulty = {**session.columns, "tank_c": np.full(session.elapsed_s.size, np.nan)}
    faults = (Fault(row=0, elapsed_s=0.0, channel="tank", code="open"),)
    with pytest.raises(SessionError, match="none in tank_c, its faults: open"):
        prove(replace(session, columns=faulty, faults=faults), bracken())


def test_a_session_without_a_tank_channel_is_refused() -> None:
    with refused(SessionError, "outing.csv"):
        prove(with_columns(lump_session(2400.0, 800.0, 60.0), "ambient_c"), bracken())


def test_a_session_without_rows_is_refused() -> None:
    with pytest.raises(SessionError, match="0 rows"):
        prove(session_of(np.empty(0), {"tank_c": np.empty(0)}), bracken())


def test_the_highest_of_readings_minutes_apart_is_no_spike() -> None:
    tank_c = [14, 21, 30, 38, 45, 52, 60, 52, 50, 49, 48, 47]
    t = np.arange(0.0, 300.0 * len(tank_c), 300.0)
    columns = {"tank_c": np.array(tank_c, dtype=float), "ambient_c": np.full(t.size, 14.0)}
    # independent: as typed
    assert prove(session_of(t, columns), bracken()).peaks_c["tank"] == (60.0, 1800.0)


def test_a_wrong_heat_capacity_in_the_sidecar_is_refused() -> None:
    session = lump_session(2400.0, 800.0, 60.0)
    columns = {**session.columns, "flow_lpm": np.full(session.elapsed_s.size, 17.0)}
    wrong = replace(session, columns=columns, metadata={OIL_HEAT_KEY: "much"})
    with refused(SessionError, "outing.csv, sidecar, oil_heat_j_m3k"):
        prove(wrong, bracken())


def test_a_mark_of_a_cleaned_core_cuts_the_outing() -> None:
    session = lump_session(2400.0, 800.0, 15.5)
    mark = Mark(elapsed_s=1200.0, text="Stopped and cleaned the core")
    proof = prove(replace(session, marks=(mark,)), bracken())
    (note,) = (note for note in proof.notes if note.code == "cut-mark")
    assert mark.text in note.text
    assert proof.marks == ((1200.0, "Stopped and cleaned the core"),)


def test_a_mark_of_something_else_does_not_cut_the_outing() -> None:
    session = lump_session(2400.0, 800.0, 15.5)
    mark = Mark(elapsed_s=1200.0, text="changed the oil filter, cooler looks clean")
    harmless = Mark(elapsed_s=1300.0, text="second load")
    proof = prove(replace(session, marks=(harmless,)), bracken())
    assert "cut-mark" not in codes(proof.notes)
    cut = prove(replace(session, marks=(mark,)), bracken())
    # A mark that only looks like a change cuts too: cutting costs width, blending costs truth.
    assert "cut-mark" in codes(cut.notes)


def test_the_profile_of_the_sidecar_is_used_when_none_is_given() -> None:
    session = lump_session(2400.0, 800.0, 15.5)
    proof = prove(replace(session, metadata={"profile": bracken().to_dict()}))
    assert proof.provenance["machine"] == "Bracken"


def test_hot_oil_is_warned_of() -> None:
    session = with_columns(lump_session(2400.0, 800.0, 96.0), "tank_c")
    proof = prove(session, bracken())
    assert "over-limit" in codes(proof.cautions)


def test_swapped_cooler_probes_are_suspected() -> None:
    session = lump_session(2400.0, 800.0, 60.0)
    tank = session.columns["tank_c"]
    columns = {"tank_c": tank, "cooler_in_c": tank - 6.0, "cooler_out_c": tank}
    proof = prove(replace(session, columns=columns), bracken())
    assert "drop-backwards" in codes(proof.cautions)


def test_settled_oil_with_a_flow_meter_needs_no_transient() -> None:
    session = lump_session(2400.0, 1e9, 60.0, start_c=50.0)
    steady = session.columns["tank_c"]
    # 17 L/min of this oil carry about 480 W/K; 90 W/K on 45 K are 8.4 K of it.
    columns = {
        "tank_c": steady,
        "cooler_in_c": steady + 10.0,
        "cooler_out_c": steady + 1.6,
        "ambient_c": session.columns["ambient_c"],
        "flow_lpm": np.full(steady.size, 17.0),
    }
    proof = prove(replace(session, columns=columns), bracken())
    assert proof.k_w_k is not None
    # independent: 17 L/min of 845 kg/m3 and 2025 J/(kg K) times 8.4 K over 45 K, by hand.
    assert proof.k_w_k.value == pytest.approx(17.0 / 60e3 * 845.0 * 2025.0 * 8.4 / 45.0, rel=0.02)
    assert "oil-side-alone" in codes(proof.cautions)


@pytest.mark.parametrize(("limit", "warned"), [("90 degC", False), ("75 degC", True)])
def test_a_channel_with_a_limit_of_its_own_is_held_against_that_one(
    limit: str, warned: bool
) -> None:
    session = lump_session(2400.0, 800.0, 60.0)
    tank = session.columns["tank_c"]
    columns = {"tank_c": tank, "case_drain_c": tank + (85.0 - float(np.max(tank)))}
    profile = bracken(limits={"oil_max": "82 degC"}, channels={"case_drain": {"limit": limit}})
    cautions = prove(replace(session, columns=columns), profile).cautions
    assert ("over-limit" in codes(cautions)) is warned


def test_a_guided_run_that_cannot_tell_is_not_sent_to_make_a_guided_run(
    outing: Session, guided: Proof
) -> None:
    assert guided.k_w_k is not None
    label = {"label_heat": f"{55.0 * guided.k_w_k.value:.0f} W", "label_etd": "55 K"}
    proof = prove(with_columns(outing, *PROBES, *FLAGS), bracken(cooler=label))
    assert proof.verdict is Verdict.CANNOT_TELL
    assert proof.next_step.code == "weigh-and-repeat"


def test_without_an_engine_channel_what_follows_the_drive_s_last_turn_is_left_out(
    outing: Session,
) -> None:
    flags = [name for name in FLAGS if name != "engine_rpm"]
    proof = prove(with_columns(outing, *PROBES, *flags), bracken())
    turning = outing.elapsed_s[outing.columns["drive_on"] > 0.5]
    (note,) = (note for note in proof.notes if note.code == "no-engine-channel")
    assert f"last turned, at {turning[-1] / 60:.0f} min; what came after was left out" in note.text
    assert max(phase.end_s for phase in proof.phases) <= turning[-1] + 20.0
    # independent: the emulated plant's own conductance; fitted through its stopped cool-down
    # as if oil were pumped, K would be less than half of it.
    assert proof.k_w_k is not None
    assert proof.reference_oil_c is not None
    assert proof.k_w_k.low < true_k_w_k(proof.reference_oil_c) < proof.k_w_k.high


def test_swapped_probes_give_no_watts_and_are_named(outing: Session) -> None:
    columns = dict(outing.columns)
    columns["cooler_in_c"], columns["cooler_out_c"] = (
        columns["cooler_out_c"],
        columns["cooler_in_c"],
    )
    proof = prove(with_columns(replace(outing, columns=columns), *PROBES, *FLAGS), bracken())
    assert proof.verdict is Verdict.CANNOT_TELL
    assert proof.k_w_k is None
    assert codes(proof.reasons) == ["cooler-probes-swapped"]
    assert proof.next_step.code == "check-probes"


def test_without_a_label_the_cooler_is_measured_in_watts() -> None:
    profile = bracken(cooler={"oil_flow_uncertainty": "6 %"})
    proof = prove(lump_running(), profile)
    assert proof.verdict is Verdict.MEASURED
    assert proof.k_w_k is not None
    assert proof.label is None
    assert codes(proof.reasons) == ["no-label"]
    assert proof.next_step.code == "enter-label"
    # independent: heat is K times the difference, here 40 K.
    assert f"{0.04 * proof.k_w_k.value:.2f} kW" in proof.headline


def test_a_tank_hotter_than_any_oil_is_answered_with_its_reason() -> None:
    session = lump_session(2400.0, 800.0, 60.0)
    hot = {**session.columns, "tank_c": session.columns["tank_c"] + 170.0}
    hot["flow_lpm"] = np.full(session.elapsed_s.size, 17.0)
    proof = prove(replace(session, columns=hot), bracken())
    assert proof.verdict is Verdict.CANNOT_TELL
    assert codes(proof.reasons) == ["readings-too-hot"]
    assert proof.peaks_c["tank"][0] > 200.0


def test_without_engine_drive_or_flow_no_label_is_met_or_missed(outing: Session) -> None:
    bare = with_columns(outing, *PROBES, "fan_on")
    for label_heat in ("1 kW", "50 kW"):
        profile = bracken(cooler={"label_heat": label_heat, "label_etd": "55 K"})
        proof = prove(bare, profile)
        assert proof.verdict is Verdict.CANNOT_TELL
        assert proof.reasons[0].code == "flow-unlogged"
        assert proof.next_step.code == "log-engine"


def test_an_engine_without_the_drive_gives_no_watts_but_by_a_metered_flow(
    outing: Session,
) -> None:
    running = (outing.columns["engine_rpm"] > 0).astype(float)
    typed = replace(outing, columns={**outing.columns, "engine_on": running})
    bare = prove(with_columns(typed, *PROBES, "fan_on", "engine_on"), bracken())
    assert (bare.verdict, bare.k_w_k) == (Verdict.CANNOT_TELL, None)
    assert "drive-unlogged" in codes(bare.reasons)
    assert bare.next_step.code == "log-drive"
    metered = with_columns(typed, *PROBES, "fan_on", "engine_on", "flow_lpm")
    assert prove(metered, bracken()).k_w_k is not None


def test_a_stop_that_nobody_logged_is_left_out_of_the_fit(outing: Session) -> None:
    bare = prove(with_columns(outing, *PROBES, "fan_on"), bracken())
    stop_s = outing.elapsed_s[np.flatnonzero(outing.columns["engine_rpm"] > 0)[-1]]
    assert max(phase.end_s for phase in bare.phases) <= stop_s


def test_a_fan_that_nobody_logged_falls_short_of_nothing() -> None:
    label = {"label_heat": "50 kW", "label_etd": "not printed"}
    long = lump_running(7200.0)
    assert prove(long, bracken(cooler=label)).reasons[0].code == "fan-unlogged"
    belted = prove(long, bracken(cooler={**label, "fan_with_engine": True}))
    assert belted.verdict is Verdict.FALLS_SHORT


def test_a_fan_that_speeds_up_with_the_oil_falls_short_of_nothing() -> None:
    label = {"label_heat": "50 kW", "label_etd": "not printed", "fan_with_engine": True}
    proof = prove(lump_running(7200.0), bracken(cooler={**label, "fan_follows_oil": True}))
    assert proof.verdict is Verdict.CANNOT_TELL
    assert proof.reasons[0].code == "fan-follows-oil"
    assert proof.next_step.code == "log-at-full-fan"


def test_without_a_tank_probe_the_oil_s_flow_tells_alone(outing: Session) -> None:
    bare = with_columns(outing, "cooler_in_c", "cooler_out_c", "ambient_c", "flow_lpm", "fan_on")
    proof = prove(bare, bracken())
    assert proof.k_w_k is not None
    assert proof.k_w_k.low < true_k_w_k(60.0) < proof.k_w_k.high
    assert proof.k_refers_to == "oil into the cooler"
    assert [route.name for route in proof.routes] == ["oil side"]
    assert "tank" not in proof.peaks_c
    assert "tank" not in proof.series_c


def test_without_tank_and_flow_it_says_what_it_would_take(outing: Session) -> None:
    bare = with_columns(outing, "cooler_in_c", "cooler_out_c", "ambient_c", *FLAGS)
    proof = prove(bare, bracken())
    assert proof.verdict is Verdict.CANNOT_TELL
    assert codes(proof.reasons) == ["no-tank-probe"]
    assert proof.next_step.code == "add-tank-probe"


def test_a_search_that_did_not_settle_is_a_caution(monkeypatch: pytest.MonkeyPatch) -> None:
    def unsettled(*given: Any, **options: Any) -> Fitted:
        fitted = fit_record(*given, **options)
        return replace(fitted, posterior=replace(fitted.posterior, effective_draws=60.0))

    session = lump_session(2400.0, 800.0, 60.0)
    settled = prove(session, bracken())
    monkeypatch.setattr(stretch, "fit_record", unsettled)
    proof = prove(session, bracken())
    assert "search-unfinished" in codes(proof.cautions)
    assert "search-unfinished" not in codes(settled.cautions)


def test_a_fit_without_heat_off_the_cooler_found_no_machine(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def backwards(*given: Any, **options: Any) -> Fitted:
        fitted = fit_record(*given, **options)
        return replace(fitted, k_w_k=replace(fitted.k_w_k, low=-1700.0, high=-970.0))

    monkeypatch.setattr(stretch, "fit_record", backwards)
    proof = prove(lump_running(2400.0), bracken())
    assert codes(proof.reasons)[0] == "fit-failed"
    assert proof.segments == ()


def test_a_cooler_behind_a_bypass_that_is_half_open_does_not_fall_short(outing: Session) -> None:
    probes = with_columns(outing, *PROBES, *FLAGS)
    cooler = {"label_heat": "12 kW", "label_etd": "55 K"}
    short = prove(probes, bracken(cooler=cooler))
    assert short.verdict is Verdict.FALLS_SHORT
    behind = prove(probes, bracken(cooler=cooler | {"bypass": "65 degC"}))
    assert codes(behind.reasons)[0] == "bypass-half-open"
    assert behind.verdict is Verdict.CANNOT_TELL
    assert prove(probes, bracken(cooler=cooler | {"bypass": "30 degC"})).verdict is short.verdict


@pytest.mark.parametrize(
    ("label", "step"), [("2 kW", "check-listed"), ("3.3 kW", "keep-to-compare")]
)
def test_a_cooler_far_above_its_label_is_first_a_matter_of_units(
    outing: Session, label: str, step: str
) -> None:
    probes = with_columns(outing, *PROBES, *FLAGS)
    proof = prove(probes, bracken(cooler={"label_heat": label, "label_etd": "55 K"}))
    assert proof.verdict is Verdict.MEETS
    assert proof.next_step.code == step


def test_a_cooler_whose_own_air_warms_the_air_probe_does_not_meet_its_label(
    outing: Session,
) -> None:
    probes = with_columns(outing, *PROBES, *FLAGS)
    machine = bracken(cooler={"label_heat": "3 kW", "label_etd": "55 K"})
    assert prove(probes, machine).verdict is Verdict.MEETS
    air_c, oil_c = probes.columns["ambient_c"], probes.columns["tank_c"]
    blown = probes.columns["fan_on"] * (probes.columns["engine_rpm"] > 0.0)
    hot = {**probes.columns, "ambient_c": air_c + 0.25 * np.nan_to_num(oil_c - air_c) * blown}
    proof = prove(replace(probes, columns=hot), machine)
    assert proof.verdict is Verdict.CANNOT_TELL
    assert codes(proof.reasons)[0] == "hot-air-measured"


def test_what_nobody_logged_is_named_before_a_machine_that_is_not_as_described(
    outing: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    denied = Remark(code="readings-deny-stated", text="any")
    monkeypatch.setattr(refusals, "denied_prior", lambda _: denied)
    probes = with_columns(outing, *PROBES, "fan_on")
    proof = prove(probes, bracken())
    assert codes(proof.reasons) == ["flow-unlogged", "readings-deny-stated"]
    running = {**probes.columns, "engine_on": np.sign(outing.columns["engine_rpm"])}
    proof = prove(replace(probes, columns=running), bracken())
    assert codes(proof.reasons) == ["drive-unlogged", "readings-deny-stated"]


def test_pieces_that_a_cleaned_core_cuts_apart_share_oil_metal_and_shell(outing: Session) -> None:
    probes = with_columns(outing, *PROBES, *FLAGS)
    late = float(probes.elapsed_s[np.argmax(probes.columns["drive_on"] > 0.5)])
    cut = replace(probes, marks=(Mark(elapsed_s=late, text="cleaned the core"),))
    alone = replace(
        probes,
        elapsed_s=probes.elapsed_s[probes.elapsed_s >= late],
        columns={n: v[probes.elapsed_s >= late] for n, v in probes.columns.items()},
    )
    both, last = prove(cut, bracken()), prove(alone, bracken())
    assert len(both.segments) == 2
    after, without = both.segments[-1].shell_w_k, last.segments[-1].shell_w_k
    assert after is not None
    assert without is not None
    # The rise without a fan told the shell before the cut; the rest of the outing hardly does.
    assert after.half_width_rel < 0.9 * without.half_width_rel


def test_a_machine_of_three_times_the_oil_and_metal_has_three_times_the_k(
    outing: Session, guided: Proof
) -> None:
    oil = {"grade": "VG 46", "volume": "51 L", "volume_uncertainty": "5 %"}
    metal = [
        {"name": "iron", "material": "steel", "mass": "138 kg", "mass_uncertainty": "15 %"},
        {"name": "core", "material": "aluminium", "mass": "30 kg", "mass_uncertainty": "15 %"},
    ]
    large = prove(with_columns(outing, *PROBES, *FLAGS), bracken(oil=oil, metal=metal))
    assert guided.k_w_k is not None
    assert large.k_w_k is not None
    # independent: every balance is linear in capacities, flows, conductances and heat, so the same
    # temperatures mean three times of each; to a few hundredths by the draws.
    for end in ("value", "low", "high"):
        tripled = 3.0 * getattr(guided.k_w_k, end)
        assert getattr(large.k_w_k, end) == pytest.approx(tripled, rel=0.05)


def test_bare_probes_at_the_cooler_are_left_out_and_the_tank_answers(outing: Session) -> None:
    bare = {name: {"mount": "bare"} for name in ("cooler_in", "cooler_out")}
    session = with_columns(outing, *PROBES, *FLAGS)
    low = dict(session.columns)
    for name, missed in (("cooler_in_c", 0.05), ("cooler_out_c", 0.2)):
        low[name] = low[name] - missed * (low[name] - low["ambient_c"])
    proof = prove(replace(session, columns=low), bracken(channels=bare))
    assert "probes-bare" in codes(proof.cautions)
    assert proof.k_w_k is not None
    # pinned: the same outing without these channels, to the last digit.
    alone = prove(with_columns(session, "tank_c", "ambient_c", *FLAGS), bracken())
    assert (proof.k_refers_to, proof.k_w_k) == (alone.k_refers_to, alone.k_w_k)
