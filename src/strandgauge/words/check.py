"""A check of card and light in words."""

from __future__ import annotations

from strandgauge.codes.facts import Note
from strandgauge.reading.model import CardCheck
from strandgauge.words import entries, say


def mending(found: Note) -> str:
    """Say what to do about a problem or a caution; empty for one that nothing is known of."""
    if f"{'remedy' if found.severity == 'refusal' else 'mend'}.{found.code}" not in entries():
        return ""
    if found.severity == "refusal":
        return say(f"remedy.{found.code}", **dict(found.facts))
    return say(f"mend.{found.code}", **dict(found.facts))


def remedies(check: CardCheck) -> tuple[str, ...]:
    """Say what to do about each problem and caution, in their order."""
    return tuple(mending(found) for found in (*check.problems, *check.cautions))


def verdict(check: CardCheck) -> str:
    """Say whether a reading could be trusted."""
    return say("check.trusted") if check.trusted else say("check.not-trusted")


def summary(check: CardCheck) -> list[str]:
    """Say which card was found, and how well its patches come out."""
    lines = [say("check.found", card=check.card, uneven=check.light_unevenness_percent)]
    if check.patches:
        fitted = sorted(patch.delta_e00 for patch in check.patches)
        left_out = sum(patch.delta_e00_leave_one_out for patch in check.patches) / len(check.patches)
        middle, largest = fitted[len(fitted) // 2], fitted[-1]
        lines.append(say("check.patches", median=middle, largest=largest, left_out=left_out))
    return lines
