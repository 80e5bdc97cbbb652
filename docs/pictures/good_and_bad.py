"""Makes good-and-bad.jpg from the sample photos: what a photo should look like, and four that are refused.

python docs/pictures/good_and_bad.py
"""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw, ImageFont, ImageOps

HERE = Path(__file__).parent
SAMPLES = HERE.parents[1] / "sample_images"
PHOTOS = (
    ("uneven.jpg", True, "Good: whole card, flat, soft light"),
    ("tilted.jpg", True, "Still good: held aslant"),
    ("refuse-glare.jpg", False, "No: a lamp mirrors on the card"),
    ("refuse-cut-off.jpg", False, "No: the card is cut off"),
    ("refuse-overexposed.jpg", False, "No: white is burnt out"),
    ("refuse-blur.jpg", False, "No: out of focus"),
)
WIDTH, HEIGHT, LABEL, GAP = 420, 315, 44, 12


def main() -> None:
    """Write the picture."""
    sheet = Image.new("RGB", (3 * WIDTH + 4 * GAP, 2 * (HEIGHT + LABEL) + 3 * GAP), (255, 255, 255))
    draw = ImageDraw.Draw(sheet)
    font = ImageFont.load_default(20)
    for place, (name, good, words) in enumerate(PHOTOS):
        x = GAP + place % 3 * (WIDTH + GAP)
        y = GAP + place // 3 * (HEIGHT + LABEL + GAP)
        with Image.open(SAMPLES / name) as photo:
            upright = ImageOps.exif_transpose(photo).convert("RGB")
        sheet.paste(ImageOps.pad(upright, (WIDTH, HEIGHT), color=(245, 245, 245)), (x, y))
        mark = (20, 110, 60) if good else (170, 30, 30)
        draw.rectangle((x, y, x + WIDTH - 1, y + HEIGHT - 1), outline=mark, width=5)
        draw.text((x + 30, y + HEIGHT + 8), words, fill=(20, 20, 20), font=font)
        middle = y + HEIGHT + 21
        if good:
            draw.line([(x + 4, middle), (x + 11, middle + 8), (x + 22, middle - 9)], fill=mark, width=4)
        else:
            draw.line([(x + 4, middle - 8), (x + 20, middle + 8)], fill=mark, width=4)
            draw.line([(x + 4, middle + 8), (x + 20, middle - 8)], fill=mark, width=4)
    sheet.save(HERE / "good-and-bad.jpg", quality=86)


if __name__ == "__main__":
    main()
