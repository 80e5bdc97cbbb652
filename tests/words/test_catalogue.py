"""The catalogue is complete: what can be said has a sentence, every sentence is said, every fact in it is given."""

from __future__ import annotations

import ast
import re
import string
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import pytest
import typer

import strandgauge
from strandgauge import errors, words
from strandgauge.cli.app import _application
from strandgauge.cli.outcome import Session
from strandgauge.codes import catalogue
from strandgauge.codes.facts import caution, note
from strandgauge.errors import error_classes
from strandgauge.reading.model import ZoneName

SOURCE = Path(strandgauge.__file__).parent
SAYERS = {"say": "", "note": "note.", "caution": "note.", "misuse": "usage."}
"""Functions whose first argument is a key, and the table that it stands in."""

REFUSALS = {each.__name__: each for each in error_classes()}


@dataclass(frozen=True)
class Use:
    """One place where something is said."""

    key: str
    """The whole key, or how it begins."""
    whole: bool
    facts: frozenset[str] | None
    """Names of the facts given; None where they cannot be told."""
    where: str
    fault: str | None = None


def uses() -> Iterator[Use]:
    """Yield every place in the package's source and templates where a key is said."""
    for path in set(SOURCE.rglob("*.py")) - {Path(catalogue.__file__), Path(errors.__file__)}:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                where = f"{path.name}:{node.lineno}"
                if node.func.id in SAYERS:
                    yield from uses_of(node, where)
                elif node.func.id in REFUSALS and not node.args:
                    yield from refusal_of(node, where)
    for path in SOURCE.rglob("*.j2"):
        text = path.read_text(encoding="utf-8")
        for found in re.finditer(r"""\bsay\(\s*["']([\w.-]+)["']((?:\s*,\s*\w+\s*=[^,()]*)*)\)""", text):
            given = frozenset(re.findall(r"(\w+)\s*=", found[2]))
            yield Use(found[1], True, given, path.name)


def refusal_of(call: ast.Call, where: str) -> Iterator[Use]:
    """Yield what an error says, and where: the fault is given as it stands, so that a wrong one is seen."""
    given = {k.arg: k.value for k in call.keywords if k.arg not in ("where", "remedy", None)}
    kind = REFUSALS[call.func.id]
    fault = ast.literal_eval(given["fault"]) if "fault" in given else None
    yield Use(f"refusal.{kind.code}", True, frozenset(given), where, fault)
    yield Use(f"remedy.{kind.code}", True, frozenset(given), where, fault)
    if not kind.places_named:
        return
    for place in (
        k.value.value for k in call.keywords if k.arg == "where" and isinstance(k.value, ast.Constant)
    ):
        yield Use(f"place.{place}", True, frozenset(given), where)


def uses_of(call: ast.Call, where: str) -> Iterator[Use]:
    table = SAYERS[call.func.id]
    given = frozenset(k.arg for k in call.keywords if k.arg is not None)
    facts = given if all(k.arg for k in call.keywords) else None
    for key in ast.walk(call.args[0]) if isinstance(call.args[0], ast.IfExp) else [call.args[0]]:
        if isinstance(key, ast.Constant) and isinstance(key.value, str):
            yield Use(table + key.value, True, facts, where)
        elif isinstance(key, ast.JoinedStr):
            start = key.values[0]
            assert isinstance(start, ast.Constant), f"{where}: which table?"
            yield Use(start.value, False, facts, where)


def fields(text: str) -> set[str]:
    return {field for _, field, _, _ in string.Formatter().parse(text) if field}


def wanted_by(key: str) -> frozenset[str]:
    """Return the facts that an entry names."""
    entry = words.entries()[key]
    texts = [entry] if isinstance(entry, str) else [t for name, t in entry.items() if name != "by"]
    named = set().union(*map(fields, texts))
    if not isinstance(entry, str):
        named.add(entry["by"].partition(":")[0])
    return frozenset(named)


def tables_named_in_sentences() -> set[str]:
    texts = [
        text
        for entry in words.entries().values()
        for text in ([entry] if isinstance(entry, str) else entry.values())
    ]
    return {spec for text in texts for _, _, spec, _ in string.Formatter().parse(text) if spec}


@pytest.fixture(scope="module")
def said() -> list[Use]:
    found = list(uses())
    assert len(found) > 15, "the source is not searched as it should be"
    return found


def test_every_error_has_a_remedy():
    assert {f"remedy.{each.code}" for each in error_classes()} < set(words.entries())


def test_what_is_said_has_a_sentence_and_its_facts(said):
    for use in said:
        keys = [k for k in words.entries() if (k == use.key if use.whole else k.startswith(use.key))]
        assert keys, f"{use.where} says {use.key}, for which there is no sentence"
        for key in keys if use.facts is not None and not use.key.startswith(("refusal.", "remedy.")) else ():
            assert wanted_by(key) <= use.facts, f"{use.where} says {key} without {wanted_by(key) - use.facts}"
        if use.whole and use.facts is not None:
            unused = use.facts - wanted_by(use.key)
            assert not unused or use.key.startswith(("note.", "refusal.", "remedy.", "place.")), (
                f"{use.where} gives {use.key} {unused} for nothing"
            )


def test_every_fault_has_its_sentence_and_every_such_sentence_its_fault(said):
    """Of the ways in which a code comes about, one is the 'other'."""
    faults: dict[str, set[str | None]] = {}
    for use in (use for use in said if use.whole and use.key.startswith(("refusal.", "remedy."))):
        entry = words.entries()[use.key]
        if use.key.startswith("refusal."):
            faults.setdefault(use.key, set()).add(use.fault)
        text = entry if isinstance(entry, str) else entry.get(use.fault, entry["other"])
        assert fields(text) <= use.facts, f"{use.where} does not give {fields(text) - use.facts}"
    for key, raised in faults.items():
        entry = words.entries()[key]
        named = {None} if isinstance(entry, str) else set(entry) - {"by", "other"}
        assert named <= raised, f"{key}: {named - raised} is never raised"
        assert len(raised - named) == (0 if isinstance(entry, str) else 1), f"{key}: {raised - named}"


def test_every_sentence_is_said(said):
    whole = {use.key for use in said if use.whole}
    whole |= {f"remedy.{each.code}" for each in error_classes()} | {"remedy.error", "unforeseen.inside"}
    whole |= {f"place.{zone}" for zone in get_args(ZoneName)}
    begun = {use.key for use in said if not use.whole} | {f"{spec}." for spec in tables_named_in_sentences()}
    forgotten = [k for k in words.entries() if k not in whole and not any(map(k.startswith, begun))]
    assert not forgotten


def test_a_choice_is_made_by_its_fact(monkeypatch):
    entries = {
        "zone.root": "the root",
        "stands": {"by": "zone", "root": "{zone:zone} is it", "other": "{zone} are it"},
        "levels": {"by": "n:.1f", "1.0": "{n:.1f} level", "other": "{n:.1f} levels"},
    }
    monkeypatch.setattr(catalogue, "entries", lambda: entries)
    assert words.say("stands", zone="root") == "the root is it"
    assert words.say("stands", zone="ends") == "ends are it"
    assert words.say("levels", n=0.98) == "1.0 level"
    assert words.say("levels", n=1.06) == "1.1 levels"
    with pytest.raises(KeyError):
        words.say("levels")


def test_notes_say_their_own_sentence_or_one_brought_along():
    assert words.said(caution("mark-hidden", hidden=1)) == words.say("note.mark-hidden", hidden=1)
    assert words.said(note("anything", said="As it was saved.")) == "As it was saved."


def sentences() -> str:
    return "\n".join(
        text
        for entry in words.entries().values()
        for text in ([entry] if isinstance(entry, str) else entry.values())
    )


def test_options_that_sentences_name_are_options_of_the_command_line():
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", sentences()))
    assert len(named) > 10
    there, waiting = {"--help"}, [typer.main.get_command(_application(Session(), ()))]
    while waiting:
        command = waiting.pop()
        there |= {name for one in command.params for name in (*one.opts, *one.secondary_opts)}
        waiting += getattr(command, "commands", {}).values()
    assert named <= there


def test_packages_that_remedies_install_are_offered():
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    named = set(re.findall(r"strandgauge\[(\w+)\]", sentences()))
    assert named == {"cluster", "parquet"}
    assert named <= set(project["optional-dependencies"])
