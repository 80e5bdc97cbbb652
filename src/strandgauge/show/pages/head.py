"""What a handout says above its strands: title, class, student, date, and the minutes of each look."""

from __future__ import annotations

from dataclasses import dataclass

from strandgauge.words import say


@dataclass(frozen=True, slots=True)
class Head:
    """All of it may be left out."""

    title: str = ""
    group: str = ""
    student: str = ""
    date: str = ""
    minutes: tuple[float, ...] = ()
    """Since the lightener went on, of each strand."""

    @property
    def rows(self) -> tuple[str, ...]:
        """What stands beside the title."""
        group = say("head.group", name=self.group) if self.group else ""
        student = say("head.student", name=self.student) if self.student else ""
        return tuple(row for row in (group, student, self.date) if row)
