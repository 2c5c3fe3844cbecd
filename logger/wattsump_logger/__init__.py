"""From a controller's bytes to an outing's session on disk.

The names in `__all__` stay what they are; docs/from-python.md shows them at work. Each is
imported when it is first asked for, so that `wattsump --help` pays for none.
"""

import importlib
import typing

if typing.TYPE_CHECKING:
    from wattsump_logger.errors import WattsumpError
    from wattsump_logger.machine.profile import Profile, load_profile, profile_from_dict
    from wattsump_logger.session.reader import Session, load_session
    from wattsump_logger.units.quantities import parse, show

__all__ = (
    "Profile",
    "Session",
    "WattsumpError",
    "load_profile",
    "load_session",
    "parse",
    "profile_from_dict",
    "show",
)

_HOMES = {
    "Profile": "machine.profile",
    "Session": "session.reader",
    "WattsumpError": "errors",
    "load_profile": "machine.profile",
    "load_session": "session.reader",
    "parse": "units.quantities",
    "profile_from_dict": "machine.profile",
    "show": "units.quantities",
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value: object = getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
