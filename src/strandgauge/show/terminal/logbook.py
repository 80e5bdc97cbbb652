"""The logbook as text for a terminal; times are those of this computer's clock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from strandgauge.logbook.book import Logbook
from strandgauge.logbook.records import CheckRecord, Client, ClientSummary, Deletion, Strand
from strandgauge.reading.model import COVERAGE
from strandgauge.show.terminal.reading import plain_table

GUMMY_MEANS_STOP = "A stretch test was gummy. That means stop: rinse, and no more lightener on this hair."
BYTES_MAY_REMAIN = (
    "The entries are gone, but another program is reading the logbook, so their bytes may still stand in its files. "
    "They are erased the next time the logbook opens or closes with nobody else reading."
)


def print_clients(summaries: Sequence[ClientSummary], path: str, console: Console | None = None) -> None:
    """Print the list of clients."""
    console = console or Console(highlight=False)
    if not summaries:
        console.print(Text(f"Nobody is in the logbook {path} yet."))
        return
    table = plain_table()
    table.add_column("client")
    table.add_column("last visit", no_wrap=True)
    table.add_column("visits", justify="right")
    table.add_column("checks", justify="right")
    for one in summaries:
        table.add_row(
            Text(one.client.alias, style="bold"), _day(one.last_visit), str(one.visits), str(one.checks)
        )
    console.print(table)
    console.print(Text(path, style="dim"))


def print_client(logbook: Logbook, client: Client, console: Console | None = None) -> None:
    """Print a client's visits, the latest first, with strands and checks."""
    console = console or Console(highlight=False)
    console.print(Text(client.alias, style="bold"))
    visits = logbook.visits(client.id)
    if not visits:
        console.print(Text("No visit yet."))
    for visit in visits:
        console.print()
        console.print(Text(_with_note(_day(visit.started), visit.note)))
        for strand in logbook.strands(visit.id):
            console.print()
            console.print(Text(_about(strand), style="bold"))
            checks = logbook.checks(strand.id)
            console.print(_checks(strand, checks) if checks else Text("No check yet."))
            for check in checks:
                if check.note:
                    console.print(Text(f"{_clock(check.at)}  {' '.join(check.note.split())}", style="dim"))
            if any(check.stretch == "gummy" for check in checks):
                console.print(Text.assemble(("! ", "bold"), GUMMY_MEANS_STOP))


def print_entered(client: Client, strand: Strand, check: CheckRecord, console: Console | None = None) -> None:
    """Print a check that was entered."""
    console = console or Console(highlight=False)
    when = check.at.astimezone().strftime("%Y-%m-%d %H:%M")
    phrases = [f"{when}  level {_level(check.reading['overall'])}"]
    phrases += [_verdict(check.outlook, None)] if check.outlook else []
    console.print(Text(f"Entered: {client.alias}, {strand.name}, {'  ·  '.join(phrases)}"))
    if check.stretch == "gummy":
        console.print(Text.assemble(("! ", "bold"), GUMMY_MEANS_STOP))


def print_deletion(client: Client, deletion: Deletion, console: Console | None = None) -> None:
    """Print what was deleted."""
    console = console or Console(highlight=False)
    console.print(Text(f"Deleted: {client.alias}, with {counts(deletion.visits, deletion.checks)}."))
    if not deletion.erased:
        console.print(Text.assemble(("! ", "bold"), BYTES_MAY_REMAIN))


def counts(visits: int, checks: int) -> str:
    """Write how much there is, such as '2 visits and 1 check'."""
    return f"{visits} visit{'s' * (visits != 1)} and {checks} check{'s' * (checks != 1)}"


def _about(strand: Strand) -> str:
    parts = [strand.name]
    if strand.target is not None:
        parts.append(f"wanted: {strand.target}")
    if strand.started is not None:
        parts.append(f"lightener on {_clock(strand.started)}")
    if strand.limit_minutes is not None:
        parts.append(f"limit {strand.limit_minutes:g} min")
    return "  ·  ".join(parts)


def _checks(strand: Strand, checks: Sequence[CheckRecord]) -> Table:
    """Lay the checks out in a table, without the columns in which nothing would stand."""
    columns: dict[str, list[str]] = {
        "time": [_clock(check.at) for check in checks],
        "min": [_minutes(strand, check) for check in checks],
        "level": [_level(check.reading["overall"]) for check in checks],
        "wet": ["wet" if check.wet else "" for check in checks],
        "wanted shade": [_verdict(check.outlook, strand.target) for check in checks],
        "stretch": [check.stretch or "" for check in checks],
    }
    filled = {heading: cells for heading, cells in columns.items() if any(cells)}
    table = plain_table()
    for heading in filled:
        table.add_column("" if heading == "wet" else heading, no_wrap=heading != "wanted shade")
    rows = zip(*filled.values(), strict=True)
    for check, row in zip(checks, rows, strict=True):
        table.add_row(*map(Text, row), style="bold" if check.stretch == "gummy" else "")
    return table


def _minutes(strand: Strand, check: CheckRecord) -> str:
    minutes = strand.minutes_at(check.at)
    return "" if minutes is None else f"{minutes:.0f}"


def _level(zone: dict[str, Any]) -> str:
    spread = zone.get("level_sd")
    return f"{zone['level']:.1f}" + ("" if spread is None else f" ± {COVERAGE * spread:.1f}")


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
    return saying if name in (None, wanted) else f"{name}: {saying}"


def _with_note(text: str, note: str) -> str:
    return text + (f"  ·  {' '.join(note.split())}" if note else "")


def _day(time: datetime | None) -> str:
    return "" if time is None else time.astimezone().strftime("%Y-%m-%d")


def _clock(time: datetime) -> str:
    return time.astimezone().strftime("%H:%M")
