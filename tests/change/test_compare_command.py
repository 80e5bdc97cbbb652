"""``strandgauge compare`` end to end: text, JSON, page, refusals; and what its words say."""

from __future__ import annotations

import dataclasses
import errno
import json
import os
import re
from pathlib import Path

import html5lib
import pytest
from rich.console import Console

from readings import STAIN, reading, zone
from strandgauge.change.compare import compare
from strandgauge.show.json import document_of
from strandgauge.show.pages.compare import compare_page
from strandgauge.show.terminal.change import print_change
from strandgauge.words import say, sentence
from strandgauge.words.change import headline, sentences, shown
from strandgauge.words.reading import zone_name

SAMPLES = Path(__file__).parents[2] / "sample_images"
DARK = reading(
    (5.1, 5.2, 5.3), overall=zone(level=5.2, lab=(30.0, 11.0, 20.0), chroma=22.8, hue_deg=61.0, level_sd=0.2)
)
LIGHT = reading(
    (9.1, 9.0, 9.2),
    photo="third-visit.jpg",
    overall=zone(
        level=9.1, lab=(67.0, 4.0, 31.0), chroma=31.3, hue_deg=82.0, level_sd=0.2, undertone="yellow"
    ),
)


GAINED = {"levels": 3.9, "verdict": "lighter", "low": 3.346, "high": 4.454}


def where(zone: str, phrase: str) -> str:
    return say("change.where", phrase=phrase, places=zone_name(zone))


def saved(folder: Path, name: str, one) -> Path:
    file = folder / name
    file.write_text(json.dumps(document_of(one)))
    return file


def test_photos_of_one_strand_under_two_lights_have_not_measurably_changed(strandgauge, valid, tmp_path):
    page = tmp_path / "page.html"
    code, out, _ = strandgauge(
        "compare", SAMPLES / "turned-a.jpg", SAMPLES / "turned-b.jpg", "--json", "-", "--page", page
    )
    step = valid(json.loads(out))["since_first"][0]
    assert code == 0
    # 13 L* apart as lit: the b* of single zones then differs by just more than its interval, once in fifty pairs.
    for part in step["zones"]:
        for quantity in ("level", "yellowness_e313"):
            assert part[quantity]["code"] == "no-change"
    for quantity in ("level", "colour", "chroma", "yellowness_e313"):
        assert step["overall"][quantity]["code"] == "no-change"
    assert page.read_text().count("data:image/jpeg") == 2


def test_a_lift_is_told_from_saved_readings_and_goes_to_a_file(strandgauge, valid, tmp_path):
    before, after = saved(tmp_path, "a.json", DARK), saved(tmp_path, "b.json", LIGHT)
    code, out, _ = strandgauge("compare", before, after, "--json", tmp_path / "change.json")
    assert code == 0
    answer = out.splitlines()[1]
    assert answer.startswith(say("change.levels", **GAINED))
    document = valid(json.loads((tmp_path / "change.json").read_text()))
    assert document["since_first"][0]["overall"]["level"]["change"] == pytest.approx(3.9)
    assert [one["photo"] for one in document["readings"]] == ["second-visit.jpg", "third-visit.jpg"]


@pytest.mark.parametrize(
    ("change", "code", "facts"),
    [
        (
            {"ladder": "my swatches"},
            "not-comparable",
            {"fault": "ladders", "ladder": DARK.ladder, "other": "my swatches"},
        ),
        (None, "bad-reading", {"fault": "unreadable", "reason": os.strerror(errno.ENOENT).lower()}),
    ],
)
def test_what_cannot_be_compared_ends_in_its_own_error(strandgauge, tmp_path, change, code, facts):
    before = saved(tmp_path, "a.json", DARK)
    after = tmp_path / "b.json"
    if change is not None:
        saved(tmp_path, "b.json", dataclasses.replace(LIGHT, **change))
    exit_code, out, err = strandgauge("compare", before, after, "--json", "-")
    assert exit_code == {"not-comparable": 84, "bad-reading": 67}[code]
    assert json.loads(out)["code"] == code
    assert say(f"refusal.{code}", **facts) in err
    assert len(err.splitlines()) == 1


def test_files_of_one_name_are_told_apart_by_their_folders(strandgauge, tmp_path):
    for folder in ("monday", "friday"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "strand.jpg").write_bytes((SAMPLES / "marta-1005.jpg").read_bytes())
    files = [tmp_path / folder / "strand.jpg" for folder in ("monday", "friday")]
    code, out, _ = strandgauge("compare", *files, "--json", "-", "--page", tmp_path / "page.html")
    assert code == 0
    assert [one["photo"] for one in json.loads(out)["readings"]] == [str(file) for file in files]
    assert (tmp_path / "page.html").read_text().count("data:image/jpeg") == 2


def test_the_photo_is_not_written_over(strandgauge, tmp_path):
    before, after = saved(tmp_path, "a.json", DARK), saved(tmp_path, "b.json", LIGHT)
    assert strandgauge("compare", before, after, "--json", after)[0] == 2
    assert json.loads(after.read_text())["photo"] == "third-visit.jpg"


def test_the_words_say_which_zone_stayed_behind_and_what_became_of_a_stain():
    stuck = dataclasses.replace(LIGHT, zones=(DARK.zones[0], *LIGHT.zones[1:]))
    one = compare([DARK, stuck])
    assert sentence(say("change.zone-unchanged", zone="root", what="level")) in sentences(
        shown(one, one.since_first[0])
    )
    violet = dataclasses.replace(
        DARK, zones=(zone("root", 5.1, (30.0, 14.0, -9.0), stain=STAIN), *DARK.zones[1:])
    )
    gone = compare([violet, LIGHT])
    assert where("root", say("change.stain", hue="violet", verdict="gone")) in headline(
        shown(gone, gone.since_first[0])
    )
    other = dataclasses.replace(STAIN, hue="green")
    turned = compare(
        [violet, dataclasses.replace(LIGHT, zones=(zone("root", stain=other), *LIGHT.zones[1:]))]
    )
    assert where("root", say("change.stain-turned", before="violet", after="green")) in headline(
        shown(turned, turned.since_first[0])
    )


def test_warmth_is_said_only_of_warm_hues():
    pink = dataclasses.replace(LIGHT, overall=zone(lab=(70, 20, -2), chroma=20.1, hue_deg=354.0, stain=STAIN))
    toned = dataclasses.replace(LIGHT, overall=zone(lab=(67, 1, 8), chroma=8.1, hue_deg=83.0))
    for after, code in ((pink, "weaker-colour"), (toned, "less-warmth")):
        change = compare([LIGHT, after])
        assert say(f"verdict.{code}") in headline(shown(change, change.since_first[0]))


def test_the_text_fits_a_narrow_terminal_and_brackets_what_is_noise():
    wide, narrow = (Console(width=width, record=True, file=open("/dev/null", "w")) for width in (120, 40))  # noqa: SIM115
    for console in (wide, narrow):
        print_change(compare([DARK, LIGHT, LIGHT]), console)
        console.file.close()
    assert max(map(len, narrow.export_text(clear=False).splitlines())) <= 40
    text = wide.export_text()
    assert say("change.one-to-next") in text
    assert re.search(rf"{zone_name('root')} .*\(\+0.0 ± ", text)  # nothing happened between the last two
    assert f"third-visit.jpg → third-visit.jpg: {say('change.nothing')}" in text


def test_the_page_escapes_names_asks_for_nothing_and_is_valid_html():
    evil = dataclasses.replace(LIGHT, photo='<script>alert(1)</script>"&.jpg', wet=True)
    page = compare_page(compare([DARK, evil, LIGHT]), {})
    html5lib.HTMLParser(strict=True).parse(page)
    assert page.count("<script") == 1  # our own, which fits the page to paper
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?!data:|#)""", page)
    for words in (
        f"{say('compare-page.strand-of-many', place=0)}: {say('column.level')} 5.2",
        f"{say('compare-page.strand-of-many', place=2)}: {say('column.level')} 9.1",
        say("compare-page.wet"),
        say("change.levels", **GAINED),
    ):
        assert words in page


def test_a_document_holds_every_step_and_what_the_readings_say(valid):
    change = compare([DARK, LIGHT, DARK])
    document = valid(document_of(change))
    assert [(s["before"], s["after"]) for s in document["since_previous"]] == [(0, 1), (1, 2)]
    assert document["since_first"][1]["overall"]["colour"]["code"] == "no-change"
    assert document["readings"][0] == document_of(DARK)
