"""Who is let in: Host, token, origin, allowance, and the headers that go with every answer."""

from __future__ import annotations

import os
from typing import ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st
from serving import HOST, Inside

from strandgauge.errors import CannotServeError
from strandgauge.web import listen, security
from strandgauge.web.app import create_app
from strandgauge.web.keys import session_key
from strandgauge.web.listen import local_address
from strandgauge.web.settings import Limits, ServerSettings

TOKEN = "a-token-that-nobody-guesses"
LAN = "http://192.168.1.20:8423"


class NoWorkers:
    """Stands in where no photo is read."""

    def close(self) -> None:
        """Nothing to close."""


class NoLogbook:
    """Stands in where the logbook is only listed."""

    written: ClassVar[list[str]] = []

    def close(self) -> None:
        """Nothing to close."""

    def clients(self) -> tuple[()]:
        return ()

    def recent_strands(self, most: int) -> tuple[()]:
        return ()

    def add_client(self, alias: str):
        self.written.append(alias)
        raise AssertionError("this should not have been let through")


def server(base: str = HOST, **settings) -> Inside:
    return Inside(create_app(ServerSettings(**settings), logbook=NoLogbook(), workers=NoWorkers()), base)


@pytest.fixture(scope="module")
def loopback() -> Inside:
    return server()


@pytest.fixture(scope="module")
def lan() -> Inside:
    return server(LAN, token=TOKEN, addresses=("192.168.1.20", "127.0.0.1"))


# --- headers --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path", ["/", "/api/clients", "/api/health", "/nothing", "/api/nothing", "/static/no"]
)
def test_every_answer_carries_the_strict_headers(loopback, path):
    headers = loopback.get(path).headers
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert policy["font-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cross-origin-opener-policy"] == headers["cross-origin-resource-policy"] == "same-origin"
    assert headers["cache-control"] == ("no-cache" if path.startswith("/static") else "no-store")
    assert "geolocation=()" in headers["permissions-policy"]
    assert "access-control-allow-origin" not in headers


def test_refusals_carry_them_too(lan, loopback):
    for answer in (lan.get("/"), loopback.get("/", headers={"host": "elsewhere.example"})):
        assert answer.status_code in (403, 421)
        assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_no_page_loads_anything_from_elsewhere(loopback):
    assert loopback.get("/docs").status_code == 404
    assert loopback.get("/redoc").status_code == 404
    assert "://" not in loopback.get("/api/openapi.json").text.replace("http://json-schema.org", "")


# --- host and origin ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1:8423",
        "localhost:8423",
        "LOCALHOST",
        "127.0.0.1",
        "localhost:",
        "localhost:9000",
        "127.0.0.1:81",
    ],
)
def test_own_names_are_answered_and_those_of_loopback_through_a_tunnel_too(loopback, host):
    assert loopback.get("/api/health", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8423", "127.0.0.1.evil.example", "localhost@evil.example", "", "[::1"],
)
def test_a_name_pointed_here_by_somebody_else_is_not(loopback, host):
    answer = loopback.get("/api/clients", headers={"host": host})
    assert answer.status_code == 421
    assert answer.json()["code"] == "wrong-host"


@pytest.mark.parametrize("host", ["localhost:8423.evil.example", "localhost:99999999", "evil.example:9000"])
def test_what_is_no_port_is_refused(loopback, host):
    assert loopback.get("/api/clients", headers={"host": host}).status_code == 421


def test_another_port_of_an_address_in_the_network_is_another_server(lan):
    hosts = ("192.168.1.20:8424", "192.168.1.20:8423", "localhost:9000")
    answers = [lan.get("/api/clients", headers={"host": host}).status_code for host in hosts]
    assert answers == [421, 403, 403]  # the last two are asked for the token


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8423"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "cross-site", "origin": HOST},
    ],
)
def test_no_other_page_can_write(loopback, headers):
    answer = loopback.post("/api/clients", json={"alias": "Juniper"}, headers=headers)
    assert answer.status_code == 403
    assert answer.json()["code"] == "cross-origin"
    assert NoLogbook.written == []


@pytest.mark.parametrize("headers", [{}, {"origin": HOST, "sec-fetch-site": "same-origin"}, {"origin": HOST}])
def test_the_page_itself_and_programs_can(loopback, headers):
    # The alias is refused for what it is: the request came through.
    answer = loopback.post("/api/clients", json={"alias": ""}, headers=headers)
    assert answer.status_code == 422


# --- token ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/", {}),
        ("/api/clients", {}),
        ("/api/openapi.json", {}),
        ("/?token=wrong", {}),
        ("/?token=", {}),
        ("/", {"authorization": "Bearer wrong"}),
        ("/", {"authorization": f"Basic {TOKEN}"}),
        ("/", {"cookie": "strandgauge-8423=wrong"}),
        ("/", {"cookie": f"strandgauge-8423={TOKEN}"}),
        ("/", {"cookie": "strandgauge-8423"}),
        ("/static/../api/clients", {}),
    ],
)
def test_without_the_token_nobody_gets_in(lan, path, headers):
    answer = lan.get(path, headers=headers)
    assert answer.status_code == 403
    assert "juniper" not in answer.text.casefold()


def test_the_token_becomes_a_cookie_and_leaves_the_address(lan):
    first = lan.get(f"/strands/3?wet=1&token={TOKEN}")
    assert first.status_code == 303
    assert first.headers["location"] == "/strands/3?wet=1"
    cookie = first.headers["set-cookie"]
    assert TOKEN not in cookie
    assert "httponly" in cookie.casefold()
    assert "samesite=lax" in cookie.casefold()
    assert "max-age=50400" in cookie.casefold()
    kept = {"cookie": f'odd="{{[; =; {cookie.partition(";")[0]}'}
    assert lan.get("/api/clients", headers=kept).status_code == 200
    assert lan.get("/today", headers=kept).status_code == 200


def test_a_phone_is_let_in_by_a_typed_code_after_few_tries_only():
    guarded = server(LAN, token=TOKEN, code="12345678", session="s" * 40, addresses=("192.168.1.20",))
    page = guarded.get("/", headers={"accept": "text/html"})
    assert (page.status_code, 'action="/enter"' in page.text) == (403, True)
    crossed = guarded.post("/enter", data={"code": "12345678"}, headers={"origin": "http://evil.example"})
    assert crossed.status_code == 403
    assert guarded.post("/enter", data={"code": "x" * 500}).status_code == 403
    right = guarded.post("/enter", data={"code": " 1234 5678"})
    assert (right.status_code, right.headers["location"]) == (303, "/")
    cookie = right.headers["set-cookie"].partition(";")[0]
    assert guarded.get("/today", headers={"cookie": cookie}).status_code == 200
    tries = [guarded.post("/enter", data={"code": f"{number:08d}"}) for number in range(12)]
    assert {one.status_code for one in tries} == {403, 429}
    assert not any("set-cookie" in one.headers for one in tries)
    assert guarded.post("/enter", data={"code": "12345678"}).status_code == 429


def test_a_phone_stays_in_when_the_server_is_started_anew(tmp_path):
    file = tmp_path / "salon" / "phones.json"
    first = session_key(file)
    assert session_key(file) == first
    if os.name == "posix":
        assert file.stat().st_mode & 0o077 == 0
    assert session_key(file, anew=True) != first
    file.write_text(file.read_text().replace('"made": ', '"made": -'))
    assert session_key(file) != first
    file.write_text("{")
    assert len(session_key(file)) > 30


def test_the_address_can_be_chosen():
    assert local_address("192.168.7.9") == "192.168.7.9"
    for wrong in ("8.8.8.8", "127.0.0.1", "salon"):
        with pytest.raises(CannotServeError):
            local_address(wrong)


def test_the_token_leads_nowhere_else(lan):
    answer = lan.get(f"{LAN}//evil.example/x?token={TOKEN}")
    assert answer.headers["location"] == "/evil.example/x"


def test_a_program_may_show_the_token_with_every_request(lan):
    assert lan.get("/api/clients", headers={"authorization": f"Bearer {TOKEN}"}).status_code == 200


def test_a_cookie_is_good_for_one_server_only(lan):
    other = server(LAN, token=TOKEN, addresses=("192.168.1.20",))
    cookie = other.get(f"/?token={TOKEN}").headers["set-cookie"].partition(";")[0]
    assert other.get("/api/clients", headers={"cookie": cookie}).status_code == 200
    assert lan.get("/api/clients", headers={"cookie": cookie}).status_code == 403


def test_secrets_are_compared_in_constant_time(lan, monkeypatch):
    compared = []

    def watching(shown, secret):
        compared.append((shown, secret))
        return shown == secret

    monkeypatch.setattr(security.hmac, "compare_digest", watching)
    lan.get("/?token=abc")
    lan.get("/", headers={"cookie": "strandgauge-8423=def"})
    lan.get("/", headers={"authorization": "Bearer ghi"})
    assert [shown for shown, _ in compared[:2]] == [b"abc", b"def"]
    assert b"ghi" in [shown for shown, _ in compared]


@given(st.text(), st.text(min_size=1).filter(str.isascii))
def test_comparing_takes_any_text(shown, secret):
    assert security.same(shown, secret) == (shown == secret)


# --- allowance ------------------------------------------------------------------------------------------


def test_too_much_in_too_short_a_time_is_told_to_wait():
    few = server(limits=Limits(requests_per_second=0.001, requests_burst=3))
    answers = [few.get("/api/health") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert answers[-1].json()["code"] == "too-many-requests"
    assert int(answers[-1].headers["retry-after"]) > 0


@given(st.lists(st.floats(0, 10), min_size=1, max_size=60), st.floats(0.1, 5), st.integers(1, 5))
def test_no_client_gets_more_than_burst_and_refill(pauses, per_second, burst):
    allowance, now, taken = security.Allowance(per_second, burst), 100.0, 0
    for pause in pauses:
        now += pause
        taken += allowance.take("phone", now)
    assert taken <= burst + (now - 100.0 - pauses[0]) * per_second + 1e-6
    assert allowance.take("another phone", now)


def test_allowances_do_not_pile_up():
    allowance = security.Allowance(1, 1)
    for number in range(3 * security.MOST_CLIENTS):
        allowance.take(str(number), 0.0)
    assert len(allowance._left) <= security.MOST_CLIENTS


# --- where it listens -----------------------------------------------------------------------------------


def test_an_address_open_to_the_internet_is_not_served(monkeypatch):
    class Probe:
        def __enter__(self):
            return self

        def __exit__(self, *_):
            return None

        def connect(self, _):
            return None

        def getsockname(self):
            return ("8.8.8.8", 5)

    monkeypatch.setattr(listen.socket, "socket", lambda *_: Probe())
    with pytest.raises(listen.CannotServeError) as refused:
        listen.local_address()
    assert dict(refused.value.facts) == {"fault": "open", "address": "8.8.8.8"}
