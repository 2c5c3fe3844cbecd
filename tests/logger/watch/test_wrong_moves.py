"""Every wrong move of a guided run: what the driver reads, and what becomes of the step."""

import pytest

from checkout import BRACKEN
from wattsump_logger.machine.profile import Profile
from wattsump_logger.watch.guide import Advice, ProvingRun
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.proving_run import proving_steps
from wattsump_logger.watch.wrong_moves import WRONG_MOVES, WrongMove

STOPS_C = {"tank": 70.0, "case_drain": 87.0}
REST = {"engine_rpm": 0.0, "drive_on": 0.0, "fan_on": 0.0}
RISE = {"engine_rpm": 2200.0, "drive_on": 1.0, "fan_on": 0.0}
NEUTRAL = {"engine_rpm": 2200.0, "drive_on": 0.0, "fan_on": 0.0, "heater_w": 0.0}
HEATED = {**NEUTRAL, "heater_w": 500.0}


def instead_of(code: str) -> str:
    """What a driver reads in place of the step's own instruction."""
    return next(move.instead for move in WRONG_MOVES if move.code == code)


def mark(stage: str, why: str = "") -> str:
    return f"stage {stage} ends: {why}" if why else f"stage {stage}"


class Driver:
    """Lets seconds pass with the machine as given, and keeps every mark."""

    def __init__(self, profile: Profile | None = None) -> None:
        self.guide = ProvingRun(proving_steps(profile), stops_c=STOPS_C)
        self.second, self.marks = 0.0, list[str]()

    def sees(
        self, seconds: float, machine: dict[str, float], oil_c: float | None = 40.0, **also: float
    ) -> Advice:
        values = {"tank_c": oil_c, "ambient_c": 20.0, **machine, **also}
        # A tank that moves by a kelvin a minute: no soak ends by itself.
        rates = {"tank_c": 1.0, "ambient_c": 0.0}
        for _ in range(round(seconds)):
            advice = self.guide.follow(Look(now_s=self.second, values=values, rates_k_min=rates))
            self.marks += advice.marks
            self.second += 1.0
        return advice

    def key(self, machine: dict[str, float]) -> Advice:
        values = {"tank_c": 40.0, "ambient_c": 20.0, **machine}
        advice = self.guide.follow(Look(now_s=self.second, values=values), go_on=True)
        self.marks += advice.marks
        self.second += 1.0
        return advice


@pytest.fixture
def soaking() -> Driver:
    driver = Driver()
    driver.sees(30, REST)
    return driver


@pytest.fixture
def rising() -> Driver:
    driver = Driver()
    driver.sees(2, REST)
    driver.key(REST)
    driver.sees(30, RISE)
    assert driver.marks[-1] == "stage fan-off rise"
    return driver


def test_an_engine_started_in_the_soak_voids_it_and_the_run_goes_on(soaking: Driver) -> None:
    advice = soaking.sees(20, RISE)
    assert advice.wrong == "started-in-soak"
    advice = soaking.sees(60, RISE)
    assert "stage soak ends: void, engine started" in soaking.marks
    assert advice.stage == "fan-off rise"
    assert advice.learned == ("soak: probes were not at rest",)


def test_an_engine_stopped_again_begins_the_soak_anew(soaking: Driver) -> None:
    soaking.sees(20, RISE)
    advice = soaking.sees(1, REST)
    # pinned: the soak's longest time; one second has passed
    assert advice.left_s == pytest.approx(900.0, abs=1.0)
    assert advice.wrong == ""


def test_an_engine_that_runs_before_the_soak_passes_it_over() -> None:
    driver = Driver()
    advice = driver.sees(30, RISE)
    assert advice.wrong == "started-before-soak"
    driver.sees(60, RISE)
    assert driver.marks == ["stage soak left out", "stage fan-off rise"]


def test_hot_oil_replaces_the_step_s_instruction_and_never_contradicts_it(rising: Driver) -> None:
    advice = rising.sees(4, RISE, oil_c=71.0)
    assert rising.marks[-1] == "stage fan-off rise ends: cut short, tank hot"
    for line in (advice.do, advice.urgent, advice.until):
        assert "fan off" not in line.lower()
    assert advice.wrong == "hot-running"
    assert "67 degC" in advice.until


def test_no_step_that_heats_begins_before_the_oil_has_cooled(rising: Driver) -> None:
    rising.sees(4, RISE, oil_c=71.0)  # cut short; fan on 1 waits
    on = {**RISE, "fan_on": 1.0}
    rising.sees(400, on, oil_c=71.0)
    assert rising.marks[-1] == "stage fan on 1 ends: done"
    rising.sees(30, RISE, oil_c=68.0)
    assert rising.marks[-1] == "stage fan on 1 ends: done"
    rising.sees(2, RISE, oil_c=66.0)
    assert rising.marks[-1] == "stage fan off 1"


def test_hot_oil_in_a_stopped_machine_is_left_alone() -> None:
    driver = Driver()
    advice = driver.sees(10, REST, oil_c=71.0)
    assert advice.wrong == "hot-stopped"


def test_a_stalled_engine_holds_the_time(rising: Driver) -> None:
    before = rising.sees(1, RISE).left_s
    advice = rising.sees(60, REST)
    assert advice.wrong == "engine-stopped"
    assert advice.left_s == pytest.approx(before, abs=6.0)
    rising.sees(3, RISE)
    assert rising.sees(1, RISE).wrong == ""


def test_a_driver_who_walks_off_gets_the_cool_down_at_least(rising: Driver) -> None:
    advice = rising.sees(605, REST)
    assert "stage fan-off rise ends: engine stayed off" in rising.marks
    assert advice.stage == "stopped cool-down"
    assert rising.marks[-1] == "stage stopped cool-down"


def test_the_wrong_switch_is_named_with_what_mends_it(rising: Driver) -> None:
    advice = rising.sees(10, {**RISE, "fan_on": 1.0})
    assert advice.wrong == "fan-is-on"
    advice = rising.sees(10, {**RISE, "drive_on": 0.0})
    assert advice.wrong == "drive-stands"


def test_a_lost_probe_asks_for_the_fan_and_cuts_a_heating_step_short(rising: Driver) -> None:
    advice = rising.sees(15, RISE, oil_c=None)
    assert advice.wrong == "probe-lost"
    rising.sees(60, RISE, oil_c=None)
    assert rising.marks[-1] == "stage fan-off rise ends: cut short, oil not seen"


def test_a_probe_that_blinks_is_no_lost_one(rising: Driver) -> None:
    assert rising.sees(5, RISE, oil_c=None).wrong == ""
    assert rising.sees(1, RISE).wrong == ""


def test_a_heater_on_while_the_engine_runs_is_the_first_thing_to_mend(rising: Driver) -> None:
    advice = rising.sees(10, {**RISE, "drive_on": 0.0}, heater_w=500.0)
    assert advice.wrong == "heater-at-work"


@pytest.fixture
def heating() -> Driver:
    driver = Driver(BRACKEN)
    driver.sees(2, REST)
    driver.key(REST)
    driver.sees(30, HEATED)
    assert driver.marks[-1] == mark("heater run")
    return driver


@pytest.fixture
def circulating(heating: Driver) -> Driver:
    heating.key(HEATED)
    assert heating.sees(30, HEATED).wrong == ""  # unplugging takes its time
    heating.sees(30, NEUTRAL)
    assert heating.marks[-1] == mark("circulation")
    return heating


def test_a_drive_engaged_with_the_heater_plugged_in_is_stopped_first(heating: Driver) -> None:
    before = heating.sees(1, HEATED).left_s
    advice = heating.sees(1, {**HEATED, "drive_on": 1.0})
    assert advice.wrong == "driven-plugged-in"
    assert advice.do == instead_of("driven-plugged-in")
    # It never counts as the step after, however long it goes on.
    heating.sees(300, {**HEATED, "drive_on": 1.0})
    assert heating.marks[-1] == mark("heater run")
    assert heating.sees(1, HEATED).left_s == pytest.approx(before, abs=3.0)


def test_no_later_step_begins_plugged_in(circulating: Driver) -> None:
    circulating.key(NEUTRAL)
    advice = circulating.sees(120, RISE, heater_w=500.0)
    assert advice.wrong == "driven-plugged-in"
    assert circulating.marks[-1] == mark("circulation", "by key")
    circulating.sees(2, RISE, heater_w=0.0)
    assert circulating.marks[-1] == mark("fan-off rise")


def test_a_stalled_engine_has_the_heater_off_first_and_the_time_held(heating: Driver) -> None:
    before = heating.sees(1, HEATED).left_s
    advice = heating.sees(60, {**HEATED, "engine_rpm": 0.0})
    assert advice.wrong == "heated-standing"
    assert advice.do == instead_of("heated-standing")
    assert advice.left_s == pytest.approx(before, abs=6.0)
    advice = heating.sees(10, {**NEUTRAL, "engine_rpm": 0.0})
    assert advice.wrong == "engine-stopped"


def test_a_heater_plugged_in_before_the_engine_runs_is_noticed() -> None:
    driver = Driver(BRACKEN)
    driver.sees(2, REST)
    driver.key(REST)
    advice = driver.sees(2, REST, heater_w=500.0)
    assert advice.wrong == "heated-standing"


def test_a_heater_that_nothing_tells_of_counts_as_on_in_its_step() -> None:
    driver = Driver(BRACKEN)
    neutral = {key: value for key, value in NEUTRAL.items() if key != "heater_w"}
    driver.sees(2, REST)
    driver.key(REST)
    driver.key(neutral)
    assert driver.marks[-1] == mark("heater run")
    assert driver.sees(2, {**neutral, "drive_on": 1.0}).wrong == "driven-plugged-in"


@pytest.mark.parametrize(
    ("machine", "code"),
    [
        (NEUTRAL, "heater-is-off"),
        ({**HEATED, "fan_on": 1.0}, "fan-is-on"),
    ],
)
def test_time_of_the_heater_run_stands_still_while_it_is_not_as_asked(
    heating: Driver, machine: dict[str, float], code: str
) -> None:
    before = heating.sees(1, HEATED).left_s
    advice = heating.sees(60, machine)
    assert advice.wrong == code
    assert advice.left_s == pytest.approx(before, abs=6.0)


@pytest.mark.parametrize(
    ("machine", "code"),
    [
        (HEATED, "heater-is-on"),
        ({**NEUTRAL, "fan_on": 1.0}, "fan-is-on"),
        ({**NEUTRAL, "engine_rpm": 0.0}, "engine-stopped"),
        ({**NEUTRAL, "drive_on": 1.0, "fan_on": 1.0}, "drive-turns"),
    ],
)
def test_time_of_the_circulation_stands_still_while_it_is_not_as_asked(
    circulating: Driver, machine: dict[str, float], code: str
) -> None:
    before = circulating.sees(1, NEUTRAL).left_s
    advice = circulating.sees(30, machine)
    assert advice.wrong == code
    assert advice.left_s == pytest.approx(before, abs=6.0)


def test_hot_oil_at_the_heater_has_the_heater_off_before_all_else(heating: Driver) -> None:
    advice = heating.sees(4, HEATED, case_drain_c=88.0)
    assert heating.marks[-1] == mark("heater run", "cut short, case drain hot")
    assert advice.wrong == "hot-heated"
    assert advice.do == instead_of("hot-heated")
    assert "84 degC" in advice.until  # independent: 87 of the case drain's stop, less 3


def test_a_probe_lost_at_the_heater_has_the_heater_off_first(heating: Driver) -> None:
    advice = heating.sees(15, HEATED, oil_c=None)
    assert advice.wrong == "probe-lost-heated"
    heating.sees(60, HEATED, oil_c=None)
    assert heating.marks[-1] == mark("heater run", "cut short, oil not seen")


def test_a_heater_on_in_the_soak_voids_it_and_before_it_passes_it_over(soaking: Driver) -> None:
    assert soaking.sees(20, REST, heater_w=500.0).wrong == "heated-in-soak"
    soaking.sees(60, REST, heater_w=500.0)
    assert mark("soak", "void, heater on") in soaking.marks
    late = Driver(BRACKEN)
    assert late.sees(30, REST, heater_w=500.0).wrong == "heated-before-soak"
    late.sees(60, REST, heater_w=500.0)
    assert late.marks == ["stage soak left out"]


def test_a_step_nobody_begins_says_which_key_does() -> None:
    driver = Driver()
    driver.sees(2, REST)
    driver.key(REST)
    advice = driver.sees(950, REST)
    assert advice.wrong == "nobody-begins"


def test_a_bouncing_switch_is_no_wrong_move(rising: Driver) -> None:
    assert rising.sees(4, {**RISE, "fan_on": 1.0}).wrong == ""


@pytest.mark.parametrize("move", WRONG_MOVES, ids=lambda move: move.code)
def test_each_row_says_what_is_wrong_and_what_mends_it_in_a_line_of_the_screen(
    move: WrongMove,
) -> None:
    for text in (move.wrong, move.mend, move.instead):
        assert len(text) <= 78
    assert move.wrong.endswith(".")
    assert move.mend
