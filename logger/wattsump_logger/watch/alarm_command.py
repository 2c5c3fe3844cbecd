"""Runs the driver's own command when an alarm changes: a siren, a lamp, a message.

No shell is involved: the command is what the driver typed, and the alarm's words go into
environment variables only, so a channel name, a mark or a fault from the wire can never
become part of a command.
"""

import contextlib
import os
import re
import shlex
import shutil
import signal
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from wattsump_logger.errors import UsageError, reason_of
from wattsump_logger.watch.alarms import Notice

__all__ = ("AlarmCommand", "environment_of", "words_of")

_MOST_RUNNING = 4
_LONGEST_S = 60.0
_LONGEST_VALUE = 200
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")


class Process(Protocol):
    """The methods of a running command that are used."""

    def poll(self) -> int | None:
        """Return its exit code, None while it runs."""

    def kill(self) -> None:
        """End it."""


def words_of(command: str) -> tuple[str, ...]:
    """Return the words of a typed command; quotes group words, no other character is special.

    Raises
    ------
    UsageError
        No words, an open quote, or a first word that is no program.
    """
    try:
        words = tuple(shlex.split(command, posix=os.name == "posix"))
    except ValueError as error:
        raise _wrong(command, str(error), "close the quote") from error
    if not words or shutil.which(words[0]) is None:
        raise _wrong(command, "no such program", "give its full path")
    return words


def _wrong(command: str, found: str, do: str) -> UsageError:
    return UsageError(
        expected="a program and its arguments",
        found=f"{command!r}: {found}",
        where="--alarm-command",
        do=do,
    )


def environment_of(notice: Notice) -> dict[str, str]:
    """Return the environment variables that describe an alarm to a command."""
    rule, value = notice.rule, notice.value
    variables = {
        "WATTSUMP_ALARM": rule.name,
        "WATTSUMP_EVENT": notice.event,
        "WATTSUMP_LEVEL": rule.level,
        "WATTSUMP_KIND": rule.kind.value,
        "WATTSUMP_CHANNEL": rule.channel,
        "WATTSUMP_VALUE": "" if value is None else f"{value:.3f}",
        "WATTSUMP_LIMIT": f"{rule.trip:.3f}",
        "WATTSUMP_TEXT": notice.text,
    }
    return {name: _CONTROL.sub(" ", text)[:_LONGEST_VALUE] for name, text in variables.items()}


class AlarmCommand:
    """Starts the command for each notice and never waits for it.

    At most four run at once, and one that runs longer than a minute is ended, so that commands
    that hang do not fill a small computer. `trouble` is the last thing that went wrong.
    """

    def __init__(
        self,
        words: Sequence[str],
        *,
        start: Callable[[Sequence[str], Mapping[str, str]], Process] | None = None,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.trouble = ""
        self._words = tuple(words)
        self._start = start or _start
        self._monotonic_s = monotonic_s
        self._running: list[tuple[float | None, Process]] = []  # since when; None: ended here

    @property
    def running(self) -> int:
        """The number of commands still running."""
        return len(self._running)

    def tell(self, notice: Notice) -> None:
        """Start the command for this notice, unless too many still run."""
        self.tidy()
        if len(self._running) >= _MOST_RUNNING:
            self.trouble = f"alarm command not started: {_MOST_RUNNING} of it still run"
            return
        try:
            process = self._start(self._words, {**os.environ, **environment_of(notice)})
        except (OSError, ValueError) as error:
            self.trouble = f"alarm command failed: {reason_of(error)}"
            return
        self._running.append((self._monotonic_s(), process))

    def tidy(self) -> None:
        """Forget the commands that have finished; end those that hang."""
        still = []
        for since_s, process in self._running:
            code = process.poll()
            hangs = since_s is not None and self._monotonic_s() - since_s > _LONGEST_S
            if code is None and hangs:
                _end_group(process)
                self.trouble = f"alarm command ended after {_LONGEST_S:.0f} s"
            if code is None:
                still.append((None if hangs else since_s, process))
            elif code > 0:
                self.trouble = f"alarm command gave exit code {code}"
            elif code < 0 and since_s is not None:
                self.trouble = f"alarm command was ended by signal {-code}"
        self._running = still


def _end_group(process: Process) -> None:
    """End a command and everything it has started, where it has a group of its own."""
    pid = getattr(process, "pid", None)
    if os.name != "posix" or pid is None:
        process.kill()
        return
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)


def _start(words: Sequence[str], environment: Mapping[str, str]) -> Process:
    return subprocess.Popen(
        list(words),
        env=dict(environment),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # so that Ctrl-C on the capture does not reach the command
    )
