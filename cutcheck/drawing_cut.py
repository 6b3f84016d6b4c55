"""A drawing of a cut from its sizes, as SVG: in space, at a stated scale, and from above at true size.

The drawing in space is isometric: lengths along its three axes are to scale. Below it stands the piece at
true size when printed at 100 %, with the smallest and the largest that is on size, and a bar to check the
print by. Sides that no standard sizes are drawn as the vegetable may have them, and are not figured.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from cutcheck.cuts import SIZE_SIDES
from cutcheck.drawing_forms import Flat, Point, Solid, solid
from cutcheck.records import SIDES, SideName
from cutcheck.standards import Cut, Target
from cutcheck.units import Unit, show_range

WIDTH, MARGIN = 120.0, 6.0
SPACE_WIDE, SPACE_HIGH = 78.0, 46.0
SCALES = (0.2, 0.25, 1 / 3, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 15.0)
TOP, LEFT, RIGHT, LINE = "#f7d9a3", "#e3a65c", "#c98242", "#3b2a1a"
COS, SIN = math.cos(math.radians(30)), math.sin(math.radians(30))


@dataclass(frozen=True, slots=True)
class Drawn:
    """The sides a cut is drawn with, mm, and which of them a size stands for."""

    length: float
    width: float
    height: float
    sized: tuple[SideName, ...]


def drawn_sides(cut: Cut) -> Drawn:
    """The middle of each size; where there is none, what the reference takes for its drawing."""
    base = cut.entry.drawing
    mm = {"length": base.length, "width": base.width, "height": base.height}
    sized: list[SideName] = []
    for size in cut.sizes:
        middle = sum(size.printed.mm) / 2
        for side in SIZE_SIDES[size.key]:
            mm[side] = middle
            sized.append(side)
        if size.key == "middle" or size.key == "diameter":
            mm["height"] = middle
    return Drawn(mm["length"], mm["width"], mm["height"], tuple(s for s in SIDES if s in sized))


def draw_cut(cut: Cut, unit: Unit | None = None) -> str:
    """The drawing as an SVG document, 120 mm wide; sizes are in ``unit``, else in the standard's own."""
    sides = drawn_sides(cut)
    form = solid(cut.entry.drawing.form, sides.length, sides.width, sides.height, cut.entry.faces)
    parts = _in_space(form, sides, cut, unit or cut.unit)
    foot, high = _true_size(form, sides, cut, SPACE_HIGH + 26.0)
    name = cut.entry.english
    what = _described(cut, unit or cut.unit)
    return document(f"{name}: drawing", what, [text(MARGIN, 8.0, name, 5.0, bold=True), *parts, *foot], high)


def draw_space(form: Solid, wide: float, high: float, middle: Flat) -> tuple[list[str], float]:
    """A form in space in a room of ``wide`` x ``high`` mm round ``middle``: SVG elements, and the scale."""
    scale = _scale([form], wide, high)
    return _faces(form, scale, middle), scale


def draw_alone(cut: Cut, scale: float) -> tuple[str, float, float]:
    """The cut in space at ``scale``, no ground, no figures: the SVG document, its width and height, mm."""
    sides = drawn_sides(cut)
    form = solid(cut.entry.drawing.form, sides.length, sides.width, sides.height, cut.entry.faces)
    points = _corners(form, scale)
    wide, high = (max(p[axis] for p in points) - min(p[axis] for p in points) + 1.0 for axis in (0, 1))
    faces = "".join(_faces(form, scale, (wide / 2, high / 2)))
    frame = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.2f} {high:.2f}">'
    return f"{frame}{faces}</svg>", wide, high


def draw_comparison(cuts: Sequence[Cut], unit: Unit | None = None) -> str:
    """One cut by several standards, side by side at one scale, seen in space."""
    sides = [drawn_sides(cut) for cut in cuts]
    forms = [
        solid(cut.entry.drawing.form, s.length, s.width, s.height, cut.entry.faces)
        for cut, s in zip(cuts, sides, strict=True)
    ]
    room = (WIDTH - 2 * MARGIN) / len(cuts)
    scale = _scale(forms, room - 4.0, 40.0)
    parts = [text(MARGIN, 8.0, cuts[0].entry.english, 5.0, bold=True)]
    for k, (cut, form) in enumerate(zip(cuts, forms, strict=True)):
        middle = MARGIN + room * (k + 0.5)
        parts += _faces(form, scale, (middle, 34.0))
        parts.append(text(middle, 62.0, f"{cut.standard or 'no size'}", 3.6, anchor="middle", bold=True))
        for row, words in enumerate(size_words(cut, unit or cut.unit)):
            parts.append(text(middle, 67.0 + 4.2 * row, words, 3.2, anchor="middle"))
    parts.append(text(WIDTH - MARGIN, 8.0, scale_words(scale), 3.2, anchor="end"))
    rows = max(len(size_words(cut, cut.unit)) for cut in cuts)
    return document(f"{cuts[0].entry.english} compared", "", parts, 70.0 + 4.2 * rows)


def _in_space(form: Solid, sides: Drawn, cut: Cut, unit: Unit) -> list[str]:
    scale = _scale([form], SPACE_WIDE, SPACE_HIGH)
    place = (WIDTH / 2, 13.0 + SPACE_HIGH / 2)
    parts = _faces(form, scale, place)
    dx, dy = _centring(form, scale, place)
    seen = [(x + dx, y + dy) for x, y in _corners(form, scale)]
    words = {side: _size_of(cut, side, unit) for side in sides.sized}
    a, b, c = sides.length / 2, sides.width / 2, sides.height
    # of each side: the edge it is figured at, along its axis, and which way is out of the form
    for side, edge, along, out, anchor in (
        ("length", (0.0, b, 0.0), (COS, SIN), (-SIN, COS), "end"),
        ("width", (a, 0.0, 0.0), (COS, -SIN), (SIN, COS), "start"),
        ("height", (a, -b, c / 2), (0.0, -1.0), (1.0, 0.0), "start"),
    ):
        if side in words:
            size = getattr(sides, side) * scale
            x, y = _project(edge, scale) if form.boxy else _project((0.0, 0.0, c / 2), scale)
            parts += _dimension(seen, (x + dx, y + dy), along, out, size, words[side], anchor)
    note = scale_words(scale) if cut.sizes else "not to scale: no source gives a size"
    parts.append(text(WIDTH - MARGIN, 8.0, note, 3.2, anchor="end"))
    return parts


def _true_size(form: Solid, sides: Drawn, cut: Cut, top: float) -> tuple[list[str], float]:
    """The piece from above at true size, from the side where its height is a size of its own, and a bar."""
    target = {t.side: t for t in cut.targets}
    flat = [(sides.length / 2, 0.0), (sides.length / 2, sides.height), (-sides.length / 2, sides.height)]
    views: list[tuple[str, Sequence[Flat], SideName]] = [("From above", form.plan, "width")]
    if "height" in target and target["height"].key == "thickness":
        views.append(("From the side", (*flat, (-sides.length / 2, 0.0)), "height"))
    if not cut.sizes or max(x for x, _ in form.plan) > WIDTH / 2 - MARGIN:
        return [], top - 4.0
    parts, y, limited = [], top, False
    for name, shape, up in views:
        limits = _limits(sides, target, up) if cut.entry.drawing.form != "ribbon" else []
        limited = limited or bool(limits)
        parts.append(text(MARGIN, y, f"{name}, true size when printed at 100 %", 3.2))
        tallest = max([1.0, *(stretch[1] for stretch, _ in limits)])
        low, high = min(p[1] for p in shape), max(p[1] for p in shape)
        half = (high - low) / 2
        middle = y + 3.5 + half * tallest
        centred = [(x, v - low - half) for x, v in shape]
        parts.append(_polygon([(WIDTH / 2 + x, middle + v) for x, v in centred], TOP, 0.25))
        for (wide, tall), dash in limits:
            ring = [(WIDTH / 2 + wide * x, middle + tall * v) for x, v in centred]
            parts.append(_ring(ring, dash))
        y = middle + half * tallest + 6.5
    if limited:
        parts.append(text(MARGIN, y, "dotted: the smallest on size, dashed: the largest", 2.9))
    bar, words = (12.7, "1/2 in") if cut.unit == "in" else (10.0, "10 mm")
    right = WIDTH - MARGIN
    parts.append(_polyline([(right - bar, y - 1.0), (right, y - 1.0)], 0.5))
    parts.append(text(right - bar - 1.5, y, words, 2.9, anchor="end"))
    return parts, y + 4.0


def _limits(sides: Drawn, target: Mapping[SideName, Target], up: SideName) -> list[tuple[Flat, str]]:
    """How much smaller and larger a piece may be, along and across, and the dashes to draw that with."""
    found = []
    for end, dash in (("low_mm", "0.5 0.5"), ("high_mm", "1.6 0.8")):
        stretch = [
            getattr(target[side], end) / getattr(sides, side) if side in target else 1.0
            for side in ("length", up)
        ]
        if stretch != [1.0, 1.0]:
            found.append(((stretch[0], stretch[1]), dash))
    return found


def _faces(form: Solid, scale: float, place: Flat) -> list[str]:
    """The faces that are seen, the farthest first, shaded by how they lie, and the lines on them."""
    dx, dy = _centring(form, scale, place)
    shown = []
    for face in form.faces:
        nx, ny, nz = face.normal
        size = math.sqrt(nx * nx + ny * ny + nz * nz) or 1.0
        if nx + ny + nz <= 1e-9 * size:
            continue
        depth = sum(sum(p) for p in face.corners) / len(face.corners)
        fill = _shade(nx / size, ny / size, nz / size)
        points = [(x + dx, y + dy) for x, y in (_project(p, scale) for p in face.corners)]
        shown.append((depth, _polygon(points, fill, 0.3 if face.edged else 0.0)))
    parts = [svg for _, svg in sorted(shown, key=lambda s: s[0])]
    if form.convex:
        parts.append(_ring(_hull([(x + dx, y + dy) for x, y in _corners(form, scale)]), ""))
    for line in form.lines:
        if _faces_us(line, form):
            parts.append(_polyline([(x + dx, y + dy) for x, y in (_project(p, scale) for p in line)], 0.25))
    return parts


def _faces_us(line: Sequence[Point], form: Solid) -> bool:
    """Is a line on the near side? Ridges of a turned body are, where they are nearer than its axis."""
    b, c = _extent(form)
    middle = line[len(line) // 2]
    return middle[1] + (middle[2] - c / 2) > -0.02 * (b + c) or middle[2] >= c - 1e-9


def _shade(nx: float, ny: float, nz: float) -> str:
    """Between the three tones of the faces towards +z, +y and +x, by how much a face looks each way."""
    weights = [max(n, 0.0) ** 2 for n in (nz, ny, nx)]
    total = sum(weights) or 1.0
    tones = [[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in (TOP, LEFT, RIGHT)]
    mixed = [sum(w * tone[k] for w, tone in zip(weights, tones, strict=True)) / total for k in range(3)]
    return "#" + "".join(f"{round(v):02x}" for v in mixed)


def _project(point: Point, scale: float) -> Flat:
    """Isometric: x runs down to the right, y down to the left, z up, all at one scale."""
    x, y, z = point
    return scale * (x - y) * COS, scale * ((x + y) * SIN - z)


def _corners(form: Solid, scale: float) -> list[Flat]:
    return [_project(p, scale) for face in form.faces for p in face.corners]


def _centring(form: Solid, scale: float, place: Flat) -> Flat:
    points = _corners(form, scale)
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return place[0] - (min(xs) + max(xs)) / 2, place[1] - (min(ys) + max(ys)) / 2


def _extent(form: Solid) -> tuple[float, float]:
    """Half width and height of the box round the form."""
    points = [p for face in form.faces for p in face.corners]
    return max(p[1] for p in points), max(p[2] for p in points)


def _scale(forms: Iterable[Solid], wide: float, high: float) -> float:
    """The largest of ``SCALES`` at which all forms have room."""
    fits = SCALES[-1]
    for form in forms:
        points = _corners(form, 1.0)
        across = max(p[0] for p in points) - min(p[0] for p in points)
        down = max(p[1] for p in points) - min(p[1] for p in points)
        room = min(wide / across, high / down)
        fits = min(fits, max((s for s in SCALES if s <= room), default=SCALES[0]))
    return fits


def scale_words(scale: float) -> str:
    if scale == 1.0:
        return "true size along the edges"
    return f"scale {scale:g} : 1" if scale > 1.0 else f"scale 1 : {1 / scale:g}"


def _dimension(
    seen: Sequence[Flat], edge: Flat, along: Flat, out: Flat, size: float, words: str, anchor: str
) -> list[str]:
    """A line of length ``size`` beside the form, parallel to one of its axes, with its figure."""
    middle = edge[0] * along[0] + edge[1] * along[1]
    off = max(p[0] * out[0] + p[1] * out[1] for p in seen) + 2.4
    # ``along`` and ``out`` are not square to each other: solve for the point with these two components.
    det = along[0] * out[1] - along[1] * out[0]

    def at(a: float, o: float) -> Flat:
        return (a * out[1] - o * along[1]) / det, (o * along[0] - a * out[0]) / det

    start, end = at(middle - size / 2, off), at(middle + size / 2, off)
    across = (0.8 * out[0], 0.8 * out[1])
    ticks = [
        _polyline([(p[0] - across[0], p[1] - across[1]), (p[0] + across[0], p[1] + across[1])], 0.2)
        for p in (start, end)
    ]
    x, y = (start[0] + end[0]) / 2 + 1.6 * out[0], (start[1] + end[1]) / 2 + 1.6 * out[1]
    return [_polyline([start, end], 0.2), *ticks, text(x, y + 1.2 + 0.8 * out[1], words, 3.6, anchor=anchor)]


def _size_of(cut: Cut, side: SideName, unit: Unit) -> str:
    size = next(s for s in cut.sizes if side in SIZE_SIDES[s.key])
    return show_range(*size.printed.mm, unit)


def size_words(cut: Cut, unit: Unit) -> list[str]:
    return [f"{s.key} {show_range(*s.printed.mm, unit)}" for s in cut.sizes]


def _described(cut: Cut, unit: Unit) -> str:
    return f"{cut.entry.english}, {', '.join(size_words(cut, unit)) or 'without a size'}. {cut.entry.about}"


def _polygon(points: Sequence[Flat], fill: str, line: float) -> str:
    # A thin line of the fill's own colour closes the seams between faces that have no edge.
    stroke = f'stroke="{LINE}" stroke-width="{line}"' if line else f'stroke="{fill}" stroke-width="0.15"'
    return f'<polygon points="{_points(points)}" fill="{fill}" {stroke} stroke-linejoin="round"/>'


def _ring(points: Sequence[Flat], dash: str) -> str:
    """A closed line; ``dash`` as SVG has it, nothing for a full line."""
    how = f'stroke-width="0.2" stroke-dasharray="{dash}"' if dash else 'stroke-width="0.3"'
    return f'<polygon points="{_points(points)}" fill="none" stroke="{LINE}" {how} stroke-linejoin="round"/>'


def _hull(points: Iterable[Flat]) -> list[Flat]:
    """The convex hull, by Andrew's monotone chain (1979)."""
    ordered = sorted(set(points))
    halves: list[list[Flat]] = []
    for walk in (ordered, ordered[::-1]):
        half: list[Flat] = []
        for p in walk:
            while len(half) > 1 and _turn(half[-2], half[-1], p) <= 0:
                half.pop()
            half.append(p)
        halves.append(half[:-1])
    return halves[0] + halves[1]


def _turn(a: Flat, b: Flat, c: Flat) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _polyline(points: Sequence[Flat], line: float) -> str:
    return (
        f'<polyline points="{_points(points)}" fill="none" stroke="{LINE}" stroke-width="{line}" '
        'stroke-linecap="round"/>'
    )


def _points(points: Sequence[Flat]) -> str:
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in points)


def text(x: float, y: float, words: str, size: float, *, anchor: str = "start", bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="{anchor}"{weight} fill="{LINE}">'
        f"{escape(words)}</text>"
    )


def document(title: str, what: str, parts: Iterable[str], high: float, wide: float = WIDTH) -> str:
    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="{high:.1f}mm" '
        f'viewBox="0 0 {wide} {high:.1f}" font-family="Helvetica, Arial, sans-serif" role="img">',
        f"<title>{escape(title)}</title>", f"<desc>{escape(what)}</desc>",
        f'<rect width="{wide}" height="{high:.1f}" fill="#ffffff"/>', *parts, "</svg>\n",
    ])  # fmt: skip
