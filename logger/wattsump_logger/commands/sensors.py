"""The command `sensors`: match probes in a bucket, tie them to ice and boiling water, check."""

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wattsump_logger.commands.log import Units

if TYPE_CHECKING:
    from wattsump_logger.calibration.bath import Fixed
    from wattsump_logger.calibration.corrections import Calibration
    from wattsump_logger.machine.profile import Profile

__all__ = ("register",)

_Session = Annotated[Path, typer.Argument(help="Session CSV recorded with the probes in place.")]
_Probes = Annotated[
    list[str] | None, typer.Option("--probe", help="Only this channel. Repeatable.")
]
_Machine = Annotated[
    Path | None, typer.Option("--machine", help="Keep the result beside this machine profile.")
]
_File = Annotated[Path | None, typer.Option("--into", help="Keep the result in this file.")]
_From = Annotated[str, typer.Option("--from", help="Leave out readings before: '5 min'.")]
_To = Annotated[str | None, typer.Option("--to", help="Leave out readings after.")]

_CAUTION = "boiling water scalds: long gloves, a steady pot, mains leads out of the way"


def register(app: typer.Typer) -> None:
    """Add `sensors` and its commands to the program."""
    sensors = typer.Typer(
        help="Match probes, tie them to known temperatures, check them.",
        no_args_is_help=True,
    )
    for name, function in _COMMANDS.items():
        sensors.command(name)(function)
    app.add_typer(sensors, name="sensors")


def match_command(
    session: _Session,
    probe: _Probes = None,
    reference: Annotated[
        str | None, typer.Option("--reference", help="Probe that the others are to agree with.")
    ] = None,
    machine: _Machine = None,
    into: _File = None,
    start: _From = "0 s",
    end: _To = None,
) -> None:
    """Find offsets that make all probes of one stirred bucket agree."""
    from wattsump_logger.calibration.bath import drop_worth, match, was_a_bath
    from wattsump_logger.calibration.kept import from_match
    from wattsump_logger.session.reader import load_session

    read = load_session(session)
    matched, remarks = match(
        read, probe or (), reference=reference, from_s=_seconds(start), to_s=_seconds(end)
    )
    typer.echo(
        f"bath {matched.bath_c:.2f} degC, {matched.readings} readings, "
        f"probes {matched.spread_k:.2f} K apart before"
    )
    was_a_bath(matched, str(session))
    _keep(from_match(matched, _today(), session.name), machine, into)
    _say(filter(None, (drop_worth(matched, _profile(machine)), *remarks)))


def ice_command(
    session: _Session,
    probe: _Probes = None,
    machine: _Machine = None,
    into: _File = None,
    start: _From = "0 s",
    end: _To = None,
) -> None:
    """Find offsets from crushed ice in its own water: 0 degC."""
    from wattsump_logger.calibration.bath import ICE, Fixed
    from wattsump_logger.calibration.fixed_points import ICE_POINT_C

    point = Fixed(method=ICE, true_c=ICE_POINT_C, u_true_k=0.05)
    _fix(session, probe, point, machine, into, (_seconds(start), _seconds(end)))


def boil_command(
    session: _Session,
    probe: _Probes = None,
    pressure: Annotated[
        str | None,
        typer.Option("--pressure", help="Absolute, by a barometer here: '985 hPa'."),
    ] = None,
    altitude: Annotated[
        str | None, typer.Option("--altitude", help="Height above the sea: '350 m'.")
    ] = None,
    machine: _Machine = None,
    into: _File = None,
    start: _From = "0 s",
    end: _To = None,
) -> None:
    """Find offsets from boiling water at the place's pressure or height."""
    point = _boiling(pressure, altitude)
    typer.echo(f"water boils here at {point.true_c:.2f} degC, u {point.u_true_k:g} K")
    typer.echo(f"caution: {_CAUTION}", err=True)
    _fix(session, probe, point, machine, into, (_seconds(start), _seconds(end)))


def line_command(
    probe: Annotated[str, typer.Argument(help="The probe's channel.")],
    pairs: Annotated[Path, typer.Argument(help="CSV file with the columns reading_c,true_c.")],
    machine: _Machine = None,
    into: _File = None,
) -> None:
    """Find a straight line from readings beside a better thermometer."""
    from wattsump_logger.calibration.bath import line_from_pairs

    _keep([line_from_pairs(pairs, probe, _today())], machine, into)


def check_command(
    session: _Session,
    units: Annotated[Units, typer.Option("--units", help="Units to show.")] = Units.SI,
) -> None:
    """Point out readings that are numbers but hardly temperatures."""
    from wattsump_logger.calibration.bath import strange
    from wattsump_logger.remark import shown_in
    from wattsump_logger.session.reader import load_session

    lines = strange(load_session(session)) or ("nothing strange in these readings",)
    _say(shown_in(line, units) for line in lines)


def show_command(machine: _Machine = None, into: _File = None) -> None:
    """Show the corrections that are kept, with their dates."""
    from wattsump_logger.calibration.corrections import load_calibrations

    _say(map(_line, load_calibrations(_place(machine, into, must=True) or Path()).values()))


_COMMANDS: dict[str, Callable[..., None]] = {
    "match": match_command,
    "ice": ice_command,
    "boil": boil_command,
    "line": line_command,
    "check": check_command,
    "show": show_command,
}


def _fix(
    path: Path,
    probe: Sequence[str] | None,
    point: "Fixed",
    machine: Path | None,
    into: Path | None,
    between_s: tuple[float, float],
) -> None:
    from wattsump_logger.calibration.bath import at_fixed_point, joined
    from wattsump_logger.calibration.corrections import load_calibrations
    from wattsump_logger.calibration.kept import moved_along
    from wattsump_logger.session.reader import load_session

    calibrations = at_fixed_point(
        load_session(path),
        tuple(probe or ()),
        point,
        _today(),
        from_s=between_s[0],
        to_s=between_s[1],
    )
    place = _place(machine, into)
    earlier = load_calibrations(place) if place and place.exists() else {}
    tied = [joined(earlier.get(item.probe), item) for item in calibrations]
    _keep(moved_along(earlier, tied), machine, into)


def _boiling(pressure: str | None, altitude: str | None) -> "Fixed":
    from wattsump_logger.calibration.bath import BOIL, Fixed
    from wattsump_logger.calibration.fixed_points import altitude_pressure_pa, boiling_point_c
    from wattsump_logger.errors import UsageError
    from wattsump_logger.units.quantities import parse

    if (pressure is None) == (altitude is None):
        raise UsageError(
            expected="either --pressure or --altitude",
            found="both" if pressure else "none",
            where="sensors boil",
            do="a barometer is better; a map's height will do",
        )
    if pressure is not None:
        return Fixed(
            method=BOIL, true_c=boiling_point_c(parse(pressure, "pressure")), u_true_k=0.15
        )
    here_pa = altitude_pressure_pa(parse(altitude or "", "altitude"))
    return Fixed(method=BOIL, true_c=boiling_point_c(here_pa), u_true_k=0.4)


def _keep(calibrations: Sequence["Calibration"], machine: Path | None, into: Path | None) -> None:
    from wattsump_logger.calibration.kept import keep

    _say(map(_line, calibrations))
    place = _place(machine, into)
    if place is None:
        typer.echo("not kept: give --machine or --into to use it in the next capture")
        return
    keep(place, calibrations)
    typer.echo(f"kept in {place}; the wire file of every outing has the uncorrected readings")


def _line(item: "Calibration") -> str:
    correction = item.correction
    slope = f" {correction.slope:+.4f} K/K from {correction.reference_c:.1f} degC"
    return (
        f"{item.probe:<16} {correction.intercept_k:+.3f} K{slope if correction.slope else ''}, "
        f"u {correction.u_intercept_k:.3f} K, {item.method}, {item.made}, "
        f"{item.low_c:.0f} to {item.high_c:.0f} degC"
    )


def _place(machine: Path | None, into: Path | None, *, must: bool = False) -> Path | None:
    from wattsump_logger.calibration.kept import beside
    from wattsump_logger.errors import UsageError

    if into is not None or machine is not None:
        return into or beside(machine or Path())
    if must:
        raise UsageError(
            expected="--machine or --into",
            found="neither",
            where="sensors show",
            do="say whose corrections to show",
        )
    return None


def _profile(machine: Path | None) -> "Profile | None":
    from wattsump_logger.machine.profile import load_profile

    return None if machine is None else load_profile(machine)


def _seconds(text: str | None) -> float:
    from wattsump_logger.units.quantities import parse

    return float("inf") if text is None else parse(text, "duration")


def _today() -> date:
    return date.today()


def _say(lines: Iterable[object]) -> None:
    for line in lines:
        typer.echo(str(line))
