"""The forms of the phone page, without a browser."""

from __future__ import annotations

import re

import pytest
from phonesite import SAMPLES, site  # noqa: F401

from strandgauge.web.app import STATIC


def problem(answer):
    return re.search(r'<p class="do"[^>]*>(.*?)</p>', answer.text)[1]


def test_a_new_strand_with_nothing_typed_is_a_guest_with_lightener_on_now(site):  # noqa: F811
    first, second = (site.client.post("/strands/new", data={}) for _ in range(2))
    assert [first.status_code, second.status_code] == [303, 303]
    assert first.headers["location"] != second.headers["location"]
    guests = [one.alias for one in site.logbook.clients() if one.alias.startswith("Guest ")]
    assert len(guests) == 2
    strand = site.logbook.strand(int(first.headers["location"].split("/")[-1]))
    assert (strand.name, strand.target, strand.limit_minutes) == ("Test strand", None, None)
    assert strand.started is not None


def test_what_a_new_strand_asks_for_is_entered(site):  # noqa: F811
    form = {
        "client": "Marta",
        "name": "Nape",
        "target": "rose",
        "own": " #d8a0a0 ",
        "on": "none",
        "wet": "yes",
    }
    answer = site.client.post("/strands/new", data={**form, "limit": "20", "limit_other": "35"})
    assert answer.headers["location"].endswith("?wet=true")
    assert ' name="wet" value="yes" checked' in site.client.get(answer.headers["location"]).text
    strand = site.logbook.strand(int(re.search(r"/strands/(\d+)", answer.headers["location"])[1]))
    assert (strand.name, strand.target, strand.limit_minutes, strand.started) == (
        "Nape",
        "#d8a0a0",
        35.0,
        None,
    )
    # The same client on the same day: the same visit.
    again = site.client.post("/strands/new", data={"client": "marta", "name": "Fringe"})
    other = site.logbook.strand(int(again.headers["location"].split("/")[-1]))
    assert other.visit_id == strand.visit_id


@pytest.mark.parametrize(
    ("form", "word"),
    [
        ({"limit_other": "soon"}, "number of minutes"),
        ({"limit_other": "900"}, "between 1 and 240"),
        ({"limit_other": "nan"}, "between 1 and 240"),
        ({"own": "mud green"}, "no shade called"),
        ({"own": "#d8"}, "is no colour"),
        ({"client": "a\u202eb"}, "alias"),
        ({"on": "ago", "ago": "-3"}, "between 0 and 240"),
    ],
)
def test_what_cannot_be_entered_is_said_and_what_was_typed_stays(site, form, word):  # noqa: F811
    before = site.logbook.recent_strands()
    answer = site.client.post("/strands/new", data={"name": "Left of the parting", **form})
    assert answer.status_code == 422
    assert word in problem(answer)
    assert 'value="Left of the parting"' in answer.text
    assert site.logbook.recent_strands() == before


def test_a_look_answers_a_script_with_a_document_and_a_person_with_a_page(site):  # noqa: F811
    strand = site.strand("Ada")
    photo = {"photo": ("x.jpg", (SAMPLES / "refuse-blur.jpg").read_bytes(), "image/jpeg")}
    page = site.client.post(f"/strands/{strand}/look", files=photo)
    assert (page.status_code, "hold still" in problem(page)) == (422, True)
    script = site.client.post(f"/strands/{strand}/look", files=photo, headers={"Accept": "application/json"})
    assert (script.status_code, script.json()["code"]) == (422, "blur")
    assert script.json()["schema"] == "strandgauge.error/1"
    empty = site.client.post(f"/strands/{strand}/look", files={"photo": ("x.jpg", b"", "image/jpeg")})
    assert problem(empty) == "Take or choose it again."
    missing = site.client.post("/strands/9999/look", files=photo, headers={"Accept": "application/json"})
    assert missing.status_code == 404
    assert site.logbook.checks(strand) == ()


@pytest.mark.parametrize(
    ("typed", "grams"), [("", 60), ("much", 60), ("nan", 60), ("45,5", 45.5), ("0", 5), ("1e999", 1000)]
)
def test_any_bowl_is_taken_within_reason(site, typed, grams):  # noqa: F811
    strand = site.strand("Bowls", target="copper", ago=30.0)
    look = site.look(strand, "turned-a.jpg")
    page = site.client.get(f"/looks/{look}", params={"bowl": typed})
    assert page.status_code == 200
    first = re.search(r'<ul class="grams">(.*?)</ul>', page.text)[1]
    assert sum(map(float, re.findall(r"<b>([\d.]+) g</b>", first))) == pytest.approx(grams, abs=0.2)


def test_shade_and_times_are_changed(site):  # noqa: F811
    strand = site.strand("Ines", ago=10.0)
    started = site.logbook.strand(strand).started
    form = {"on": "same", "target": "lilac", "limit": "40"}
    assert site.client.post(f"/strands/{strand}/settings", data=form).status_code == 303
    changed = site.logbook.strand(strand)
    assert (changed.target, changed.limit_minutes, changed.started) == ("lilac", 40.0, started)
    site.client.post(f"/strands/{strand}/settings", data={"on": "none", "target": ""})
    changed = site.logbook.strand(strand)
    assert (changed.target, changed.limit_minutes, changed.started) == (None, None, None)


def test_a_client_is_deleted_only_when_confirmed(site):  # noqa: F811
    strand = site.strand("Ruth")
    look = site.look(strand, "turned-a.jpg")
    client = site.logbook.find_client("Ruth").id
    asked = site.client.get(f"/clients/{client}/delete")
    assert "1 look," in asked.text
    assert site.logbook.find_client("Ruth") is not None
    assert site.client.post(f"/clients/{client}/delete").headers["location"] == "/clients"
    assert site.logbook.find_client("Ruth") is None
    for path in (f"/clients/{client}", f"/strands/{strand}", f"/looks/{look}", f"/looks/{look}/picture"):
        assert site.client.get(path).status_code == 404


def test_who_comes_back_starts_from_the_last_time(site):  # noqa: F811
    site.look(site.strand("Lena", target="peach"), "turned-a.jpg")
    client = site.logbook.find_client("Lena").id
    page = site.client.get(f"/strands/new?client={client}").text
    assert re.search(r"<b>Last time</b>.*?level 8\.\d ± 0\.\d, wanted peach", page, re.DOTALL)
    assert re.search(r'value="peach" checked', page)


def test_what_the_pages_ask_for_is_there(site):  # noqa: F811
    home = site.client.get("/").text
    asked = re.findall(r'(?:href|src)="(/static/[^"]+)"', home)
    manifest = site.client.get("/static/manifest.webmanifest")
    assert manifest.headers["content-type"].startswith("application/manifest+json")
    asked += [icon["src"] for icon in manifest.json()["icons"]]
    assert {path.removeprefix("/static/") for path in asked} == {file.name for file in STATIC.iterdir()}
    for path in asked:
        assert site.client.get(path).status_code == 200
