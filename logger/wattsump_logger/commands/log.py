"""The command `log`: a capture with its screen, alarms, keys and guide.

Forecast and running K come from the analysis, as `Supplies`.
"""

import contextlib
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from threading import Thread

    from wattsump_logger.capture.clock import Clock
    from wattsump_logger.capture.link import OpenedFirst
    from wattsump_logger.capture.loop import Captured
    from wattsump_logger.machine.profile import Profile
    from wattsump_logger.phone.place import Place
    from wattsump_logger.watch.alarm_rules import Typed
    from wattsump_logger.watch.beside import Beside
    from wattsump_logger.watch.guide import Guide
    from wattsump_logger.watch.keys import Action
    from wattsump_logger.watch.look import Look
    from wattsump_logger.watch.moment import Forecaster, Screen
    from wattsump_logger.watch.publish import Latest
    from wattsump_logger.watch.watch import Watch

__all__ = (
    "Asked",
    "Machine",
    "Name",
    "Out",
    "Probes",
    "Supplies",
    "Units",
    "machine_profile",
    "register",
    "watching_over",
)

PROVING_RUN = "proving-run"
NOT_ON_DISK = 6  # docs/exit-codes.md


class Units(StrEnum):
    """Units of display."""

    SI = "si"
    US = "us"


_STATUS_S = 0.25

_Port = Annotated[str, typer.Argument(help="Port to read, as `wattsump ports` lists it.")]
Machine = Annotated[
    Path | None, typer.Option("--machine", help="Machine profile (TOML); kept in the session.")
]
Out = Annotated[Path, typer.Option("--out", help="Folder the files go to.")]
Name = Annotated[str | None, typer.Option("--name", help="Name of the outing's files.")]
_Baud = Annotated[int, typer.Option("--baud", min=50, help="Speed of the port.")]
_Quiet = Annotated[
    float | None,
    typer.Option("--new-after", min=0.1, help="Begin a new outing after this many quiet minutes."),
]
_Rest = Annotated[
    float | None,
    typer.Option(
        "--new-after-stop",
        min=0.1,
        help="Begin a new outing after the engine stood for this many minutes.",
    ),
]
_Limits = Annotated[
    list[str] | None,
    typer.Option("--limit", help="Alarm of a channel: tank='75 degC'. Repeatable."),
]
_Rate = Annotated[
    str | None, typer.Option("--rate", help="Warn when the tank warms by more a minute: '10 K'.")
]
_Command = Annotated[
    str | None,
    typer.Option(
        "--alarm-command",
        help="Program and arguments run at each alarm, without a shell; "
        "variables WATTSUMP_... describe the alarm.",
    ),
]
_Guide = Annotated[
    str | None, typer.Option("--guide", help=f"Be guided through a test: {PROVING_RUN}.")
]
Probes = Annotated[
    Path | None, typer.Option("--probes", help="Probe corrections made by `wattsump sensors`.")
]
_Phone = Annotated[
    str | None,
    typer.Option(
        "--phone",
        metavar="ADDRESS[:PORT]",
        help="Serve a live page for phones at this one address of the local network.",
    ),
]
_Speed = Annotated[
    float,
    typer.Option("--speed", min=1.0, max=100.0, help="As fast as `wattsump practice` runs."),
]
_Units = Annotated[Units, typer.Option("--units", help="Units on the screen; the files are in SI.")]
_Plain = Annotated[bool, typer.Option("--plain", help="One line a second, no live screen.")]

Guides = Mapping[str, "Callable[[Profile | None, Typed], Guide]"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Supplies:
    """Functions from the analysis that make what knows a machine's physics.

    `known_so_far` makes a sentence on its cooler. Forecaster and guides are also given the limits
    the driver typed, a forecaster in degC by channel.
    """

    forecaster: "Callable[[Profile | None, Mapping[str, float]], Forecaster | None] | None" = None
    known_so_far: "Callable[[Profile | None], Callable[[Look], str]] | None" = None
    guides: Guides = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The driver's options for the watch, as typed.

    `clock` is that of a practice machine, which runs `speed` times as fast.
    """

    limits: tuple[str, ...] = ()
    rate: str | None = None
    alarm_command: str | None = None
    guide: str | None = None
    phone: "Place | None" = None
    is_plain: bool = False
    units: str = "si"
    rest_min: float | None = None
    clock: "Clock | None" = None
    speed: float = 1.0


def register(app: typer.Typer, supplies: Supplies | None = None) -> None:
    """Add `log` to the program."""
    given = supplies or Supplies()

    @app.command("log")
    def log_command(
        port: _Port,
        machine: Machine = None,
        out: Out = Path(),
        name: Name = None,
        baud: _Baud = 115_200,
        quiet_min: _Quiet = None,
        rest_min: _Rest = None,
        limit: _Limits = None,
        rate: _Rate = None,
        alarm_command: _Command = None,
        guide: _Guide = None,
        probes: Probes = None,
        phone: _Phone = None,
        units: _Units = Units.SI,
        is_plain: _Plain = False,
        speed: _Speed = 1.0,
    ) -> None:
        """Record an outing from a port until Ctrl-C.

        It leaves <name>.csv, its sidecar and <name>.wire. Keys mark the session while it runs:
        f fan, c climb, l load, s stop, n a note, u takes the last one back; a or space says that
        an alarm was seen. With --phone, p shows the code that a phone scans.
        """
        from wattsump_logger.capture import loop

        profile = machine_profile(machine, probes)
        asked = Asked(
            limits=tuple(limit or ()),
            rate=rate,
            alarm_command=alarm_command,
            guide=guide,
            phone=_served_at(phone, out),
            is_plain=is_plain,
            units=units,
            rest_min=rest_min,
            clock=_clock(speed),
            speed=speed,
        )
        with _opened(port, baud) as source, loop.stop_on_signals() as stop:
            _begin(port)
            with watching_over(profile, asked, given) as (watch, screen):
                captured = loop.run(
                    source,
                    out,
                    profile,
                    asked.clock,
                    stop,
                    watch.on_status,
                    on_rows=watch.on_rows,
                    marks=watch.marks,
                    is_over=watch.is_over,
                    name=name,
                    quiet_ends_s=None if quiet_min is None else quiet_min * 60,
                    status_s=_STATUS_S,
                )
        _end(captured, watch, screen, asked.units)


def _opened(port: str, baud: int) -> "contextlib.closing[OpenedFirst]":
    from wattsump_logger.capture.link import OpenedFirst
    from wattsump_logger.capture.ports import SerialSource

    return contextlib.closing(OpenedFirst(SerialSource(port, baud)))


def _begin(port: str) -> None:
    from wattsump_logger.commands import telling
    from wattsump_logger.watch.publish import finishes

    finishes(lambda: typer.echo(telling.beginning(port), err=True))


def _end(captured: "Captured", watch: "Beside", screen: "Thread", units: str) -> None:
    """Print the files of the capture, the results of the guide, and what to do next."""
    from wattsump_logger.commands import telling
    from wattsump_logger.watch.publish import finishes

    lines = (*telling.ending(captured, units), *_learned(watch.watch, units))
    code = 0 if captured.is_whole else NOT_ON_DISK
    if not finishes(lambda: typer.echo("\n".join(lines))) or screen.is_alive():
        # What is kept is kept, and python would wait for a terminal that is stopped.
        os._exit(code)
    if code:
        raise typer.Exit(code)


def _served_at(typed: str | None, folder: Path) -> "Place | None":
    """Return where the page for the phone is served, after printing its code."""
    if typed is None:
        return None
    from wattsump_logger.phone.place import place_of, poster
    from wattsump_logger.watch.publish import finishes

    place = place_of(typed, folder)
    finishes(lambda: typer.echo("\n".join(poster(place)), err=True))
    return place


def _clock(speed: float) -> "Clock | None":
    """Return the clock of a practice machine, None for this computer's own."""
    from wattsump_logger.capture.clock import FastClock

    return None if speed == 1.0 else FastClock(speed, time.time_ns() // 1_000_000)


def machine_profile(machine: Path | None, probes: Path | None) -> "Profile | None":
    """Return the typed machine with its probes' corrections, after printing these."""
    from wattsump_logger.calibration.kept import load_machine

    profile, lines = load_machine(machine, probes)
    for line in lines:
        typer.echo(line, err=True)
    return profile


@contextlib.contextmanager
def watching_over(
    profile: "Profile | None", asked: Asked, supplies: Supplies
) -> "Iterator[tuple[Beside, Thread]]":
    """Yield a watch with all options, its keys working, and its screen's thread."""
    from wattsump_logger.capture.clock import HostClock
    from wattsump_logger.units.quantities import parse
    from wattsump_logger.watch.alarm_command import AlarmCommand, words_of
    from wattsump_logger.watch.alarm_rules import USUAL_STALL_S, Typed, typed_limits
    from wattsump_logger.watch.beside import beside
    from wattsump_logger.watch.keys import listening
    from wattsump_logger.watch.moment import Screen
    from wattsump_logger.watch.publish import Latest, following, to_stderr
    from wattsump_logger.watch.view import showing
    from wattsump_logger.watch.watch import Watch

    typed = Typed(limit_c=typed_limits(asked.limits), stall_s=USUAL_STALL_S * asked.speed)
    if asked.rate is not None:
        typed = replace(typed, rate_k_min=parse(asked.rate, "temperature_difference"))
    command = AlarmCommand(words_of(asked.alarm_command)) if asked.alarm_command else None
    guide = _guide(asked.guide, profile, typed, supplies)
    forecaster = supplies.forecaster(profile, typed.limit_c) if supplies.forecaster else None
    # The page has room for it, and a guide says it in its own place.
    wanted = asked.phone is not None and asked.guide is None
    given = supplies.known_so_far if wanted else None
    live = False if asked.is_plain else None
    screens: Latest[Screen] = Latest()
    with (
        _on_phones(asked.phone, screens) as read_asked,
        listening() as read_keys,
        following(
            screens, lambda: showing(live=live, poster=_code_of(asked.phone)), complain=to_stderr
        ) as thread,
        beside(
            Watch(
                profile,
                typed=typed,
                forecaster=forecaster,
                known=given(profile) if given else lambda look: "",
                guide=guide,
                command=command,
                read_keys=read_keys,
                read_asked=read_asked,
                show=screens.put,
                clock=asked.clock,
                key_clock=HostClock(),
                units=asked.units,
                rest_ends_s=None if asked.rest_min is None else asked.rest_min * 60,
            ),
            complain=to_stderr,
        ) as watch,
    ):
        yield watch, thread


def _code_of(place: "Place | None") -> "tuple[str, ...]":
    from wattsump_logger.phone.place import poster

    return () if place is None else poster(place)


@contextlib.contextmanager
def _on_phones(
    place: "Place | None", screens: "Latest[Screen]"
) -> "Iterator[Callable[[], Sequence[Action]]]":
    """Show each newest screen on phones, if asked to; yield a function that takes requests."""
    if place is None:
        yield tuple
        return
    from wattsump_logger.phone.beside import Requests, on_phones
    from wattsump_logger.watch.publish import following, to_stderr

    requests = Requests()
    with following(screens, lambda: on_phones(place, requests), complain=to_stderr):
        yield requests.take


def _guide(
    name: str | None, profile: "Profile | None", typed: "Typed", supplies: Supplies
) -> "Guide":
    from wattsump_logger.errors import UsageError
    from wattsump_logger.watch.fan_off import fan_off
    from wattsump_logger.watch.proving_run import proving_run

    if name is None:
        return fan_off(profile, typed)
    if name in supplies.guides:
        return supplies.guides[name](profile, typed)
    if name != PROVING_RUN:
        raise UsageError(
            expected="one of " + ", ".join((PROVING_RUN, *supplies.guides)),
            found=repr(name),
            where="--guide",
            do="name one of the guides",
        )
    return proving_run(profile, typed)


def _learned(watch: "Watch", units: str) -> list[str]:
    """Return the results of the guide, also when it was ended early."""
    from wattsump_logger.units.sentences import in_units

    lines = watch.advice.learned if watch.advice else ()
    return [f"learned {in_units(line, units)}" for line in lines]
