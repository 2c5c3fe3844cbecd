"""The `wattsump` program: every command, and the one place where errors become exit codes.

docs/exit-codes.md lists the codes. Nothing heavy is imported here: `--help` pays for typer
and little else.
"""

import contextlib
import functools
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from wattsump_analysis import memory, threads
from wattsump_analysis.commands import machine, questions, season, streams
from wattsump_analysis.commands.demo import demo_command
from wattsump_analysis.commands.practice import practice_command
from wattsump_analysis.commands.prove import prove_command
from wattsump_analysis.live.supplies import supplies
from wattsump_logger.commands import program as logger_commands
from wattsump_logger.errors import WattsumpError, reason_of
from wattsump_logger.width import of_terminal

__all__ = ("command_tree", "main", "program", "register")

_HELP = """What a hydraulic oil cooler really rejects, in watts, against its label.

For a first look, without any hardware: wattsump demo. On the machine: wattsump ports finds the
controller, wattsump log records an outing, wattsump prove gives its verdict. Each
command answers --help.
"""
_EPILOG = (
    "Answers go to stdout, messages to stderr. Exit codes: 0 done, 2 mistyped, 3 a file or a "
    "value, 4 a port, 5 cannot tell."
)
# In the order of an owner's first weeks.
GROUPS = {
    "Without a controller": ("demo", "practice"),
    "Record": ("machine", "ports", "sensors", "log", "import"),
    "Prove and follow": ("prove", "trend", "compare", "fleet"),
    "Ask": ("rating", "forecast", "limits", "preheat", "oil", "lines", "cab"),
}
_HUSH = "Leave out messages on stderr; answers and errors stay."


class _Grouped(TyperGroup):
    """Lists its commands under the headings of `GROUPS`."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the list of commands, those of no group last."""
        grouped = {name for names in GROUPS.values() for name in names}
        others = tuple(name for name in self.commands if name not in grouped)
        for title, names in (*GROUPS.items(), ("Others", others)):
            rows = [(name, self.commands[name].get_short_help_str(1000)) for name in names]
            if rows:
                with formatter.section(title):
                    formatter.write_dl(rows)


def register(app: typer.Typer) -> None:
    """Add the analysis' commands to the program."""
    app.command("prove")(prove_command)
    app.command("demo")(demo_command)
    app.command("practice")(practice_command)
    machine.register(app)
    questions.register(app)
    season.register(app)


def program() -> typer.Typer:
    """Return the whole program: the logger's commands and the analysis'."""
    app = typer.Typer(
        cls=_Grouped,
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        help=_HELP,
        epilog=_EPILOG,
    )
    app.callback()(_options)
    logger_commands.register(app, supplies())
    register(app)
    return app


def command_tree() -> Any:
    """Return the program as it is run: each command also takes --quiet.

    It is whatever kind of command the installed typer makes, hence no narrower type.
    """
    from typer.main import get_command

    tree, quiet = get_command(program()), _Quiet()
    tree.params.append(quiet.option())
    for command in _below(tree):
        command.params.append(quiet.option())
        if command.callback is not None:
            command.callback = quiet.obeyed_by(command.callback)
        # A list of commands shows whole sentences, over two lines if need be.
        command.short_help = command.short_help or command.get_short_help_str(limit=1000)
    return tree


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the program; an expected error becomes one line on stderr and its class's code."""
    streams.ready()
    threads.one_by_default()
    try:
        try:
            with of_terminal(sys.stdout):
                command_tree()(None if arguments is None else list(arguments), prog_name="wattsump")
        finally:
            streams.let_go()
    except WattsumpError as error:
        return _complain(str(error), error.exit_code)
    except BrokenPipeError:
        return 1  # the reader has closed the pipe
    except OSError as error:
        if memory.is_short_of(error):
            return _complain(memory.TOO_LITTLE)
        place = error.filename or "output"
        return _complain(f"{place}: {reason_of(error)}; make room or choose another place")
    except (MemoryError, SystemError, ImportError) as error:
        if not memory.is_short_of(error):
            raise
        return _complain(memory.TOO_LITTLE)
    return 0


def _complain(text: str, code: int = WattsumpError.exit_code) -> int:
    with contextlib.suppress(OSError):
        sys.stderr.write(f"wattsump: {text}\n")
        sys.stderr.flush()
    return code


def _below(group: Any) -> Iterator[Any]:
    """Yield all commands below a group."""
    for command in group.commands.values():
        yield command
        if isinstance(command, TyperGroup):
            yield from _below(command)


class _Quiet:
    """Whether a run leaves out its messages: set while parsing, applied while running.

    Errors of parsing are reported in between, so stderr must still be there.
    """

    def __init__(self) -> None:
        self._is_asked = False

    def option(self) -> Any:
        """Return the option --quiet, made by typer from a command of its own."""
        from typer.main import get_command

        app = typer.Typer(add_completion=False)

        @app.command()
        def command(
            quiet: Annotated[bool, typer.Option("--quiet", callback=self._ask, help=_HUSH)] = False,
        ) -> None:
            pass

        option: Any = get_command(app).params[0]
        option.expose_value = False  # no command takes the option
        return option

    def _ask(self, wanted: bool) -> None:
        self._is_asked = self._is_asked or wanted

    def obeyed_by(self, work: Callable[..., object]) -> Callable[..., object]:
        """Return `work`, without messages on stderr if that is asked for."""

        @functools.wraps(work)
        def run(*words: object, **options: object) -> object:
            if not self._is_asked:
                return work(*words, **options)
            with Path(os.devnull).open("w") as nowhere, contextlib.redirect_stderr(nowhere):
                return work(*words, **options)

        return run


def _version(wanted: bool) -> None:
    if wanted:
        from wattsump_analysis.commands.version import version_text

        typer.echo(version_text())
        raise typer.Exit


def _options(
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            callback=_version,
            is_eager=True,
            help="Show release, commit, Python, system and libraries.",
        ),
    ] = False,
) -> None:
    pass
