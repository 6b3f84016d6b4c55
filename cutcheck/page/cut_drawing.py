"""Cuts drawn as solids, all at one scale, so that they can be told apart by looking."""

from __future__ import annotations

import math
from html import escape

from cutcheck.page.panels import image_address
from cutcheck.reference_table import sizes
from cutcheck.standards import Cut

Corner = tuple[float, float]
GALLERY_PX_PER_MM, SINGLE_PX_PER_MM = 2.4, 6.0
_COS, _SIN = math.cos(math.radians(30)), math.sin(math.radians(30))
_FACES, _EDGE = ("#f3a25c", "#e0843a", "#c9702a"), "#5d3411"


def small(cut: Cut) -> str:
    """One cut at the scale that all small drawings share."""
    return solid(cut, GALLERY_PX_PER_MM)


def single(cut: Cut) -> str:
    """One cut, larger, with a centimetre beside it."""
    return (
        f"<div class='cc-drawing'>{solid(cut, SINGLE_PX_PER_MM)}"
        f"<div class='cc-rule' style='width:{10 * SINGLE_PX_PER_MM:.0f}px'>1 cm</div></div>"
    )


def extents(cut: Cut) -> tuple[float, float, float] | None:
    """Length, width and height to draw, mm, in the middle of the sizes; None where too little is known.

    A side without a size is drawn as a typical root would give it (a round 25 mm across, a stick 50 mm long).
    """
    known = {size.key: sum(size.printed.mm) / 2 for size in cut.sizes}
    edge = known.get("edge")
    if edge is not None:
        return edge, edge, edge
    if "section" in known:
        return known.get("length", 50.0), known["section"], known["section"]
    if "plan" in known:
        return known["plan"], known["plan"], known.get("thickness", known["plan"] / 4)
    if "diameter" in known:
        return known["diameter"], known["diameter"], known.get("thickness", known["diameter"])
    if "thickness" in known:
        return 25.0, 25.0, known["thickness"]
    if "length" in known:
        across = known.get("width") or known.get("middle") or known["length"] / 2.6
        return known["length"], across, 2.0 if cut.entry.family == "slice" else across
    if "width" in known:
        return 50.0, known["width"], 0.7
    return None


def solid(cut: Cut, px_per_mm: float) -> str:
    """The cut as an SVG: a box, or a disc for rounds; nothing where no size is known."""
    mm = extents(cut)
    said = escape(f"{cut.entry.english}: {sizes(cut)}")
    if mm is None:
        return ""
    length, width, height = (side * px_per_mm for side in mm)
    if any(size.key == "diameter" for size in cut.sizes):
        return _ball(length, said)
    if cut.entry.family == "turned":
        return _turned(length, width, said)
    if {size.key for size in cut.sizes} == {"thickness"} and cut.entry.family == "slice":
        return _disc(length, height, said)
    return _box(length, width, height, said)


def _box(length: float, width: float, height: float, said: str) -> str:
    # Isometric: length runs to the right and down, width to the left and down.
    a, b = (length * _COS, length * _SIN), (-width * _COS, width * _SIN)
    o: Corner = (width * _COS, 0.0)
    top = [o, _add(o, a), _add(_add(o, a), b), _add(o, b)]
    down = (0.0, height)
    front = [top[3], top[2], _add(top[2], down), _add(top[3], down)]
    side = [top[2], top[1], _add(top[1], down), _add(top[2], down)]
    shapes = "".join(
        f"<polygon points='{' '.join(f'{x:.1f},{y:.1f}' for x, y in face)}' fill='{fill}'/>"
        for face, fill in zip((top, front, side), _FACES, strict=True)
    )
    return _svg((length + width) * _COS, (length + width) * _SIN + height, shapes, said)


def _disc(across: float, height: float, said: str) -> str:
    rx, ry = across / 2, across * 0.29
    body = f"M0 {ry:.1f}v{height:.1f}a{rx:.1f} {ry:.1f} 0 0 0 {across:.1f} 0v{-height:.1f}z"
    shapes = f"<path d='{body}' fill='{_FACES[1]}'/>"
    shapes += f"<ellipse cx='{rx:.1f}' cy='{ry:.1f}' rx='{rx:.1f}' ry='{ry:.1f}' fill='{_FACES[0]}'/>"
    return _svg(across, 2 * ry + height, shapes, said)


def _ball(across: float, said: str) -> str:
    r = across / 2
    light = (
        f"<circle cx='{0.8 * r:.1f}' cy='{0.7 * r:.1f}' r='{0.45 * r:.1f}' fill='{_FACES[0]}' stroke='none'/>"
    )
    return _svg(
        across, across, f"<circle cx='{r:.1f}' cy='{r:.1f}' r='{r:.1f}' fill='{_FACES[1]}'/>{light}", said
    )


def _turned(length: float, width: float, said: str) -> str:
    # A barrel with three of its faces seen: ends blunt, as the knife leaves them.
    end, half, w, bow = 0.28 * width, width / 2, length, 0.5 * width
    rows = (half - end / 2, half - end / 6, half + end / 6, half + end / 2)
    bends = (half - bow, half - bow / 3, half + bow / 3, half + bow)
    faces = ""
    for k, fill in enumerate((_FACES[0], _FACES[1], _FACES[2])):
        over, under = 2 * bends[k] - rows[k], 2 * bends[k + 1] - rows[k + 1]
        faces += (
            f"<path d='M0 {rows[k]:.1f}Q{w / 2:.1f} {over:.1f} {w:.1f} {rows[k]:.1f}V{rows[k + 1]:.1f}"
            f"Q{w / 2:.1f} {under:.1f} 0 {rows[k + 1]:.1f}z' fill='{fill}'/>"
        )
    return _svg(length, width, faces, said)


def _svg(width: float, height: float, shapes: str, said: str) -> str:
    drawn = f"<g transform='translate(1 1)' stroke='{_EDGE}' stroke-linejoin='round'>{shapes}</g>"
    return (
        f"<img class='cc-solid' src='{image_address(drawn, width + 2, height + 2)}' width='{width + 2:.0f}' "
        f"height='{height + 2:.0f}' alt='{said}'>"
    )


def _add(a: Corner, b: Corner) -> Corner:
    return a[0] + b[0], a[1] + b[1]
