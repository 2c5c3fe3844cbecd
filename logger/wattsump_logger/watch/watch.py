"""Watches a capture: from statuses, rows and keys to alarms, advice, marks and a screen.

`capture.loop.run` calls a `Watch` with each status and batch of rows, and writes the marks it
returns into the session. The result is one frozen `Screen`, which `view` and the phone show.
"""

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence

from wattsump_logger.capture.clock import Clock, HostClock
from wattsump_logger.capture.loop import Status
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.profile import Profile, Role
from wattsump_logger.session.rows import UNDO, Row, mark_cell, marks_of
from wattsump_logger.watch import alarms as alarm_states
from wattsump_logger.watch import keys
from wattsump_logger.watch.alarm_command import AlarmCommand
from wattsump_logger.watch.alarm_rules import Typed, limit_of, rules_for, without_unknown
from wattsump_logger.watch.alarms import Notice, Rule, Standing, State
from wattsump_logger.watch.denials import Denials
from wattsump_logger.watch.guide import Advice, Guide
from wattsump_logger.watch.look import History, Look, Trail, channel_of, phase_of
from wattsump_logger.watch.moment import Course, Forecaster, Gauge, Screen, Sounding

__all__ = ("Watch", "completeness")

_MARKS_SHOWN = 6
_MARKS_UNDONE = 64


def completeness(row_count: int, counts: Mapping[str, int], missing_share: float) -> float | None:
    """Percentage of what the controller sent that is there: rows and cells.

    None before the first row.
    """
    if row_count <= 0:
        return None
    lost = counts.get("gap", 0) + counts.get("no_hello", 0)
    return 100.0 * row_count / (row_count + lost) * (1.0 - missing_share)


class _Rest:
    """Measures how long an engine that ran has been standing."""

    def __init__(self, ends_s: float | None) -> None:
        self.over = False
        self._ends_s = ends_s
        self._stood_since_s: float | None = None
        self._has_run = False

    def take(self, look: Look) -> None:
        engine = look.is_on("engine")
        if engine:
            self._has_run, self._stood_since_s = True, None
        elif engine is False and self._has_run and self._ends_s is not None:
            since_s = look.now_s if self._stood_since_s is None else self._stood_since_s
            self._stood_since_s = since_s
            if look.now_s - since_s >= self._ends_s:
                self.over, self._has_run = True, False


class Watch:
    """Judges a capture's rows; its methods are the callbacks of `capture.loop.run`.

    Parameters
    ----------
    profile : Profile, optional
        Gives limits and roles.
    typed : Typed, optional
        Limits as typed by the driver.
    forecaster, known, guide : optional
        From the analysis; `known` returns what is known of the cooler, in words.
    command : AlarmCommand, optional
        Run at every alarm.
    read_keys : callable
        Returns the characters pressed since it was last called.
    read_asked : callable
        Returns what phones asked for since it was last called.
    show : callable
        Called with each screen.
    rest_ends_s : float, optional
        The outing ends when an engine that ran has stood for this long.
    clock, key_clock : Clock, optional
        Of the machine, which may be a fast one of software, and of the hand at the keys.
    units : {"si", "us"}
        Which units the screen shows; the session is in SI.
    """

    def __init__(
        self,
        profile: Profile | None = None,
        *,
        typed: Typed | None = None,
        forecaster: Forecaster | None = None,
        known: Callable[[Look], str] = lambda look: "",
        guide: Guide | None = None,
        command: AlarmCommand | None = None,
        read_keys: Callable[[], str] = lambda: "",
        read_asked: Callable[[], Sequence[keys.Action]] = tuple,
        show: Callable[[Screen], None] = lambda screen: None,
        rest_ends_s: float | None = None,
        clock: Clock | None = None,
        key_clock: Clock | None = None,
        units: str = "si",
    ) -> None:
        self.advice: Advice | None = None
        self._profile = profile
        self._typed = typed or Typed()
        self._forecaster = forecaster
        self._known = known
        self._guide = guide
        self._command = command
        self._read_keys = read_keys
        self._read_asked = read_asked
        self._poster = False
        self._show = show
        self._units = units
        self._trail = Trail()
        self._rest = _Rest(rest_ends_s)
        self._clock = clock or HostClock()
        self._key_clock = key_clock or self._clock
        self._history = History(profile)
        self._denials = Denials(profile)
        self._keyboard = keys.Keyboard()
        self._columns: tuple[str, ...] = ()
        self._refused = ""
        self._rules: tuple[Rule, ...] = rules_for(
            (), profile, without_unknown(self._typed, (), profile)
        )
        self._standings: tuple[Standing, ...] = alarm_states.at_rest(self._rules)
        self._pending: deque[str] = deque(maxlen=_MARKS_SHOWN)  # pressed, not yet in a row
        self._undoable: deque[str] = deque(maxlen=_MARKS_UNDONE)
        self._newest_marks: list[tuple[float, str]] = []
        self._outing: str | None = None  # its name, "" between outings, unknown at first
        self._go_on = False
        self._queued: list[str] = []
        self._shown_marks: deque[tuple[float | None, str]] = deque(maxlen=_MARKS_SHOWN)
        self._codes: dict[str, str] = {}
        self._faulty: set[str] = set()
        self._cells_seen = self._cells_missing = 0

    def on_rows(self, rows: Sequence[Row]) -> None:
        """Take new rows: note their faults and marks, count their empty cells."""
        for row in rows:
            self._cells_seen += len(row.cells)
            if "" in row.cells:
                self._cells_missing += sum(not cell for cell in row.cells)
            if row.mark:
                self._note_marks(row)
            if row.fault:
                self._note_faults(row.fault)

    def _note_marks(self, row: Row) -> None:
        for text in marks_of(row.mark):
            if text in self._pending:
                self._pending.remove(text)
            self._newest_marks.append((row.elapsed_ms / 1000, text))
            shown = [at for at, mark in enumerate(self._shown_marks) if UNDO + mark[1] == text]
            if shown:
                del self._shown_marks[shown[-1]]
            else:
                self._shown_marks.append((row.elapsed_ms / 1000, text))

    def _note_faults(self, cell: str) -> None:
        for part in cell.split(";"):
            channel, _, code = part.partition(":")
            self._codes[channel] = code
            self._faulty.add(channel)

    def is_over(self) -> bool:
        """Tell whether the engine has stood long enough to end the outing; True once."""
        over, self._rest.over = self._rest.over, False
        return over

    def marks(self) -> list[str]:
        """Read the keys, and return the marks to write into the session."""
        self._press(self._read_keys())
        if self._outing == "":  # they wait for one that can hold them
            return []
        queued, self._queued = self._queued, []
        return queued

    def _press(self, chars: str) -> None:
        now_s = (self._key_clock.anchor().mono_ms or 0) / 1000
        self._keyboard, asked = keys.wake(self._keyboard, now_s)
        actions = list(asked)
        for char in chars:
            self._keyboard, asked = keys.press(self._keyboard, char, now_s)
            actions += asked
        for action in (*actions, *self._read_asked()):
            if action.what == "mark":
                self._mark(action.text)
                self._undoable.append(action.text)
            elif action.what == "undo":
                self._undo()
            elif action.what == "go_on":
                self._go_on = True
            elif action.what == "poster":
                self._poster = not self._poster
            else:
                self._standings, notices = alarm_states.acknowledge(self._rules, self._standings)
                self._tell(notices)

    def _mark(self, text: str) -> None:
        self._queued.append(text)
        self._pending.extend(marks_of(mark_cell([text])))

    def _undo(self) -> None:
        """Take the last mark back: out of what waits, else by a mark that says so."""
        if not self._undoable:
            return
        text = self._undoable.pop()
        if text in self._queued:
            del self._queued[len(self._queued) - 1 - self._queued[::-1].index(text)]
            for part in marks_of(mark_cell([text])):
                if part in self._pending:
                    self._pending.remove(part)
        else:
            self._mark(UNDO + text)

    def on_status(self, status: Status) -> None:
        """Take the capture's status: judge it, and show it."""
        if self._outing and status.name != self._outing:
            # What reached an outing is undone in it or not at all; while one runs, no mark waits.
            self._undoable.clear()
        self._outing = status.name
        columns = tuple(status.values)
        if columns and columns != self._columns:
            self._begin(columns)
        look = self._history.take(
            now_s=self._now_s(),
            elapsed_s=status.elapsed_s,
            silent_s=status.silent_s,
            cells=status.values,
            faulty=self._faulty,
            marks=self._newest_marks,
        )
        self._rest.take(look)
        bell = self._judge(look)
        if self._guide is not None:
            self.advice = self._guide.follow(look, go_on=self._go_on)
            self._queued += self.advice.marks if self.advice else ()
        self._go_on = False
        self._show(self._screen(status, look, bell))
        self._faulty, self._newest_marks = set(), []
        self._codes = {name: code for name, code in self._codes.items() if self._is_now(name, look)}

    def _begin(self, columns: tuple[str, ...]) -> None:
        """Set up the alarms for these columns; a limit that fits none is shown, not fatal.

        A mistyped name must not end the recording of an outing that happens once.
        """
        self._columns, self._refused = columns, ""
        try:
            self._rules = rules_for(columns, self._profile, self._typed)
        except UsageError as error:
            self._refused = str(error)
            kept = without_unknown(self._typed, columns, self._profile)
            self._rules = rules_for(columns, self._profile, kept)
        self._standings = alarm_states.at_rest(self._rules)

    def _judge(self, look: Look) -> bool:
        if self._command is not None:
            self._command.tidy()
        self._standings, notices = alarm_states.advance(self._rules, self._standings, look)
        self._tell(notices)
        loud = any(
            standing.state is State.ALARM and rule.urgent
            for rule, standing in zip(self._rules, self._standings, strict=True)
        )
        return loud or any(notice.event == "raised" for notice in notices)

    def _tell(self, notices: Sequence[Notice]) -> None:
        for notice in notices:
            self._queued.append(notice.text)
            if self._command is not None:
                self._command.tell(notice)

    def _is_now(self, channel: str, look: Look) -> bool:
        return look.fault_share.get(channel, 0.0) > 0

    def _now_s(self) -> float:
        return (self._clock.anchor().mono_ms or 0) / 1000

    def _screen(self, status: Status, look: Look, bell: bool) -> Screen:
        profile = self._profile
        temps = [column for column in look.values if column.endswith("_c")]
        return Screen(
            now_s=look.now_s,
            units=self._units,
            machine=profile.name if profile else "",
            outing=status.name,
            port=status.port,
            link=_link(status),
            elapsed_s=status.elapsed_s,
            row_count=status.row_count,
            complete_pct=completeness(
                status.row_count,
                status.counts,
                self._cells_missing / self._cells_seen if self._cells_seen else 0.0,
            ),
            gauges=tuple(self._gauge(column, look) for column in temps),
            differences_k=tuple(_differences_k(look)),
            course=self._course(look, look.column("tank") or look.column("cooler_in")),
            others=tuple(
                (column, cell) for column, cell in status.values.items() if column not in temps
            ),
            phase=phase_of(look),
            forecast=self._forecaster(look) if self._forecaster else None,
            known=self._known(look),
            alarms=tuple(self._soundings()),
            faults=(
                *(remark.text for remark in self._denials.take(look)),
                *(f"{name}: {code}" for name, code in self._codes.items()),
            ),
            trouble=self._trouble(status),
            marks=(*self._shown_marks, *((None, text) for text in self._pending)),
            advice=self.advice,
            note=self._keyboard.note,
            poster=self._poster,
            bell=bell,
        )

    def _course(self, look: Look, column: str) -> Course | None:
        if not column:
            return None
        temps_c = self._trail.take(look.elapsed_s, look.values.get(column))
        return Course(name=channel_of(column), temps_c=temps_c, minutes=self._trail.minutes)

    def _gauge(self, column: str, look: Look) -> Gauge:
        name = channel_of(column)
        return Gauge(
            name=name,
            value_c=look.values[column],
            rate_k_min=look.rates_k_min.get(column),
            limit_c=limit_of(name, self._profile, self._typed),
            fault=self._codes.get(name, ""),
            loud=any(
                rule.column == column and standing.state in (State.ALARM, State.SEEN)
                for rule, standing in zip(self._rules, self._standings, strict=True)
            ),
        )

    def _soundings(self) -> list[Sounding]:
        """Return the alarms to show: the unseen first, then the urgent."""
        shown = [
            Sounding(
                name=rule.name,
                urgent=rule.urgent,
                state=standing.state,
                text=Notice(rule=rule, event="raised", value=standing.named).text,
            )
            for rule, standing in zip(self._rules, self._standings, strict=True)
            if standing.state in (State.ALARM, State.SEEN, State.PASSED)
        ]
        order = (State.ALARM, State.PASSED, State.SEEN)
        return sorted(shown, key=lambda alarm: (order.index(alarm.state), not alarm.urgent))

    def _trouble(self, status: Status) -> tuple[str, ...]:
        troubles = []
        if status.trouble:
            waits = f"{status.waiting_rows} rows wait, {status.dropped_rows} given up"
            troubles.append(f"DISK: {status.trouble}, {waits}")
        if status.wire_trouble:
            troubles.append(f"WIRE: {status.wire_trouble}")
        if self._refused:
            troubles.append(self._refused)
        if self._command is not None and self._command.trouble:
            troubles.append(self._command.trouble)
        return tuple(troubles)


def _differences_k(look: Look) -> Iterator[tuple[str, float | None]]:
    """Yield what the cooler takes out of the oil, and how far the oil is above the air."""
    oil = Role.COOLER_IN if look.column(Role.COOLER_IN) else Role.TANK
    for upper, lower, name in (
        (Role.COOLER_IN, Role.COOLER_OUT, "inlet less outlet"),
        (oil, Role.AMBIENT, "inlet less air" if oil is Role.COOLER_IN else "tank less air"),
    ):
        if look.column(upper) and look.column(lower):
            above_c, below_c = look.read(upper), look.read(lower)
            yield name, None if above_c is None or below_c is None else above_c - below_c


def _link(status: Status) -> str:
    if not status.is_open:
        return "port lost, trying again"
    if status.elapsed_s is None:
        return "waiting for a hello"
    return f"silent for {status.silent_s:.0f} s" if status.silent_s > 5 else "recording"
