"""From statuses, rows and keys to alarms, marks and one frozen screen."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checkout import BRACKEN
from wattsump_logger.bench.controller import EmulatedController, MemoryPort
from wattsump_logger.capture import loop
from wattsump_logger.capture.clock import Anchor
from wattsump_logger.capture.loop import Status
from wattsump_logger.session.reader import load_session
from wattsump_logger.session.rows import Row
from wattsump_logger.watch.alarm_command import AlarmCommand
from wattsump_logger.watch.alarm_rules import Typed
from wattsump_logger.watch.alarms import State
from wattsump_logger.watch.guide import ProvingRun, Step
from wattsump_logger.watch.keys import Action
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.moment import Forecast, Screen
from wattsump_logger.watch.watch import Watch, completeness
from wattsump_logger.wire.events import WireChannel

COLUMNS = {"tank_c": "40.000", "ambient_c": "15.000", "engine_rpm": "1800", "fan_on": "1"}


WAITING = Status(
    port="/dev/ttyACM0",
    is_open=True,
    name="a",
)


class Rig:
    """A watch whose clock, keys and statuses the test holds."""

    def __init__(self, **options: object) -> None:
        self.now_s = 0.0
        self.pressed = ""
        self.screens: list[Screen] = []
        self.watch = Watch(
            options.pop("profile", BRACKEN),  # type: ignore[arg-type]
            clock=self,
            read_keys=self._read,
            show=self.screens.append,
            **options,  # type: ignore[arg-type]
        )

    def anchor(self) -> Anchor:
        return Anchor(utc_ms=None, mono_ms=round(self.now_s * 1000))

    def _read(self) -> str:
        pressed, self.pressed = self.pressed, ""
        return pressed

    def second(self, *, silent_s: float = 0.0, name: str = "a", **cells: str) -> Screen:
        self.watch.on_status(
            replace(
                WAITING,
                name=name,
                row_count=int(self.now_s) + 1,
                elapsed_s=self.now_s,
                silent_s=silent_s,
                values=COLUMNS | cells,
            )
        )
        self.now_s += 1
        return self.screens[-1]


def row(second: float, *, fault: str = "", mark: str = "") -> Row:
    cells = tuple(COLUMNS.values())
    return Row(
        time_utc="", elapsed_ms=round(second * 1000), seq=None, cells=cells, fault=fault, mark=mark
    )


def test_a_hot_tank_is_marked_told_to_the_command_and_rung() -> None:
    told: list[str] = []

    class Recorder(AlarmCommand):
        def tell(self, notice: object) -> None:
            told.append(notice.text)  # type: ignore[attr-defined]

    rig = Rig(command=Recorder(("siren",)))
    for _ in range(6):
        screen = rig.second(tank_c="83.000")
    marks = rig.watch.marks()
    assert "alarm: tank above 82 degC (83.0 degC)" in marks
    assert told == marks
    assert screen.bell
    assert screen.gauges[0].loud
    assert screen.alarms[0].urgent


def test_the_key_silences_what_is_loud_and_is_written_down() -> None:
    rig = Rig()
    for _ in range(6):
        rig.second(tank_c="83.000")
    rig.watch.marks()
    rig.pressed = "a"
    marks = rig.watch.marks()
    assert "alarm seen: tank above 82 degC (83.0 degC)" in marks
    screen = rig.second(tank_c="83.000")
    assert not screen.bell
    assert {alarm.state for alarm in screen.alarms} == {State.SEEN}


def test_a_key_is_on_the_screen_at_once_and_timed_when_its_row_comes() -> None:
    rig = Rig()
    rig.pressed = "f"
    assert rig.watch.marks() == ["fan"]
    assert rig.second().marks == ((None, "fan"),)
    rig.watch.on_rows([row(7.5, mark="fan")])
    assert rig.second().marks == ((7.5, "fan"),)


def test_a_mark_made_between_outings_waits_for_the_next() -> None:
    rig = Rig()
    rig.second(name="")
    rig.pressed = "c"
    assert rig.watch.marks() == []
    rig.second(name="b")
    assert rig.watch.marks() == ["climb"]


def test_silence_is_an_alarm_even_before_the_first_reading() -> None:
    rig = Rig(profile=None)
    rig.watch.on_status(replace(WAITING, silent_s=30.0))
    assert rig.watch.marks() == ["alarm: nothing from the controller (30 s)"]


def test_a_limit_for_a_channel_that_is_not_there_is_told_and_ends_nothing() -> None:
    rig = Rig(typed=Typed(limit_c={"sump": 70.0, "ambient": 10.0}))
    for _ in range(6):
        screen = rig.second()
    assert "found sump" in screen.trouble[0]
    assert any(mark.startswith("alarm: ambient above 10") for mark in rig.watch.marks())


def test_a_probe_that_flickers_is_a_fault_alarm_and_named() -> None:
    rig = Rig()
    for second in range(20):
        rig.watch.on_rows([row(second, fault="tank:open;wire:gap=3")])
        screen = rig.second()
    assert "warning: tank gives no reading (100% of readings)" in rig.watch.marks()
    assert "tank: open" in screen.faults


def test_a_fault_of_the_wire_leaves_the_screen_after_it_was_shown() -> None:
    rig = Rig()
    rig.watch.on_rows([row(0, fault="wire:gap=3")])
    assert rig.second().faults == ("wire: gap=3",)
    assert rig.second().faults == ()


def test_the_forecast_is_whatever_the_forecaster_says() -> None:
    forecast = Forecast(heading_c=88.0, minutes_to_limit=12.0, limit_c=82.0)
    assert Rig(forecaster=lambda look: forecast).second().forecast is forecast


def test_the_guides_stages_become_marks_and_its_key_moves_it_on() -> None:
    steps = [
        Step(name="one", do="Do it.", longest_s=900),
        Step(name="two", do="Rest.", longest_s=9),
    ]
    rig = Rig(guide=ProvingRun(steps, stops_c={"tank": 79.0}))
    assert rig.second().advice is rig.watch.advice
    assert rig.watch.marks() == ["stage one"]
    rig.pressed = "g"
    rig.watch.marks()
    rig.second()
    assert rig.watch.marks() == ["stage one ends: by key"]


@pytest.mark.parametrize(
    ("rows", "counts", "share", "percent"),
    [
        (100, {}, 0.0, 100.0),
        (90, {"gap": 10}, 0.0, 90.0),
        (100, {"boot": 1}, 0.5, 50.0),
    ],
)
def test_completeness_counts_lost_frames_and_empty_cells(
    rows: int, counts: Mapping[str, int], share: float, percent: float
) -> None:
    found = completeness(rows, counts, share)
    assert found is not None
    assert round(found, 9) == percent


def test_nothing_received_has_no_completeness() -> None:
    assert completeness(0, {"gap": 3}, 0.0) is None


@settings(deadline=None)
@given(st.lists(st.text(max_size=20), max_size=8), st.text(max_size=30))
def test_no_fault_or_mark_from_the_wire_upsets_the_watch(faults: list[str], mark: str) -> None:
    rig = Rig()
    rig.watch.on_rows([row(0, fault=";".join(faults), mark=mark)])
    assert rig.second().row_count == 1


def engine_that_stops(elapsed_s: float) -> Mapping[str, float | str | None]:
    return {"engine": 1800.0 if elapsed_s % 200 < 60 else 0.0, "tank": 20.0}


def recorded(folder: Path, until_s: float, rest_ends_s: float | None) -> list[Path]:
    """Record a controller whose time is the clock's, one second a chunk."""
    channels = [
        WireChannel(name="tank", source="max31855", detail="K"),
        WireChannel(name="engine", source="value", detail="rpm"),
    ]
    controller = EmulatedController(engine_that_stops, channels)

    class Time:
        def anchor(self) -> Anchor:
            now_ms = controller.now_ms
            return Anchor(utc_ms=1_780_000_000_000 + now_ms, mono_ms=now_ms)

    clock = Time()
    watch = Watch(rest_ends_s=rest_ends_s, clock=clock)
    port = Stepped(controller, until_s)
    captured = loop.run(
        port,
        folder,
        None,
        clock,
        on_status=port.after(watch.on_status),
        on_rows=watch.on_rows,
        marks=watch.marks,
        is_over=watch.is_over,
        status_s=0.0,
    )
    return list(captured.sessions)


class Stepped(MemoryPort):
    """Gives the next second only once the last was looked at, so that no look is missed."""

    def __init__(self, controller: EmulatedController, until_s: float) -> None:
        import threading

        super().__init__(controller, until_s=until_s)
        self._looked = threading.Semaphore(1)

    def read(self, timeout_s: float) -> bytes | None:
        return super().read(timeout_s) if self._looked.acquire(timeout=0.2) else b""

    def after(self, look: Callable[[Status], None]) -> Callable[[Status], None]:
        def looked(status: Status) -> None:
            look(status)
            self._looked.release()

        return looked


def test_an_engine_that_stood_long_enough_ends_the_outing_and_no_reading_is_lost(
    tmp_path: Path,
) -> None:
    paths = recorded(tmp_path, 400, rest_ends_s=30.0)
    sessions = [load_session(path) for path in paths]
    assert len(sessions) == 3  # stands from 60 and from 260 s; each next hello is a new one
    assert sum(len(session.elapsed_s) for session in sessions) == 400
    assert all(not session.faults or session is sessions[0] for session in sessions)


def test_without_the_option_an_outing_goes_on_while_the_engine_stands(tmp_path: Path) -> None:
    assert len(recorded(tmp_path, 150, rest_ends_s=None)) == 1


def test_what_is_asked_for_elsewhere_is_done_as_a_key_does_it() -> None:
    asked = [Action(what="mark", text="climb"), Action(what="mark", text="note: mud")]
    rig = Rig(read_asked=lambda: [asked.pop(0)] if asked else [])
    rig.second()
    assert rig.watch.marks() == ["climb"]
    assert rig.watch.marks() == ["note: mud"]
    assert rig.second().marks[-1] == (None, "note: mud")


def test_a_key_shows_the_phones_code_and_hides_it_again() -> None:
    rig = Rig()
    seen = []
    for pressed in ("p", "", "p"):
        rig.now_s += 5.0
        rig.pressed = pressed
        rig.watch.marks()
        seen.append(rig.second().poster)
    assert seen == [True, True, False]


def test_a_mark_is_taken_back_by_a_mark_that_says_so_and_leaves_the_screen() -> None:
    rig = Rig()
    rig.pressed = "f"
    assert rig.watch.marks() == ["fan"]
    rig.second()
    rig.watch.on_rows([row(0, mark="fan")])
    rig.pressed = "u"
    assert rig.watch.marks() == ["undo: fan"]
    assert rig.second().marks[-1] == (None, "undo: fan")
    rig.watch.on_rows([row(1, mark="undo: fan")])
    assert rig.second().marks == ()


def test_a_mark_that_no_row_has_yet_is_taken_back_without_a_trace() -> None:
    rig = Rig()
    rig.second(name="")
    rig.pressed = "cu"
    assert rig.watch.marks() == []
    assert rig.second(name="a").marks == ()
    assert rig.watch.marks() == []


def test_without_a_mark_of_the_drivers_nothing_is_taken_back() -> None:
    rig = Rig()
    for _ in range(6):
        rig.second(tank_c="83.000")
    rig.watch.marks()
    rig.pressed = "u"
    assert rig.watch.marks() == []


def test_what_the_cooler_takes_and_how_far_oil_is_above_air_is_on_the_screen() -> None:
    rig = Rig()
    cooled = rig.second(cooler_in_c="50.000", cooler_out_c="44.500")
    assert cooled.differences_k == (("inlet less outlet", 5.5), ("inlet less air", 35.0))
    assert Rig().second().differences_k == (("tank less air", 25.0),)
    lost = Rig().second(cooler_in_c="", cooler_out_c="44.500")
    assert lost.differences_k == (("inlet less outlet", None), ("inlet less air", None))


def test_the_course_is_the_oils_last_ten_minutes_and_begins_anew_with_an_outing() -> None:
    rig = Rig()
    for minute in range(15):
        rig.now_s = minute * 60.0
        screen = rig.second(tank_c=f"{20 + minute}.000")
    assert screen.course is not None
    assert screen.course.minutes == 10.0
    assert screen.course.temps_c[-3:] == (33.0, None, 34.0)
    assert len(screen.course.temps_c) == 20
    rig.now_s = 5.0
    again = rig.second(tank_c="50.000").course
    assert again is not None
    assert again.temps_c == (50.0,)


def test_a_note_is_typed_at_the_pace_of_the_hand_however_fast_the_machine_runs() -> None:
    class Hand:
        def anchor(self) -> Anchor:
            return Anchor(utc_ms=None, mono_ms=1000)

    rig = Rig(key_clock=Hand())
    for pressed in ("n", "m", "u", "d", "\r"):
        rig.now_s += 100.0
        rig.pressed = pressed
        found = rig.watch.marks()
    assert found == ["note: mud"]


def test_what_is_known_of_the_cooler_so_far_is_on_every_screen_as_supplied() -> None:
    rig = Rig(known=lambda look: f"K after {look.elapsed_s:.0f} s")
    assert [rig.second().known for _ in range(2)] == ["K after 0 s", "K after 1 s"]
    assert Rig().second().known == ""


def test_a_channel_the_oil_contradicts_is_shown_beside_the_faults() -> None:
    rig = Rig()
    rig.now_s = 1.0
    screens = [rig.second(tank_c="60.000", cooler_in_c="25.000") for _ in range(605)]
    assert screens[590].faults == ()
    assert "engine channel on" in screens[-1].faults[0]


def test_a_mark_of_an_outing_that_ended_is_not_taken_back_in_the_next() -> None:
    rig = Rig()
    rig.pressed = "f"
    assert rig.watch.marks() == ["fan"]
    rig.second()
    rig.second(name="")
    rig.pressed = "c"
    assert rig.watch.marks() == []
    rig.second(name="b")
    for _ in range(2):
        rig.pressed = "u"
        assert rig.watch.marks() == []
        rig.second(name="b")


def test_a_look_holds_the_marks_since_the_last_one() -> None:
    looks = []

    def known(look: Look) -> str:
        looks.append(look)
        return ""

    rig = Rig(known=known)
    rig.watch.on_rows([row(7.5, mark="fan;cleaned the core")])
    rig.second()
    rig.second()
    assert [look.marks for look in looks] == [((7.5, "fan"), (7.5, "cleaned the core")), ()]
