"""A language is one file; what it lacks is said in English, and what it cannot say is refused with its line."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from readings import reading as some_reading
from refused import refused
from strandgauge.cli.app import run
from strandgauge.cli.options import write_readings
from strandgauge.codes import catalogue
from strandgauge.errors import BadLanguageError
from strandgauge.learn.language import choose, lacking, languages
from strandgauge.words import date, figure, said, say
from strandgauge.words.reading import undertone

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
