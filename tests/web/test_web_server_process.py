"""The server as a process of its own, on a real socket: hostile uploads, dead workers, crowds, and its end."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import socket
import struct
import subprocess
import sys
import time
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from http.client import HTTPConnection
from pathlib import Path

import cv2
import httpx
import numpy as np
import psutil
import pytest
from serving import GOOD, RunningServer, free_port, running

from refused import refused
from strandgauge.errors import PhotoTooHardError
from strandgauge.kit import shipped
from strandgauge.web.run import GRACE_SECONDS
from strandgauge.web.settings import Limits
from strandgauge.web.workers import Job, WorkerPool

MB = 1_000_000
SERVE = "import sys; from strandgauge.cli.app import run; sys.exit(run())"


@pytest.fixture(scope="module")
def server(tmp_path_factory) -> Iterator[RunningServer]:
    folder = tmp_path_factory.mktemp("served")
    with running(folder, workers=2, look_seconds=90.0, requests_burst=5000, uploads_burst=5000) as started:
        with started.client() as client:
            assert started.look(client, target="lilac").json()["outlook"]["target"]["name"] == "lilac"
        yield started


@pytest.fixture(scope="module")
def impatient(tmp_path_factory) -> Iterator[RunningServer]:
    with running(tmp_path_factory.mktemp("impatient"), body_seconds=2.0, header_seconds=1.0) as started:
        yield started


@pytest.fixture
def client(server) -> Iterator[httpx.Client]:
    with server.client() as one:
        yield one


def still_well(server: RunningServer, client: httpx.Client) -> None:
    answer = server.look(client)
    assert answer.status_code == 200
    assert answer.json()["reading"]["overall"]["level"] == pytest.approx(8.3, abs=0.5)


# --- a hundred hostile uploads --------------------------------------------------------------------------


def png(width: int, height: int, *chunks: tuple[bytes, bytes], pixels: bytes = b"\0" * 64) -> bytes:
    """A PNG whose header may promise more than there is."""
    parts = [
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)),
        *chunks,
        (b"IDAT", zlib.compress(pixels, 1)),
        (b"IEND", b""),
    ]
    body = b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in parts
    )
    return b"\x89PNG\r\n\x1a\n" + body


def tiff(width: int, height: int) -> bytes:
    """A TIFF of one strip; only its header is worth anything."""
    entries = [
        (256, 4, width),
        (257, 4, height),
        (258, 3, 8),
        (259, 3, 1),
        (262, 3, 2),
        (273, 4, 8),
        (277, 3, 3),
    ]
    entries += [(278, 4, height), (279, 4, 64)]
    table = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in sorted(entries))
    return b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(entries)) + table + bytes(4 + 64)


def jpeg_resized(good: bytes, width: int, height: int) -> bytes:
    """The same JPEG, promising another size in its frame header."""
    at = next(good.index(marker) for marker in (b"\xff\xc0", b"\xff\xc2") if marker in good)
    return good[: at + 5] + struct.pack(">HH", height, width) + good[at + 9 :]


def hostile_uploads() -> dict[str, bytes]:
    good, dice = GOOD.read_bytes(), random.Random(7)
    found: dict[str, bytes] = {"empty": b"", "one byte": b"\xff"}
    small = cv2.imencode(".jpg", cv2.resize(cv2.imread(str(GOOD)), None, fx=0.3, fy=0.3))[1].tobytes()
    for number in range(40):
        at = 2 + (len(small) - 40) * number // 40
        found[f"cut at {at}"] = small[:at]
    for number in range(15):
        broken = bytearray(small if number % 3 else good)
        for _ in range(200):
            broken[dice.randrange(2, len(broken))] = dice.randrange(256)
        found[f"noise in it {number}"] = bytes(broken)
    for size in (1, 100, 10_000, 1_000_000):
        found[f"{size} random bytes"] = dice.randbytes(size)
    for start in (
        b"\xff\xd8\xff\xe0",
        b"\x89PNG\r\n\x1a\n",
        b"II*\0",
        b"MM\0*",
        b"RIFF\xff\xff\xff\x7fWEBPVP8 ",
    ):
        for size in (0, 3000):
            found[f"{start!r} and {size} random bytes"] = start + dice.randbytes(size)
    found["ftypheic"] = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + dice.randbytes(2000)
    for side in (20_000, 65_000, 2**31 - 1):
        found[f"png of {side}"] = png(side, side)
    found["png, all of it there, too many pixels"] = png(30_000, 30_000, pixels=bytes(3_000_000))
    found["png, 90 megapixels of nothing"] = png(9_490, 9_480, pixels=bytes(9_480 * (1 + 3 * 9_490)))
    found["png with a giant text"] = png(10, 10, (b"zTXt", b"k\0\0" + zlib.compress(bytes(50 * MB))))
    found["png with a giant profile"] = png(10, 10, (b"iCCP", b"k\0\0" + zlib.compress(bytes(50 * MB))))
    found["png without pixels"] = png(1, 1)
    found["png of no width"] = png(0, 100)
    for side in (30_000, 65_500, 2**31 - 1):
        found[f"tiff of {side}"] = tiff(side, side)
    found["jpeg of 65000 squared"] = jpeg_resized(good, 65_000, 65_000)
    found["jpeg of 65000 by 1"] = jpeg_resized(good, 65_000, 1)
    found["jpeg of no size"] = jpeg_resized(good, 0, 0)
    found["jpeg twice as high as it is"] = jpeg_resized(good, 9_000, 9_000)
    exif = b"Exif\0\0MM\0*" + struct.pack(">IH", 8, 65_000) + dice.randbytes(60_000)
    found["giant exif"] = b"\xff\xd8" + b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif + good[2:9000]
    found["gif"] = b"GIF89a" + struct.pack("<HH", 65535, 65535) + bytes(50)
    found["bmp"] = b"BM" + bytes(200)
    found["svg"] = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    found["html"] = b"<!DOCTYPE html><script>alert(1)</script>"
    found["entities"] = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bb"><!ENTITY c "&b;&b;">]><a>&c;</a>'
    found["zip"] = b"PK\x03\x04" + dice.randbytes(500)
    found["pdf"] = b"%PDF-1.7\n" + dice.randbytes(500)
    found["film"] = b"\0\0\0\x18ftypisom" + dice.randbytes(500)
    found["shell"] = b"#!/bin/sh\nrm -rf ~\n"
    found["gif inside a comment of a jpeg"] = b"\xff\xd8\xff\xfe\x00\x20GIF89a" + bytes(26) + b"\xff\xd9"
    found["zip behind a short jpeg"] = good[:2000] + b"\xff\xd9PK\x03\x04" + dice.randbytes(100)
    found["html behind a png"] = png(2, 2, pixels=bytes(14)) + b"<script>alert(1)</script>"
    found["a picture of one colour"] = png(600, 400, pixels=bytes(400 * 1801))
    for length in (8, 100, 1000):
        found[f"png cut at {length}"] = png(2000, 2000, pixels=bytes(2000 * 6001))[:length]
    return found


def test_a_hundred_hostile_uploads_cost_one_error_each(server, client):
    uploads = hostile_uploads()
    assert len(uploads) >= 100
    with ThreadPoolExecutor(4) as crowd:
        answers = dict(
            zip(uploads, crowd.map(lambda photo: server.look(client, photo), uploads.values()), strict=True)
        )
    for name, answer in answers.items():
        if name.startswith("noise in it") and answer.status_code == 200:
            continue  # what was changed may lie outside of what is measured
        assert answer.status_code in (413, 415, 422), (name, answer.text)
        assert answer.json()["schema"] == "strandgauge.error/1", name
        assert answer.json()["code"] != "internal-error", name
    assert answers["png of 65000"].status_code == answers["tiff of 65500"].status_code == 413
    assert answers["jpeg of 65000 squared"].status_code == 413
    assert answers["svg"].status_code == answers["gif"].status_code == answers["zip"].status_code == 415
    still_well(server, client)
    assert server.rss() < 400 * MB


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("multipart/form-data", b"--x\r\n\r\n"),
        (
            "multipart/form-data; boundary=x",
            b"--y\r\nContent-Disposition: form-data; name=photo\r\n\r\nz\r\n--y--",
        ),
        ("multipart/form-data; boundary=x", b"--x\r\nContent-Disposition: form-data\r\n\r\nz\r\n--x--\r\n"),
        ("multipart/form-data; boundary=x", b"--x\r\n" * 20_000),
        ("multipart/form-data; boundary=" + "x" * 5000, b"--x\r\n\r\n"),
        (
            "multipart/form-data; boundary=x",
            b'--x\r\nContent-Disposition: form-data; name="a"\r\n\r\nz\r\n' * 5_000 + b"--x--\r\n",
        ),
        (
            "multipart/form-data; boundary=x",
            b'--x\r\nContent-Disposition: form-data; name="photo"; filename="f"\r\n\r\nz\r\n' * 500
            + b"--x--\r\n",
        ),
        (
            "multipart/form-data; boundary=x",
            b'--x\r\nContent-Disposition: form-data; name="wet"\r\n\r\n' + b"1" * 2 * MB + b"\r\n--x--\r\n",
        ),
        ("multipart/form-data; boundary=x", b"--x\r\n" + b"X-A: b\r\n" * 50_000 + b"\r\n--x--\r\n"),
        (
            "multipart/form-data; boundary=x",
            b'--x\r\nContent-Disposition: form-data; name="p"\r\n'
            b"Content-Type: multipart/mixed; boundary=y\r\n\r\n" + b"--y\r\n\r\n" * 1000 + b"\r\n--x--\r\n",
        ),
        ("multipart/mixed; boundary=x", b"--x\r\n\r\n--x--\r\n"),
        ("application/x-www-form-urlencoded", b"photo=1"),
        ("image/jpeg", b"\xff\xd8\xff"),
    ],
)
def test_a_form_that_is_none_is_told_so(server, client, kind, body):
    answer = client.post("/api/looks", content=body, headers={"content-type": kind})
    assert answer.status_code in (400, 415, 422), answer.text
    assert answer.json()["schema"] == "strandgauge.error/1"


def test_a_name_from_outside_touches_no_disk(server, client, tmp_path):
    for name in ("../../../../x.jpg", "/x.jpg", "a\0b", str(tmp_path / "x.jpg"), "CON", "x" * 900):
        sent = client.post("/api/looks", files={"photo": (name, GOOD.read_bytes())})
        assert sent.status_code == 200
        assert sent.json()["reading"]["photo"] == "photo"
    assert list(tmp_path.iterdir()) == []
    for path in (
        "/static/../../errors.py",
        "/static/%2e%2e/app.py",
        "/static//etc/passwd",
        "/static/..%5capp.py",
    ):
        assert client.get(path).status_code == 404


# --- too large, too slow --------------------------------------------------------------------------------


def endless(total: int) -> Iterator[bytes]:
    yield b'--x\r\nContent-Disposition: form-data; name="photo"; filename="p"\r\n\r\n\xff\xd8\xff'
    chunk = bytes(MB)
    for _ in range(total // MB):
        yield chunk


def test_two_hundred_megabytes_are_refused_while_they_stream(server, client):
    before = server.rss()
    kind = {"content-type": "multipart/form-data; boundary=x"}
    streamed = client.post("/api/looks", content=endless(200 * MB), headers=kind)
    assert (streamed.status_code, streamed.json()["code"]) == (413, "file-too-large")
    assert server.rss() < before + 60 * MB
    with socket.create_connection(("127.0.0.1", server.port)) as promised:
        promised.sendall(upload_head(server, 200 * MB))
        assert promised.recv(12) == b"HTTP/1.1 413"  # before any of it came
    assert client.get("/api/health").status_code == 200


def upload_head(server: RunningServer, length: int) -> bytes:
    return (
        f"POST /api/looks HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nConnection: close\r\n"
        f"Content-Length: {length}\r\nContent-Type: multipart/form-data; boundary=x\r\n\r\n"
    ).encode()


def test_no_file_is_left_behind(server, client, tmp_path_factory):
    server.look(client, b"\xff\xd8\xff" + bytes(5 * MB))
    folder = tmp_path_factory.getbasetemp()
    names = {path.name for path in folder.glob("served*/*") if path.is_file()}
    assert names <= {"logbook.sqlite3", "logbook.sqlite3-wal", "logbook.sqlite3-shm"}


def read_to_end(connection: socket.socket) -> bytes:
    connection.settimeout(60)
    received = b""
    while chunk := connection.recv(65536):
        received += chunk
    return received


def test_a_trickle_is_cut_off(impatient):
    with socket.create_connection(("127.0.0.1", impatient.port)) as slow:
        slow.sendall(upload_head(impatient, 9000))
        slow.sendall(b'--x\r\nContent-Disposition: form-data; name="photo"; filename="p"\r\n\r\n')
        begun = time.monotonic()
        while time.monotonic() - begun < 1.6:
            slow.sendall(b"-")
            time.sleep(0.1)
        answer = read_to_end(slow)
    assert answer.startswith(b"HTTP/1.1 408")
    assert b'"code":"too-slow"' in answer
    with impatient.client() as client:
        still_well(impatient, client)


def test_a_head_that_never_ends_is_cut_off_too(impatient):
    begun = time.monotonic()
    with socket.create_connection(("127.0.0.1", impatient.port)) as silent:
        silent.settimeout(60)
        silent.sendall(b"GET / HTTP/1.1\r\nHost: 127")
        assert silent.recv(100) == b""
    assert time.monotonic() - begun > 0.5


def test_what_is_no_http_gets_strict_headers_as_well(server):
    with socket.create_connection(("127.0.0.1", server.port)) as odd:
        odd.sendall(b"\x16\x03\x01 hello\r\n\r\n")
        answer = read_to_end(odd)
    assert answer.startswith(b"HTTP/1.1 400")
    assert b"default-src 'none'" in answer


# --- workers that hang or die ---------------------------------------------------------------------------


def test_a_worker_that_hangs_costs_one_error_and_is_replaced():
    pool, photo = WorkerPool(2, shipped(), Limits(look_seconds=90.0)), Job((GOOD.read_bytes(),), False, None)
    patient = pool._limits
    try:
        pool._start()
        first = pool.run(photo)
        stopped = [worker.process for worker in pool._all]
        for process in stopped:
            os.kill(process.pid, signal.SIGSTOP)
        pool._limits = replace(patient, look_seconds=0.5)
        for _ in stopped:
            with refused(PhotoTooHardError, "died"):
                pool.run(photo)
        pool._limits = patient
        assert pool.run(photo).reading == first.reading
        assert not any(process.is_alive() for process in stopped)
        assert len(pool._all) == 2
    finally:
        pool.close()


def test_a_worker_that_was_killed_costs_nothing(server, client):
    killed = server.worker_ids()
    for process in killed:
        os.kill(process, signal.SIGKILL)
    until_ended(killed)
    still_well(server, client)
    still_well(server, client)
    assert not set(killed) & set(server.worker_ids())


def until_ended(processes: list[int]) -> None:
    """Wait until they have ended; where nobody reaps orphans, they stay in the list as what they are."""
    patience = time.monotonic() + 60.0
    for process in processes:
        with contextlib.suppress(psutil.NoSuchProcess):
            while psutil.Process(process).status() != psutil.STATUS_ZOMBIE:
                assert time.monotonic() < patience
                time.sleep(0.01)


def until_in_hand(server: RunningServer, client: httpx.Client) -> float:
    """Return seconds within which a photo is in the hands of a worker: within which one is read, on this machine."""
    begun = time.monotonic()
    still_well(server, client)
    return 0.3 + time.monotonic() - begun


def test_a_worker_that_dies_at_work_costs_one_error(server, client):
    wait = until_in_hand(server, client)
    with ThreadPoolExecutor(1) as other:
        for process in server.worker_ids():
            os.kill(process, signal.SIGSTOP)  # so that the photo waits in its hands
        answer = other.submit(server.look, client)
        time.sleep(wait)
        for process in server.worker_ids():
            os.kill(process, signal.SIGKILL)
        assert answer.result().json()["code"] == "photo-too-hard"
    still_well(server, client)


def test_a_worker_cannot_take_all_memory(server):
    for process in server.worker_ids():
        limits = psutil.Process(process).rlimit(psutil.RLIMIT_AS)
        assert limits == (2_000 * MB, 2_000 * MB)
        assert psutil.Process(process).rlimit(psutil.RLIMIT_CORE) == (0, 0)


# --- a crowd --------------------------------------------------------------------------------------------


def test_two_hundred_at_once_are_all_answered_in_bounded_memory(server):
    """Two hundred clients send at once: each is answered, or told when to come back and then answered."""
    good = GOOD.read_bytes()
    # Most show no card, which is soon seen; three megabytes each, since a JPEG may be followed by anything.
    plain = jpeg_of_one_colour() + bytes(3 * MB)
    forms = [multipart(good if number % 20 == 0 else plain) for number in range(200)]
    kind = {"content-type": "multipart/form-data; boundary=x"}
    highest = [0]

    def ask(form: bytes) -> list[int]:
        statuses: list[int] = []
        while not statuses or statuses[-1] == 503:
            with contextlib.closing(HTTPConnection("127.0.0.1", server.port, timeout=90)) as phone:
                phone.request("POST", "/api/looks", form, kind)
                answer = phone.getresponse()
                answer.read()
            highest[0] = max(highest[0], server.rss())
            statuses.append(answer.status)
            if answer.status == 503:
                wait = int(answer.headers["retry-after"])
                assert wait > 0
                time.sleep(wait + random.random())
        return statuses

    with ThreadPoolExecutor(200) as crowd:
        answers = list(crowd.map(ask, forms))
    assert [statuses[-1] for statuses in answers] == [200 if n % 20 == 0 else 422 for n in range(200)]
    assert any(503 in statuses for statuses in answers)
    assert highest[0] < 500 * MB
    print("highest", highest[0] / MB, sum(len(s) for s in answers))


def multipart(photo: bytes) -> bytes:
    head = b'--x\r\nContent-Disposition: form-data; name="photo"; filename="p"\r\n\r\n'
    return head + photo + b"\r\n--x--\r\n"


def jpeg_of_one_colour() -> bytes:
    done, encoded = cv2.imencode(".jpg", np.full((60, 80, 3), 200, np.uint8))
    assert done
    return encoded.tobytes()


# --- where it listens, and its end ----------------------------------------------------------------------


def test_it_listens_on_loopback_only(server):
    others = {
        address.address
        for addresses in psutil.net_if_addrs().values()
        for address in addresses
        if address.family == socket.AF_INET and not address.address.startswith("127.")
    }
    listening = {
        connection.laddr.ip
        for connection in psutil.Process(server.process.pid).net_connections()
        if connection.status == psutil.CONN_LISTEN
    }
    assert listening == {"127.0.0.1"}
    for address in others:
        with pytest.raises(OSError, match=r"refused|unreachable|timed out"):
            socket.create_connection((address, server.port), 2)


@contextlib.contextmanager
def serve(*arguments: str, folder: Path) -> Iterator[subprocess.Popen[str]]:
    """Start ``strandgauge serve``; whatever fails, it does not go on behind the test."""
    command = [sys.executable, "-c", SERVE, "serve", "--logbook", str(folder / "l.sqlite3"), *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()


@pytest.mark.usefixtures("worded")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_starts_at_once_and_ends_when_told(tmp_path, number):
    port, begun = free_port(), time.monotonic()
    with serve("--port", str(port), folder=tmp_path) as process:
        assert f"http://127.0.0.1:{port}/" in process.stdout.readline()
        started = time.monotonic() - begun
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=90, trust_env=False) as client:
            answer = client.post("/api/looks", files={"photo": ("p", GOOD.read_bytes())})
            assert answer.status_code == 200
            children = psutil.Process(process.pid).children(recursive=True)
            process.send_signal(number)
            begun = time.monotonic()
            assert process.wait(90) == 0
            # Nothing is waited for until patience ends; how fast this machine is just now, its start has shown.
            assert time.monotonic() - begun < max(0.8 * GRACE_SECONDS, 5.0 * started)
        assert process.stderr.read() == ""
    until_ended([one.pid for one in children])
    assert not (tmp_path / "l.sqlite3-wal").exists()


def test_a_look_under_way_is_finished_before_the_end(tmp_path):
    with running(tmp_path) as server, server.client() as client, ThreadPoolExecutor(1) as other:
        still_well(server, client)  # from now on its workers are warm
        wait = until_in_hand(server, client)
        for process in server.worker_ids():
            os.kill(process, signal.SIGSTOP)
        answer = other.submit(server.look, client)
        time.sleep(wait)
        server.process.send_signal(signal.SIGTERM)
        time.sleep(0.5)
        for process in server.worker_ids():
            os.kill(process, signal.SIGCONT)
        assert answer.result().status_code == 200
        assert server.process.wait(90) == 0
        assert server.process.stderr.read() == b""


def test_a_port_that_is_taken_is_told(server, tmp_path):
    with serve("--port", str(server.port), folder=tmp_path) as process:
        assert process.wait(90) == 80
        assert process.stderr.read().count("\n") == 1


@pytest.mark.usefixtures("worded")
def test_the_network_is_let_in_by_a_token_in_a_code(tmp_path):
    port = free_port()
    with serve("--lan", "--port", str(port), folder=tmp_path) as process:
        first = process.stdout.readline()
        if not first:
            assert process.wait(90) == 80  # this computer is in no network: said so
            pytest.skip(process.stderr.read().strip())
        address = first.split()[-1]
        token = address.partition("?token=")[2]
        assert len(token) >= 32
        with httpx.Client(trust_env=False, timeout=90) as phone:
            base = address.partition("?")[0]
            assert phone.get(base).status_code == 403
            arrived = phone.get(address, follow_redirects=True)
            assert (arrived.status_code, str(arrived.url)) == (200, f"{base}today")
            assert phone.get(f"{base}api/health").json()["status"] == "ok"
        process.send_signal(signal.SIGTERM)
        assert process.wait(90) == 0
        assert "█" in process.stdout.read()
