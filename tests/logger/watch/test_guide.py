"""A guide: begins by flag or by key, ends by time or by temperature, may be left at any time."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from checkout import BRACKEN
from wattsump_logger.watch.guide import Advice, Learned, Need, ProvingRun, Step, Until
from wattsump_logger.watch.hot_oil import safe_limit_c
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.proving_run import proving_run, proving_steps

STOPS_C = {"tank": 79.0, "cooler_in": 79.0, "case_drain": 87.0}
FAN_OFF = Need(what="fan", want=False)
RISE = Step(
    name="rise",
    do="Fan off.",
    shortest_s=10,
    longest_s=100,
    needs=(FAN_OFF,),
    until=Until(oil_above_c=66.0),
    safety=("Hot.",),
    heats=True,
)
REST = Step(name="rest", do="Wait.", longest_s=20)


def look(second: float, rate: float = 0.0, **values: float) -> Look:
    return Look(now_s=second, values=values, rates_k_min={"tank_c": rate, "ambient_c": 0.0})


class Drive:
    """Lets one second pass at each call and keeps every mark."""

    def __init__(self, guide: ProvingRun) -> None:
        self.guide, self.second, self.marks = guide, 0.0, list[str]()

    def on(self, seconds: float, *, go_on: bool = False, **values: float) -> Advice:
        for _ in range(max(1, round(seconds))):
            advice = self.guide.follow(look(self.second, **values), go_on=go_on)
            self.marks += advice.marks
            self.second += 1
        return advice


def test_a_step_waits_until_the_driver_has_done_what_it_asks() -> None:
    drive = Drive(ProvingRun([RISE, REST], stops_c=STOPS_C))
    advice = drive.on(50, tank_c=40.0, fan_on=1.0)
    assert (advice.stage, advice.left_s, drive.marks) == ("rise", None, [])
    advice = drive.on(1, tank_c=40.0, fan_on=0.0)
    assert advice.left_s == RISE.longest_s
    assert drive.marks == ["stage rise"]
    assert advice.safety == ("Hot.",)


def test_a_step_that_waits_names_the_switch_it_waits_for() -> None:
    # An input that nobody wired reads off for ever: the driver must see why nothing begins.
    step = replace(RISE, needs=(Need(what="working", want=True), *RISE.needs))
    drive = Drive(ProvingRun([step], stops_c=STOPS_C))
    waiting = drive.on(5, tank_c=40.0, fan_on=0.0, engine_rpm=2200.0, drive_on=0.0)
    assert waiting.until == "waits for drive on; g begins it"
    drive.on(1, go_on=True, tank_c=40.0, fan_on=0.0, engine_rpm=2200.0, drive_on=0.0)
    assert drive.marks == ["stage rise"]


def test_where_nothing_tells_the_key_begins_the_step() -> None:
    drive = Drive(ProvingRun([RISE], stops_c=STOPS_C))
    assert drive.on(5, tank_c=40.0).until == "g begins it"
    drive.on(1, go_on=True, tank_c=40.0)
    assert drive.marks == ["stage rise"]


def test_a_step_ends_at_its_temperature_but_not_before_its_shortest_time() -> None:
    drive = Drive(ProvingRun([RISE, REST], stops_c=STOPS_C))
    advice = drive.on(8, tank_c=67.0, fan_on=0.0)
    assert advice.stage == "rise"
    drive.on(5, tank_c=67.0, fan_on=0.0)
    assert drive.marks[:2] == ["stage rise", "stage rise ends: done"]


def test_a_step_ends_after_its_longest_time() -> None:
    drive = Drive(ProvingRun([RISE, REST], stops_c=STOPS_C))
    drive.on(100, tank_c=50.0, fan_on=0.0)
    assert drive.marks == ["stage rise"]
    drive.on(2, tank_c=50.0, fan_on=0.0)
    assert "stage rise ends: done" in drive.marks


def test_time_stands_still_while_the_machine_is_not_as_asked_and_the_screen_says_so() -> None:
    drive = Drive(ProvingRun([RISE], stops_c=STOPS_C))
    left = drive.on(20, tank_c=50.0, fan_on=0.0).left_s
    advice = drive.on(60, tank_c=50.0, fan_on=1.0)
    assert left is not None
    assert advice.left_s == left
    assert advice.wrong == "fan-is-on"


def test_too_hot_ends_a_heating_step_at_once_and_tells_to_cool() -> None:
    drive = Drive(ProvingRun([RISE, REST], stops_c={"tank": 72.0}))
    drive.on(2, tank_c=60.0, fan_on=0.0)
    advice = drive.on(4, tank_c=72.0, fan_on=0.0)
    assert drive.marks[-1] == "stage rise ends: cut short, tank hot"
    assert advice.wrong == "hot-running"


@pytest.mark.parametrize(
    ("channel", "below_c", "above_c"),
    [("cooler_in", 78.5, 79.5), ("case_drain", 86.5, 87.5)],
)
def test_any_oil_channel_at_its_own_stop_ends_a_heating_step_and_is_named(
    channel: str, below_c: float, above_c: float
) -> None:
    drive = Drive(ProvingRun([RISE, REST], stops_c=STOPS_C))
    drive.on(6, tank_c=60.0, fan_on=0.0, go_on=False, **{f"{channel}_c": below_c})
    assert len(drive.marks) == 1
    advice = drive.on(4, tank_c=60.0, fan_on=0.0, go_on=False, **{f"{channel}_c": above_c})
    where = channel.replace("_", " ")
    assert drive.marks[-1] == f"stage rise ends: cut short, {where} hot"
    assert (advice.wrong, where in advice.urgent) == ("hot-running", True)


def test_a_single_wild_reading_cuts_nothing_short() -> None:
    drive = Drive(ProvingRun([RISE], stops_c=STOPS_C))
    drive.on(5, tank_c=60.0, fan_on=0.0)
    drive.on(2, tank_c=60.0, fan_on=0.0, cooler_in_c=110.0)
    drive.on(5, tank_c=60.0, fan_on=0.0, cooler_in_c=62.0)
    assert drive.marks == ["stage rise"]


def test_the_driver_may_go_on_or_stop_at_any_time_with_what_is_known() -> None:
    drive = Drive(ProvingRun([RISE, REST], stops_c=STOPS_C))
    drive.on(60, tank_c=50.0, fan_on=0.0)
    advice = drive.on(1, go_on=True, tank_c=52.0, fan_on=0.0)
    assert drive.marks[-1] == "stage rise ends: by key"
    assert advice.learned == ("rise: +2.0 K in 1.0 min",)


def test_a_pause_of_the_capture_is_no_time_spent_on_a_step() -> None:
    drive = Drive(ProvingRun([RISE], stops_c=STOPS_C))
    left = drive.on(10, tank_c=50.0, fan_on=0.0).left_s
    drive.second += 3600
    advice = drive.on(1, tank_c=50.0, fan_on=0.0)
    assert advice.left_s == left


def test_an_estimate_from_outside_is_shown_and_ends_a_step_when_it_is_enough() -> None:
    said = [Learned(text="K to ±9 %, two more minutes for ±7 %"), Learned(text="K to ±7 %")]
    step = Step(name="fan on 1", do="Fan on.", longest_s=300, shortest_s=5, estimated=True)

    def estimate(seen: Look, stage: str) -> Learned:
        assert stage == "fan on 1"
        return Learned(text=said[1].text, enough=True) if seen.now_s > 50 else said[0]

    drive = Drive(ProvingRun([step, REST], stops_c=STOPS_C, estimate=estimate))
    drive.on(1, tank_c=50.0)
    drive.on(1, go_on=False, tank_c=50.0)
    advice = drive.on(20, tank_c=50.0)
    assert advice.learned == ("K to ±9 %, two more minutes for ±7 %",)
    advice = drive.on(40, tank_c=50.0)
    assert "stage fan on 1 ends: done" in drive.marks
    assert advice.learned[0] == "K to ±7 %"


def test_a_soak_teaches_how_far_apart_the_probes_are() -> None:
    soak = Step(name="soak", do="Wait.", shortest_s=5, longest_s=900, until=Until(settled=True))
    drive = Drive(ProvingRun([soak, REST], stops_c=STOPS_C))
    advice = drive.on(10, tank_c=12.25, ambient_c=11.5)
    assert "soak: probes within 0.8 K" in advice.learned


def test_probes_of_a_machine_started_during_its_soak_teach_nothing() -> None:
    soak = proving_steps(None)[0]
    drive = Drive(ProvingRun([soak], stops_c=STOPS_C))
    drive.on(100, tank_c=20.0, ambient_c=19.5, engine_rpm=0.0)
    drive.on(30, tank_c=45.0, ambient_c=19.5, engine_rpm=2200.0)
    advice = drive.on(1, go_on=True, tank_c=45.0, ambient_c=19.5, engine_rpm=2200.0)
    assert advice.learned == ("soak: probes were not at rest",)


HEATER = Step(
    name="heater",
    do="Heater on.",
    longest_s=50,
    needs=(Need(what="engine", want=False), Need(what="heater", want=True)),
    optional=True,
)
DRIVE = Step(name="drive", do="Go.", longest_s=50, needs=(Need(what="engine", want=True),))


def test_an_optional_step_is_left_out_by_a_driver_who_does_the_next() -> None:
    drive = Drive(ProvingRun([HEATER, DRIVE], stops_c=STOPS_C))
    advice = drive.on(5, engine_rpm=0.0, heater_on=0.0)
    assert (advice.stage, advice.until) == ("heater", "g leaves it out")
    drive.on(50, engine_rpm=2200.0, heater_on=0.0)
    drive.on(5, engine_rpm=0.0, heater_on=0.0)  # the machine was moved, no more
    drive.on(50, engine_rpm=2200.0, heater_on=0.0)
    assert drive.marks == []
    drive.on(20, engine_rpm=2200.0, heater_on=0.0)
    assert drive.marks == ["stage heater left out", "stage drive"]


def test_an_optional_step_is_left_out_by_the_key() -> None:
    drive = Drive(ProvingRun([HEATER, DRIVE], stops_c=STOPS_C))
    assert drive.on(1, go_on=True, engine_rpm=0.0, heater_on=0.0).stage == "drive"
    assert drive.marks == ["stage heater left out"]


def test_a_driver_who_goes_on_is_not_held_in_an_optional_step() -> None:
    drive = Drive(ProvingRun([HEATER, RISE, DRIVE], stops_c=STOPS_C))
    drive.on(3, engine_rpm=0.0)
    # Nothing tells of the heater: the key begins its step, and only while the engine stands.
    drive.on(1, go_on=True, engine_rpm=0.0)
    advice = drive.on(5, engine_rpm=2200.0, fan_on=1.0)
    assert advice.left_s == HEATER.longest_s
    drive.on(60, engine_rpm=2200.0, fan_on=1.0)
    assert drive.marks[:2] == ["stage heater", "stage heater ends: the machine went on"]


def test_an_optional_step_is_left_out_by_a_driver_two_steps_ahead() -> None:
    drive = Drive(ProvingRun([HEATER, RISE, DRIVE], stops_c=STOPS_C))
    advice = drive.on(65, engine_rpm=2200.0, fan_on=1.0)
    assert drive.marks == ["stage heater left out"]
    assert advice.stage == "rise"


def test_an_optional_step_that_is_done_is_not_left_out() -> None:
    drive = Drive(ProvingRun([HEATER, DRIVE], stops_c=STOPS_C))
    drive.on(1, engine_rpm=0.0, heater_on=1.0)
    drive.on(3, engine_rpm=2200.0, heater_on=0.0)
    assert drive.marks == ["stage heater"]


def test_a_step_that_follows_is_left_out_with_the_one_before_it() -> None:
    after = Step(
        name="after",
        do="Heater off.",
        longest_s=50,
        needs=(Need(what="engine", want=True), Need(what="heater", want=False)),
        optional=True,
        follows=True,
    )
    drive = Drive(ProvingRun([HEATER, after, DRIVE], stops_c=STOPS_C))
    drive.on(1, go_on=True, engine_rpm=0.0, heater_on=0.0)
    assert drive.marks == ["stage heater left out", "stage after left out"]


def test_what_is_usual_holds_where_nothing_tells_and_not_where_something_denies() -> None:
    unplugged = Need(what="heater", want=False, is_usual=True)
    assert unplugged.met(look(0.0)) is True
    assert unplugged.met(look(0.0, heater_w=500.0)) is False


@pytest.mark.parametrize("profile", [None, BRACKEN])
def test_the_proving_run_has_its_steps_in_order_each_with_its_cautions(profile: object) -> None:
    steps = proving_steps(BRACKEN if profile else None)
    names = [step.name for step in steps]
    fans = [f"fan {state} {number}" for number in (1, 2, 3) for state in ("on", "off")]
    heater = ["heater run", "circulation"] if profile else []
    assert names == ["soak", *heater, "fan-off rise", *fans, "work loop", "stopped cool-down"]
    for step in steps:
        assert step.safety
        if Need(what="working", want=True) in step.needs:
            assert any("turn" in line for line in step.safety)
        if step.heats:
            assert step.until.oil_above_c is not None
            assert step.until.oil_above_c <= safe_limit_c(BRACKEN if profile else None)


def test_the_heater_warms_oil_that_a_pump_sends_round_and_the_pump_alone_follows() -> None:
    heated, alone = proving_steps(BRACKEN)[1:3]
    both = {("engine", True), ("drive", False), ("fan", False)}
    assert {(need.what, need.want) for need in heated.needs} == both | {("heater", True)}
    assert {(need.what, need.want) for need in alone.needs} == both | {("heater", False)}
    # pinned: what the validation's outings do, 30 min or 60 degC and then 10 min
    assert (heated.longest_s, heated.until.oil_above_c, alone.longest_s) == (1800, 60.0, 600)
    for word in ("residual-current", "Cord", "licensed", "blocked", "open air", "scald"):
        assert any(word in line for line in heated.safety), word
    for line in (*heated.safety, heated.do, alone.do):
        assert len(line) <= 76


def test_a_pad_on_the_wall_has_no_step_of_this_run() -> None:
    assert BRACKEN.heater is not None
    pad = replace(BRACKEN, heater=replace(BRACKEN.heater, is_bonded=True))
    without = proving_steps(replace(BRACKEN, heater=None))
    assert [step.name for step in proving_steps(pad)] == [step.name for step in without]


def test_only_a_machine_that_may_have_a_heater_is_told_to_unplug_it() -> None:
    profiles = (None, BRACKEN, replace(BRACKEN, heater=None))
    rises = [
        next(step for step in proving_steps(each) if step.name == "fan-off rise")
        for each in profiles
    ]
    assert ["unplugged" in rise.do for rise in rises] == [True, True, False]


def test_a_driver_who_starts_the_engine_before_the_heater_has_left_nothing_out() -> None:
    drive = Drive(ProvingRun(proving_steps(BRACKEN)[1:], stops_c=STOPS_C))
    neutral = {"engine_rpm": 2200.0, "drive_on": 0.0, "fan_on": 0.0, "tank_c": 20.0}
    advice = drive.on(120, go_on=False, heater_w=0.0, **neutral)
    assert (advice.stage, drive.marks) == ("heater run", [])
    drive.on(2, go_on=False, heater_w=500.0, **neutral)
    assert drive.marks == ["stage heater run"]


def test_a_run_without_the_fan_never_goes_beyond_the_warning_nor_to_thin_oil() -> None:
    limit_c = safe_limit_c(BRACKEN)
    assert limit_c <= BRACKEN.limits.oil_warn_c
    assert limit_c < BRACKEN.limits.oil_max_c


def bracken(second: float, tank_c: float, stage: str) -> Mapping[str, float]:
    """A driver who does at once what the stage's name says."""
    working = float(stage.startswith(("fan", "work")))
    circulated = float(stage in ("heater run", "circulation"))
    heating = float(stage == "heater run") * 500
    fan = float(stage.startswith(("fan on", "work")))
    return {
        "tank_c": tank_c,
        "ambient_c": 15.0,
        "engine_rpm": 1800 * max(working, circulated),
        "drive_on": working,
        "fan_on": fan,
        "heater_w": heating,
    }


def test_a_heater_run_that_ends_cooler_than_usual_says_why() -> None:
    # independent: the tank's stop of 60 less the 5 K kept for the circulation.
    cool = replace(BRACKEN, limits=replace(BRACKEN.limits, oil_warn_c=60.0))
    usual, cooler = (proving_steps(profile)[1] for profile in (BRACKEN, cool))
    assert cooler.until.oil_above_c is not None
    assert cooler.until.oil_above_c < 60.0
    assert "60 degC" in usual.until_text
    assert len(cooler.until_text) > len(usual.until_text)


def test_the_whole_run_is_walked_by_an_obedient_machine_within_three_hours() -> None:
    guide, tank_c, stage, marks, second = proving_run(BRACKEN), 15.0, "soak", list[str](), 0.0
    while second < 3 * 3600:
        values = bracken(second, tank_c, stage)
        # 62 kJ/K of oil and metal, 4 kW of drive loss, 100 and 12 W/K: an ordinary machine
        heat_w = 4000 * values["drive_on"] + values["heater_w"]
        heat_w -= (12 + 100 * values["fan_on"]) * (tank_c - 15.0)
        tank_c += heat_w / 62_000
        rates = {"tank_c": heat_w / 62_000 * 60, "ambient_c": 0.0}
        advice = guide.follow(Look(now_s=second, values=values, rates_k_min=rates))
        marks += advice.marks
        stage, second = advice.stage, second + 1
        assert tank_c < BRACKEN.limits.oil_warn_c + 1
        if advice.finished:
            break
    names = [step.name for step in proving_steps(BRACKEN)]
    begun = [mark for mark in marks if "ends" not in mark]
    assert begun == [f"stage {name}" for name in names]
    assert [mark for mark in marks if "ends" in mark] == [f"stage {n} ends: done" for n in names]
    assert len(advice.learned) == len(names)
