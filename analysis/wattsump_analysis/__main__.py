"""Where the program starts, as `wattsump` or `python -m wattsump_analysis`.

Loading the program takes a good part of a second; Ctrl-C in that time ends it as silently as
it does later.
"""

import signal
import sys

from wattsump_analysis import memory

__all__ = ("main",)

INTERRUPTED = 130  # what a shell makes of Ctrl-C
UNUSABLE = 3  # docs/exit-codes.md; its home cannot be loaded without memory


def main() -> int:
    """Run the program; return its exit code."""
    is_ours = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if is_ours:  # not where a shell told a program in the background to take no Ctrl-C
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    try:
        from wattsump_analysis.commands import program
    except (ImportError, MemoryError, OSError, SystemError) as error:
        # A half-made import without memory also ends in a SystemError of any text.
        if not isinstance(error, SystemError) and not memory.is_short_of(error):
            raise
        sys.stderr.write(f"wattsump: {memory.TOO_LITTLE}\n")
        return UNUSABLE

    if not is_ours:
        return program.main()
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        return program.main()
    except KeyboardInterrupt:
        return INTERRUPTED
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # nor does the interpreter's end complain


if __name__ == "__main__":
    sys.exit(main())
