"""What a command takes, as typer shows it: its signature says how, its docstring what each argument is.

An entry of the docstring's ``Parameters`` is the argument's help; a word in capitals or the like behind its name
stands for its value there. An argument without a default is one that has to be given; what has a default is an
option, and what is simply on or off is named alone. Whatever is to differ says so as ``Annotated``.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable
from copy import copy
from typing import Annotated, Any, get_args, get_origin

import typer
from typer.models import ParameterInfo

_HEAD = "\n\nParameters\n----------\n"
_ENTRY = re.compile(r"^(\w+)(?: (\S+))? : (.*(?:\n .*)*)", re.MULTILINE)


def about(command: Callable[..., Any]) -> str:
    """Return what a command's docstring says of it as a whole."""
    return (inspect.getdoc(command) or "").partition(_HEAD)[0]


def arguments(command: Callable[..., Any]) -> dict[str, inspect.Parameter]:
    """Return what a command takes, with what its docstring says of each."""
    taken = dict(inspect.signature(command, eval_str=True).parameters)
    for name, value, words in _ENTRY.findall((inspect.getdoc(command) or "").partition(_HEAD)[2]):
        taken[name] = _told(taken[name], value or None, " ".join(words.split()))
    return taken


def _told(one: inspect.Parameter, value: str | None, words: str) -> inspect.Parameter:
    kind, info = one.annotation, None
    if get_origin(kind) is Annotated:
        kind, info = get_args(kind)
    if info is None and one.default is inspect.Parameter.empty:
        info = typer.Argument()
    elif info is None:
        info = typer.Option(f"--{one.name.replace('_', '-')}") if one.default is False else typer.Option()
    shown: ParameterInfo = copy(info)
    shown.help, shown.metavar = words, value
    return one.replace(annotation=Annotated[kind, shown])


def show(function: Callable[..., None], taken: Iterable[inspect.Parameter]) -> None:
    """Let a function tell typer that it takes these arguments, whatever its own are."""
    ordered = [one.replace(kind=inspect.Parameter.KEYWORD_ONLY) for one in taken]
    function.__annotations__ = {one.name: one.annotation for one in ordered}
    function.__signature__ = inspect.Signature(ordered)  # type: ignore[attr-defined]  # what `signature` looks for
