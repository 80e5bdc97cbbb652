"""Paints a drawing as a vector PDF with embedded fonts and colours that mean something.

Colours are written as a printer expects them: relative to the paper. A printer puts the paper's own white
where the file says white, so a colour written relative to a perfect white would come out darker than meant,
by as much as the paper is darker than that. So each colour is divided by the paper's (the media-relative
colorimetry of the ICC profile format), and bare paper is left unpainted.
"""

from __future__ import annotations

from functools import cache
from io import BytesIO
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name, Operator
from PIL import ImageCms
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from strandgauge.card.drawing import Area, Drawing, Writing
from strandgauge.card.picture import font_file
from strandgauge.colour.cielab import WHITE_D65, Lab, lab_from_xyz, xyz_from_lab
from strandgauge.colour.srgb import srgb_from_lab

POINTS_PER_MM = 72.0 / 25.4


def text_width(words: str, size: float, *, bold: bool) -> float:
    """Return the width of a line of text, in the unit of its size."""
    return float(pdfmetrics.stringWidth(words, _font(bold), size))


@cache
def _font(bold: bool) -> str:
    """Return the name of the font, registered with the PDF library."""
    path = font_file(bold=bold)
    pdfmetrics.registerFont(TTFont(path.stem, str(path)))
    return path.stem


def relative_to_paper(lab: Lab, paper: Lab) -> tuple[float, float, float]:
    """Return sRGB, 0 to 1, with the paper as white: XYZ divided by the paper's, times that of D65."""
    xyz = xyz_from_lab(lab) / xyz_from_lab(paper) * WHITE_D65
    red, green, blue = srgb_from_lab(lab_from_xyz(xyz)).tolist()
    return red, green, blue


def pdf_bytes(drawing: Drawing, title: str) -> bytes:
    """Return a PDF of one page; the same drawing always gives the same bytes."""
    return _with_colour_space(_painted(drawing, title), title)


def _painted(drawing: Drawing, title: str) -> bytes:
    """Return the PDF with its colours still written as plain R, G, B."""
    file = BytesIO()
    width, height = (side * POINTS_PER_MM for side in drawing.size)
    canvas = Canvas(
        file, pagesize=(width, height), invariant=1, pageCompression=1, initialFontName=_font(False)
    )
    canvas.setTitle(title)
    canvas.setCreator("strandgauge")
    for shape in drawing.shapes:
        canvas.setFillColorRGB(*relative_to_paper(shape.colour, drawing.paper))
        if isinstance(shape, Area):
            _paint_area(canvas, shape, height)
        else:
            _paint_writing(canvas, shape, height)
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _paint_area(canvas: Any, area: Area, height: float) -> None:  # noqa: ANN401 - a library without types
    """Fill all polygons as one path, so that no seams show between neighbours."""
    path = canvas.beginPath()
    for polygon in area.polygons:
        (x, y), *others = ((x * POINTS_PER_MM, height - y * POINTS_PER_MM) for x, y in polygon)
        path.moveTo(x, y)
        for x, y in others:
            path.lineTo(x, y)
        path.close()
    canvas.drawPath(path, stroke=0, fill=1, fillMode=1)


def _paint_writing(canvas: Any, writing: Writing, height: float) -> None:  # noqa: ANN401
    text = writing.text
    canvas.setFont(_font(text.bold), text.size * POINTS_PER_MM)
    draw = {"left": canvas.drawString, "middle": canvas.drawCentredString, "right": canvas.drawRightString}
    draw[text.align](text.at[0] * POINTS_PER_MM, height - text.at[1] * POINTS_PER_MM, text.text)


@cache
def srgb_profile() -> bytes:
    """Return an ICC profile of sRGB (IEC 61966-2-1), without the moment it was made."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[24:36] = bytes(
        (7, 208, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0)
    )  # date and time of the header: 1 January 2000
    profile[84:100] = bytes(16)  # its checksum, which may be left out
    return bytes(profile)


def _with_colour_space(plain: bytes, title: str) -> bytes:
    """Return the PDF with every colour in sRGB as its ICC profile defines it, and printed unscaled."""
    with pikepdf.open(BytesIO(plain)) as pdf:
        profile = pdf.make_stream(srgb_profile(), N=3)
        space = Array([Name.ICCBased, profile])
        page = pdf.pages[0]
        page.Resources.ColorSpace = Dictionary(CardRGB=space, DefaultRGB=space)
        content: list[Any] = [([Name.RelativeColorimetric], Operator("ri"))]
        for step in pikepdf.parse_content_stream(page):
            if str(step.operator) == "rg":
                content.append(([Name.CardRGB], Operator("cs")))
                content.append((step.operands, Operator("sc")))
            else:
                content.append((step.operands, step.operator))
        page.Contents = pdf.make_stream(pikepdf.unparse_content_stream(content))
        pdf.Root.OutputIntents = Array(
            [
                Dictionary(
                    Type=Name.OutputIntent,
                    S=Name.GTS_PDFA1,
                    OutputConditionIdentifier="sRGB IEC61966-2.1",
                    Info="sRGB, colours relative to the paper",
                    DestOutputProfile=profile,
                )
            ]
        )
        pdf.Root.ViewerPreferences = Dictionary(PrintScaling=Name("/None"), DisplayDocTitle=True)
        if "/Info" in pdf.trailer:
            del pdf.trailer["/Info"]
        pdf.docinfo["/Title"] = title
        pdf.docinfo["/Creator"] = "strandgauge"
        file = BytesIO()
        pdf.save(file, min_version="1.6", deterministic_id=True, compress_streams=True)
    return file.getvalue()
