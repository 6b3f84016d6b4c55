"""The station from above, as SVG: raw, waste, finished in the way of the work; mirrored for a left-hander.

Drawn in millimetres of a real bench, 1000 by 640. Places are mirrored, words are not. Everything is told
apart by label and pattern as well as by colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from cutcheck.preparation import station

__all__ = ["station_svg"]

BENCH_MM = (1000, 640)
_BOARD = (285, 292, 430, 256)  # x, y, width, height
_BOXES = {"raw": (40, 40, 270, 176), "waste": (365, 40, 270, 176), "finished": (690, 40, 270, 176)}
_FILLS = {"raw": ("#dcebd2", "#35602c"), "waste": ("#e6e2da", "#5c5549"), "finished": ("#d6e5f2", "#27557a")}
_NOTES = {
    "raw": ("washed, still", "in their skins"),
    "waste": ("peel over this one,", "not over the board"),
    "finished": ("each vegetable", "by itself"),
}
_INK = "#1d1d1b"
_STEEL = "#c9ced3"


def station_svg(left_handed: bool = False, raw: Sequence[str] = (), finished: Sequence[str] = ()) -> str:
    """The drawing as SVG text, 1000 by 640 mm of bench.

    ``raw`` and ``finished`` are names to write into those containers, in place of what they hold in general.
    """
    draw = _Drawing(left_handed)
    hand = "left" if left_handed else "right"
    order = ["finished", "waste", "raw"] if left_handed else ["raw", "waste", "finished"]
    draw.rectangle((0, 0, *BENCH_MM), "#faf8f4", "none", 0)
    labels = {c.name: c.label for c in station().containers}
    named = {"raw": tuple(raw), "waste": (), "finished": tuple(finished)}
    for name, box in _BOXES.items():
        draw.container(name, labels[name], box, named[name])
    _board(draw)
    _tools(draw)
    draw.arrow((175, 224), (290, 320), "1")
    draw.arrow((500, 286), (500, 226), "2")
    draw.arrow((710, 320), (825, 224), "3")
    draw.text((500, 600), "You stand here", 24, bold=True)
    draw.text((205, 600), f"{_other(hand)} hand guides", 21)
    draw.text((795, 600), f"{hand} hand cuts", 21)
    description = (
        f"From left to right: {', '.join(labels[n].lower() for n in order)}. The board lies in front of the "
        f"cook, on a damp cloth; the knife on its {hand}, the blade towards the board."
    )
    return draw.svg(f"Station for a {hand}-hander", description)


def _board(draw: _Drawing) -> None:
    x, y, width, height = _BOARD
    draw.rectangle((x - 16, y - 16, width + 32, height + 32), "#eef3f6", "#7b8c98", 2, dash="9 7", radius=14)
    draw.rectangle(_BOARD, "#ead9bd", "#80653a", 3, radius=12)
    for k in range(1, 6):
        draw.line((x + 14, y + k * height / 6), (x + width - 14, y + k * height / 6), "#d9c29b", 2)
    draw.text((500, 409), "Board", 30, bold=True)
    draw.text((500, 448), "on a damp cloth, so that it can't slip", 20)


def _tools(draw: _Drawing) -> None:
    # the knife: edge towards the board, point away from the cook
    draw.path([("M", 757, 300), ("Q", 736, 376, 742, 452), ("L", 768, 452), ("L", 768, 336), ("Z",)], _STEEL)
    draw.rectangle((746, 452, 24, 96), "#4a4038", _INK, 2, radius=8)
    draw.text((800, 376), "Knife", 22, anchor="start", bold=True)
    draw.text((800, 402), "blade inwards,", 18, anchor="start")
    draw.text((800, 424), "point away", 18, anchor="start")
    # the peeler, by the waste container
    draw.rectangle((652, 66, 14, 46), _STEEL, _INK, 2, radius=5)
    draw.rectangle((649, 112, 20, 72), "#4a4038", _INK, 2, radius=9)
    draw.text((659, 244), "Peeler", 22, bold=True)
    draw.line((659, 190), (659, 222), "#5c5549", 2)
    # a clean cloth, apart from the damp one
    draw.rectangle((800, 470, 140, 74), "#ffffff", "#7b8c98", 2, radius=4)
    draw.line((800, 484), (940, 484), "#27557a", 3)
    draw.text((870, 520), "Clean cloth", 20)


def _other(hand: str) -> str:
    return "left" if hand == "right" else "right"


class _Drawing:
    """SVG elements in a right-hander's places; each is mirrored as it is added, words stay readable."""

    def __init__(self, mirrored: bool) -> None:
        self._mirrored = mirrored
        self._parts: list[str] = []

    def rectangle(
        self,
        box: tuple[float, float, float, float],
        fill: str,
        stroke: str,
        width: float,
        dash: str = "",
        radius: float = 0,
    ) -> None:
        x, y, wide, high = box
        left = BENCH_MM[0] - x - wide if self._mirrored else x
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<rect x="{left:g}" y="{y:g}" width="{wide:g}" height="{high:g}" rx="{radius:g}" fill="{fill}"'
            f' stroke="{stroke}" stroke-width="{width:g}"{dashed}/>'
        )

    def line(self, start: tuple[float, float], end: tuple[float, float], stroke: str, width: float) -> None:
        self._parts.append(
            f'<line x1="{self._x(start[0]):g}" y1="{start[1]:g}" x2="{self._x(end[0]):g}" y2="{end[1]:g}"'
            f' stroke="{stroke}" stroke-width="{width:g}"/>'
        )

    def path(self, steps: Sequence[tuple[object, ...]], fill: str) -> None:
        words = []
        for command, *numbers in steps:
            flat = [float(str(n)) for n in numbers]
            mirrored = [self._x(n) if k % 2 == 0 else n for k, n in enumerate(flat)]
            words.append(" ".join([str(command), *(f"{n:g}" for n in mirrored)]))
        self._parts.append(f'<path d="{" ".join(words)}" fill="{fill}" stroke="{_INK}" stroke-width="2"/>')

    def text(
        self, at: tuple[float, float], words: str, size: float, anchor: str = "middle", bold: bool = False
    ) -> None:
        if anchor == "start" and self._mirrored:
            anchor = "end"
        weight = ' font-weight="700"' if bold else ""
        self._parts.append(
            f'<text x="{self._x(at[0]):g}" y="{at[1]:g}" font-size="{size:g}" text-anchor="{anchor}"{weight}>'
            f"{escape(words)}</text>"
        )

    def container(
        self, name: str, label: str, box: tuple[float, float, float, float], held: Sequence[str]
    ) -> None:
        """A container with its label and what is in it; the waste one is hatched."""
        x, y, wide, high = box
        fill, stroke = _FILLS[name]
        self.rectangle(box, fill, stroke, 5, radius=26)
        self.rectangle((x + 12, y + 12, wide - 24, high - 24), "none", stroke, 1.5, radius=18)
        if name == "waste":
            self.rectangle((x + 12, y + 12, wide - 24, high - 24), "url(#hatch)", "none", 0, radius=18)
        middle = x + wide / 2
        self.text((middle, y + 58), label, 34, bold=True)
        lines = _fitted(held, 20) or _NOTES[name]
        for k, line in enumerate(lines):
            self.text((middle, y + 96 + 27 * k), line, 20)

    def arrow(self, start: tuple[float, float], end: tuple[float, float], number: str) -> None:
        """A numbered arrow: the way of the work."""
        middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        self._parts.append(
            f'<line x1="{self._x(start[0]):g}" y1="{start[1]:g}" x2="{self._x(end[0]):g}" y2="{end[1]:g}"'
            f' stroke="{_INK}" stroke-width="6" marker-end="url(#tip)"/>'
            f'<circle cx="{self._x(middle[0]):g}" cy="{middle[1]:g}" r="17" fill="#ffffff" stroke="{_INK}"'
            ' stroke-width="3"/>'
        )
        self.text((middle[0], middle[1] + 8), number, 22, bold=True)

    def svg(self, title: str, description: str) -> str:
        wide, high = BENCH_MM
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}"'
            f' height="{high}" role="img" aria-labelledby="station-title station-text">'
            f'<title id="station-title">{title}</title>'
            f'<desc id="station-text">{escape(description)}</desc>'
            '<defs><marker id="tip" viewBox="0 0 10 10" refX="7" refY="5" markerWidth="4" markerHeight="4"'
            f' orient="auto"><path d="M0 0L10 5L0 10Z" fill="{_INK}"/></marker>'
            '<pattern id="hatch" width="16" height="16" patternUnits="userSpaceOnUse"'
            ' patternTransform="rotate(45)"><line x1="0" y1="0" x2="0" y2="16" stroke="#5c5549"'
            ' stroke-opacity=".16" stroke-width="5"/></pattern></defs>'
            f'<g font-family="\'Atkinson Hyperlegible Next\', Verdana, Arial, sans-serif" fill="{_INK}">'
            f"{''.join(self._parts)}</g></svg>\n"
        )

    def _x(self, x: float) -> float:
        return BENCH_MM[0] - x if self._mirrored else x


def _fitted(names: Sequence[str], widest: int) -> tuple[str, ...]:
    """Names over at most three lines of ``widest`` letters; what is left over is counted."""
    lines: list[str] = []
    for number, name in enumerate(names):
        name = name if len(name) <= widest else f"{name[: widest - 1]}…"
        if lines and len(lines[-1]) + 2 + len(name) <= widest:
            lines[-1] += f", {name}"
        elif len(lines) < 3:
            lines.append(name)
        else:
            lines[-1] = f"and {len(names) - number + lines[-1].count(',') + 1} more"
            break
    return tuple(lines)
