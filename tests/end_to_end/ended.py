"""What a run of the program left behind."""

from dataclasses import dataclass

__all__ = ("Ended",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """Exit code, and what was written to where."""

    code: int
    out: str
    err: str
