"""Puts the commands together and runs one.

A command is a function of its own name in a module of its own name in this folder. Such a module imports
nothing heavy at its top, so that ``strandgauge --help`` answers at once; what a command needs it imports when
it runs.
"""

from __future__ import annotations

import functools
import importlib
import inspect
import os
import sys
import warnings
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal, get_args, get_origin

import typer

from strandgauge.cli.arguments import about, show
from strandgauge.cli.outcome import EXIT_USAGE, Session, guarded, one_line
from strandgauge.codes.catalogue import say
from strandgauge.errors import EXIT_INTERRUPTED, BadLanguageError
from strandgauge.files.threads import one_thread
from strandgauge.files.version import __version__

JOBS: dict[str, dict[str, str]] = {
    "Get ready": {
        "card": "strandgauge card --paper letter",
        "check": "strandgauge check photo.jpg",
    },
    "At the chair": {
        "read": "strandgauge read photo.jpg --picture client.png",
        "reach": "strandgauge reach photo.jpg --target lilac --bowl 40",
        "plan": "strandgauge plan photo.jpg --target lilac --history client.toml --hair medium",
        "watch": "strandgauge watch photos --page curve.html --start 10:00 --limit 45 --target lilac",
        "follow": "strandgauge follow 1005.jpg 1022.jpg 1041.jpg --start 10:00 --limit 45 --target lilac",
        "compare": "strandgauge compare before.jpg after.jpg --page sheet.html",
        "mix": "strandgauge mix --base photo.jpg --dye violet=1 --dye clear=9",
        "targets": "strandgauge targets",
        "dyes": "strandgauge dyes",
        "serve": "strandgauge serve --lan",
    },
    "Many photos": {
        "batch": "strandgauge batch photos --out results --target lilac --manifest class.csv",
        "log": "strandgauge log show Marta",
    },
    "Make it yours": {
        "learn": "strandgauge learn levels swatches --name 'salon ring'",
    },
}
"""The commands by job, each with an example, in the order in which the help shows them.

To add one: its module in this folder, its name here. A command with commands of its own lists them in its module
as ``PARTS``, by name.
"""
HELP = ["-h", "--help"]
COMMANDS = tuple(name for commands in JOBS.values() for name in commands)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit code; nothing but that leaves this function."""
    given, language = _without_language(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in given
    _prepare_streams()
    one_thread()
    if not debug:
        # Warnings are for whoever works on the code; they tell the person at the basin nothing.
        warnings.simplefilter("ignore")
    session = Session(debug=debug)
    try:
        if language or os.environ.get("STRANDGAUGE_LANGUAGE"):
            from strandgauge.learn.language import choose

            choose(language)
        command = typer.main.get_command(_application(session, given))
        _simplify(command)
        # --debug is welcome anywhere on the line.
        rest = ["--debug"] * debug + [word for word in given if word != "--debug"]
        code = command.main(rest, prog_name="strandgauge", standalone_mode=False, obj=session)
    except typer.TyperException as error:  # wrong usage: an unknown option, a missing argument
        print(one_line(f"strandgauge: {_misused(error)} {say('usage.see-help')}"), file=sys.stderr)
        return EXIT_USAGE
    except (typer.Abort, KeyboardInterrupt):
        return EXIT_INTERRUPTED
    except BadLanguageError as error:
        return session.tell(error)
    return code if isinstance(code, int) else 0


def _without_language(arguments: Sequence[str]) -> tuple[list[str], str | None]:
    """Return the arguments without --language, which is welcome anywhere on the line, and what it names."""
    given = list(arguments)
    for place, word in enumerate(given):
        option, equals, language = word.partition("=")
        if word == "--":
            break
        if option == "--language" and (equals or place + 1 < len(given)):
            return given[:place] + given[place + (1 if equals else 2) :], language or given[place + 1]
    return given, None


def _application(session: Session, given: Sequence[str]) -> typer.Typer:
    app = typer.Typer(
        help="Read how far a hair strand has lifted, what warmth is left and how even it is, from a photo "
        "beside a printed card.",
        epilog="An example of each: strandgauge COMMAND --help.",
        context_settings={"help_option_names": HELP},
    )
    app.callback(invoke_without_command=True)(_whole_program)
    named = next((word for word in given if not word.startswith("-")), None)
    listed = bool(given) and named is None  # as for the help of the whole, which has no use for their options
    for job, commands in JOBS.items():
        for name, example in commands.items():
            if named in COMMANDS and name != named:
                continue  # nothing of the others is needed
            module = importlib.import_module(f"strandgauge.cli.{name}")
            command, parts = getattr(module, name), getattr(module, "PARTS", None)
            told = f"Example: {example}"
            if listed:
                app.command(name, rich_help_panel=job, help=about(command))(_whole_program)
            elif parts is None:
                app.command(name, rich_help_panel=job, epilog=told)(guarded(command, session))
            else:
                group = _group(command, parts, session)
                app.add_typer(group, name=name, rich_help_panel=job, epilog=told)
    return app


def _group(
    command: Callable[..., int | None], parts: Mapping[str, Callable[..., int | None]], session: Session
) -> typer.Typer:
    """Return a command with commands of its own; named alone, it runs itself."""
    alone = guarded(command, session)

    takes = inspect.signature(alone).parameters

    @functools.wraps(alone)
    def alone_or_not(context: typer.Context, **options: Any) -> None:  # noqa: ANN401 - hands them on
        if context.invoked_subcommand is None:
            alone(**options, **({"context": context} if "context" in takes else {}))

    context = inspect.Parameter("context", inspect.Parameter.KEYWORD_ONLY, annotation=typer.Context)
    show(alone_or_not, [context, *(one for one in takes.values() if one.name != "context")])

    group = typer.Typer(context_settings={"help_option_names": HELP})
    group.callback(invoke_without_command=True)(alone_or_not)
    for name, part in parts.items():
        group.command(name)(guarded(part, session))
    return group


def _simplify(command: Any) -> None:  # noqa: ANN401 - commands and their groups have no common type
    """Leave the word bool out of the help of what is simply on or off, and take what is typed as it is."""
    for parameter in (
        *command.params,
        command.get_help_option(typer.Context(command, help_option_names=HELP)),
    ):
        if getattr(parameter, "is_flag", False):
            parameter.metavar = ""
        _take_as_typed(parameter)
    for part in getattr(command, "commands", {}).values():
        _simplify(part)


def _take_as_typed(parameter: Any) -> None:  # noqa: ANN401
    """Take what is left out, what is of its kind already, and paths without a check.

    typer has them checked by a library that takes a fifth of a first reading to load.
    """
    checked = parameter.process_value

    def process_value(context: typer.Context, value: Any) -> Any:  # noqa: ANN401
        if value is None and not parameter.required:
            return () if parameter.multiple or parameter.nargs == -1 else None
        kind = getattr(getattr(parameter, "type_descriptor", None), "annotation", None)
        if parameter.callback or not value:
            return checked(context, value)
        if kind is float and isinstance(value, str):
            value = value.replace(",", ".")  # 6,5 as many write it
        if value in get_args(kind) if get_origin(kind) is Literal else type(value) is kind:
            return value
        return _AS_TYPED[kind](value) if kind in _AS_TYPED else checked(context, value)

    parameter.process_value = process_value


_AS_TYPED: dict[Any, Callable[[Any], Any]] = {
    Path: Path,
    list[str]: list,
    list[Path]: lambda paths: [Path(path) for path in paths],
}


def _misused(error: typer.TyperException) -> str:
    """Say what is wrong with a line, in the catalogue's words where its kind is known, else in the library's."""
    parameter = getattr(error, "param", None)
    match type(error).__name__:
        case "NoSuchOption":
            near = ", ".join(sorted(getattr(error, "possibilities", None) or ()))
            facts = {"option": getattr(error, "option_name", ""), "near": near}
            return say("usage.no-such-option-near", **facts) if near else say("usage.no-such-option", **facts)
        case "MissingParameter" if parameter is not None:
            return say("usage.missing", what=parameter.get_error_hint())
        case "BadParameter" if parameter is not None:
            return say(
                "usage.bad-value", option=parameter.get_error_hint(), why=error.message.removesuffix(".")
            )
    told = error.format_message().removeprefix("Invalid value: ")
    return told if told.endswith((".", "?")) else f"{told}."


def _whole_program(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and leave.")] = False,
    debug: Annotated[
        bool, typer.Option("--debug", help="Show the details of an error, for whoever works on the code.")
    ] = False,
    language: Annotated[
        str | None,
        typer.Option("--language", metavar="CODE", help="The language that is spoken; English if left out."),
    ] = None,
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
