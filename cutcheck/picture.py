"""The marked picture: the photo with every piece outlined and numbered, and a legend below it.

A verdict is told by the line (solid, dashed, dotted), by the shape and shade of the label and by colour, so
that it survives a grey printer and red-green blindness. Colours: blue, vermillion and yellow of the palette
of Okabe and Ito (Color Universal Design, 2008).
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from importlib import resources
from io import BytesIO
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageDraw, ImageFont

from cutcheck import words
from cutcheck.records import Piece, Result, Verdict

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float64]

LONGEST_PX = 2400  # a phone's zoom shows no more, and the file stays small
FONT_FILE = "atkinson-hyperlegible-next-bold.woff"
OVERSAMPLING = 4  # label shapes are drawn larger and shrunk, for smooth edges


class Style(NamedTuple):
    """How a verdict is drawn. Colours are RGB; ``dash`` is (drawn, left out) in lines, None for solid."""

    line: tuple[int, int, int]
    dash: tuple[float, float] | None
    shape: str
    fill: tuple[int, int, int]
    ink: tuple[int, int, int]


BLACK, WHITE, GREY = (17, 17, 17), (255, 255, 255), (96, 96, 96)
STYLES: dict[Verdict | None, Style] = {
    "in": Style((0, 114, 178), None, "circle", WHITE, BLACK),
    "out": Style((213, 94, 0), (3.2, 2.2), "square", (150, 58, 0), WHITE),
    "unsure": Style((240, 228, 66), (0.4, 1.8), "diamond", (240, 228, 66), BLACK),
    "offcut": Style(GREY, (0.4, 3.0), "bar", (224, 224, 224), BLACK),
    None: Style(WHITE, None, "bar", (224, 224, 224), BLACK),
}


def draw(pixels: Pixels, result: Result, longest_px: int = LONGEST_PX) -> Pixels:
    """The marked picture of a photo.

    ``pixels`` is the upright photo, (H, W, 3) uint8 BGR, that ``result`` came from. The picture is
    (H', W', 3) uint8 BGR, at most ``longest_px`` wide or high before the legend is added below.
    """
    height, width = pixels.shape[:2]
    factor = min(1.0, longest_px / max(height, width))
    canvas = masked(pixels, result)
    if factor < 1.0:
        size = (round(width * factor), round(height * factor))
        canvas = np.asarray(cv2.resize(canvas, size, interpolation=cv2.INTER_AREA), np.uint8)
    longest = max(canvas.shape[:2])
    outlines = [_scaled(piece.outline_px, factor) for piece in result.pieces]
    line = _line_width(outlines, longest)
    for piece, outline in zip(result.pieces, outlines, strict=True):
        # Beside the piece, not on it: the eye wants to see the edge that was measured.
        _trace(canvas, _grown(outline, line), STYLES[piece.verdict], line)
    image = Image.fromarray(cv2.cvtColor(canvas, cv2.COLOR_BGR2RGB))
    regions = [_scaled(region, factor) for region in result.scale.regions_px]
    _place_labels(image, result.pieces, outlines, regions, longest / 50)
    return _with_legend(image, result, round(longest / 42))


def masked(pixels: Pixels, result: Result) -> Pixels:
    """The photo with a bank-size card painted over: what is printed on it is nobody's business."""
    return covered(pixels, result.scale.regions_px if result.scale.reference == "id1" else ())


def without_cards(pixels: Pixels, result: Result) -> Pixels:
    """The photo with every card painted over, a little beyond its edge: its number and name can't be read."""
    corners = [np.asarray(region, float) for region in result.scale.regions_px]
    return covered(pixels, [one.mean(axis=0) + 1.04 * (one - one.mean(axis=0)) for one in corners])


def covered(pixels: Pixels, areas: Iterable[ArrayLike], factor: float = 1.0) -> Pixels:
    """A copy with areas painted over, (N, 2) px of the photo each; ``factor``: how far it was shrunk."""
    copy = pixels.copy()
    for area in areas:
        corners = np.round(_scaled(area, factor)).astype(np.int32)
        cv2.fillPoly(copy, [corners], (150, 150, 150), lineType=cv2.LINE_AA)
    return copy


def encode(picture: Pixels, ending: str) -> bytes:
    """The picture as a file's bytes: ``".png"``, ``".jpg"`` or ``".webp"``; ValueError for another ending."""
    quality = {
        ".png": [cv2.IMWRITE_PNG_COMPRESSION, 6],
        ".jpg": [cv2.IMWRITE_JPEG_QUALITY, 88],
        ".jpeg": [cv2.IMWRITE_JPEG_QUALITY, 88],
        ".webp": [cv2.IMWRITE_WEBP_QUALITY, 85],
    }
    if ending.lower() not in quality:
        raise ValueError(f"a picture can't be written as '{ending}': use {', '.join(quality)}")
    _, data = cv2.imencode(ending.lower(), picture, quality[ending.lower()])
    return bytes(data)


def _scaled(points: ArrayLike, factor: float) -> Floats:
    # Pixel centres are whole numbers, so the factor works about the corner of the top-left pixel.
    return (np.asarray(points, float).reshape(-1, 2) + 0.5) * factor - 0.5


def _line_width(outlines: list[Floats], longest: int) -> float:
    """The outlines' width, px: a line must not outgrow the pieces it goes round."""
    wanted = max(2.0, longest / 700)
    if not outlines:
        return wanted
    size = float(np.median([abs(_area(outline)) ** 0.5 for outline in outlines]))
    return min(wanted, max(1.6, 0.08 * size))


def _trace(canvas: Pixels, outline: Floats, style: Style, line: float) -> None:
    """Draw a closed outline with a dark or light casing, so that it shows on any produce and board."""
    if len(outline) < 2:
        return
    casing = WHITE if sum(style.line) < 400 else BLACK
    for colour, thickness in ((casing, line + max(2.0, line * 0.8)), (style.line, line)):
        for part in _dashes(outline, style.dash, line):
            points = np.round(part * 16).astype(np.int32).reshape(-1, 1, 2)
            cv2.polylines(
                canvas, [points], False, colour[::-1], max(1, round(thickness)), lineType=cv2.LINE_AA, shift=4
            )


def _dashes(outline: Floats, dash: tuple[float, float] | None, line: float) -> list[Floats]:
    """The drawn stretches of a closed outline: [(n, 2) float, px]."""
    ring = np.vstack([outline, outline[:1]])
    if dash is None:
        return [ring]
    steps = np.hypot(*np.diff(ring, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    if along[-1] <= 0:
        return [ring]
    # Whole periods round the outline, so that no seam shows.
    period = (dash[0] + dash[1]) * line * 1.6
    count = max(3, round(along[-1] / period))
    starts = np.arange(count) * along[-1] / count
    drawn = along[-1] / count * dash[0] / (dash[0] + dash[1])
    parts = []
    for start in starts:
        inside = along[(along > start) & (along < start + drawn)]
        at = np.concatenate([[start], inside, [start + drawn]])
        parts.append(np.column_stack([np.interp(at, along, ring[:, 0]), np.interp(at, along, ring[:, 1])]))
    return parts


@lru_cache(maxsize=8)
def _font(size: int) -> ImageFont.FreeTypeFont:
    data = resources.files("cutcheck.fonts").joinpath(FONT_FILE).read_bytes()
    return ImageFont.truetype(BytesIO(data), size)


@lru_cache(maxsize=2048)
def _label(text: str, verdict: Verdict | None, radius: int) -> Image.Image:
    """A label as a small RGBA picture, drawn large and shrunk."""
    style, r = STYLES[verdict], radius * OVERSAMPLING
    font = _font(max(8, round(r * (1.25 if len(text) < 3 else 1.0))))
    half = font.getlength(text) / 2
    half_width = max(r, half + 0.35 * r)
    if style.shape == "diamond":
        half_width = max(1.2 * r, half + 0.75 * r)
    size = (round(2 * half_width), 2 * r)
    tile = Image.new("RGBA", size, (*style.fill, 0))
    pen = ImageDraw.Draw(tile)
    rim, edge = (style.line if verdict is not None else GREY), max(2, round(0.16 * r))
    box = (0, 0, size[0] - 1, size[1] - 1)
    if style.shape == "diamond":
        middle = size[0] / 2
        corners = [(middle, 0), (size[0] - 1, r), (middle, 2 * r - 1), (0, r)]
        pen.polygon(corners, fill=style.fill, outline=BLACK, width=edge // 2)
    elif style.shape == "circle":
        pen.rounded_rectangle(box, r, fill=style.fill, outline=rim, width=edge)
    else:
        inset = 0 if style.shape == "square" else round(0.25 * r)
        pen.rectangle((0, inset, size[0] - 1, size[1] - 1 - inset), fill=style.fill, outline=rim, width=edge)
    pen.text((size[0] / 2, r), text, font=font, fill=style.ink, anchor="mm")
    return tile.resize((max(1, size[0] // OVERSAMPLING), 2 * radius), Image.Resampling.LANCZOS)


def _place_labels(
    image: Image.Image,
    pieces: tuple[Piece, ...],
    outlines: list[Floats],
    avoid: list[Floats],
    radius: float,
) -> None:
    """Put each piece's number beside it."""
    if not pieces:
        return
    r = _label_radius(np.array([outline.mean(axis=0) for outline in outlines]), radius)
    tiles = [_label(str(piece.number), piece.verdict, r) for piece in pieces]
    halves = [np.array([tile.width, tile.height]) / 2 for tile in tiles]
    places = label_places(halves, outlines, avoid, image.size, max(2, r // 4))
    for tile, half, place in zip(tiles, halves, places, strict=True):
        x, y = np.round(place - half).astype(int)
        image.paste(tile, (int(x), int(y)), tile)


def label_places(
    halves: list[Floats], outlines: list[Floats], avoid: list[Floats], size: tuple[int, int], coarse: int
) -> Floats:
    """Where labels hide least, beside their pieces: their centres, (N, 2) float, px.

    ``halves`` are half their width and height, ``outlines`` (n, 2) px the pieces, ``avoid`` areas to keep
    off if possible, ``size`` the picture's (width, height). Other pieces and other labels cost most, looked
    up on a grid of ``coarse`` px.
    """
    taken = np.zeros((size[1] // coarse + 2, size[0] // coarse + 2), np.float32)
    for areas, weight in ((avoid, 0.3), (outlines, 1.0)):
        for area in areas:
            cv2.fillPoly(taken, [np.round(area / coarse).astype(np.int32)], weight)
    places = []
    for half, outline in zip(halves, outlines, strict=True):
        costs = []
        for point, normal in zip(*_round_about(outline), strict=True):
            place = point + normal * (float(np.hypot(*(half * normal))) + 0.3 * half[1])
            # Of two free places the upper one: a label below is read as the next piece's.
            costs.append((_cost(taken, place, half, coarse, size) + 0.02 * normal[1], *place))
        best = np.array(min(costs)[1:])
        _block(taken, best, half, coarse)[...] = 3.0
        places.append(best)
    return np.array(places)


def _round_about(outline: Floats, count: int = 16) -> tuple[Floats, Floats]:
    """Points spread evenly along a closed outline, (count, 2) px, and the way out there, (count, 2)."""
    ring = np.vstack([outline, outline[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = (np.arange(count) + 0.5) / count * along[-1]
    points = np.column_stack([np.interp(at, along, ring[:, axis]) for axis in (0, 1)])
    ahead, behind = np.roll(points, -1, axis=0), np.roll(points, 1, axis=0)
    tangent = (ahead - behind) * np.sign(_area(outline) or 1.0)
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return points, normal / np.maximum(np.hypot(*normal.T), 1e-9)[:, None]


def _area(outline: Floats) -> float:
    """The signed area of an outline, px^2: positive where it runs clockwise as seen (y points down)."""
    x, y = outline.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def _grown(outline: Floats, by: float) -> Floats:
    """The outline moved outwards by ``by`` px, corners kept."""
    if len(outline) < 3 or not _area(outline):
        return outline
    edge = (np.roll(outline, -1, axis=0) - outline) * np.sign(_area(outline))
    edge /= np.maximum(np.hypot(*edge.T), 1e-9)[:, None]
    normal = np.column_stack([edge[:, 1], -edge[:, 0]])
    before = np.roll(normal, 1, axis=0)
    # The mitre, held back where the outline turns sharply.
    spread = np.maximum(1.0 + (normal * before).sum(axis=1), 0.5)[:, None]
    return np.asarray(outline + by * (normal + before) / spread)


def _label_radius(centres: Floats, wanted: float) -> int:
    """The labels' half height, px: smaller where pieces lie close together."""
    if len(centres) < 2:
        return round(wanted)
    distances = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
    np.fill_diagonal(distances, np.inf)
    return round(min(wanted, max(9.0, 0.3 * float(np.median(distances.min(axis=1))))))


def _block(taken: NDArray[np.float32], place: Floats, half: Floats, coarse: int) -> NDArray[np.float32]:
    left, top = np.maximum(0, np.floor((place - half) / coarse)).astype(int)
    right, bottom = np.maximum(0, np.ceil((place + half) / coarse)).astype(int)
    return taken[top:bottom, left:right]


def _cost(
    taken: NDArray[np.float32], place: Floats, half: Floats, coarse: int, size: tuple[int, int]
) -> float:
    outside = float(max(0.0, *(half - place), *(place + half - np.array(size))))
    block = _block(taken, place, half, coarse)
    return float(block.mean() if block.size else 9.0) + 9.0 * outside


def _with_legend(image: Image.Image, result: Result, size: int) -> Pixels:
    """The picture with a white strip below: what each line and label means, how many, and the mark."""
    font, gap, row_height = _font(size), round(0.6 * size), round(2.1 * size)
    places: list[tuple[float, int, Verdict | None, str]] = []
    x, row = float(gap), 1
    for verdict, number in words.tally(result.pieces).items():
        text = f"{words.VERDICTS[verdict]}: {number}"
        wide = 3.2 * size + font.getlength(text) + 2 * gap
        if x > gap and x + wide > image.width:
            x, row = float(gap), row + 1
        places.append((x, gap // 2 + row_height * row + row_height // 2, verdict, text))
        x += wide
    whole = Image.new("RGB", (image.width, image.height + row_height * (row + 1) + gap), WHITE)
    whole.paste(image, (0, 0))
    pen = ImageDraw.Draw(whole)
    pen.text((gap, image.height + (gap + row_height) / 2), title(result), font=font, fill=BLACK, anchor="lm")
    for x, y, verdict, text in places:
        pen.text((x + 3.2 * size, image.height + y), text, font=font, fill=BLACK, anchor="lm")
        tile = _label("1", verdict, round(0.55 * size))
        whole.paste(tile, (round(x + 2.2 * size - tile.width / 2), image.height + y - tile.height // 2), tile)
    canvas = np.asarray(cv2.cvtColor(np.asarray(whole), cv2.COLOR_RGB2BGR), np.uint8)
    for x, y, verdict, _ in places:
        corners = np.array([[0.0, -0.5], [1.2, -0.5], [1.2, 0.5], [0.0, 0.5]]) * size
        _trace(canvas, corners + np.array([x, image.height + y]), STYLES[verdict], max(2.0, size / 12))
    return canvas


def title(result: Result) -> str:
    """One line on a tray: ``"Small dice (metric), 40 pieces, mark 83 (79 to 87)"``."""
    parts = [words.count(len(result.pieces), "piece")]
    if result.cut is not None:
        parts.insert(0, f"{words.cut_title(result.cut.name)} ({result.cut.standard})")
    if result.score is not None:
        low, high = result.score.mark_low, result.score.mark_high
        parts.append(f"mark {result.score.mark:.0f} ({low:.0f} to {high:.0f})")
    return ", ".join(parts)
