"""One fan-off in an ordinary outing: proposed when it is safe, counted, called off when hot."""

from wattsump_logger.watch.fan_off import FAN_OFF_S, WORKED_S, FanOff
from wattsump_logger.watch.guide import Advice
from wattsump_logger.watch.look import Look

STOPS_C = {"tank": 70.0, "case_drain": 90.0}
WARM = {"tank_c": 50.0, "case_drain_c": 60.0, "ambient_c": 15.0, "drive_on": 1.0, "fan_on": 1.0}


class Outing:
    """Lets ten seconds pass at each look and keeps every mark."""

    def __init__(self, guide: FanOff) -> None:
        self.guide, self.second, self.marks = guide, 0.0, list[str]()

    def on(self, seconds: float, *, go_on: bool = False, **values: float) -> Advice | None:
        for _ in range(max(1, round(seconds / 10.0))):
            advice = self.guide.follow(Look(now_s=self.second, values=WARM | values), go_on=go_on)
            self.marks += advice.marks if advice else ()
            self.second += 10.0
        return advice


def proposed() -> Outing:
    outing = Outing(FanOff(STOPS_C))
    assert outing.on(WORKED_S + 20.0) is not None
    return outing


def test_nothing_is_proposed_before_the_machine_has_worked_itself_warm() -> None:
    outing = Outing(FanOff(STOPS_C))
    assert outing.on(WORKED_S / 2) is None
    assert outing.on(WORKED_S, drive_on=0.0) is None


def test_nothing_is_proposed_where_it_is_not_safe_or_shows_nothing() -> None:
    outing = Outing(FanOff(STOPS_C))
    outing.on(WORKED_S + 20.0)
    assert outing.on(10, tank_c=60.0) is None
    assert outing.on(10, case_drain_c=80.0) is None  # against its own limit
    assert outing.on(10, ambient_c=45.0) is None


def test_the_fan_off_is_marked_counted_and_ended_once() -> None:
    outing = proposed()
    begun = outing.on(10, fan_on=0.0)
    assert begun is not None
    assert begun.left_s == FAN_OFF_S
    over = outing.on(FAN_OFF_S + 10.0, fan_on=0.0)
    assert over is not None
    assert over.do == "Fan on again."
    outing.on(20, fan_on=0.0)
    outing.on(20)
    assert outing.marks == ["stage fan-off", "stage fan-off ends: done"]
    assert outing.on(WORKED_S) is None


def test_hot_oil_in_any_channel_calls_it_off_and_is_named() -> None:
    outing = proposed()
    outing.on(30, fan_on=0.0)
    hot = outing.on(20, fan_on=0.0, case_drain_c=90.5)
    assert hot is not None
    assert "case drain" in hot.urgent
    assert outing.marks[-1] == "stage fan-off ends: case drain hot"
    assert outing.on(10, fan_on=0.0) is not None  # asked for until the fan runs
    outing.on(10)
    assert outing.on(10) is None


def test_where_no_fan_is_logged_the_key_tells_it() -> None:
    outing = proposed()
    del_fan = {name: value for name, value in WARM.items() if name != "fan_on"}
    look = Look(now_s=outing.second, values=del_fan)
    waiting = outing.guide.follow(look)
    assert waiting is not None
    assert waiting.until != ""
    begun = outing.guide.follow(look, go_on=True)
    assert begun is not None
    assert begun.marks == ("stage fan-off",)


def test_a_fan_off_that_nobody_sees_the_oil_of_is_called_off() -> None:
    outing = proposed()
    outing.on(30, fan_on=0.0)
    blind = {name: value for name, value in WARM.items() if name.endswith("_on")} | {"fan_on": 0.0}
    still = outing.guide.follow(Look(now_s=outing.second - 5.0, values=blind))
    assert still is not None
    assert still.marks == ()
    advice = outing.guide.follow(Look(now_s=outing.second + 1.0, values=blind))
    assert advice is not None
    assert advice.marks == ("stage fan-off ends: oil not seen",)
    assert advice.urgent != ""
