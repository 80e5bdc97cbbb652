"""Puts the commands together and runs one.

A command is a function of its own name in a module of its own name in this folder. Such a module imports
nothing heavy at its top, so that ``strandgauge --help`` answers at once; what a command needs it imports when
it runs.
"""

from __future__ import annotations

import functools
import importlib
import sys
import warnings
from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Any

import typer

from strandgauge.cli.outcome import EXIT_USAGE, Session, guarded, one_line
from strandgauge.errors import EXIT_INTERRUPTED
from strandgauge.files.version import __version__

COMMANDS = (
    "read",
    "check",
    "card",
    "reach",
    "follow",
    "compare",
    "batch",
    "mix",
    "targets",
    "dyes",
    "learn",
    "log",
    "serve",
)
"""In the order in which the help shows them. To add one: its module in this folder, its name here.

A command with commands of its own lists them in its module as ``PARTS``, by name.
"""


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit code; nothing but that leaves this function."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in given
    _prepare_streams()
    if not debug:
        # Warnings are for whoever works on the code; they tell the person at the basin nothing.
        warnings.simplefilter("ignore")
    session = Session(debug=debug)
    try:
        command = typer.main.get_command(_application(session))
        # --debug is welcome anywhere on the line.
        rest = ["--debug"] * debug + [word for word in given if word != "--debug"]
        code = command.main(rest, prog_name="strandgauge", standalone_mode=False, obj=session)
    except typer.TyperException as error:  # wrong usage: an unknown option, a missing argument
        what = error.format_message().removeprefix("Invalid value: ")
        end = "" if what.endswith((".", "?")) else "."
        print(one_line(f"strandgauge: {what}{end} See 'strandgauge --help'."), file=sys.stderr)
        return EXIT_USAGE
    except (typer.Abort, KeyboardInterrupt):
        return EXIT_INTERRUPTED
    return code if isinstance(code, int) else 0


def _application(session: Session) -> typer.Typer:
    app = typer.Typer(
        help="Read how far a hair strand has lifted, what warmth is left and how even it is, from a photo "
        "beside a printed card.",
        add_completion=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback(invoke_without_command=True)(_whole_program)
    for name in COMMANDS:
        module = importlib.import_module(f"strandgauge.cli.{name}")
        command, parts = getattr(module, name), getattr(module, "PARTS", None)
        if parts is None:
            app.command(name)(guarded(command, session))
        else:
            app.add_typer(_group(command, parts, session), name=name)
    return app


def _group(
    command: Callable[..., int | None], parts: Mapping[str, Callable[..., int | None]], session: Session
) -> typer.Typer:
    """Return a command with commands of its own; named alone, it runs itself."""
    alone = guarded(command, session)

    @functools.wraps(command)
    def alone_or_not(context: typer.Context, **options: Any) -> None:  # noqa: ANN401 - hands them on
        if context.invoked_subcommand is None:
            alone(context, **options)

    group = typer.Typer(context_settings={"help_option_names": ["-h", "--help"]})
    group.callback(invoke_without_command=True)(alone_or_not)
    for name, part in parts.items():
        group.command(name)(guarded(part, session))
    return group


def _whole_program(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and leave.")] = False,
    debug: Annotated[
        bool, typer.Option("--debug", help="Show the details of an error, for whoever works on the code.")
    ] = False,
) -> None:
    if version:
        print(f"strandgauge {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        print(context.get_help())
        raise typer.Exit


def _prepare_streams() -> None:
    """Let no character that a terminal cannot show end a run."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
