"""From a channel's field on the wire to the text of its session cell."""

from collections.abc import Callable

from wattsump_logger.machine.profile import Channel, Profile
from wattsump_logger.thermocouples.converters import decode_word
from wattsump_logger.wire.events import HEX_DIGITS, WireChannel

__all__ = ("CellMaker", "cell_maker")

CellMaker = Callable[[str], tuple[str, str]]
_KEPT = 8192  # fields of a channel kept with their text: some hundred kelvins of quarter steps


def cell_maker(channel: WireChannel, profile: Profile | None) -> CellMaker:
    """Return the function from a field of this channel to its cell's text and its fault.

    The profile's correction is added to temperatures. A probe of another type than the
    converter is set for is converted by its own type.
    """
    profiled = profile.channels.get(channel.name) if profile else None
    correct = _correction(profiled)
    if channel.source in HEX_DIGITS:
        return _kept(_thermocouple(channel, _probe(profiled), correct))
    if channel.is_temperature and profiled is not None and (profiled.offset_k or profiled.slope):
        return _kept(lambda field: (f"{correct(float(field)):.3f}" if field else "", ""))
    return lambda field: (field, "")


def _correction(profiled: Channel | None) -> Callable[[float], float]:
    if profiled is None:
        return lambda temp_c: temp_c
    return lambda temp_c: temp_c + profiled.correction_k(temp_c)


def _probe(profiled: Channel | None) -> str | None:
    return profiled.sensor.letter if profiled else None


def _thermocouple(
    channel: WireChannel, probe: str | None, correct: Callable[[float], float]
) -> CellMaker:
    def cell(field: str) -> tuple[str, str]:
        temp_c, _, fault = decode_word(channel.source, channel.detail, field, probe)
        no_reading = fault or not field or temp_c != temp_c
        return ("" if no_reading else f"{correct(temp_c):.3f}", fault)

    return cell


def _kept(make: CellMaker) -> CellMaker:
    """Remember the result for each field: a slow temperature repeats its fields."""
    cells: dict[str, tuple[str, str]] = {}

    def cell(field: str) -> tuple[str, str]:
        result = cells.get(field)
        if result is None:
            if len(cells) >= _KEPT:
                cells.clear()
            result = cells[field] = make(field)
        return result

    return cell
