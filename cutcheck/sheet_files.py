"""Sheets as files at true size: PDF (all sheets in one), SVG and PNG (one file a sheet)."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape

from cutcheck.errors import CutcheckError
from cutcheck.sheet import Fill, Line, Sheet, Words
from cutcheck.whole_file import write_whole

PNG_DPI = 600  # an edge is then at most 0.02 mm off, half a pixel
_MM_PER_INCH = 25.4  # exactly
_POINTS_PER_MM = 72 / _MM_PER_INCH
_ENDINGS = (".pdf", ".svg", ".png")


def save_sheets(sheets: Sequence[Sheet], path: str | Path, *, font: str | Path | None = None) -> list[Path]:
    """Write the sheets in the format of the file's ending and return the files written.

    Several sheets as SVG or PNG become ``cards-1.png``, ``cards-2.png``. ``font`` is a TrueType file for
    names in letters that the built-in one lacks. Raises ``bad-option`` for another ending or a place that
    can't be written.
    """
    path = Path(path)
    ending = path.suffix.lower()
    if ending not in _ENDINGS:
        problem = f"'{path.name}' ends in none of {', '.join(_ENDINGS)}."
        raise CutcheckError("bad-option", problem=problem, remedy="Name the file cards.pdf, for example.")
    if ending == ".pdf":
        files = [(path, to_pdf(sheets, font=font))]
    else:
        several = len(sheets) > 1
        places = [path.with_stem(f"{path.stem}-{k}") if several else path for k in range(1, len(sheets) + 1)]
        files = [
            (place, to_svg(sheet).encode() if ending == ".svg" else to_png(sheet, font=font))
            for place, sheet in zip(places, sheets, strict=True)
        ]
    for place, data in files:
        write_whole(place, data)
    return [place for place, _ in files]


def to_pdf(sheets: Sequence[Sheet], *, font: str | Path | None = None) -> bytes:
    """The sheets as one PDF, drawn as vectors at true size, which asks viewers not to scale it."""
    from reportlab.pdfgen.canvas import Canvas

    plain, bold = pdf_fonts(str(font) if font else None, _all_text(sheets))
    out = io.BytesIO()
    pdf = Canvas(out, invariant=1, initialFontName=plain)
    pdf.setTitle(sheets[0].title)
    pdf.setCreator("cutcheck")
    pdf.setViewerPreference("PrintScaling", "None")
    if any(sheet.is_back for sheet in sheets):
        pdf.setViewerPreference("Duplex", "DuplexFlipLongEdge")
    for sheet in sheets:
        width, height = sheet.size_mm
        pdf.setPageSize((width * _POINTS_PER_MM, height * _POINTS_PER_MM))
        pdf.scale(_POINTS_PER_MM, -_POINTS_PER_MM)
        pdf.translate(width / 2, -height / 2)
        for mark in sheet.marks:
            if isinstance(mark, Fill):
                # One colorant only: black from four inks has fringes wherever they do not meet exactly.
                pdf.setFillGray(mark.grey / 255)
                path = pdf.beginPath()
                for area in mark.areas:
                    path.rect(area.left, area.top, area.right - area.left, area.bottom - area.top)
                pdf.drawPath(path, stroke=0, fill=1)
            elif isinstance(mark, Line):
                pdf.setStrokeGray(mark.grey / 255)
                pdf.setLineWidth(mark.thickness)
                pdf.line(mark.x1, mark.y1, mark.x2, mark.y2)
            else:
                pdf.saveState()
                pdf.translate(mark.x, mark.y)
                pdf.scale(1, -1)  # the page runs down, letters stand up
                pdf.setFillGray(mark.grey / 255)
                pdf.setFont(bold if mark.bold else plain, _type_size(mark, bold if mark.bold else plain))
                draw = {"start": pdf.drawString, "middle": pdf.drawCentredString, "end": pdf.drawRightString}
                draw[mark.anchor](0, 0, mark.text)
                pdf.restoreState()
        pdf.showPage()
    pdf.save()
    return out.getvalue()


def to_svg(sheet: Sheet) -> str:
    """The sheet as SVG 1.1; one user unit is one millimetre, the origin the middle of the sheet."""
    width, height = sheet.size_mm
    plain, bold = pdf_fonts(None, "")  # to know how wide words are
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="{-width / 2:g} {-height / 2:g} {width:g} {height:g}" '
        'font-family="Bitstream Vera Sans, DejaVu Sans, Verdana, sans-serif">',
        f"<title>{escape(sheet.title)}</title>",
        f'<rect x="{-width / 2:g}" y="{-height / 2:g}" width="{width:g}" height="{height:g}" fill="#fff"/>',
    ]
    for mark in sheet.marks:
        colour = f"rgb({mark.grey},{mark.grey},{mark.grey})"
        if isinstance(mark, Fill):
            steps = "".join(f"M{a.left:g} {a.top:g}H{a.right:g}V{a.bottom:g}H{a.left:g}Z" for a in mark.areas)
            parts.append(f'<path fill="{colour}" d="{steps}"/>')
        elif isinstance(mark, Line):
            parts.append(
                f'<line x1="{mark.x1:g}" y1="{mark.y1:g}" x2="{mark.x2:g}" y2="{mark.y2:g}" '
                f'stroke="{colour}" stroke-width="{mark.thickness:g}"/>'
            )
        else:
            weight = ' font-weight="bold"' if mark.bold else ""
            size = _type_size(mark, bold if mark.bold else plain)
            parts.append(
                f'<text x="{mark.x:g}" y="{mark.y:g}" font-size="{size:g}" text-anchor="{mark.anchor}" '
                f'fill="{colour}"{weight}>{escape(mark.text)}</text>'
            )
    return "\n".join([*parts, "</svg>", ""])


def to_png(sheet: Sheet, *, dpi: int = PNG_DPI, font: str | Path | None = None) -> bytes:
    """The sheet as a grey PNG that carries its resolution, so that it prints at true size."""
    from PIL import Image, ImageDraw, ImageFont

    per_mm = dpi / _MM_PER_INCH
    width, height = sheet.size_mm
    image = Image.new("L", (round(width * per_mm), round(height * per_mm)), 255)
    draw = ImageDraw.Draw(image)
    plain, bold = pdf_fonts(str(font) if font else None, _all_text([sheet]))

    def px(x: float, y: float) -> tuple[int, int]:
        return round((x + width / 2) * per_mm), round((y + height / 2) * per_mm)

    for mark in sheet.marks:
        if isinstance(mark, Fill):
            for area in mark.areas:
                (left, top), (right, bottom) = px(area.left, area.top), px(area.right, area.bottom)
                draw.rectangle((left, top, right - 1, bottom - 1), fill=mark.grey)
        elif isinstance(mark, Line):
            ends = (px(mark.x1, mark.y1), px(mark.x2, mark.y2))
            draw.line(ends, fill=mark.grey, width=max(1, round(mark.thickness * per_mm)))
        else:
            size = _type_size(mark, bold if mark.bold else plain)
            type_face = ImageFont.truetype(str(font or _vera(mark.bold)), size * per_mm)
            anchor = {"start": "ls", "middle": "ms", "end": "rs"}[mark.anchor]
            draw.text(px(mark.x, mark.y), mark.text, fill=mark.grey, font=type_face, anchor=anchor)
    out = io.BytesIO()
    image.save(out, "PNG", dpi=(dpi, dpi), optimize=False, compress_level=6)
    return out.getvalue()


def _type_size(words: Words, font_name: str) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    if words.widest is None:
        return words.size
    width = float(stringWidth(words.text, font_name, words.size))
    return words.size * min(1.0, words.widest / width) if width else words.size


def _all_text(sheets: Sequence[Sheet]) -> str:
    return "".join(mark.text for sheet in sheets for mark in sheet.marks if isinstance(mark, Words))


def _vera(bold: bool) -> Path:
    import reportlab

    return Path(reportlab.__file__).parent / "fonts" / ("VeraBd.ttf" if bold else "Vera.ttf")


@cache
def _type_face(file: str, name: str) -> frozenset[int]:
    """Register a TrueType file with the PDF library; the letters it has, as code points."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    try:
        face = TTFont(name, file)
    except (TTFError, OSError, ValueError, IndexError) as error:
        problem = f"'{file}' is no TrueType font that can be used ({error})."
        raise CutcheckError("bad-option", problem=problem, remedy="Give a .ttf file.") from None
    pdfmetrics.registerFont(face)
    return frozenset(face.face.charToGlyph)


def pdf_fonts(font: str | None, text: str) -> tuple[str, str]:
    """The names of the plain and the bold type face; ``bad-option`` where ``text`` has letters they lack."""
    _check_letters(font, text)
    return (f"own {font}", f"own {font}") if font else ("cutcheck", "cutcheck bold")


def _check_letters(font: str | None, text: str) -> None:
    """Refuse text that would come out as empty boxes."""
    if font:
        known = _type_face(font, f"own {font}")
    else:
        known = _type_face(str(_vera(False)), "cutcheck") & _type_face(str(_vera(True)), "cutcheck bold")
    missing = sorted({letter for letter in text if ord(letter) not in known})
    if missing:
        raise CutcheckError(
            "bad-option",
            problem=f"The font has no {' '.join(missing[:8])}.",
            remedy="Write the names in Latin letters, or give a TrueType font that has these letters.",
        )
