"""`wattsump practice`: an emulated controller that stays up, for `wattsump log` to record."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wattsump_logger.printable import as_typed

if TYPE_CHECKING:
    from wattsump_analysis.emulation.practice import PracticeMachine
    from wattsump_logger.bench.controller import EmulatedController

__all__ = ("practice_command",)

_LOOK_S = 0.1


def practice_command(
    speed: Annotated[
        float,
        typer.Option(
            "--speed", min=1.0, max=100.0, help="Times as fast as real; log takes it too."
        ),
    ] = 1.0,
    out: Annotated[
        Path, typer.Option("--out", help="Folder for the practice machine's profile.")
    ] = Path("practice"),
) -> None:
    """Practise live screen, marks, alarms and guide with an emulated machine.

    It stays up until Ctrl-C and prints what to type in a second terminal. Keys work the machine:
    engine, drive, fan, heater, a blocked core, a broken probe, a restart, a silent controller.
    """
    from wattsump_analysis.commands.demo import write_profile
    from wattsump_analysis.emulation import bracken
    from wattsump_analysis.emulation.practice import CHANNELS, KEYS, PracticeMachine
    from wattsump_logger.bench.controller import EmulatedController, has_ptys, serve_pty
    from wattsump_logger.capture.loop import stop_on_signals
    from wattsump_logger.errors import UsageError
    from wattsump_logger.watch.keys import listening

    if not has_ptys():
        raise UsageError(
            expected="a system with pseudo-terminals",
            found="none here",
            where="practice",
            do="practise on Linux or a Mac; wattsump demo runs everywhere",
        )
    profile = write_profile(out / "bracken.toml", bracken.demo_text())
    machine = PracticeMachine(bracken.demo_profile())

    class Practised(EmulatedController):
        """Sends nothing while the machine's controller is silent."""

        def step(self) -> bytes:
            frames = super().step()
            return b"" if machine.is_silent else frames

    controller = Practised(machine.values, CHANNELS, firmware="practice-1")
    with (
        stop_on_signals() as stop,
        serve_pty(controller, speed, drops=True) as port,
        listening() as read_keys,
    ):
        fast = "" if speed == 1.0 else f" --speed {speed:g}"
        typer.echo(
            "Nothing is hot and nothing turns. In a second terminal type the line below. Its\n"
            "profile is of the machine emulated here: with your own, limits and watts would\n"
            "not fit."
        )
        typer.echo(
            f"  wattsump log {port} --machine {as_typed(profile)} --out {as_typed(out)}{fast} "
            "--guide proving-run"
        )
        typer.echo("Here, keys work the machine:")
        for key, does in KEYS.items():
            typer.echo(f"  {key}  {does.on} / {does.off}")
        typer.echo("  r  controller restarts\nCtrl-C ends.")
        _work(machine, controller, read_keys, stop)


def _work(
    machine: "PracticeMachine",
    controller: "EmulatedController",
    read_keys: Callable[[], str],
    stop: Callable[[], bool],
) -> None:
    while not stop():
        for char in read_keys():
            if char.lower() == "r":
                controller.reboot("watchdog")
                text = "controller restarted"
            else:
                text = machine.press(char)
            if text:
                minutes = controller.now_ms / 60_000
                typer.echo(f"{minutes:6.1f} min  oil {machine.tank_c:3.0f} °C  {text}")
        time.sleep(_LOOK_S)
