"""The short list of cautions that fits an outlook, as codes, most pressing first.

Common practice of the trade; no source is cited. The tool reads colour only: it cannot see damage, and nothing here
says that hair can bear a lift.
"""

from __future__ import annotations

import math

from strandgauge.codes.facts import Note, note
from strandgauge.dye.formula import SMALL_STEPS, too_small
from strandgauge.dye.shelf import Shelf
from strandgauge.judge.history import History
from strandgauge.judge.outlook import Outlook


def cautions_for(outlook: Outlook, shelf: Shelf, scale: float, history: History) -> tuple[Note, ...]:
    """Return the cautions; the two that come first are those to show before all else."""
    lifting = outlook.does("lift")
    # What concerns this person comes before what concerns everyone.
    found = [note("minor")] if history.minor else []
    if lifting and history.persulfate_allergy is None:
        found.append(note("ask-persulfate"))
    if lifting:
        found.append(note("feel-it"))
    found.append(note("strand-test-first"))
    if history.patch_test != "passed":
        found.append(note("patch-test"))
    found += [note("gloves"), note("not-condition"), note("local-rules")]
    formulas = [zone.formula for zone in outlook.zones if zone.formula and zone.verdict != "out"]
    used = {part.dye for formula in formulas for part in formula}
    glowing = [dye.name for dye in shelf.dyes if dye.fluorescent and dye.name in used]
    if glowing:
        found.append(note("fluorescent", dyes=", ".join(glowing)))
    small = [part for formula in formulas if (part := too_small(formula, shelf, scale))]
    if small:
        part = min(small, key=lambda one: one.grams)
        times = math.ceil(SMALL_STEPS * scale / part.grams)
        found.append(
            note(
                "too-little-to-weigh",
                grams=part.grams,
                dye=part.dye,
                scale=scale,
                clear=shelf.clear,
                times=times,
            )
        )
    return tuple(found)
