"""Everything a worker needs, imported and loaded ahead, so that its first photo is as quick as any other.

Imported once by the process of which the workers are copies; they find all of it in place.
"""

from __future__ import annotations

from functools import cache


@cache
def up() -> None:
    """Import what reading a photo imports, and load the data that ships with the package."""
    import cv2
    import scipy.optimize  # noqa: F401
    from PIL import Image, ImageDraw, ImageFont, JpegImagePlugin  # noqa: F401

    from strandgauge.dye.palette import load_palette
    from strandgauge.dye.targets import load_targets
    from strandgauge.hair.family import hair_family
    from strandgauge.hair.levels import load_ladder
    from strandgauge.judge.outlook import BaseZone
    from strandgauge.judge.reach import reach
    from strandgauge.reading.pipeline import default_card
    from strandgauge.show.picture import reading as picture  # noqa: F401
    from strandgauge.show.picture import strip  # noqa: F401
    from strandgauge.strand.direction import load_light_model

    cv2.setNumThreads(1)
    default_card()
    load_light_model()
    shades, ladder = load_targets(), load_ladder()
    hair_family(ladder)
    # The first outlook lays out the mixes of the whole shelf, which later ones find again.
    reach([BaseZone("overall", ladder.lab[-1])], shades[0], load_palette(), shades, ladder)


up()
