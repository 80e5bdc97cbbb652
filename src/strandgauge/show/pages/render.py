"""The one way to a page: Jinja2 templates of this folder, everything escaped, everything inlined.

A page is one file without network. Its Content-Security-Policy says so to the browser: no request of any kind,
pictures and the font only as data, and no script but those whose hash it names.
"""

from __future__ import annotations

import base64
import hashlib
import math
import re
import threading
from collections.abc import Iterable
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from strandgauge.codes.catalogue import language
from strandgauge.colour.cielab import as_lab
from strandgauge.colour.srgb import hex_colour, lab_from_hex
from strandgauge.words import figure, said, say, sentence
from strandgauge.words.colour import colour_word, shade_name
from strandgauge.words.reading import at_least

FOLDER = Path(__file__).parent
FONT = FOLDER / "fonts" / "letters.woff2"
"""The letters of every page, in all weights from 400 to 800; docs/FONT-LICENSE."""
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")
"""What HTML does not allow in text; a file name may hold it all the same."""


_compiling = threading.Lock()


class _OneAtATime(jinja2.Environment):
    """Compiles one template at a time, whichever threads ask.

    A template's numbers are parsed by Python's own parser, which counts its depth for all threads together and calls
    it an error of the system when two of them are in it (Python 3.11).
    """

    def compile(self, *source: Any, **options: Any) -> Any:  # noqa: ANN401 - as the library has it
        with _compiling:
            return super().compile(*source, **options)


@cache
def environment() -> jinja2.Environment:
    """Return the environment of the pages: autoescape on, a name left out of the values is an error.

    Filters: ``hex`` (CIELAB to ``#rrggbb``), ``data_uri`` and ``picture_size`` (bytes of a JPEG), ``minutes``,
    ``capital``, ``at_least`` (a needed level), ``figure`` (a number by its format), ``said`` (a note in words),
    ``shade`` (its name), ``colour_word`` (of ``#rrggbb``). Globals: ``asset`` (a file of this folder, as it is),
    ``content_policy``, ``letters`` (the font as a ``data:`` address), ``language`` and ``say``.
    """
    made = _OneAtATime(
        loader=jinja2.FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=printable,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        hex=hex_colour,
        data_uri=data_uri,
        picture_size=picture_size,
        minutes=minutes,
        capital=sentence,
        at_least=at_least,
        colour_word=lambda colour: colour_word(as_lab(lab_from_hex(colour))),
        said=said,
        figure=figure,
        shade=shade_name,
    )
    made.globals.update(
        asset=asset, content_policy=content_policy, letters=letters, say=say, language=language
    )
    return made


def render(template: str, **values: object) -> str:
    """Return a template of this folder filled in.

    Raises
    ------
    jinja2.UndefinedError : a value that the template uses is missing.
    """
    return environment().get_template(template).render(**values)


def printable(value: object) -> object:
    """Put a replacement character for what HTML does not allow in text, in any text that a page shows."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return _UNPRINTABLE.sub("\ufffd", value)
    return value


def data_uri(content: bytes, kind: str = "image/jpeg") -> str:
    """Return bytes as a ``data:`` address."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"


def picture_size(content: bytes) -> tuple[int, int]:
    """Return width and height of an encoded picture in pixels; only its header is read."""
    from PIL import Image

    with Image.open(BytesIO(content)) as picture:
        return picture.size


def minutes(value: float) -> str:
    """Write a time such as '17 min' or '1 h 5 min', with a space that does not break."""
    if not math.isfinite(value):
        return say("duration.never")
    whole = round(value)
    if whole < 60:
        return say("duration.minutes", minutes=whole)
    hours, rest = divmod(whole, 60)
    return say("duration.both", hours=hours, minutes=rest) if rest else say("duration.hours", hours=hours)


@cache
def asset(name: str) -> Markup:
    """Return a style or script of this folder, our own and no input in it, to be inlined as it is."""
    return Markup((FOLDER / name).read_text(encoding="utf-8"))


@cache
def letters() -> str:
    """Return the font of the pages as a ``data:`` address: a layout must not hang on what a machine has."""
    return data_uri(FONT.read_bytes(), "font/woff2")


def content_policy(scripts: Iterable[str] = ()) -> str:
    """Return a Content-Security-Policy that forbids all but inlined pictures, font, style and the named scripts."""
    hashes = [
        "'sha256-" + base64.b64encode(hashlib.sha256(asset(name).encode()).digest()).decode() + "'"
        for name in scripts
    ]
    return "; ".join(
        (
            "default-src 'none'",
            "img-src data:",
            "font-src data:",
            "style-src 'unsafe-inline'",
            "script-src " + (" ".join(hashes) or "'none'"),
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
