"""A language is one file; what it lacks is said in English, and what it cannot say is refused with its line."""

from __future__ import annotations

import re
import string
import tomllib
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path

import pytest

from readings import reading as some_reading
from refused import refused
from strandgauge.cli.app import run
from strandgauge.cli.options import write_readings
from strandgauge.codes import catalogue
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import load_targets
from strandgauge.errors import BadLanguageError
from strandgauge.files.calibration import calibration_file
from strandgauge.hair.words import load_words
from strandgauge.learn.language import choose, lacking, languages
from strandgauge.words import date, figure, said, say
from strandgauge.words.reading import undertone

pytestmark = pytest.mark.holds_words

TRIED = """
[zone]
root = "Ansatz"
[change]
zone-changed = "{levels} am {zone:zone}."
where = "{phrase} am Ort: {places}"
[evenness]
even = "gleich"
[reading]
stain = "Fleck: {hue:colour}"
[reading.stands-out]
by = "zone"
root = "{zone:zone}: {apart:.1f} {side:verdict}"
[log.visits]
by = "visits"
1 = "ein Besuch"
[colour]
green = "gruen"
yellow-orange = "gelborange"
[format]
decimal = ","
percent = " %"
date = "{day}. {month} {year}"
[month]
March = "Maerz"
"""


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Write a language of the user's own, called xx; whatever is chosen ends with the test."""
    monkeypatch.setenv("STRANDGAUGE_HOME", str(tmp_path))
    monkeypatch.setenv("STRANDGAUGE_LANGUAGE", "")
    monkeypatch.setattr(catalogue, "_chosen", None)
    (tmp_path / "words").mkdir()

    def writer(text: str) -> None:
        (tmp_path / "words" / "xx.toml").write_text(text, encoding="utf-8")

    return writer


def test_what_a_language_has_is_said_in_it_and_the_rest_in_english(write):
    write(TRIED)
    kept = say("page.clients")
    choose("xx")
    assert catalogue.language() == "xx"
    assert say("change.zone-changed", zone="root", levels="2") == "2 am Ansatz."
    assert say("change.zone-changed", zone="mids", levels="2") == f"2 am {say('zone.mids')}."
    assert say("reading.stain", hue="green") == "Fleck: gruen"
    assert say("reading.stain", hue="never heard of") == "Fleck: never heard of"
    assert say("log.visits", visits=1) == "ein Besuch"
    assert say("log.visits", visits=2) == catalogue.english()["log.visits"]["other"].format(visits=2)
    assert say("page.clients") == kept
    assert catalogue.meant("colour", "GRUEN") == "green"
    assert catalogue.meant("colour", "blue") == "blue"


def test_numbers_and_days_are_written_as_the_language_has_them(write):
    assert (figure(1234.5, ".1f"), figure(0.83, ".0%"), date(datetime(2026, 3, 7))) == (
        "1234.5",
        "83%",
        "7 March 2026",
    )
    write(TRIED)
    choose("xx")
    assert (figure(1234.5, ".1f"), figure(0.83, ".0%"), date(datetime(2026, 3, 7))) == (
        "1234,5",
        "83 %",
        "7. Maerz 2026",
    )
    assert "0,7" in say("reading.stands-out", zone="root", apart=0.7, side="darker")


def test_what_programs_read_never_changes(write, tmp_path):
    write(TRIED)
    tables, undertones = [], []
    for language in ("en", "xx"):
        choose(language)
        reading = some_reading()
        undertones.append(undertone(reading.overall))
        write_readings(tmp_path / "table.csv", [reading], "comma")
        tables.append((tmp_path / "table.csv").read_bytes())
    assert tables[0] == tables[1]
    assert undertones[0] != undertones[1]
    assert catalogue.language() == "xx"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('[zone]\nroot = "Ansatz"\nmids = "{zone}"', 3),
        ('[reading]\nlevel = "Stufe {intervall}"', 2),
        ('[reading]\nlevel = "Stufe {interval:zonen}"', 2),
        ('[reading]\nlevel = "Stufe {interval"', 2),
        ("[reading]\nlevel = 7", 2),
        ('[refusal.no-card]\nby = "width"\nother = "Nichts."', 2),
        ('[refusal.no-card]\nby = "fault"\nother = "Nur {width} breit."', 3),
        ('[refusal]\nno-card = "Nur {width} breit."', 2),
        ('[log]\nvisits = "{checks}"', 2),
        ("not a table", 1),
    ],
    ids=lambda value: str(value)[-18:],
)
def test_a_sentence_that_could_not_be_said_is_refused_with_its_line(write, text, line):
    write(text)
    with pytest.raises(BadLanguageError) as found:
        choose("xx")
    assert found.value.where is not None
    assert found.value.where.endswith(f"xx.toml:{line}")
    assert found.value.remedy
    assert catalogue.language() == "en"


@pytest.mark.parametrize("language", ["yy", "../xx", "", "x" * 400])
def test_a_language_that_is_not_there_is_refused(write, language):
    write(TRIED)
    if not language:
        choose(language)  # none is named
        assert catalogue.language() == "en"
        return
    with refused(BadLanguageError, fault="none", language=language, languages=", ".join(languages())):
        choose(language)
    assert "xx" in languages()


def test_what_a_language_lacks_is_told(write):
    write(TRIED)
    assert "zone.root" not in lacking("xx")
    assert {"zone.mids", "reading.level"} < set(lacking("xx"))


@pytest.mark.parametrize("line", [["--language", "xx", "targets"], ["targets", "--language=xx"]])
def test_the_command_line_takes_a_language_anywhere(write, line, capsys):
    write(TRIED)
    assert run(line) == 0
    assert catalogue.language() == "xx"
    assert run(["targets", "--language", "yy"]) == BadLanguageError.exit_code
    assert "'yy'" in capsys.readouterr().err


def test_a_note_of_old_is_said_as_it_was_saved(write):
    write(TRIED)
    choose("xx")
    assert said(catalogue.Note("mark-hidden", "caution", (("said", "As it was."),))) == "As it was."


# --- the language that ships ------------------------------------------------------------------------------

SAME = {"ask.henna", "card-file.size", "learned.in", "lift-page.in", "page.grams", "page.plan-of"}
"""Sentences that are the same in German, beside names of numbers and what holds nothing but facts."""
NAMED = re.compile(r"(?<![\w-])--[a-z][a-z-]*|(?<=['„])strandgauge [a-z]+|docs/[\w.-]+")
"""What a sentence names that is typed or looked up."""


def german() -> dict[str, catalogue.Entry]:
    table = tomllib.loads((catalogue.FOLDER / "de.toml").read_text(encoding="utf-8"))
    return catalogue.flat(table)


def sentences(entries: Mapping[str, catalogue.Entry]) -> dict[str, str]:
    """Return every sentence by its key, those of a choice by key and choice; which fact chooses is one as well."""
    found = {}
    for key, entry in entries.items():
        found |= {key: entry} if isinstance(entry, str) else {f"{key}.{one}": entry[one] for one in entry}
    return found


def facts(text: str) -> set[str]:
    return {fact for _, fact, _, _ in string.Formatter().parse(text) if fact}


def test_german_has_every_sentence_every_choice_and_every_fact():
    ours, theirs = sentences(catalogue.english()), sentences(german())
    own = ("colour.", "shade.", "dye.", "month.", "format.")
    assert ours.keys() == {key for key in theirs if not key.startswith(own)}
    for key, text in ours.items():
        assert facts(theirs[key]) == facts(text), key
        assert sorted(NAMED.findall(theirs[key])) == sorted(NAMED.findall(text)), key


def test_nothing_is_left_in_english():
    english, theirs = sentences(catalogue.english()), sentences(german())
    words = {key for key, text in english.items() if re.search("[A-Za-z]", re.sub(r"{.*?}", "", text))}
    words -= {
        key
        for key in words
        if key.endswith(".by") or re.fullmatch(r"column\.(a|b|chroma|(delta|light).*)", key)
    }
    assert {key for key in words if theirs[key] == english[key]} == SAME


def test_german_has_a_word_for_all_that_files_call_by_name(write):
    undertones = {rule.word for rule in load_words().undertones}
    hues = {hue.word for hue in load_words().stain_hues}
    colours = {row[0] for row in tomllib.loads(calibration_file("colour-words.toml").read_text())["words"]}
    for table, there in (
        ("colour", undertones | hues | colours),
        ("shade", {one.name for one in load_targets()}),
        ("dye", {load_shelf().clear, *load_shelf().names}),
        ("month", {f"{datetime(2026, month, 1):%B}" for month in range(1, 13)}),
    ):
        assert {key.partition(".")[2] for key in german() if key.startswith(f"{table}.")} == there
    choose("de")
    for table, names in (("shade", [one.name for one in load_targets()]), ("dye", load_shelf().names)):
        assert [catalogue.meant(table, catalogue.named(table, name)) for name in names] == list(names)
