"""The drawings of the cuts: to scale, for every cut, on screen and in print."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import pypdfium2
import pytest
from scipy.integrate import quad

from cutcheck.cuts import entries
from cutcheck.drawing_cut import draw_comparison, draw_cut, drawn_sides
from cutcheck.drawing_forms import Solid, solid
from cutcheck.drawing_pdf import drawing_pdf
from cutcheck.drawing_wall import draw_wall_chart
from cutcheck.standards import SHIPPED, cuts, find_cut

SVG = "{http://www.w3.org/2000/svg}"


# two waves of a sine over 30 mm, a swing of 30/18: the length of the line, mm
WINDING = quad(lambda x: math.hypot(1.0, 2 * math.pi / 9 * math.cos(2 * math.pi / 15 * x)), 0, 30)[0]
# the square of a turned piece's profile, over its half length
BULGE = quad(lambda t: (0.62 + 0.38 * math.cos(math.pi * t / 2)) ** 2, -1, 1)[0]


def volume(form: Solid) -> float:
    """By the divergence theorem, mm³: right only where the faces close and all look outward."""
    total = 0.0
    for face in form.faces:
        x, y, z = (sum(p[k] for p in face.corners) / len(face.corners) for k in range(3))
        nx, ny, nz = face.normal
        total += (x * nx + y * ny + z * nz) / 2
    return total / 3


@pytest.mark.parametrize(
    ("form", "exact"),
    # closed forms for sides 30 x 20 x 10; round ones are drawn with many flat faces, so a little smaller
    [
        ("box", 30 * 20 * 10),
        ("diamond", 30 * 20 * 10 / 2),
        ("disc", math.pi / 4 * 30 * 20 * 10),
        ("half-disc", math.pi / 2 * 15 * 20 * 10),
        ("olive", math.pi / 6 * 30 * 20 * 10),
        ("ball", math.pi / 6 * 30 * 20 * 10),
        ("wedge", math.pi / 6 * 30 * 40 * 20 / 4),
        ("lattice", math.pi / 4 * 30 * 20 * 10),
        ("crumbs", 30 * 20 * 10 * (1 + 0.7**3 + 1.2**3 + 0.8**3 + 0.6**3)),
        # a round stick less what the two slanting cuts take, on average half of 0.55 of its width and height
        ("roll", math.pi / 4 * 20 * 10 * (30 - 0.55 * 10 - 0.55 * 5)),
        # width times the length of the winding line, by numeric integration
        (
            "ribbon",
            20
            * 10
            * quad(
                lambda x: math.hypot(1, 5 / 3 * 0.4 * math.pi / 3 * math.cos(0.4 * math.pi / 3 * x)), 0, 30
            )[0],
        ),
        # seven faces: the area of a heptagon over the square of the profile
        (
            "barrel",
            7
            / 8
            * math.sin(2 * math.pi / 7)
            * 20
            * 10
            * 15
            * quad(lambda t: (0.62 + 0.38 * math.cos(math.pi * t / 2)) ** 2, -1, 1)[0],
        ),
    ],
)
def test_forms_have_the_volume_of_their_geometry(form: str, exact: float) -> None:
    """Faces close and look outward: the volume by Gauss is that of the closed form, to 2 %."""
    assert volume(solid(form, 30, 20, 10, 7)) == pytest.approx(exact, rel=0.02)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", entries())
def test_every_cut_has_a_drawing_that_says_its_sizes(name: str) -> None:
    """It parses, lies within its page, names the cut, figures each size and states the scale."""
    cut = find_cut(name, sized=False)
    root = ET.fromstring(draw_cut(cut, "mm"))
    wide, high = (float(v) for v in root.attrib["viewBox"].split()[2:])
    points = [
        (float(x), float(y))
        for e in root
        if "points" in e.attrib
        for x, y in (pair.split(",") for pair in e.attrib["points"].split())
    ]
    assert points
    assert all(0 <= x <= wide and 0 <= y <= high for x, y in points)
    words = [e.text for e in root if e.tag == f"{SVG}text"]
    assert cut.entry.english in words
    for size in cut.sizes:
        assert cut.size_text(size.key, "mm") in words
    assert any(w and ("scale" in w or "true size" in w) for w in words)
    assert bool(cut.sizes) != ("not to scale: no source gives a size" in words)


@pytest.mark.parametrize(("name", "mm"), [("small-dice", (6.35, 6.35)), ("batonnet", (57.15, 6.35))])
def test_the_view_from_above_is_at_true_size(name: str, mm: tuple[float, float]) -> None:
    """In the drawing's own mm the piece from above measures its nominal sides, and the limits theirs."""
    cut = find_cut(name, "inch")
    root = ET.fromstring(draw_cut(cut))
    assert root.attrib["width"] == "120.0mm"
    rings = []
    for element in root.iter(f"{SVG}polygon"):
        corners = [tuple(map(float, p.split(","))) for p in element.attrib["points"].split()]
        wide = max(c[0] for c in corners) - min(c[0] for c in corners)
        rings.append((wide, max(c[1] for c in corners) - min(c[1] for c in corners)))
    target = {t.side: t for t in cut.targets}
    for wanted in (
        mm,
        (target["length"].low_mm, target["width"].low_mm),
        (target["length"].high_mm, target["width"].high_mm),
    ):
        assert any(ring == pytest.approx(wanted, abs=0.02) for ring in rings)


def test_the_drawing_in_space_is_to_its_stated_scale() -> None:
    """Of small dice at 3 : 1 each drawn edge is three times 6.35 mm, as isometric drawing has it."""
    root = ET.fromstring(draw_cut(find_cut("small-dice", "inch")))
    assert "scale 3 : 1" in [e.text for e in root.iter(f"{SVG}text")]
    face = next(root.iter(f"{SVG}polygon"))
    corners = [tuple(map(float, p.split(","))) for p in face.attrib["points"].split()]
    edges = [math.dist(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
    assert edges == pytest.approx([3 * 6.35] * 4, abs=0.02)


def test_unsized_sides_are_drawn_but_not_figured() -> None:
    """A rondelle's diameter is the carrot's: it is drawn, and no figure stands beside it."""
    cut = find_cut("rondelle")
    sides = drawn_sides(cut)
    assert sides.sized == ("height",)
    assert sides.length > 10
    words = [e.text for e in ET.fromstring(draw_cut(cut)).iter(f"{SVG}text")]
    assert words.count("3 mm") == 1
    assert f"{sides.length:g} mm" not in words


def test_a_comparison_shows_two_standards_at_one_scale() -> None:
    """Julienne by metric and inch: both names, both sizes, one scale."""
    both = [find_cut("julienne", s) for s in SHIPPED]
    words = [e.text for e in ET.fromstring(draw_comparison(both)).iter(f"{SVG}text")]
    assert {"metric", "inch", "section 2 mm", "section 1/8 in", "length 2 in"} <= set(words)
    assert sum(bool(w) and ("scale" in w or "true size" in w) for w in words) == 1


@pytest.mark.parametrize("standard", SHIPPED)
def test_the_wall_chart_is_one_a4_page_with_every_cut(standard: str) -> None:
    """Printed at 100 % it is A4; each cut of the standard is on it, and the house rule is called one."""
    document = pypdfium2.PdfDocument(drawing_pdf(draw_wall_chart(standard)))
    assert len(document) == 1
    page = document[0]
    assert (page.get_width() / 72 * 25.4, page.get_height() / 72 * 25.4) == pytest.approx((210, 297), abs=0.1)
    words = page.get_textpage().get_text_range()
    for cut in cuts(standard):
        assert cut.entry.english in words
    assert "House rule" in words


def test_the_pdf_of_a_drawing_is_at_true_size() -> None:
    """A medium die of 12.7 mm measures that on the rendered page of the PDF."""
    svg = draw_cut(find_cut("medium-dice", "inch"))
    page = pypdfium2.PdfDocument(drawing_pdf(svg))[0]
    per_mm = 10.0
    image = page.render(scale=per_mm * 25.4 / 72).to_pil().convert("RGB")
    middle = image.width // 2
    # from above the piece is a filled square: its run of fill across the page's middle, at its own height
    row = _row_of_the_plan(svg, per_mm)
    fill = (0xF7, 0xD9, 0xA3)
    run = sum(image.getpixel((x, row)) == fill for x in range(middle - 200, middle + 200))
    assert run / per_mm == pytest.approx(12.7, abs=0.7)  # less the two dotted lines that cross it


def _row_of_the_plan(svg: str, per_mm: float) -> int:
    squares = [e for e in ET.fromstring(svg).iter(f"{SVG}polygon") if e.attrib["fill"] == "#f7d9a3"]
    ys = [float(p.split(",")[1]) for p in squares[-1].attrib["points"].split()]
    return round(sum(ys) / len(ys) * per_mm)
