"""The JSON API inside this process: what is answered, stored, followed and forgotten."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from phonesite import ReadOnce
from serving import BLURRED, GOOD, SAMPLES, Inside

import publishedschemas
from strandgauge.errors import LogbookNotWrittenError, ServerBusyError
from strandgauge.judge.outlook import Outlook
from strandgauge.logbook.book import open_logbook
from strandgauge.show.json import document_of, record_of
from strandgauge.web.app import create_app
from strandgauge.web.service import Service
from strandgauge.web.settings import ServerSettings
from strandgauge.words import say


@pytest.fixture
def service(tmp_path) -> Iterator[Service]:
    with open_logbook(tmp_path / "logbook.sqlite3") as book:
        app = create_app(ServerSettings(), logbook=book, workers=ReadOnce())
        app.state.service.app = app
        yield app.state.service


@pytest.fixture
def inside(service) -> Inside:
    return Inside(service.app)


@pytest.fixture
def strand(inside) -> int:
    """A strand of a client, its lightener on for twenty minutes."""
    client = inside.post("/api/clients", json={"alias": "Juniper"}).json()["id"]
    visit = inside.post(f"/api/clients/{client}/visits", json={}).json()["id"]
    started = (datetime.now(UTC) - timedelta(minutes=20)).isoformat()
    given = {"name": "left crown", "target": "Pastel Pink", "started": started, "limit_minutes": 50}
    answer = inside.post(f"/api/visits/{visit}/strands", json=given)
    assert answer.status_code == 201
    return answer.json()["id"]


def valid(document: dict) -> dict:
    """Check a document, and those inside it, against the published schemas."""
    publishedschemas.valid(document)
    for part in document.values():
        if isinstance(part, dict) and "schema" in part:
            valid(part)
    return document


def refused(answer, status: int, code: str) -> dict:
    document = valid(answer.json())
    assert (answer.status_code, document["code"]) == (status, code)
    return document


def test_a_quick_look_is_answered_and_not_stored(inside, service):
    answer = inside.look(target="lilac")
    look = valid(answer.json())
    assert answer.status_code == 200
    assert look["check"] is None
    assert look["reading"]["overall"]["level"] == pytest.approx(8.3, abs=0.5)
    assert look["outlook"]["target"]["name"] == "lilac"
    picture = inside.get(look["picture"])
    assert picture.headers["content-type"] == "image/jpeg"
    assert picture.content.startswith(b"\xff\xd8")
    assert service.logbook.recent_strands() == ()


def test_a_look_at_a_strand_is_stored_and_followed(inside, strand, service):
    look = valid(inside.look(strand=strand).json())
    assert look["outlook"]["target"]["name"] == "pastel pink"
    assert look["curve"]["limit_minutes"] == 50
    assert look["curve"]["looks"][0]["minutes"] == pytest.approx(20, abs=1)
    kept = service.logbook.look(look["check"])
    assert kept.reading == look["reading"]
    assert not kept.has_photo
    again = valid(inside.get(f"/api/looks/{look['check']}").json())
    assert {k: v for k, v in again.items() if k != "curve"} == {k: v for k, v in look.items() if k != "curve"}
    listed = inside.get(f"/api/strands/{strand}").json()["checks"][0]
    assert listed["id"] == look["check"]
    assert listed["minutes"] == pytest.approx(20, abs=1)


def test_a_look_is_told_from_the_logbook_when_the_server_was_started_anew(inside, strand, service):
    look = inside.look(strand=strand, keep_photo="true").json()
    service.forget()
    again = valid(inside.get(f"/api/looks/{look['check']}").json())
    assert again["reading"] == look["reading"]
    assert again["outlook"] == look["outlook"]
    assert inside.get(again["picture"]).content == service.logbook.look(look["check"]).thumbnail
    assert service.logbook.photo(look["check"]) == GOOD.read_bytes()


def test_an_outlook_comes_back_from_its_document_whole(inside):
    document = inside.look((SAMPLES / "stained.jpg").read_bytes(), target="#80b0d0").json()["outlook"]
    assert document_of(record_of(Outlook, document, "here")) == document


def test_a_gummy_stretch_means_stop_whatever_the_colour_says(inside, strand):
    first = inside.look(strand=strand).json()
    assert first["stop_reason"] is None
    assert not first["curve"]["stop"]
    told = inside.post(f"/api/looks/{first['check']}/stretch", json={"answer": "gummy"}).json()
    later = inside.look(strand=strand).json()
    for look in (told, later, inside.get(f"/api/strands/{strand}").json()):
        assert look["stop_reason"] == say("moment.gummy")
    for curve in (told["curve"], later["curve"], valid(inside.get(f"/api/strands/{strand}/curve").json())):
        assert curve["stop"]
        assert curve["next_look_minutes"] is None
        assert curve["advice"][0]["do"] == "stop-condition"
        assert curve["headline"] == say("lift.at-once", what=say("lift-stop.stop-condition"))


def test_another_wanted_shade_changes_what_the_curve_aims_at(inside, strand):
    inside.look(strand=strand)
    before = inside.get(f"/api/strands/{strand}/curve").json()
    assert inside.ask("PATCH", f"/api/strands/{strand}", json={"target": "burgundy"}).status_code == 200
    after = inside.get(f"/api/strands/{strand}/curve").json()
    assert (before["target"], after["target"]) == ("pastel pink", "burgundy")
    assert before["needs_level"] != after["needs_level"]
    assert inside.get(f"/api/strands/{strand}").json()["limit_minutes"] == 50


def test_a_shade_that_is_no_longer_on_the_list_costs_only_its_words(inside, strand, service):
    inside.look(strand=strand)
    service.logbook.update_strand(strand, target="a shade of long ago")
    assert inside.get(f"/api/strands/{strand}/curve").json()["target"] is None


def test_a_photo_sent_again_is_no_standstill(inside, strand):
    first = inside.look(strand=strand, age=600).json()
    again = inside.look(strand=strand).json()
    assert len(inside.get(f"/api/strands/{strand}/curve").json()["looks"]) == 1
    assert again["curve"]["looks"] == first["curve"]["looks"]


def test_a_start_of_a_clock_that_was_never_set_is_refused(inside, strand, service):
    before = service.logbook.strand(strand)
    answer = inside.ask("PATCH", f"/api/strands/{strand}", json={"started": "0001-01-01T10:00:00Z"})
    refused(answer, 422, "bad-request")
    assert service.logbook.strand(strand) == before


def test_without_a_start_there_is_no_curve_yet(inside, strand):
    inside.ask("PATCH", f"/api/strands/{strand}", json={"started": None})
    assert inside.look(strand=strand).json()["curve"] is None
    refused(inside.get(f"/api/strands/{strand}/curve"), 404, "no-curve")


def test_a_deleted_client_is_forgotten_by_the_server_too(inside, strand, service):
    look = inside.look(strand=strand).json()
    client = service.logbook.clients()[0].id
    assert inside.ask("DELETE", f"/api/clients/{client}").json()["checks"] == 1
    refused(inside.get(look["picture"]), 404, "unknown-entry")
    refused(inside.get(f"/api/quick/{look['key']}/picture"), 404, "unknown-look")
    assert inside.get("/api/clients").json() == {"clients": []}


@pytest.mark.parametrize(
    ("photo", "status", "code"),
    [
        (BLURRED.read_bytes(), 422, "blur"),
        (b"", 422, "unreadable-file"),
        (b"GIF89a" + bytes(100), 415, "unreadable-file"),
        (GOOD.read_bytes()[:5000], 422, "unreadable-file"),
    ],
)
def test_a_refused_photo_says_what_to_do(inside, strand, service, photo, status, code):
    assert refused(inside.look(photo, strand=strand), status, code)["remedy"]
    assert service.logbook.looks(strand) == ()


def test_what_is_wrong_in_a_request_is_told(inside, strand, service):
    refused(inside.look(target="no such shade"), 422, "unknown-target")
    refused(inside.look(target="#12345"), 422, "bad-colour")
    refused(inside.look(strand=987), 404, "unknown-entry")
    refused(inside.look(strand="1; DROP TABLE clients"), 422, "bad-request")
    refused(inside.look(wet="perhaps"), 422, "bad-request")
    refused(inside.post("/api/looks", data={"wet": "true"}), 415, "bad-request")
    refused(inside.post("/api/looks", files={"other": ("p", b"x")}), 422, "bad-request")
    refused(inside.post("/api/clients", json={"alias": "juniper"}), 422, "bad-entry")
    refused(inside.post("/api/clients", json={"alias": "Sorrel", "name": "x"}), 422, "bad-request")
    refused(inside.post("/api/clients", content=b"{"), 422, "bad-request")
    refused(inside.get("/api/nothing"), 404, "not-found")
    refused(inside.ask("PUT", "/api/clients"), 405, "not-allowed")
    assert service.logbook.looks(strand) == ()


def test_faults_of_the_server_are_documents_too(inside, service, monkeypatch):
    def fail(error):
        def raising(*_, **__):
            raise error

        return raising

    monkeypatch.setattr(service.logbook, "clients", fail(LogbookNotWrittenError("The disk is full.")))
    refused(inside.get("/api/clients"), 507, "logbook-not-written")
    monkeypatch.setattr(service.logbook, "clients", fail(ZeroDivisionError("secret")))
    broken = inside.get("/api/clients")
    assert "secret" not in refused(broken, 500, "internal-error")["message"]
    assert "default-src 'none'" in broken.headers["content-security-policy"]
    monkeypatch.setattr(service.workers, "run", fail(ServerBusyError("Too many photos.")))
    busy = inside.look()
    refused(busy, 503, "server-busy")
    assert int(busy.headers["retry-after"]) > 0
