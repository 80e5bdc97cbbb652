"""The gallery of a batch: one page with a card for each photo, class sheets and lift curves, to sort and to filter.

Written as the records come and never held as a whole: the cards go to a spool on disk while the few numbers that
class sheets and counts need are kept, then the page is put together from both. The page has all of its content
without script; the script only adds sorting and filtering, which work on ``data-`` attributes of the cards.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import IO, get_args

from markupsafe import Markup

from strandgauge.files.write import cannot_write, write_parts
from strandgauge.hair.levels import Ladder
from strandgauge.hair.warmth import WarmthCode
from strandgauge.judge.outlook import VERDICTS
from strandgauge.lift.curve import LiftCurve
from strandgauge.reading.evenness import EvennessCode
from strandgauge.sheet.record import Record
from strandgauge.show.pages.cards import Card, class_sheet, when
from strandgauge.show.pages.charts import lift_chart
from strandgauge.show.pages.render import environment, minutes
from strandgauge.words import say

_CHUNK = 1 << 16
_WARMTH = (*get_args(WarmthCode), "hidden")
"""Codes of warmth; the last where old dye hides it."""


_ORDERS = (
    *("listed", "name", "level-up", "level-down", "even-up", "even-down", "warm-up", "warm-down"),
    *("verdict", "time"),
)
"""What photos can be sorted by; gallery.js knows them too."""


@dataclass(slots=True)
class _Kept:
    """The little that is kept of all photos."""

    refused: int = 0
    total: int = 0
    evenness: Counter[str] = field(default_factory=Counter)
    warmth: Counter[str] = field(default_factory=Counter)
    verdicts: Counter[str] = field(default_factory=Counter)
    groups: dict[str, list[Card]] = field(default_factory=dict)
    clients: dict[str, list[Card]] = field(default_factory=dict)

    def add(self, card: Card) -> None:
        record = card.record
        self.total += 1
        if card.shown is None:
            self.refused += 1
        else:
            self.evenness[card.shown.evenness] += 1
            self.warmth[card.shown.warmth] += 1
            if record.wanted is not None:
                self.verdicts[record.wanted.verdict] += 1
        light = Card(card.number, replace(record, strip=None))
        if record.group:
            self.groups.setdefault(record.group, []).append(light)
        if record.client:
            self.clients.setdefault(record.client, []).append(light)


def write_gallery(
    path: Path,
    records: Iterable[Record],
    *,
    title: str,
    target: str | None,
    ladder: Ladder,
    curves: Mapping[str, LiftCurve],
    sheets: Mapping[str, str] | None = None,
) -> None:
    """Write the gallery of a batch, whole or not at all.

    Parameters
    ----------
    path : the page to write.
    records : the photos in the order in which they are listed; taken one at a time, once.
    title : the page's heading, such as the folder's name.
    target : name of the wanted shade.
    ladder : that of the readings.
    curves : of each client's name the lift curve.
    sheets : of each class the address of its sheet to print.

    Raises
    ------
    CannotWriteError : no such folder, no permission, no space, or a folder of that name.
    """
    try:
        spool = tempfile.TemporaryFile("w+", encoding="utf-8", newline="", dir=path.parent)  # noqa: SIM115
    except OSError as error:
        raise cannot_write(path, error) from error
    with spool:
        kept = _spool_cards(records, spool, path)
        page = environment().get_template("gallery.html.j2")
        spool.seek(0)
        parts = page.generate(
            title=title,
            target=target,
            ladder=ladder.name,
            kept=kept,
            addresses=sheets or {},
            cards=_chunks(spool),
            sheets=[class_sheet(name, rows) for name, rows in kept.groups.items()],
            clients=(
                (name, sorted(kept.clients.get(name, []), key=when), *_lift(curve, ladder))
                for name, curve in curves.items()
            ),
            clients_number=len(curves),
            others=_without_curve(kept.clients, curves),
            orders=[(order, say(f"order.{order}")) for order in _ORDERS],
            evenness_words=[
                word for code in get_args(EvennessCode) if kept.evenness[word := say(f"evenness.{code}")]
            ],
            warmth_words=[word for code in _WARMTH if kept.warmth[word := say(f"warmth.{code}")]],
            chosen={word: say(f"chosen.{word}") for word in (*VERDICTS, "read", "refused")},
            verdict_words=[word for word in VERDICTS if kept.verdicts[word]],
        )
        write_parts(path, (part.encode("utf-8") for part in parts))


def _lift(curve: LiftCurve, ladder: Ladder) -> tuple[str, Markup, Markup]:
    """Return what a lift curve says, and the curve for wide and for narrow screens."""
    roomy = Markup(lift_chart(curve, width=560, height=260, ladder=ladder))
    return saying(curve), roomy, Markup(lift_chart(curve, width=340, height=250, ladder=ladder))


def saying(curve: LiftCurve) -> str:
    """Say in one sentence how a lift went. A batch is looked at afterwards: what to do next is for its own time."""
    first, last = curve.looks[0], curve.looks[-1]
    state = curve.state.replace(" ", "-")
    return say(
        "gallery.lift",
        low=first.level,
        high=last.level,
        time=minutes(last.minutes - first.minutes),
        state=state,
    )


def _without_curve(clients: Mapping[str, list[Card]], curves: Mapping[str, LiftCurve]) -> list[Card]:
    """Return the photos of clients that no class sheet and no curve shows, client by client."""
    return [
        row
        for name, rows in clients.items()
        if name not in curves
        for row in sorted(rows, key=when)
        if row.record.group is None
    ]


def _spool_cards(records: Iterable[Record], spool: IO[str], path: Path) -> _Kept:
    kept = _Kept()
    template = environment().get_template("gallerycard.html.j2")
    for number, record in enumerate(records, start=1):
        card = Card(number, record)
        kept.add(card)
        html = template.render(card=card, verdicts=VERDICTS)
        try:
            spool.write(html)
        except OSError as error:
            raise cannot_write(path, error) from error
    return kept


def _chunks(spool: IO[str]) -> Iterator[Markup]:
    while chunk := spool.read(_CHUNK):
        yield Markup(chunk)
