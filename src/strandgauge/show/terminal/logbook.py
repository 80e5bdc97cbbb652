"""The logbook as text for a terminal; times are those of this computer's clock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from rich.console import Console
from rich.text import Text

from strandgauge.logbook.book import Logbook
from strandgauge.logbook.records import Client, ClientSummary, Deletion, LookRecord, Strand
from strandgauge.show.terminal.console import Printer
from strandgauge.words import figure, say
from strandgauge.words.colour import shade_name
from strandgauge.words.reading import plus_minus


def print_clients(summaries: Sequence[ClientSummary], path: str, console: Console | None = None) -> None:
    """Print the list of clients."""
    out = Printer(console)
    if not summaries:
        out.line(say("log.nobody", path=path))
        return
    out.table(
        ("~client", "last-visit", ">visits", ">checks"),
        [
            (Text(one.client.alias, "bold"), _day(one.last_visit), str(one.visits), str(one.checks))
            for one in summaries
        ],
    )
    out.aside(path)


def print_client(logbook: Logbook, client: Client, console: Console | None = None) -> None:
    """Print a client's visits, the latest first, with strands and checks."""
    out = Printer(console)
    out.line(client.alias, style="bold")
    visits = logbook.visits(client.id)
    if not visits:
        out.line(say("log.no-visit"))
    for visit in visits:
        out.line()
        note = " ".join(visit.note.split())
        out.line(f"{_day(visit.started)}  ·  {note}" if note else _day(visit.started))
        for strand in logbook.strands(visit.id):
            out.line()
            out.line(_about(strand), style="bold")
            checks = logbook.looks(strand.id)
            _print_checks(strand, checks, out)
            for check in checks:
                if check.note:
                    out.aside(f"{_clock(check.at)}  {' '.join(check.note.split())}")
            if any(check.stretch == "gummy" for check in checks):
                out.warn(say("log.gummy"))


def print_entered(client: Client, strand: Strand, check: LookRecord, console: Console | None = None) -> None:
    """Print a check that was entered."""
    out = Printer(console)
    told = f"{_day(check.at)} {_clock(check.at)}  {say('log.level', level=_level(check.reading['overall']))}"
    if check.outlook:
        told += f"  ·  {_verdict(check.outlook, None)}"
    out.line(say("log.entered", client=client.alias, strand=strand.name, what=told))
    if check.stretch == "gummy":
        out.warn(say("log.gummy"))


def print_deletion(client: Client, deletion: Deletion, console: Console | None = None) -> None:
    """Print what was deleted."""
    out = Printer(console)
    out.line(say("log.deleted", client=client.alias, counts=counts(deletion.visits, deletion.checks)))
    if not deletion.erased:
        out.warn(say("log.bytes-remain"))


def counts(visits: int, checks: int) -> str:
    """Write how much there is, such as '2 visits and 1 check'."""
    return say("log.counts", visits=say("log.visits", visits=visits), checks=say("log.checks", checks=checks))


def _about(strand: Strand) -> str:
    parts = [strand.name]
    if strand.target is not None:
        parts.append(say("log.wanted", shade=shade_name(strand.target)))
    if strand.started is not None:
        parts.append(say("log.on", time=_clock(strand.started)))
    if strand.limit_minutes is not None:
        parts.append(say("log.limit", minutes=strand.limit_minutes))
    return "  ·  ".join(parts)


def _print_checks(strand: Strand, checks: Sequence[LookRecord], out: Printer) -> None:
    """Print the checks as a table, without the columns in which nothing would stand."""
    if not checks:
        out.line(say("log.no-check"))
        return
    columns: dict[str, list[str]] = {
        "time": [_clock(check.at) for check in checks],
        "minutes": [_minutes(strand, check) for check in checks],
        "level": [_level(check.reading["overall"]) for check in checks],
        "": [say("column.wet") if check.wet else "" for check in checks],
        "~wanted-shade": [_verdict(check.outlook, strand.target) for check in checks],
        "stretch": [check.stretch or "" for check in checks],
    }
    filled = {heading: cells for heading, cells in columns.items() if any(cells)}
    styles = ["bold" if check.stretch == "gummy" else "" for check in checks]
    out.table(list(filled), list(zip(*filled.values(), strict=True)), styles)


def _minutes(strand: Strand, check: LookRecord) -> str:
    minutes = strand.minutes_at(check.at)
    return "" if minutes is None else f"{minutes:.0f}"


def _level(zone: dict[str, Any]) -> str:
    spread = zone.get("level_sd")
    return figure(zone["level"], ".1f") if spread is None else plus_minus(zone["level"], spread)


def _verdict(outlook: dict[str, Any] | None, wanted: str | None) -> str:
    """Say what the wanted shade would become, as the outlook says it of the zone that misses it by most.

    Parameters
    ----------
    outlook : a ``strandgauge.outlook/1`` document.
    wanted : the strand's own shade, which need not be named again.
    """
    if outlook is None:
        return ""
    worst = max(outlook.get("zones") or [{}], key=lambda zone: zone.get("delta_e00", 0.0))
    name, saying = outlook.get("target", {}).get("name"), str(worst.get("saying", outlook["verdict"]))
    return saying if name in (None, wanted) else f"{shade_name(name)}: {saying}"


def _day(time: datetime | None) -> str:
    return "" if time is None else time.astimezone().strftime("%Y-%m-%d")


def _clock(time: datetime) -> str:
    return time.astimezone().strftime("%H:%M")
