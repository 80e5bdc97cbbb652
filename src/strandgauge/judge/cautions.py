"""The short list of cautions that fits an outlook.

Common practice of the trade; no source is cited for the wording. The limits are this project's own choice.
The tool reads colour only: it cannot see damage, and nothing here says that hair can bear a lift.
"""

from __future__ import annotations

from collections.abc import Iterable

from strandgauge.dye.palette import Palette
from strandgauge.judge.outlook import ZoneOutlook

MOST_LIFT = 3.0
"""Levels of further lift beyond which the answer is to stop."""
LEAST_LIFT = 0.2
"""Levels of further lift below which there is nothing to say about it."""


def cautions_for(
    zones: Iterable[ZoneOutlook],
    palette: Palette,
    darkest: str | None,
    darkest_level: float,
    needs_level: float | None,
    weighing: str | None,
    stain: str | None,
) -> tuple[str, ...]:
    """Return the cautions, most pressing first; ``darkest`` names a zone that is darker than the rest."""
    zones = tuple(zones)
    found: list[str] = []
    if any(zone.verdict != "true" for zone in zones):
        found += _lifting(darkest, darkest_level, needs_level, stain)
    if stain is not None:
        found.append(
            f"Old dye shows ({stain}): more lightener may not shift it. The forecast reckons with it."
        )
    found += [
        "Strand test first: this formula on a hidden strand of this hair, dried, before it goes on the head.",
        "Patch test as the dye's maker says, each time.",
        "Gloves; keep dye off broken or irritated skin.",
        "A photo shows colour, not condition: it cannot tell whether hair is strong enough.",
        "Licensed practice, the makers' directions and local rules come first.",
    ]
    used = {part.dye for zone in zones if zone.verdict != "out of reach" for part in zone.formula}
    glowing = [dye.name for dye in palette.dyes if dye.fluorescent and dye.name in used]
    if glowing:
        found.append(f"Fluorescent dye in {', '.join(glowing)}: it can look brighter than foretold.")
    if used and weighing is not None:
        found.append(weighing)
    return tuple(found)


def _lifting(darkest: str | None, level: float, needs_level: float | None, stain: str | None) -> list[str]:
    if needs_level is None and stain is not None:
        return [
            f"Stop: no lift makes this shade read true while the old dye ({stain}) is in the hair. "
            "Let it fade or take it out first, or choose a shade that reads true over it."
        ]
    if needs_level is None:
        return ["Stop: no lift makes this shade read true on this hair. Choose a shade that does."]
    more = needs_level - level
    what = "This hair" if darkest is None else f"The darkest part ({darkest})"
    if more > MOST_LIFT:
        return [
            f"Stop: {what[0].lower()}{what[1:]} would need about {more:.0f} more levels of lift, more than to ask "
            "of hair at once. Only a strand test and a professional's hands and eyes can tell what it bears."
        ]
    if more >= LEAST_LIFT:
        return [
            f"{what} would need about {more:.1f} more levels of lift. Whether it bears that, no photo can tell: "
            "strand test, and stop if it turns stretchy, gummy or rough."
        ]
    return []
