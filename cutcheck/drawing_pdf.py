"""A drawing of this program's own as a PDF page at true size.

Reads back only what ``drawing_cut`` writes: rect, polygon, polyline and text, in mm. No general SVG reader.
"""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET

from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

_SVG = "{http://www.w3.org/2000/svg}"


def drawing_pdf(svg: str) -> bytes:
    """The PDF of one drawing, its page as large as the drawing is (120 mm wide, or A4)."""
    root = ET.fromstring(svg)
    wide, high = (float(v) for v in root.attrib["viewBox"].split()[2:])
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(wide * mm, high * mm), invariant=True)
    canvas.setTitle(root.findtext(f"{_SVG}title") or "")
    canvas.scale(mm, mm)
    for element in root:
        kind, how = element.tag.removeprefix(_SVG), element.attrib
        if kind == "text":
            _write(canvas, how, element.text or "", high)
        elif kind in ("polygon", "polyline", "rect"):
            _draw(canvas, kind, how, high)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _write(canvas: Canvas, how: dict[str, str], words: str, high: float) -> None:
    canvas.setFont(
        "Helvetica-Bold" if how.get("font-weight") == "bold" else "Helvetica", float(how["font-size"])
    )
    canvas.setFillColor(HexColor(how["fill"]))
    write = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    write[how["text-anchor"]](float(how["x"]), high - float(how["y"]), words)


def _draw(canvas: Canvas, kind: str, how: dict[str, str], high: float) -> None:
    if kind == "rect":
        wide, tall = float(how["width"]), float(how["height"])
        points = [(0.0, 0.0), (wide, 0.0), (wide, tall), (0.0, tall)]
    else:
        points = [(float(x), float(y)) for x, y in (pair.split(",") for pair in how["points"].split())]
    path = canvas.beginPath()
    path.moveTo(points[0][0], high - points[0][1])
    for x, y in points[1:]:
        path.lineTo(x, high - y)
    if kind != "polyline":
        path.close()
    filled, stroked = how.get("fill", "none") != "none", "stroke" in how
    if filled:
        canvas.setFillColor(HexColor(how["fill"]))
    if stroked:
        canvas.setStrokeColor(HexColor(how["stroke"]))
        canvas.setLineWidth(float(how["stroke-width"]))
        canvas.setLineJoin(1)
        canvas.setDash([float(d) for d in how.get("stroke-dasharray", "").split()])
    canvas.drawPath(path, stroke=int(stroked), fill=int(filled))
