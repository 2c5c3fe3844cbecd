"""K and its range during an outing, from a proof of the rows so far.

`know_so_far` proves them as `prove` does afterwards, so that a proof that would be refused gives
no figure. `words` gives the result to a driver, with how many more minutes are likely to narrow
the range.
"""

import threading
import time
import warnings
from array import array
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from wattsump_logger.errors import SessionError, WattsumpError
from wattsump_logger.machine.profile import Profile
from wattsump_logger.session.reader import Mark, Session
from wattsump_logger.session.rows import taken_back
from wattsump_logger.watch.guide import Advice, Learned, ProvingRun
from wattsump_logger.watch.look import Look

__all__ = (
    "Guided",
    "Kept",
    "Known",
    "Plainly",
    "RunningK",
    "adds_little",
    "know_so_far",
    "words",
)

_FIT_AGAIN_S = 60.0
# Between two fits, so many times as long as the last one took: longer where nobody waits for
# the figure, so that it takes about a twentieth of one core.
_RESTS_GUIDED, _RESTS_PLAIN = 4.0, 19.0
_ROW_S = 2.0
_MOST_ROWS = 21_600  # of these rows: twelve hours
Background = Callable[[Callable[[], None]], object]


def in_a_thread(work: Callable[[], None]) -> object:
    """Run `work` in a daemon thread, which does not keep the program from ending."""
    thread = threading.Thread(target=work, name="running estimate", daemon=True)
    thread.start()
    return thread


# Wider than this is no knowledge of a cooler; and from here on minutes are worth telling.
# Common practice, no source.
NOT_YET_REL = 0.5
UNSCALED = {"no-scale", "metal-not-listed"}  # refusals that leave K over the heat capacity
LEAST_COOLED_S = 120.0
LITTLE_REL, LITTLE_S = 0.01, 600.0
_MOST_MINUTES = 20
_FITS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """The estimate at a moment: K, and the half width of its 95 % range relative to K.

    `k_w_k` is None without a heat capacity or a flow; the width is then that of K over C.
    """

    elapsed_s: float
    k_w_k: float | None
    half_width_rel: float


def know_so_far(session: Session, profile: Profile | None, seed: int = 0) -> Known | None:
    """Prove the rows so far.

    Returns
    -------
    Known or None
        None before the fan and the oil pump have run together for two minutes, or without an
        air temperature.

    Raises
    ------
    SessionError
        The proof of these rows gives no K, or there are no readings of the tank.

    References
    ----------
    `prove`; the range is that of JCGM 101:2008, the probabilistically symmetric one.
    """
    # Here, so that a recording has begun before any of it is loaded.
    from wattsump_analysis.proof.prove import prove
    from wattsump_analysis.reading.phases import switches_of
    from wattsump_analysis.reading.samples import gather

    samples = gather(session, profile)
    if "ambient" not in samples.temps_c:
        return None
    switches, _ = switches_of(samples)
    cooled = (switches.fan > 0.5) & (switches.engine > 0.5)
    gaps = np.diff(samples.elapsed_s, prepend=samples.elapsed_s[0])
    if float(gaps[cooled].sum()) < LEAST_COOLED_S:
        return None
    proof = prove(session, profile, seed=seed)
    k = proof.k_w_k
    if k is None and {reason.code for reason in proof.reasons} <= UNSCALED and proof.segments:
        k = proof.segments[-1].k_over_c_per_s
    if k is None:
        raise SessionError(
            expected="readings that give a K",
            found=proof.reasons[0].text,
            where="this outing",
            do=proof.next_step.text,
        )
    return Known(
        elapsed_s=float(session.elapsed_s[-1]),
        k_w_k=None if proof.k_w_k is None else k.value,
        half_width_rel=0.5 * (k.high - k.low) / k.value,
    )


def _narrows_rel_s(fits: Sequence[Known]) -> float | None:
    """Return how fast the range narrows, 1/s, over the last fits; None for too few.

    Two fits differ by a hundredth of K by their random draws alone.
    """
    if len(fits) < _FITS:
        return None
    recent = fits[-_FITS:]
    widths = [fit.half_width_rel for fit in recent]
    slope = np.polynomial.Polynomial.fit([k.elapsed_s for k in recent], widths, 1).deriv()
    return max(0.0, -float(slope(recent[-1].elapsed_s)))


def adds_little(fits: Sequence[Known]) -> bool:
    """Tell whether ten more minutes would narrow the range by less than a hundredth of K."""
    narrows = _narrows_rel_s(fits)
    if narrows is None or fits[-1].half_width_rel > NOT_YET_REL:
        return False
    return narrows * LITTLE_S < LITTLE_REL


def words(fits: Sequence[Known]) -> str:
    """Return the estimate in words, with the minutes to a narrower range at the present pace.

    >>> fits = [Known(elapsed_s=60.0 * n, k_w_k=95.0, half_width_rel=0.14 - 0.01 * n)
    ...         for n in range(6)]
    >>> words(fits)
    'K 95 W/K to +/- 9 %, about 2 more minutes for +/- 7 %'
    >>> words(fits[-1:])
    'K 95 W/K to +/- 9 %'
    """
    now = fits[-1]
    percent = round(100 * now.half_width_rel)
    if now.half_width_rel > NOT_YET_REL:
        return f"K not yet: +/- {percent} %"
    value = "K" if now.k_w_k is None else f"K {now.k_w_k:.0f} W/K"
    text = f"{value} to +/- {percent} %"
    if now.k_w_k is None:
        text += " of the machine's unknown heat capacity"
    narrows = _narrows_rel_s(fits)
    goal = percent - 2
    if not narrows or goal < 1:
        return text
    minutes = max(1, round((now.half_width_rel - goal / 100) / (60 * narrows)))
    if minutes > _MOST_MINUTES:
        return text
    return f"{text}, about {minutes} more minute{'s' * (minutes > 1)} for +/- {goal} %"


class Kept:
    """The rows so far, thinned, as a session. Memory is bounded: the oldest are dropped."""

    def __init__(self) -> None:
        self._times = array("d")
        self._columns: dict[str, array[float]] = {}
        self._marks: list[tuple[float, str]] = []

    def take(self, look: Look) -> None:
        """Keep the values of a look if they are newer than the last by the spacing."""
        now_s = look.elapsed_s
        if now_s is None or not look.values:
            return
        if self._times and (now_s < self._times[-1] or look.values.keys() != self._columns.keys()):
            self._times, self._columns, self._marks = array("d"), {}, []
        self._marks += look.marks
        if self._times and now_s - self._times[-1] < _ROW_S:
            return
        if len(self._times) >= _MOST_ROWS:
            for kept in (self._times, *self._columns.values()):
                del kept[: _MOST_ROWS // 8]
            self._marks = [mark for mark in self._marks if mark[0] >= self._times[0]]
        self._times.append(now_s)
        for column, value in look.values.items():
            kept = self._columns.setdefault(column, array("d"))
            kept.append(float("nan") if value is None else value)

    def session(self) -> Session:
        """Return a copy of the kept rows."""
        texts = [text for _, text in self._marks]
        gone = taken_back(texts)
        return Session(
            path=Path("this outing"),
            elapsed_s=np.array(self._times),
            columns={name: np.array(values) for name, values in self._columns.items()},
            marks=tuple(
                Mark(elapsed_s=at_s, text=text)
                for number, (at_s, text) in enumerate(self._marks)
                if number not in gone
            ),
        )


class RunningK:
    """The running estimate: fits the rows so far now and then, in the background.

    Parameters
    ----------
    profile : Profile or None
        The machine.
    background : callable
        Runs a fit beside the recording.
    rests : float
        Between two fits, at least so many times as long as the last one took.
    clock : callable
        Seconds, to time the fits by.
    """

    def __init__(
        self,
        profile: Profile | None,
        background: Background = in_a_thread,
        *,
        rests: float = _RESTS_GUIDED,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._profile = profile
        self._background = background
        self._rests = rests
        self._clock = clock
        self._kept = Kept()
        self._known: list[Known] = []
        self._refused = ""
        self._is_busy = False
        self._began_s = float("-inf")
        self._rests_s = _FIT_AGAIN_S

    def take(self, look: Look) -> None:
        """Take a look; begin a fit if the last is old enough."""
        self._kept.take(look)
        if self._is_busy or look.now_s - self._began_s < self._rests_s:
            return
        session = self._kept.session()
        if session.elapsed_s.size < 2:
            return
        self._is_busy, self._began_s = True, look.now_s
        self._background(lambda: self._fit(session))

    def _fit(self, session: Session) -> None:
        began_s = self._clock()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # warnings would be written across the screen
                newest = know_so_far(session, self._profile)
            if newest is not None:
                if self._known and newest.elapsed_s <= self._known[-1].elapsed_s:
                    self._known.clear()  # another outing has begun
                self._known.append(newest)
            self._refused = ""
        except WattsumpError as error:
            self._known.clear()  # earlier estimates rest on the same readings
            self._refused = f"no running estimate: found {error.found}"
        except (ValueError, ArithmeticError) as error:  # LinAlgError is a ValueError
            self._refused = f"no running estimate: {error}"
        finally:
            self._rests_s = max(_FIT_AGAIN_S, self._rests * (self._clock() - began_s))
            self._is_busy = False

    def figure(self) -> str:
        """Return what is known by now, once K is; "" before, and where readings deny it."""
        known = tuple(self._known)
        return words(known) if known and known[-1].half_width_rel <= NOT_YET_REL else ""

    def learned(self, look: Look, step: str) -> Learned | None:
        """Return the estimate; in the work loop it is enough when more time adds little."""
        fits = tuple(self._known)
        if not fits:
            return Learned(text=self._refused) if self._refused else None
        return Learned(text=words(fits), enough=step == "work loop" and adds_little(fits))


class Plainly:
    """What is known of the cooler while nobody is guided, in words for a screen."""

    def __init__(self, profile: Profile | None, background: Background = in_a_thread) -> None:
        self._running = RunningK(profile, background, rests=_RESTS_PLAIN)

    def __call__(self, look: Look) -> str:
        """Take a look; return what is known, "" before anything is."""
        self._running.take(look)
        return self._running.figure()


class Guided:
    """A guide whose running estimate takes every look, not only those of some steps."""

    def __init__(self, guide: ProvingRun, running: RunningK) -> None:
        self._guide = guide
        self._running = running
        self._said: set[str] = set()  # earlier figures, replaced by a newer one

    def follow(self, look: Look, *, go_on: bool = False) -> Advice:
        """Return the guide's advice with the newest estimate, also between its steps."""
        self._running.take(look)
        advice = self._guide.follow(look, go_on=go_on)
        estimate = self._running.learned(look, advice.stage)
        if estimate is None:
            return advice
        self._said.add(estimate.text)
        rest = tuple(line for line in advice.learned if line not in self._said)
        return replace(advice, learned=(estimate.text, *rest))
