"""What was learned as plain dictionaries, ready for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from strandgauge.show.json.reading import short, shorts

if TYPE_CHECKING:
    from strandgauge.learn.kept import Learned
    from strandgauge.learn.levels import LearnedLadder
    from strandgauge.learn.prints import LearnedPrint

Document = dict[str, Any]


def levels_document(learned: LearnedLadder, source: str, file: str, in_use: bool) -> Document:
    """Return a learned ladder as ``strandgauge.learned-levels/1``."""
    return {
        "schema": "strandgauge.learned-levels/1",
        "name": learned.ladder.name,
        "source": source,
        "file": file,
        "in_use": in_use,
        "against": learned.against,
        "mean_level_shift": short(learned.mean_shift),
        "mean_delta_e00": short(learned.mean_delta_e00),
        "levels": [
            {
                "level": rung.level,
                "lab": shorts(rung.lab),
                "lab_sd": None if rung.lab_sd is None else shorts(rung.lab_sd),
                "origin": rung.origin,
                "photos": rung.photos,
                "delta_e00": short(rung.delta_e00),
                "level_there": short(rung.level_there),
            }
            for rung in learned.rungs
        ],
        "unsure_steps": [
            {"from": lower, "to": upper, "rise": short(rise), "noise": short(noise)}
            for lower, upper, rise, noise in learned.unsure_steps
        ],
    }


def card_document(name: str, learned: LearnedPrint | None, file: str, in_use: bool) -> Document:
    """Return a learned print as ``strandgauge.learned-card/1``; of measurements only the file is told."""
    document: Document = {
        "schema": "strandgauge.learned-card/1",
        "name": name,
        "file": file,
        "in_use": in_use,
        "learned": None,
    }
    if learned is not None:
        document["learned"] = {
            "card": learned.card.name,
            "trusted": learned.trusted,
            "photos": list(learned.photos),
            "error": short(learned.error),
            "from_nominal": short(learned.from_nominal),
            "trusted_left_out": short(learned.trusted_left_out),
            "paper": None if learned.paper is None else shorts(learned.paper),
            "patches": [
                {
                    "id": patch.id,
                    "nominal": shorts(patch.nominal),
                    "lab": shorts(patch.lab),
                    "lab_sd": shorts(patch.lab_sd),
                    "error": short(patch.error),
                }
                for patch in learned.patches
            ],
        }
    return document


def learned_list_document(folder: str, everything: Sequence[Learned]) -> Document:
    """Return all that was learned as ``strandgauge.learned-list/1``."""
    return {
        "schema": "strandgauge.learned-list/1",
        "folder": folder,
        "learned": [
            {"kind": one.kind, "name": one.name, "file": str(one.path), "in_use": one.in_use}
            for one in everything
        ],
    }
