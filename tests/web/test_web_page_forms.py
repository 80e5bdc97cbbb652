"""The forms of the phone page, without a browser."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from html import unescape

import pytest
from phonesite import SAMPLES, site  # noqa: F401

from strandgauge.dye.targets import find_target, load_targets
from strandgauge.errors import BadEntryError, StrandgaugeError
from strandgauge.web.app import STATIC
from strandgauge.web.draw import entered
from strandgauge.words import say
from strandgauge.words.reading import headline


def problem(answer):
    return unescape(re.search(r'<p class="do"[^>]*>(.*?)</p>', answer.text)[1])


def step(site, path):  # noqa: F811
    """Return the big word of a page."""
    return re.search(r'<h1 id="step-word">(.*?)</h1>', site.client.get(path).text)[1]


def no_minutes(field, **between):
    return say(
        "page.out-of-range" if between else "page.no-number", name=say(f"page.{field}-name"), **between
    )


def no_shade(text):
    with pytest.raises(StrandgaugeError) as raised:
        find_target(text, load_targets())
    return say("page.no-shade", why=raised.value.message)


def test_a_new_strand_with_nothing_typed_is_a_guest_with_lightener_on_now(site):  # noqa: F811
    first, second = (site.client.post("/strands/new", data={}) for _ in range(2))
    assert [first.status_code, second.status_code] == [303, 303]
    assert first.headers["location"] != second.headers["location"]
    guests = [one.alias for one in site.logbook.clients() if one.alias.startswith(say("page.guest"))]
    assert len(guests) == 2
    strand = site.logbook.strand(int(first.headers["location"].split("/")[-1]))
    assert (strand.name, strand.target, strand.limit_minutes) == (say("page.strand-name"), None, None)
    assert ' value="30" checked' in site.client.get("/strands/new").text  # the limit that the page proposes
    assert strand.started is not None


def test_what_a_new_strand_asks_for_is_entered(site):  # noqa: F811
    # What is tapped counts, whatever stands in a field from before.
    form = {"client": "Marta", "name": "Nape", "target": "rose", "own": " #d8a0a0 ", "on": "none"}
    answer = site.client.post("/strands/new", data={**form, "limit": "20", "limit_other": "35"})
    strand = site.logbook.strand(int(re.search(r"/strands/(\d+)", answer.headers["location"])[1]))
    assert (strand.name, strand.target, strand.limit_minutes) == ("Nape", "rose", 20.0)
    assert strand.started is None
    typed = {**form, "target": "own", "limit": "other", "limit_other": "35,5"}
    # The same client on the same day: the same visit.
    again = site.client.post("/strands/new", data={**typed, "client": "marta", "name": "Fringe"})
    other = site.logbook.strand(int(again.headers["location"].split("/")[-1]))
    assert (other.target, other.limit_minutes) == ("#d8a0a0", 35.5)
    assert other.visit_id == strand.visit_id


def test_a_form_that_is_sent_twice_enters_one_strand_and_one_look(site):  # noqa: F811
    form = {"client": "Twice", "request": "feed0123feed0123", "on": "now", "waited": "120"}
    photo = {"photo_wet": ("x.jpg", (SAMPLES / "marta-1022.jpg").read_bytes(), "image/jpeg")}
    json = {"Accept": "application/json"}
    sent = [site.client.post("/strands/new", data=form, files=photo, headers=json) for _ in range(2)]
    assert [one.json()["location"] for one in sent] == [sent[0].json()["location"]] * 2
    (summary,) = [one for one in site.logbook.recent_strands() if one.client.alias == "Twice"]
    (look,) = site.logbook.looks(summary.strand.id)
    assert look.wet
    # What a phone has kept for two minutes began two minutes ago.
    assert (look.at - summary.strand.started).total_seconds() == pytest.approx(120.0, abs=5.0)


def test_a_form_that_is_sent_five_times_at_once_enters_one_strand(site):  # noqa: F811
    form = {"client": "At once", "request": "feed0123feed0124", "on": "now"}
    with ThreadPoolExecutor(5) as phones:
        sent = list(phones.map(lambda _: site.client.post("/strands/new", data=form), range(5)))
    assert {(one.status_code, one.headers.get("location")) for one in sent} == {
        (303, sent[0].headers["location"])
    }
    client = site.logbook.find_client("At once")
    assert len(site.logbook.visits(client.id)) == 1


def test_a_photo_counts_from_when_it_was_taken(site):  # noqa: F811
    strand = site.strand("Late", ago=22.0)
    photo = {"photo": ("x.jpg", (SAMPLES / "marta-1022.jpg").read_bytes(), "image/jpeg")}
    site.client.post(f"/strands/{strand}/look", data={"age": "720"}, files=photo)
    (look,) = site.logbook.looks(strand)
    assert site.logbook.strand(strand).minutes_at(look.at) == pytest.approx(10.0, abs=0.1)
    for age, code in (("999999", "old-photo"), ("soon", "bad-request"), ("nan", "bad-request")):
        refused = site.client.post(
            f"/strands/{strand}/look", data={"age": age}, files=photo, headers={"Accept": "application/json"}
        )
        assert (refused.status_code, refused.json()["code"]) == (422, code)


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"limit": "other", "limit_other": "soon"}, lambda: no_minutes("limit")),
        ({"limit": "other", "limit_other": "900"}, lambda: no_minutes("limit", low=1, high=240)),
        ({"limit": "other", "limit_other": "nan"}, lambda: no_minutes("limit", low=1, high=240)),
        ({"target": "own", "own": "mud green"}, lambda: no_shade("mud green")),
        ({"target": "own", "own": "#d8"}, lambda: no_shade("#d8")),
        ({"client": "a\u202eb"}, lambda: BadEntryError(fault="unseen", what="alias").message),
        (
            {"client": "a" * 81},
            lambda: BadEntryError(fault="too-long", what="alias", longest=80).message,
        ),
        ({"on": "ago", "ago": ""}, lambda: no_minutes("ago")),
        ({"on": "ago", "ago": "-3"}, lambda: no_minutes("ago", low=0, high=240)),
    ],
)
def test_what_cannot_be_entered_is_said_and_what_was_typed_stays(site, form, told):  # noqa: F811
    before = site.logbook.recent_strands()
    answer = site.client.post("/strands/new", data={"name": "Left of the parting", **form})
    assert answer.status_code == 422
    assert problem(answer) == told()
    assert 'value="Left of the parting"' in answer.text
    assert site.logbook.recent_strands() == before


def test_a_look_answers_a_script_with_a_document_and_a_person_with_a_page(site):  # noqa: F811
    strand = site.strand("Ada")
    photo = {"photo": ("x.jpg", (SAMPLES / "refuse-blur.jpg").read_bytes(), "image/jpeg")}
    page = site.client.post(f"/strands/{strand}/look", files=photo)
    assert (page.status_code, problem(page)) == (422, say("remedy.blur"))
    script = site.client.post(f"/strands/{strand}/look", files=photo, headers={"Accept": "application/json"})
    assert (script.status_code, script.json()["code"]) == (422, "blur")
    assert script.json()["schema"] == "strandgauge.error/1"
    empty = site.client.post(f"/strands/{strand}/look", files={"photo": ("x.jpg", b"", "image/jpeg")})
    assert problem(empty) == say("remedy.unreadable-file", fault="empty-photo")
    missing = site.client.post("/strands/9999/look", files=photo, headers={"Accept": "application/json"})
    assert (missing.status_code, "log" in missing.json()["remedy"]) == (404, False)
    assert site.logbook.looks(strand) == ()


@pytest.mark.parametrize(
    ("typed", "grams"), [("", 60), ("much", 60), ("nan", 60), ("45,5", 45.5), ("0", 5), ("1e999", 1000)]
)
def test_any_bowl_is_taken_within_reason(site, typed, grams):  # noqa: F811
    strand = site.strand("Bowls", target="copper", ago=30.0)
    site.look(strand, "turned-a.jpg")
    page = site.client.get(f"/strands/{strand}", params={"bowl": typed})
    assert page.status_code == 200
    first = re.search(r'<ul class="grams">(.*?)</ul>', page.text)[1]
    assert sum(map(float, re.findall(r'data-grams="([\d.]+)"', first))) == pytest.approx(grams, abs=0.2)


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


def test_what_is_taken_out_comes_back_or_goes_for_good(site):  # noqa: F811
    strand = site.strand("Ruth")
    look = site.look(strand, "turned-a.jpg")
    client = site.logbook.find_client("Ruth").id
    paths = (f"/clients/{client}", f"/strands/{strand}", f"/looks/{look}", f"/looks/{look}/picture")
    took = site.client.post("/bin", data={"kind": "client", "entry": client}).headers["location"]
    number = int(re.fullmatch(r"/clients\?undo=(\d+)", took)[1])
    assert f'action="/bin/{number}/back"' in site.client.get(took).text
    assert [site.client.get(path).status_code for path in paths] == [404] * 4
    assert site.client.post(f"/bin/{number}/back").headers["location"] == f"/clients/{client}"
    assert [site.client.get(path).status_code for path in paths] == [200] * 4
    again = site.client.post("/bin", data={"kind": "client", "entry": client}).headers["location"]
    assert site.client.post(f"{again.replace('/clients?undo=', '/bin/')}/gone").headers["location"] == "/bin"
    assert site.client.post(f"/bin/{number}/back").status_code == 404
    assert site.logbook.find_client("Ruth") is None


def test_names_are_mended_and_doubles_become_one(site):  # noqa: F811
    kept, double = site.strand("Mia"), site.strand("Mio")
    ids = {name: site.logbook.find_client(name).id for name in ("Mia", "Mio")}
    taken = site.client.post(f"/clients/{ids['Mio']}/rename", data={"alias": "mia"})
    told = BadEntryError(fault="alias-taken", alias="Mia").message
    assert (taken.status_code, problem(taken)) == (422, told)
    site.client.post("/merge", data={"kind": "client", "entry": ids["Mio"], "into": ids["Mia"]})
    assert len(site.logbook.visits(ids["Mia"])) == 2
    site.client.post(f"/clients/{ids['Mia']}/rename", data={"alias": "Mia B."})
    assert "Mia B." in site.client.get(f"/strands/{double}").text
    assert "Mia B." in site.client.get("/clients", params={"q": "a b"}).text
    assert say("page.nobody-called") in site.client.get("/clients", params={"q": "zz"}).text
    assert site.client.get(f"/strands/{kept}").status_code == 200
    lines = site.client.get(f"/clients/{ids['Mia']}/export").text.splitlines()
    assert '"Mia B."' in lines[0]


def test_gummy_is_taken_back_only_on_purpose_and_leaves_its_trace(site):  # noqa: F811
    strand = site.strand("Lia", ago=20.0)
    site.look(strand, "marta-1022.jpg")
    for answer in ("gummy", "springs back"):
        site.client.post(f"/strands/{strand}/stretch", data={"answer": answer})
        assert step(site, f"/strands/{strand}") == say("moment-word.gummy")
    # A further photo changes nothing of it either.
    site.look(strand, "marta-1022.jpg")
    site.client.post(f"/strands/{strand}/stretch", data={"answer": "springs back"})
    assert step(site, f"/strands/{strand}") == say("moment-word.gummy")
    site.client.post(f"/strands/{strand}/stretch", data={"answer": "slow", "mistake": "yes"})
    assert step(site, f"/strands/{strand}") == say("step.rinse")
    (trace,) = [one.what for one in site.logbook.events(strand) if {"gummy", "slow"} < set(one.what.split())]
    assert entered(trace) in site.client.get(f"/strands/{strand}").text


def test_rinsed_ends_the_clock_and_leads_to_the_shade_and_the_result(site):  # noqa: F811
    strand = site.strand("Ria", ago=50.0, limit_minutes=40.0)
    site.look(strand, "marta-1022.jpg", ago=20.0)

    def word():
        return step(site, f"/strands/{strand}")

    assert word() == say("moment-word.time-is-up")
    site.client.post(f"/strands/{strand}/rinsed", data={"off": "yes", "waited": "300"})
    assert word() == say("moment-word.dry-it")
    assert site.logbook.strand(strand).minutes_at(site.logbook.strand(strand).rinsed) == pytest.approx(
        45, abs=0.1
    )
    site.clock.pass_(6 * 60.0)
    assert word() == say("moment-word.dry-it")
    site.look(strand, "marta-1041.jpg", wet=True)
    assert word() == say("moment-word.dry-it")
    site.look(strand, "marta-1041.jpg")
    assert word() == say("step.dye")
    photo = {"photo": ("x.jpg", (SAMPLES / "marta-1041.jpg").read_bytes(), "image/jpeg")}
    site.client.post(f"/strands/{strand}/look", data={"result": "yes"}, files=photo)
    assert word() == say("moment-word.done")
    assert '/rinsed"' not in site.client.get(f"/strands/{strand}").text


def test_a_look_keeps_what_it_said_and_the_strand_goes_on(site):  # noqa: F811
    strand = site.strand("Kim", ago=15.0, limit_minutes=40.0)
    look = site.look(strand, "marta-1005.jpg")
    assert step(site, f"/looks/{look}") == say("step.go-on")
    site.clock.pass_(26.0)
    assert step(site, f"/strands/{strand}") == say("moment-word.time-is-up")
    site.logbook.update_strand(strand, target="silver")
    site.service.set_stretch(look, "gummy")
    assert step(site, f"/looks/{look}") == say("step.go-on")
    site.clock.pass_(10 * 60.0)
    assert step(site, f"/strands/{strand}") == say("moment-word.gummy")


def test_the_consultation_is_kept_with_the_client_and_heeded(site):  # noqa: F811
    strand = site.strand("Asked", target="pastel pink")
    site.logbook.update_strand(strand, started=None)
    site.look(strand, "marta-1005.jpg")
    before = site.service.judged(strand).outlook.advice
    client = site.logbook.find_client("Asked").id
    told = {"metallic": "yes", "henna": "no", "lightened": ["mids", "ends"], "scalp": "fine", "box": ""}
    site.client.post(f"/clients/{client}/history", data=told)
    history = site.service.history(strand)
    assert (history.metallic, history.henna, history.box, history.lightened) == (
        True,
        False,
        None,
        ("mids", "ends"),
    )
    after = site.service.judged(strand).outlook.advice
    assert after != before
    assert any(one.do in ("metal-test", "stop-history") for one in after)
    page = site.client.get(f"/clients/{client}/history").text
    assert len(re.findall(r'value="(?:yes|no|mids|ends|fine)" checked', page)) == 5
    assert site.client.post(f"/clients/{client}/history", data={"scalp": "itchy"}).status_code == 422


def test_one_damaged_look_costs_itself(site):  # noqa: F811
    strand = site.strand("Dam", ago=20.0)
    bad = site.look(strand, "marta-1005.jpg", ago=5.0)
    site.look(strand, "marta-1022.jpg")
    with site.logbook._change() as connection:
        connection.execute(
            "UPDATE checks SET reading = replace(reading, 'level', 'lexel') WHERE id = ?", (bad,)
        )
    client = site.logbook.find_client("Dam").id
    for path in (
        "/today",
        "/wall",
        f"/strands/{strand}",
        f"/clients/{client}",
        "/clients",
        f"/clients/{client}/export",
    ):
        assert site.client.get(path).status_code == 200, path
    page = site.client.get(f"/strands/{strand}").text
    assert say("page.damaged") in page
    assert re.search(r'data-level="6\.', page)
    site.service._keys.clear()  # as after a restart: nothing is remembered of it
    by_its_address = site.client.get(f"/looks/{bad}")
    assert by_its_address.status_code == 303
    assert by_its_address.headers["location"] == f"/strands/{strand}"
    site.client.post("/bin", data={"kind": "check", "entry": bad, "damaged": "yes"})
    assert say("page.damaged") not in site.client.get(f"/strands/{strand}").text


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("checks", "answer", "replace(answer, '\"sentence', '\"sentense')"),
        ("checks", "answer", "replace(answer, '\"level\"', '\"lexel\"')"),
        ("checks", "answer", 'replace(answer, \'"kind":"\', \'"kind":"?\')'),
        ("checks", "answer", 'replace(answer, \'"basis":{\', \'"basis":1,"x":{\')'),
        ("checks", "reading", "replace(reading, 'schema', 'scheme')"),
        ("checks", "reading", "replace(reading, ':', ';')"),
        ("checks", "reading", "replace(reading, 'overall', 'overa1l')"),
        ("strands", "limit_minutes", "'4O'"),
        ("strands", "limit_minutes", "9e999"),
    ],
)
def test_what_is_damaged_is_not_the_end_of_the_page(site, table, column, value):  # noqa: F811
    strand = site.strand("Dot", ago=20.0)
    look = site.look(strand, "marta-1022.jpg")
    entry = look if table == "checks" else strand
    with site.logbook._change() as connection:
        connection.execute(f"UPDATE {table} SET {column} = {value} WHERE id = ?", (entry,))
    for path in ("/today", "/wall", f"/strands/{strand}", "/clients", f"/api/strands/{strand}"):
        assert site.client.get(path).status_code == 200, path
    if column != "reading":
        assert site.client.get(f"/looks/{look}").status_code == 200


def test_an_open_page_is_told_what_has_changed_and_else_that_nothing_has(site):  # noqa: F811
    strand = site.strand("Eve", ago=10.0)
    path = f"/strands/{strand}"
    first = site.client.get(path)
    site.clock.pass_(0.1)
    same = site.client.get(path, headers={"If-None-Match": first.headers["etag"]})
    assert (same.status_code, same.content) == (304, b"")
    site.look(strand, "marta-1022.jpg")
    changed = site.client.get(path, headers={"If-None-Match": first.headers["etag"]})
    assert changed.status_code == 200
    assert float(changed.headers["x-now"]) == pytest.approx(site.clock().timestamp(), abs=5.0)


def test_who_comes_back_starts_from_the_last_time(site):  # noqa: F811
    look = site.look(site.strand("Lena", target="peach"), "turned-a.jpg")
    client = site.logbook.find_client("Lena").id
    page = site.client.get(f"/strands/new?client={client}").text
    last = re.search(r'<a class="last-time".*?</a>', page)[0]
    level = headline(site.service.answer(look).reading)[0]
    for part in (
        f"/clients/{client}",
        f"/looks/{look}/",
        level,
        say("page.wanted", shade="peach"),
    ):
        assert part in last
    assert re.search(r'value="peach" checked', page)


def test_what_the_pages_ask_for_is_there(site):  # noqa: F811
    home = site.client.get("/today").text
    asked = re.findall(r'(?:href|src)="(/static/[^"]+)"', home)
    manifest = site.client.get("/static/manifest.webmanifest")
    assert manifest.headers["content-type"].startswith("application/manifest+json")
    asked += [icon["src"] for icon in manifest.json()["icons"]]
    assert {path.removeprefix("/static/") for path in asked} - {"letters.woff2"} == {
        file.name for file in STATIC.iterdir()
    }
    for path in asked:
        assert site.client.get(path).status_code == 200


def test_what_came_back_slowly_before_it_was_rinsed_is_lifted_no_further(site):  # noqa: F811
    felt = site.strand("Felt", ago=41.0, target="lilac")
    site.service.set_stretch(site.look(felt, "marta-1041.jpg"), "slow")
    site.logbook.update_strand(felt, rinsed=site.service.now())
    site.look(felt, "marta-1041.jpg")
    judged = site.service.judged(felt)
    assert (judged.step.kind, judged.step.about.why) == ("stop", ("slow-stretch",))
    site.logbook.update_strand(felt, target="violet")
    assert site.service.judged(felt).step.code == "dye"
