"""What can go wrong between the wire and the session, split by who must act.

    WattsumpError
    ├── UnitError      (ValueError)  a typed value is not a quantity of the wanted kind
    ├── ProfileError   (ValueError)  the machine profile is wrong
    ├── SessionError   (ValueError)  a session file cannot be used
    ├── RangeError     (ValueError)  a value lies outside where a formula is valid
    ├── PortError      (OSError)     a port is missing, busy, forbidden or gone
    └── UsageError     (ValueError)  what was asked for cannot be done

Every message is one line: what was expected, what was found, where, what to do.
`exit_code` is what the command returns; 1 is kept for our own bugs, 2 for a mistyped
command line.
"""

from wattsump_logger.printable import printable

__all__ = (
    "PortError",
    "ProfileError",
    "RangeError",
    "SessionError",
    "UnitError",
    "UsageError",
    "WattsumpError",
    "reason_of",
)


class WattsumpError(Exception):
    """Base of every expected error of this project."""

    exit_code = 3

    def __init__(self, *, expected: str, found: str, where: str, do: str) -> None:
        # One argument only: OSError takes two to five for errno, strerror and file names.
        super().__init__(printable(f"{where}: expected {expected}, found {found}; {do}"))
        self.expected = expected
        self.found = found
        self.where = where
        self.do = do

    def __reduce__(self) -> tuple[object, ...]:
        rebuilt = (type(self), (self.expected, self.found, self.where, self.do))
        return _rebuild, rebuilt, self.__dict__  # a subclass may have attributes of its own


def _rebuild(kind: type[WattsumpError], args: tuple[str, str, str, str]) -> WattsumpError:
    expected, found, where, do = args
    return kind(expected=expected, found=found, where=where, do=do)


class UnitError(WattsumpError, ValueError):
    """A typed value is not a quantity of the wanted kind."""


class ProfileError(WattsumpError, ValueError):
    """The machine profile has a wrong key or value."""


class SessionError(WattsumpError, ValueError):
    """A session file cannot be used as one."""


class RangeError(WattsumpError, ValueError):
    """A value lies outside the range in which a formula is valid."""


class PortError(WattsumpError, OSError):
    """A port is missing, busy, forbidden or has gone away."""

    exit_code = 4


class UsageError(WattsumpError, ValueError):
    """What was asked for cannot be done."""

    exit_code = 2


def reason_of(error: Exception) -> str:
    """Return why something failed, in a few words, without the names of files."""
    if isinstance(error, WattsumpError):
        return error.found
    return getattr(error, "strerror", None) or str(error)
