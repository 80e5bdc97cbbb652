"""Reads a TOML file so that whatever is wrong in it can be named with its line; and writes one.

The standard library parses TOML but forgets where each value stood. :func:`read_toml` lets it parse and judge
the text, then walks the (now known to be valid) text once more to note the line of every key and element.
"""

from __future__ import annotations

import re
import tomllib
from collections import deque
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from strandgauge.errors import StrandgaugeError
from strandgauge.files.read import read_file

KeyPath = tuple[str | int, ...]

MAX_BYTES = 2_000_000
"""No definition written by hand comes near this; it keeps a wrong file from filling the memory."""


class TomlFile:
    """The parsed content of a TOML file, and the line of each of its values for whoever asks.

    Parameters
    ----------
    path : the file.
    data : what it holds.
    text : as it is written, from which the lines are found when they are needed.
    name : how errors name it.
    """

    def __init__(self, path: Path, data: dict[str, Any], text: str, name: str) -> None:
        self.path = path
        self.data = data
        self._text = text
        self._name = name

    @cached_property
    def lines(self) -> dict[KeyPath, int]:
        """Line, from 1, of each table, key and array element, such as ``("patch", 3, "lab")``."""
        return _LineScanner(self._text).scan()

    def line(self, *path: str | int) -> int:
        """Return the line of a value; of the nearest thing around it when it is missing; else 1."""
        for length in range(len(path), 0, -1):
            if (found := self.lines.get(path[:length])) is not None:
                return found
        return 1

    def where(self, *path: str | int) -> str:
        """Return ``'file.toml:12'`` for a value, as errors name it."""
        return f"{self._name}:{self.line(*path)}"


def read_toml(path: Path, error: type[StrandgaugeError], what: str, *, name: str | None = None) -> TomlFile:
    """Read and parse a TOML file.

    Parameters
    ----------
    path : the file.
    error : the class to raise when it cannot be read, such as ``BadCardDefinitionError``.
    what : what the file should be, for the message, such as "card-definition".
    name : how errors name the file; the last part of its path when left out.

    Raises
    ------
    error
        The file is missing, a folder, too large, not UTF-8 or not TOML; ``where`` names file and line.
    """
    name = path.name if name is None else name
    text = _read_text(path, error, what, name)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        message, line = _syntax_problem(str(problem), text)
        raise error(f"this is not valid TOML: {message}.", where=f"{name}:{line}") from problem
    except RecursionError as problem:
        raise error("lists or tables are nested too deeply.", where=f"{name}:1") from problem
    return TomlFile(path, data, text, name)


def toml_text(data: Mapping[str, Any], head: str = "") -> str:
    """Return data as TOML that :func:`read_toml` reads back.

    Parameters
    ----------
    data : what to write; keys whose value is None are left out. Lists of mappings become ``[[tables]]``.
    head : lines to stand above as comments, letters that do not print replaced.
    """
    import tomlkit

    lines = ["# " + "".join(c if c.isprintable() else "?" for c in line) for line in head.splitlines()]
    return "\n".join([*lines, *([""] if lines else []), tomlkit.dumps(_without_none(data))])


def _without_none(value: object) -> Any:  # noqa: ANN401 - whatever was given
    if isinstance(value, Mapping):
        return {key: _without_none(one) for key, one in value.items() if one is not None}
    return [_without_none(one) for one in value] if isinstance(value, list | tuple) else value


def _read_text(path: Path, error: type[StrandgaugeError], what: str, name: str) -> str:
    """Return the file's text with LF line ends, a byte order mark taken off."""
    raw = read_file(path, error, what, MAX_BYTES)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = raw.count(b"\n", 0, problem.start) + 1
        raise error("the text is not UTF-8.", where=f"{name}:{line}") from problem
    return text.replace("\r\n", "\n")


def _syntax_problem(message: str, text: str) -> tuple[str, int]:
    """Split the parser's message into its reason and its line."""
    at_line = re.search(r"\s*\(at line (\d+), column \d+\)$", message)
    if at_line:
        return _lower_first(message[: at_line.start()]), int(at_line.group(1))
    reason = message.removesuffix("(at end of document)").strip()
    return _lower_first(f"{reason} at the end of the file"), text.rstrip("\n").count("\n") + 1


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


_TOKEN = re.compile(
    r"""(?P<blank>[ \t\n]+|\#[^\n]*)
    |(?P<quoted>\"{3}(?:[^\\]|\\.)*?\"{3,5}|'{3}.*?'{3,5}|\"(?:[^"\\]|\\.)*\"|'[^']*')
    |(?P<sign>[\[\]{}=,.])
    |(?P<bare>[^\s\[\]{}=,.\"'\#]+)""",
    re.DOTALL | re.VERBOSE,
)


class _LineScanner:
    """Walks valid TOML text and notes the line on which each table, key and array element starts."""

    def __init__(self, text: str) -> None:
        self._left: deque[tuple[str, int]] = deque()
        """Tokens still to be read, each with its line."""
        self._lines: dict[KeyPath, int] = {}
        line = 1
        for match in _TOKEN.finditer(text):
            if match.lastgroup != "blank":
                self._left.append((match.group(), line))
            line += match.group().count("\n")

    def scan(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        seen: dict[KeyPath, int] = {}  # the last index of each array of tables
        while self._left:
            if self._next() != "[":
                self._pair(table)
                continue
            several = self._next(1) == "["
            for _ in range(1 + several):
                _, line = self._left.popleft()
            table = ()
            keys = self._keys()
            for depth, key in enumerate(keys, start=1):
                table = (*table, key)
                self._lines.setdefault(table, line)
                if several and depth == len(keys):
                    seen[table] = seen.get(table, -1) + 1
                if table in seen:
                    table = (*table, seen[table])
                    self._lines.setdefault(table, line)
            for _ in range(1 + several):
                self._left.popleft()
        return self._lines

    def _next(self, ahead: int = 0) -> str:
        return self._left[ahead][0] if ahead < len(self._left) else ""

    def _keys(self) -> list[str]:
        keys = []
        while True:
            token, _ = self._left.popleft()
            keys.append(str(tomllib.loads(f"v={token}")["v"]) if token[0] in "\"'" else token)
            if self._next() != ".":
                return keys
            self._left.popleft()

    def _pair(self, table: KeyPath) -> None:
        _, line = self._left[0]
        path = table
        for key in self._keys():
            path = (*path, key)
            self._lines.setdefault(path, line)
        self._left.popleft()  # the equals sign
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        token, line = self._left.popleft()
        if token not in ("[", "{"):
            while self._left and self._left[0][1] == line and self._next() not in (",", "]", "}"):
                self._left.popleft()
            return
        index = 0
        while self._next() not in ("]", "}"):
            if self._next() == ",":
                self._left.popleft()
            elif token == "{":
                self._pair(path)
            else:
                self._lines.setdefault((*path, index), self._left[0][1])
                self._value((*path, index))
                index += 1
        self._left.popleft()
