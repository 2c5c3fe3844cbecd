"""A channel's field, from what the wire said to the text of a session cell."""

from collections.abc import Callable

from wattsump_logger.machine.profile import Channel, Profile
from wattsump_logger.thermocouples.converters import decode_word
from wattsump_logger.wire.events import HEX_DIGITS, WireChannel

__all__ = ("CellMaker", "cell_maker")

CellMaker = Callable[[str], tuple[str, str]]
_KEPT = 8192  # words of a channel kept with their text: some hundred kelvins of quarter steps


def cell_maker(channel: WireChannel, profile: Profile | None) -> CellMaker:
    """Return the function from a field of this channel to its cell's text and its fault.

    The profile's correction is added to temperatures; a probe of another type than the
    converter is set for is converted as what it is.
    """
    known = profile.channels.get(channel.name) if profile else None
    correct = _correction(known)
    if channel.source in HEX_DIGITS:
        return _kept(_thermocouple(channel, _probe(known), correct))
    if channel.is_temperature and known is not None and (known.offset_k or known.slope):
        return _kept(lambda field: (f"{correct(float(field)):.3f}" if field else "", ""))
    return lambda field: (field, "")


def _correction(known: Channel | None) -> Callable[[float], float]:
    if known is None:
        return lambda temp_c: temp_c
    return lambda temp_c: temp_c + known.correction_k(temp_c)


def _probe(known: Channel | None) -> str | None:
    return known.sensor.letter if known else None


def _thermocouple(
    channel: WireChannel, probe: str | None, correct: Callable[[float], float]
) -> CellMaker:
    def cell(field: str) -> tuple[str, str]:
        temp_c, _, fault = decode_word(channel.source, channel.detail, field, probe)
        no_reading = fault or not field or temp_c != temp_c
        return ("" if no_reading else f"{correct(temp_c):.3f}", fault)

    return cell


def _kept(make: CellMaker) -> CellMaker:
    """Remember what each field became: a slow temperature says the same words again."""
    known: dict[str, tuple[str, str]] = {}

    def cell(field: str) -> tuple[str, str]:
        found = known.get(field)
        if found is None:
            if len(known) >= _KEPT:
                known.clear()
            found = known[field] = make(field)
        return found

    return cell
