"""Today, with all the strands that it lists."""

from __future__ import annotations

import time
from datetime import timedelta

from serving import Inside
from test_web_salon_hour import NINE, Reader, Salon

from strandgauge.logbook.book import open_logbook
from strandgauge.web.app import create_app
from strandgauge.web.draw import page
from strandgauge.web.settings import ServerSettings

SECONDS = 0.2


def test_today_is_there_soon_with_24_strands_of_5_looks_each(tmp_path):
    salon = Salon(Inside(None))
    reader = Reader()
    app = create_app(
        ServerSettings(), logbook=open_logbook(tmp_path / "b.sqlite3"), workers=reader, now=salon.now
    )
    service = app.state.service
    book = service.logbook
    visit = book.add_visit(book.add_client("Marta").id, started=NINE)
    answer = {"kind": "go on", "word": "Go on", "sentence": "Still lifting.", "minutes": 5.0}
    from strandgauge.show.json import document_of
    from strandgauge.web.screens import basis_of
    from strandgauge.web.workers import Job

    found = reader.run(Job((b"\xff\xd8\xff6.2",), False, None))
    for number in range(24):
        strand = book.add_strand(visit.id, f"strand {number}", "copper", NINE, 40.0)
        for look in range(5):
            check = book.add_look(
                strand.id,
                NINE + timedelta(minutes=4 * look),
                False,
                document_of(found.reading),
                outlook=document_of(reader.outlook),
                thumbnail=b"\xff\xd8\xff" * 2000,
            )
            basis = basis_of(strand, None, None, look + 1)
            kept = {
                **answer,
                "schema": "strandgauge.answer/1",
                "level": "Level 6.2",
                "verdict": None,  # as where no shade is wished
                "curve": [],
                "step": answer,
                "basis": basis,
            }
            book.set_answer(check.id, kept)
    salon.minute = 18.0
    drawn = page(service, "today.html.j2")
    assert drawn.count('class="card go-on"') == 24
    begun = time.process_time()
    for _ in range(3):
        page(service, "today.html.j2")
    took = (time.process_time() - begun) / 3.0
    print(f"today with 24 strands of 5 looks: {1000 * took:.0f} ms")
    assert took < SECONDS
    app.state.service.close()
