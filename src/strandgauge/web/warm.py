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

    from strandgauge.hair.family import hair_family
    from strandgauge.judge.outlook import BaseZone
    from strandgauge.kit import shipped
    from strandgauge.light.remainder import load_remainder_model
    from strandgauge.show.picture import reading as picture  # noqa: F401
    from strandgauge.show.picture import strip  # noqa: F401
    from strandgauge.strand.direction import load_light_model

    cv2.setNumThreads(1)
    load_light_model()
    load_remainder_model()
    kit = shipped()
    hair_family(kit.ladder)
    # The first outlook lays out the mixes of the whole shelf, which later ones find again.
    kit.reach([BaseZone("overall", kit.ladder.lab[-1])], kit.targets[0])


up()
