"""The one place where an error becomes a line of text, a JSON document and an exit code."""

from __future__ import annotations

import contextlib
import errno
import functools
import gc
import inspect
import os
import re
import sys
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import typer

from strandgauge.cli.arguments import about, arguments, show
from strandgauge.cli.jsonlines import JsonLines
from strandgauge.cli.options import KIT_OPTIONS, misuse
from strandgauge.codes.catalogue import meant, say
from strandgauge.errors import CannotWriteError, StrandgaugeError, Told, unforeseen
from strandgauge.files.endings import PHOTO_ENDINGS

if TYPE_CHECKING:
    from strandgauge.kit import Kit

EXIT_USAGE = 2
OUTPUTS = ("json", "picture", "page", "out", "png", "csv", "jsonl")
"""Options that name what is written."""


@dataclass
class Session:
    """What one run of the command line carries along: how errors are told, and where to."""

    debug: bool = False
    json: JsonLines | None = None
    """Where a command was asked for JSON, its errors are written there as well."""
    several: bool = False
    """Whether several results may come, a JSON document a line."""

    def begin(self, options: Mapping[str, Any]) -> None:
        """Make ready for a command, before any work is done.

        Raises
        ------
        typer.BadParameter : a result would be written over a photo or another file that is being read.
        CannotWriteError : the file for JSON cannot be written.
        """
        outputs = {name: options[name] for name in OUTPUTS if isinstance(options.get(name), str | Path)}
        inputs = [value for name, value in options.items() if name not in OUTPUTS]
        refuse_overwriting(inputs, outputs.values())
        if "json" in outputs:
            self.json = JsonLines(str(outputs["json"]))

    def show(self, result: object, text: Callable[..., None], *more: Any) -> None:  # noqa: ANN401 - for `text`
        """Hand a result out: as JSON where that was asked for, as text unless JSON takes its place.

        Parameters
        ----------
        result : a record, or a document that is made already.
        text : the function that prints it; it is given ``more``, or the result where there is none.
        """
        self.write(result)
        if self.json is None or not self.json.to_standard_output:
            text(*(more or (result,)))

    def write(self, result: object) -> None:
        """Write a record or a document as JSON, where that was asked for."""
        if self.json is not None:
            from strandgauge.show.json import document_of

            document = result if isinstance(result, dict) else document_of(result)
            self.json.write(document, one_line=self.several)

    def tell_aside(self, error: StrandgaugeError) -> None:
        """Tell, in one line on standard error, of something that was left out while the rest goes on."""
        print(one_line(f"strandgauge: {say('command.left-out')}: {describe(error).line}"), file=sys.stderr)

    def tell(self, error: BaseException) -> int:
        """Tell an error in one line, and as JSON where that was asked for; return its exit code."""
        failure = describe(error)
        if failure.code == "broken-pipe":
            _abandon_standard_output()
            return failure.exit_code
        if self.debug:
            traceback.print_exception(error, file=sys.stderr)
        print(one_line(f"strandgauge: {failure.line}"), file=sys.stderr)
        # Where the error is that nothing can be written, this cannot be written either.
        with contextlib.suppress(CannotWriteError, OSError):
            self.write(failure)
        if isinstance(error, OSError):
            _abandon_standard_output()
        return failure.exit_code


def describe(error: BaseException) -> Told:
    """Say what an error means to the person who ran the command."""
    if isinstance(error, StrandgaugeError):
        return error.told
    if isinstance(error, KeyboardInterrupt):
        return Told("interrupted", say("command.stopped"))
    if _is_broken_pipe(error):
        return Told("broken-pipe", "")
    if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
        return describe(CannotWriteError(fault="full"))
    if isinstance(error, MemoryError):
        return Told("out-of-memory", say("unforeseen.memory"), say("unforeseen.close-programs"))
    return unforeseen(error, say("unforeseen.again"))


def _is_broken_pipe(error: BaseException) -> bool:
    """Tell whether an error means that the reader of the output left.

    Rich's console turns a broken pipe into a SystemExit of its own while it handles it.
    """
    if isinstance(error, SystemExit):
        return isinstance(error.__context__, BrokenPipeError)
    return isinstance(error, BrokenPipeError)


def guarded(command: Callable[..., int | None], session: Session) -> Callable[..., None]:
    """Wrap a command so that whatever it raises is told, and ends in an exit code.

    The command may return an exit code itself; None is success. Where it takes the ``session``, it is handed in;
    where it takes a kit, as ``open_kit``, it has the options that name its parts.
    """
    taken = arguments(command)
    parts = get_args(taken["open_kit"].annotation)[1] if "open_kit" in taken else ()

    @functools.wraps(command)
    def wrapped(**options: Any) -> None:  # noqa: ANN401 - hands on whatever the command takes
        gc.enable()
        try:
            session.begin(options)
            if options.get("target"):
                options["target"] = meant("shade", options["target"])
            if options.get("dye"):
                options["dye"] = [_meant_dye(part) for part in options["dye"]]
            if parts:
                options["open_kit"] = partial(_load_kit, {part: options.pop(part) for part in parts})
            if "session" in taken:
                options["session"] = session
            code = command(**options) or 0
            sys.stdout.flush()
        except (typer.Exit, typer.Abort, typer.TyperException):
            raise
        except BaseException as error:
            code = _tell_safely(session, error)
        raise typer.Exit(code)

    shown = [one for name, one in taken.items() if name not in ("session", "open_kit")]
    shown += [
        inspect.Parameter(part, inspect.Parameter.KEYWORD_ONLY, default=None, annotation=KIT_OPTIONS[part])
        for part in parts
    ]
    wrapped.__doc__ = about(command)
    show(wrapped, shown)
    return wrapped


def _meant_dye(part: str) -> str:
    name, equals, parts = part.rpartition("=")
    return f"{meant('dye', name)}{equals}{parts.replace(',', '.')}"


def _load_kit(named: dict[str, Any]) -> Kit:
    from strandgauge.kit import load

    return load(**named)


def _tell_safely(session: Session, error: BaseException) -> int:
    """Tell an error even when the telling fails, as it does on a full disk."""
    try:
        return session.tell(error)
    except BaseException as second:
        return describe(second).exit_code


def _abandon_standard_output() -> None:
    """Keep the interpreter from trying once more, on its way out, to write what could not be written."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def refuse_overwriting(inputs: Iterable[object], targets: Iterable[Path | str]) -> None:
    """Refuse to write a result over a file that is being read, or over a photo of a folder that is.

    Parameters
    ----------
    inputs : values of options; whatever names a file or a folder that is there counts.
    targets : files to write.

    Raises
    ------
    typer.BadParameter : one of them would be lost.
    """
    written = [target for target in map(Path, targets) if target.is_file()]
    for source in _paths(inputs) if written else ():
        for target in written:
            if source.is_file() and target.samefile(source):
                raise misuse("is-read", file=target)
            if source.is_dir() and target.suffix.lower() in PHOTO_ENDINGS and _lies_in(target, source):
                raise misuse("is-photo", file=target)


def _paths(values: Iterable[object]) -> Iterator[Path]:
    for value in values:
        if isinstance(value, list | tuple):
            yield from _paths(value)
        elif isinstance(value, Path) or (isinstance(value, str) and os.path.exists(value)):
            yield Path(value)


def _lies_in(file: Path, folder: Path) -> bool:
    return file.resolve().is_relative_to(folder.resolve())


def one_line(text: str) -> str:
    """Keep a message to one line, and free of what a file's name could do to a terminal."""
    return re.sub(r"\s+", " ", "".join(c if c.isprintable() or c.isspace() else "?" for c in text)).strip()
