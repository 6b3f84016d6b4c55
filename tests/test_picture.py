"""The marked picture: verdicts told apart without colour, numbers that can be read, a bank card covered."""

from __future__ import annotations

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
import trays
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image
from skimage.color import deltaE_ciede2000, rgb2lab

from cutcheck.picture import BLACK, STYLES, WHITE, draw, encode, label_places, masked, title
from cutcheck.records import Result, Verdict

# Simulated dichromacy in linear RGB, severity 1.0: Machado, Oliveira and Fernandes, "A physiologically-based
# model for simulation of color vision deficiency", IEEE TVCG 15 (2009). From memory, unverified.
MACHADO = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}
VERDICTS: tuple[Verdict, ...] = ("in", "out", "unsure")


def one_piece(verdict: Verdict) -> Result:
    """A tray with one large piece of this verdict."""
    big = trays.piece(7, 0, 0, 0.4, (60.0, 60.0, 5.0), verdict)
    return replace(trays.tray(), pieces=(big,))


def strokes(verdict: Verdict) -> list[int]:
    """The areas, px, of the separate strokes that make up a piece's outline."""
    result = one_piece(verdict)
    board = np.full((trays.HEIGHT, trays.WIDTH, 3), 128, np.uint8)
    picture = draw(board, result)[: trays.HEIGHT]
    marked = (np.abs(picture.astype(int) - 128).max(axis=2) > 40).astype(np.uint8)
    band = np.zeros_like(marked)
    outline = np.round(np.array(result.pieces[0].outline_px)).astype(np.int32)
    cv2.polylines(band, [outline], True, 1, 13)
    _, _, stats, _ = cv2.connectedComponentsWithStats(marked * band)
    return [int(area) for area in stats[1:, cv2.CC_STAT_AREA] if area > 4]


def test_lines_tell_the_verdict_without_colour() -> None:
    """On size is one unbroken line, off size many dashes, in doubt still more and smaller dots."""
    on_size, off_size, in_doubt = (strokes(verdict) for verdict in VERDICTS)
    assert len(on_size) <= 2
    assert len(off_size) > 12
    assert len(in_doubt) > 1.3 * len(off_size)
    assert np.median(in_doubt) < 0.7 * np.median(off_size)


def test_labels_tell_the_verdict_by_shape_and_shade() -> None:
    """No two verdicts share a label's shape, and their fills differ by 9 or more in CIE lightness."""
    assert len({STYLES[verdict].shape for verdict in VERDICTS}) == 3
    fills = sorted(lightness(STYLES[verdict].fill) for verdict in VERDICTS)
    assert min(np.diff(fills)) > 9


@pytest.mark.parametrize("eye", ["all", *MACHADO])
def test_line_colours_are_far_apart_for_every_eye(eye: str) -> None:
    """Two lines of different verdicts differ by more than 20 in CIEDE2000, red-green blindness included."""
    colours = {verdict: rgb2lab(np.array(seen_by(eye, STYLES[verdict].line))) for verdict in VERDICTS}
    for a, b in (("in", "out"), ("in", "unsure"), ("out", "unsure")):
        assert deltaE_ciede2000(colours[a], colours[b]) > 20


def test_numbers_stand_out_from_their_labels() -> None:
    """Ink on fill has a contrast of at least 4.5 (WCAG 2.2, 1.4.3)."""
    for style in STYLES.values():
        light, dark = sorted((luminance(style.ink), luminance(style.fill)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_numbers_can_be_read_on_a_phone() -> None:
    """On a picture shrunk to 390 px a label is still at least 14 px high, and its edges are smooth."""
    result = one_piece("in")
    board = np.full((trays.HEIGHT, trays.WIDTH, 3), 90, np.uint8)
    picture = draw(board, result)[: trays.HEIGHT]
    white = (picture.min(axis=2) > 250).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(white)
    label = stats[1:][np.argmax(stats[1:, cv2.CC_STAT_AREA])]
    assert count > 1
    assert label[cv2.CC_STAT_HEIGHT] * 390 / trays.WIDTH >= 10
    x, y, w, h = label[:4]
    levels = np.unique(picture[y : y + h, x : x + w, 1])
    assert len(levels) > 25


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 60), st.integers(0, 10_000))
def test_labels_stay_inside_and_off_each_other(count: int, seed: int) -> None:
    """Wherever the pieces lie, labels stay in the picture; where there is room, none covers another."""
    rng = np.random.default_rng(seed)
    size, half = (1600, 1200), np.array([20.0, 16.0])
    spots = np.array([(160 * (k % 9) + 150, 150 * (k // 9) + 130) for k in range(count)], float)
    outlines = [spot + rng.uniform(15, 30) * corner_ring(rng.uniform(0, 2)) for spot in spots]
    places = label_places([half] * count, outlines, [], size, 4)
    assert (places >= half - 1).all()
    assert (places <= np.array(size) - half + 1).all()
    for k, place in enumerate(places):
        apart = np.abs(np.delete(places, k, axis=0) - place)
        assert (apart > half * 1.5).any(axis=1).all()


def test_a_crowd_of_pieces_still_shows_its_pieces() -> None:
    """With 420 pieces the labels shrink: more than half of the pieces' area stays uncovered."""
    result = trays.tray(420)
    photo = trays.photo(result)
    picture = draw(photo, result)[: trays.HEIGHT]
    tops = np.zeros(photo.shape[:2], np.uint8)
    for piece in result.pieces:
        cv2.fillPoly(tops, [np.round(np.array(piece.top_px)).astype(np.int32)], 1)
    untouched = (np.abs(picture.astype(int) - photo).max(axis=2) < 30) & (tops > 0)
    assert untouched.sum() > 0.5 * tops.sum()


def test_the_photo_itself_is_left_alone() -> None:
    """Drawing changes a copy: the caller's pixels stay as they were."""
    result = trays.tray()
    photo = trays.photo(result)
    before = photo.copy()
    draw(photo, result)
    masked(photo, replace(result, scale=replace(result.scale, reference="id1")))
    assert np.array_equal(photo, before)


def test_a_bank_size_card_is_covered() -> None:
    """What is printed on an ID-1 card can't be seen in any picture; our own card stays visible."""
    result = trays.tray()
    rng = np.random.default_rng(1)
    photo = rng.integers(0, 255, (trays.HEIGHT, trays.WIDTH, 3), np.uint8)
    (x0, y0), (x1, y1) = np.array(result.scale.regions_px[0])[[0, 2]].astype(int)
    inside = np.s_[y0 + 3 : y1 - 3, x0 + 3 : x1 - 3]
    bank = replace(result, scale=replace(result.scale, reference="id1"), pieces=())
    assert draw(photo, bank)[inside].std() < 1
    assert draw(photo, replace(result, pieces=()))[inside].std() > 50


def test_large_photos_are_drawn_smaller_and_small_ones_as_they_are() -> None:
    """The picture is at most 2400 px on its longest side before the legend, and never enlarged."""
    result = trays.tray()
    big = cv2.resize(trays.photo(result), (4000, 3000))
    grown = replace(result, photo=replace(result.photo, width_px=4000, height_px=3000))
    assert draw(big, grown).shape[1] == 2400
    assert draw(trays.photo(result), result).shape[1] == trays.WIDTH


@pytest.mark.parametrize(
    ("ending", "kind"), [(".png", "PNG"), (".jpg", "JPEG"), (".JPEG", "JPEG"), (".webp", "WEBP")]
)
def test_the_ending_says_the_format(ending: str, kind: str) -> None:
    """Pillow, another library, reads what was written, in the format that the ending names."""
    result = trays.tray()
    data = encode(draw(trays.photo(result), result), ending)
    with Image.open(io.BytesIO(data)) as image:
        assert image.format == kind
        assert image.width == trays.WIDTH


def test_another_ending_is_told() -> None:
    """An ending that is no picture's says which are."""
    with pytest.raises(ValueError, match=r"\.png, \.jpg"):
        encode(np.zeros((4, 4, 3), np.uint8), ".txt")


def test_the_title_says_cut_pieces_and_mark() -> None:
    """The line below the picture names the cut, the standard, the pieces and the mark with its interval."""
    assert title(trays.tray()) == "Small dice (inch), 12 pieces, mark 72 (68 to 77)"


def test_an_empty_tray_is_a_picture_too() -> None:
    """Without pieces the photo comes back with its legend."""
    result = replace(trays.tray(), pieces=(), cut=None, score=None)
    assert draw(trays.photo(result), result).shape[0] > trays.HEIGHT


def corner_ring(turn: float) -> NDArray[np.float64]:
    """A square's corners about 0, (4, 2)."""
    angle = np.array([0, 1, 2, 3]) * np.pi / 2 + turn
    return np.column_stack([np.cos(angle), np.sin(angle)])


def linear(rgb: tuple[int, int, int]) -> NDArray[np.float64]:
    """sRGB 0 to 255 as linear light (IEC 61966-2-1)."""
    c = np.array(rgb) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def luminance(rgb: tuple[int, int, int]) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    return float(linear(rgb) @ [0.2126, 0.7152, 0.0722])


def lightness(rgb: tuple[int, int, int]) -> float:
    """CIE L*."""
    return float(rgb2lab(np.array(rgb) / 255)[0])


def seen_by(eye: str, rgb: tuple[int, int, int]) -> NDArray[np.float64]:
    """The sRGB (0 to 1) that an eye makes of a colour."""
    light = linear(rgb) if eye == "all" else np.clip(np.array(MACHADO[eye]) @ linear(rgb), 0, 1)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


def test_the_palette_is_that_of_its_source() -> None:
    """Blue, vermillion and yellow are Okabe and Ito's (0,114,178), (213,94,0), (240,228,66); from memory."""
    assert STYLES["in"].line == (0, 114, 178)
    assert STYLES["out"].line == (213, 94, 0)
    assert STYLES["unsure"].line == (240, 228, 66)
    assert (BLACK, WHITE) == ((17, 17, 17), (255, 255, 255))
