"""A small drawing beside an error: on the left what went wrong, on the right how it should be.

Drawn here from a few shapes, on a light ground of their own, so that they look the same in light and dark.
What is wrong has a cross, what is right a tick: shape tells, not colour alone.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

WIDE, HIGH = 150, 112  # of one half
BOARD, EDGE, INK, CUT, PAPER = "#a9825a", "#6d5136", "#20302a", "#ee8a3a", "#fdfdfb"


class Drawing(NamedTuple):
    """The two halves as SVG, and what they show, for who can't see them."""

    wrong: str
    right: str
    said: str


def drawing_of(code: str) -> tuple[str, str] | None:
    """The SVG for an error's code and the words for it, or None where there is nothing to draw."""
    return _drawn(code) if code in _DRAWINGS else None


@lru_cache
def _drawn(code: str) -> tuple[str, str]:
    it = _DRAWINGS[code]()
    half = (
        "<g transform='translate({x} 0)'><svg width='{w}' height='{h}' viewBox='0 0 {w} {h}'>{body}</svg></g>"
    )
    svg = (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {2 * WIDE + 12} {HIGH}'>"
        f"{half.format(x=0, w=WIDE, h=HIGH, body=_GROUND + it.wrong + _CROSS)}"
        f"{half.format(x=WIDE + 12, w=WIDE, h=HIGH, body=_GROUND + it.right + _TICK)}</svg>"
    )
    return svg, it.said


_GROUND = f"<rect width='{WIDE}' height='{HIGH}' rx='10' fill='#efe9dc'/>"
_BADGE = (
    "<g transform='translate({x} 94)' fill='none' stroke='#fff' stroke-width='3.4' stroke-linecap='round'>"
)
_CROSS = (
    _BADGE.format(x=WIDE - 18) + "<circle r='12' fill='#a33c00' stroke='#fff' stroke-width='2'/>"
    "<path d='M-5 -5L5 5M5 -5L-5 5'/></g>"
)
_TICK = (
    _BADGE.format(x=WIDE - 18) + "<circle r='12' fill='#1f6b4f' stroke='#fff' stroke-width='2'/>"
    "<path d='M-6 0L-2 5L6 -5'/></g>"
)


def _board(inner: str = "", fill: str = BOARD) -> str:
    size = "x='14' y='12' width='122' height='84' rx='6'"
    return f"<rect {size} fill='{fill}' stroke='{EDGE}' stroke-width='2'/>{inner}"


def _card(x: float = 22, y: float = 24, scale: float = 1.0, turn: float = 0.0) -> str:
    """The card from above, 40 by 28: four squares and a small checkerboard."""
    squares = "".join(
        f"<rect x='{a}' y='{b}' width='9' height='9' fill='{INK}'/>"
        f"<rect x='{a + 3}' y='{b + 3}' width='3' height='3' fill='#fff'/>"
        for a in (2, 29)
        for b in (2, 17)
    )
    checks = "".join(
        f"<rect x='{14 + 3 * a}' y='{5 + 3 * b}' width='3' height='3' fill='{INK}'/>"
        for a in range(4)
        for b in range(6)
        if (a + b) % 2 == 0
    )
    return (
        f"<g transform='translate({x} {y}) scale({scale}) rotate({turn})'><rect width='40' height='28' "
        f"fill='{PAPER}' stroke='#8a8a82' stroke-width='.8'/>{squares}{checks}</g>"
    )


def _pieces(fill: str = CUT, edge: str = "#9c4d12", opacity: float = 1.0) -> str:
    places = ((78, 28), (96, 24), (114, 34), (84, 48), (104, 52), (122, 54), (72, 68), (92, 72), (112, 74))
    dice = "".join(
        f"<rect x='{x - 5}' y='{y - 5}' width='10' height='10' rx='1' "
        f"transform='rotate({9 * x % 70} {x} {y})'/>"
        for x, y in places
    )
    return f"<g fill='{fill}' stroke='{edge}' stroke-width='1.2' opacity='{opacity}'>{dice}</g>"


def _tray() -> str:
    return _board(_card() + _pieces())


def _frame() -> str:
    """The edge of the picture: what lies outside is not in the photo."""
    return (
        f"<rect x='14' y='8' width='122' height='92' rx='4' fill='none' stroke='{INK}' stroke-width='3' "
        "stroke-dasharray='10 5'/>"
    )


def _from_the_side(angle: float) -> str:
    """The board from the side, and a phone that looks at it ``angle`` degrees off straight down."""
    wood = f"rx='2' fill='{BOARD}' stroke='{EDGE}' stroke-width='1.5'"
    table = f"<rect x='20' y='90' width='92' height='8' {wood}/>"
    dice = "".join(
        f"<rect x='{x}' y='82' width='8' height='8' fill='{CUT}' stroke='#9c4d12'/>" for x in (44, 60, 76)
    )
    phone = (
        f"<g transform='translate(64 86) rotate({angle})'>"
        f"<path d='M0 -12L0 -56' stroke='{INK}' stroke-width='2' stroke-dasharray='5 4'/>"
        "<rect x='-20' y='-66' width='40' height='9' rx='3' "
        f"fill='{INK}'/></g>"
    )
    return table + dice + phone


def _bench(line: str) -> str:
    """The card from the side, on the board."""
    return (
        "<rect x='14' y='76' width='122' height='12' rx='2' "
        f"fill='{BOARD}' stroke='{EDGE}' stroke-width='2'/>"
        f"<path d='{line}' fill='none' stroke='#8a8a82' stroke-width='6' stroke-linecap='round'/>"
        f"<path d='{line}' fill='none' stroke='{PAPER}' stroke-width='4' stroke-linecap='round'/>"
    )


def _no_card() -> Drawing:
    said = "Wrong: pieces alone on the board. Right: the card lies flat beside them."
    return Drawing(_board(_pieces()), _tray(), said)


def _cut_off() -> Drawing:
    half = (
        f"<clipPath id='p'><rect x='14' y='8' width='122' height='92'/></clipPath><g clip-path='url(#p)'>"
        f"<g transform='translate(-34 -10)'>{_tray()}</g></g>{_frame()}"
    )
    said = "Wrong: a corner of the card is outside the picture. Right: the whole card is in it."
    return Drawing(half, f"<g transform='translate(11 10) scale(.85)'>{_tray()}</g>{_frame()}", said)


def _bent() -> Drawing:
    said = "Wrong: the card is bent and its ends stand up. Right: it lies flat on the board."
    return Drawing(_bench("M36 52Q75 92 114 52"), _bench("M36 72L114 72"), said)


def _blurred() -> Drawing:
    soft = "<filter id='b'><feGaussianBlur stdDeviation='2.6'/></filter>"
    said = "Wrong: everything is soft. Right: the edges of card and pieces are sharp."
    return Drawing(f"{soft}<g filter='url(#b)'>{_tray()}</g>", _tray(), said)


def _dark() -> Drawing:
    night = f"<rect width='{WIDE}' height='{HIGH}' rx='10' fill='#0b0f0d' opacity='.82'/>"
    said = "Wrong: the tray lies in the dark. Right: it lies in even light."
    return Drawing(_tray() + night, _tray(), said)


def _bright() -> Drawing:
    glare = (
        "<radialGradient id='g'><stop offset='.35' stop-color='#fff'/><stop offset='1' stop-color='#fff' "
        "stop-opacity='0'/></radialGradient><ellipse cx='60' cy='44' rx='62' ry='46' fill='url(#g)'/>"
    )
    said = "Wrong: a glare whitens the card. Right: card and pieces keep their detail."
    return Drawing(_tray() + glare, _tray(), said)


def _oblique() -> Drawing:
    said = "Wrong: the phone looks from far to the side. Right: from above, at a slant of some 25 degrees."
    return Drawing(_from_the_side(66), _from_the_side(25), said)


def _straight() -> Drawing:
    said = "Less good: the phone looks straight down. Better: at a slant of some 25 degrees."
    return Drawing(_from_the_side(0), _from_the_side(25), said)


def _far() -> Drawing:
    small = f"<g transform='translate(48 36) scale(.36)'>{_tray()}</g>{_frame()}"
    said = "Wrong: the tray is small in the picture. Right: it fills the picture."
    return Drawing(small, f"<g transform='translate(4 2) scale(.94)'>{_tray()}</g>{_frame()}", said)


def _no_photo() -> Drawing:
    lines = "".join(f"<path d='M54 {y}H{98 if y < 80 else 80}'/>" for y in range(34, 90, 12))
    page = (
        f"<path d='M44 12H92L108 28V98H44Z' fill='{PAPER}' stroke='{INK}' stroke-width='2'/>"
        f"<g stroke='{INK}' stroke-width='3'>{lines}</g>"
    )
    photo = (
        f"<rect x='22' y='14' width='106' height='82' fill='{PAPER}' stroke='{INK}' stroke-width='2'/>"
        f"<g transform='translate(15 12) scale(.8)'>{_tray()}</g>"
    )
    return Drawing(page, photo, "Wrong: a written page. Right: a photo of a tray.")


def _large() -> Drawing:
    gate = f"<path d='M30 10V100M120 10V100' stroke='{INK}' stroke-width='4'/>"
    big = f"<g transform='translate(-2 8) scale(1.02 .86)'>{_tray()}</g>{gate}"
    fits = f"<g transform='translate(38 28) scale(.5)'>{_tray()}</g>{gate}"
    return Drawing(big, fits, "Wrong: the photo is wider than the gate. Right: it fits through.")


def _no_pieces() -> Drawing:
    pale = _board(_card() + _pieces("#f3f1ea", "#eceadf"), "#f1efe8")
    said = "Wrong: pale pieces on a pale board can't be seen. Right: pieces on a board of another colour."
    return Drawing(pale, _tray(), said)


_DRAWINGS: dict[str, Callable[[], Drawing]] = {
    "no-card": _no_card,
    "card-cut-off": _cut_off,
    "card-bent": _bent,
    "blurred": _blurred,
    "too-dark": _dark,
    "too-bright": _bright,
    "too-oblique": _oblique,
    "too-straight": _straight,  # no error, but a reason why heights are not seen
    "too-far": _far,
    "not-a-photo": _no_photo,
    "too-large": _large,
    "no-pieces": _no_pieces,
}
CODES = tuple(_DRAWINGS)
