"""Finding the cards and mats in a photo: which squares are seen, and roughly where.

Works on a reduced photo and goes larger only where nothing, or not everything, was found: a square far away
needs the full size, a square close by would only be slower there. What is found here is good to about a pixel
of the reduced photo; ``edges`` takes it from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.card import SQUARE_MM, CardLayout, layout_of

Floats = NDArray[np.float64]

# The longer side of the photo as looked at, px, in this order; the last finds the squares of a badly blurred
# photo, to say so.
LONG_SIDES = (1000, 2000, 4000, 500)
LEAST_SIDE_PX = 11  # of a square in the reduced photo; eight cells can't be read from less
FAINT = 128  # where even the lightest is darker than this code, grey levels are spread


@dataclass(frozen=True)
class Tag:
    """One square as it was found: its id and outer corners, (4, 2) px of the full photo."""

    id: int
    corners: Floats


@dataclass(frozen=True)
class FoundCard:
    """A card or mat in the photo: ``seen`` are its squares, corners (4, 2) px by tag id.

    ``homography`` maps the layout's mm to px of the full photo, (3, 3), without lens distortion.
    """

    layout: CardLayout
    seen: dict[int, Floats]
    homography: Floats

    @property
    def complete(self) -> bool:
        """Whether enough is seen: all four squares of a card; of a mat six, both ends among them."""
        if self.layout.kind == "card":
            return len(self.seen) == len(self.layout.squares)
        heights = [self.layout.squares[tag][:, 1].mean() for tag in self.seen]
        return len(self.seen) >= 6 and max(heights) - min(heights) > 0.6 * self.layout.size_mm[1]

    def to_px(self, points: Floats) -> Floats:
        """Points (N, 2) mm of the layout to (N, 2) px of the photo."""
        return through(self.homography, points)


def through(homography: Floats, points: Floats) -> Floats:
    """Points (..., 2) mapped by a homography (3, 3)."""
    mapped = np.concatenate([points, np.ones_like(points[..., :1])], axis=-1) @ homography.T
    return np.asarray(mapped[..., :2] / mapped[..., 2:])


def homography_between(source: Floats, target: Floats) -> Floats:
    """The least-squares homography from (N, 2) to (N, 2) points, N >= 4: (3, 3)."""
    found, _ = cv2.findHomography(source.astype(np.float64), target.astype(np.float64), 0)
    if found is None:
        return np.full((3, 3), np.nan)
    return np.asarray(found, np.float64)


@cache
def _detector(longest: int) -> cv2.aruco.ArucoDetector:
    """For pictures with this longer side, px."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.cornerRefinementWinSize = 3
    parameters.adaptiveThreshWinSizeMin = 5
    parameters.adaptiveThreshWinSizeMax = 25
    parameters.adaptiveThreshWinSizeStep = 20
    parameters.minMarkerPerimeterRate = 4 * LEAST_SIDE_PX / longest
    return cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), parameters
    )


def detect_tags(
    grey: NDArray[np.uint8], scale: float = 1.0, origin: tuple[float, float] = (0, 0)
) -> list[Tag]:
    """All AprilTag 36h11 in a picture that is the photo's part from ``origin``, reduced by ``scale``."""
    corners, ids, _ = _detector(max(grey.shape)).detectMarkers(_spread(grey))
    if ids is None:
        return []
    shift = np.array(origin, float)
    return [
        Tag(int(tag), (np.asarray(quad, float).reshape(4, 2) + 0.5) * scale - 0.5 + shift)
        for tag, quad in zip(np.ravel(ids), corners, strict=True)
    ]


def _spread(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A dark picture made lighter: the detector takes a step of a few codes for noise."""
    white = float(np.percentile(grey[:: max(1, grey.shape[0] // 100), :: max(1, grey.shape[1] // 100)], 99))
    return cv2.convertScaleAbs(grey, alpha=230 / max(white, 4.0)) if white < FAINT else grey  # type: ignore[return-value]


def reduced_grey(pixels: NDArray[np.uint8], reduction: int) -> NDArray[np.uint8]:
    """The photo, (H, W, 3) BGR, as a grey picture, its sides divided by ``reduction``."""
    if reduction > 1:
        high, wide = pixels.shape[:2]
        size = (max(1, wide // reduction), max(1, high // reduction))
        # Cut to a multiple first, so that the reduction is the same everywhere and pixels keep their places.
        whole = pixels[: size[1] * reduction, : size[0] * reduction]
        pixels = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), np.uint8)
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), np.uint8)


def find_cards(pixels: NDArray[np.uint8]) -> list[FoundCard]:
    """Every card and mat of which a square is seen, the most complete first.

    ``pixels`` is (H, W, 3) uint8 BGR. A lone square that fits no card of ours in size or place counts as a
    card of which one square is seen; the caller decides what is enough.
    """
    longest = max(pixels.shape[:2])
    for reduction in dict.fromkeys(max(1, round(longest / side)) for side in LONG_SIDES):
        grey = reduced_grey(pixels, reduction)
        tags = [tag for tag in detect_tags(grey, reduction) if layout_of(tag.id) is not None]
        if tags:
            cards = [_look_again(card, pixels) for card in group(tags)]
            return sorted(cards, key=lambda card: (not card.complete, card.layout.kind, -len(card.seen)))
    return []


def group(tags: list[Tag]) -> list[FoundCard]:
    """Squares put together to cards: same card number, and lying as on one card.

    Each square alone says where its card's others should be; those that are there join. So two cards of one
    number stay two, and a square printed at another size finds no company.
    """
    left = list(tags)
    cards = []
    while left:
        seed = max(left, key=lambda tag: _area(tag.corners))
        layout = layout_of(seed.id)
        assert layout is not None
        members = {seed.id: seed}
        for _ in range(2):  # the second time from all members, which reaches further
            mm = np.concatenate([layout.squares[tag] for tag in members])
            px = np.concatenate([members[tag].corners for tag in members])
            homography = homography_between(mm, px)
            for tag in left:
                if tag.id in layout.squares and tag.id not in members:
                    expected = through(homography, layout.squares[tag.id])
                    reach = 0.3 if len(members) == 1 else 0.15
                    distance = float(np.abs(expected - tag.corners).max())
                    span = float(np.abs(layout.squares[tag.id] - layout.squares[seed.id]).max()) / SQUARE_MM
                    if distance < reach * (1 + span) * np.sqrt(_area(tag.corners)):
                        members[tag.id] = tag
        members = _that_agree(layout, members)
        mm = np.concatenate([layout.squares[tag] for tag in members])
        px = np.concatenate([members[tag].corners for tag in members])
        cards.append(
            FoundCard(layout, {tag: members[tag].corners for tag in members}, homography_between(mm, px))
        )
        left = [
            tag for tag in left if not any(tag is member for member in members.values()) and tag is not seed
        ]
    return cards


def _that_agree(layout: CardLayout, members: dict[int, Tag]) -> dict[int, Tag]:
    """The members without those that one homography can't place within a tenth of a square."""
    while len(members) > 1:
        mm = np.stack([layout.squares[tag] for tag in members])
        px = np.stack([members[tag].corners for tag in members])
        off = through(homography_between(mm.reshape(-1, 2), px.reshape(-1, 2)), mm) - px
        share = np.abs(off).max(axis=(1, 2)) / np.sqrt([_area(quad) for quad in px])
        if share.max() < 0.1:
            break
        del members[list(members)[int(np.argmax(share))]]
    return members


def _look_again(card: FoundCard, pixels: NDArray[np.uint8]) -> FoundCard:
    """The card with those squares, too, that only a closer look round the ones seen shows."""
    if card.complete:
        return card
    quads = np.concatenate(list(card.seen.values()))
    side = max(np.sqrt(_area(quad)) for quad in card.seen.values())
    around = 5.0 * side if card.layout.kind == "card" else 13.0 * side
    high, wide = pixels.shape[:2]
    low = np.maximum(np.floor(quads.min(axis=0) - around), 0).astype(int)
    end = np.minimum(np.ceil(quads.max(axis=0) + around) + 1, [wide, high]).astype(int)
    reduction = int(np.clip(side / 40, 1, 8))
    grey = reduced_grey(pixels[low[1] : end[1], low[0] : end[0]], reduction)
    found = detect_tags(grey, reduction, (int(low[0]), int(low[1])))
    seen = [Tag(tag, corners) for tag, corners in card.seen.items()]
    more = [tag for tag in found if tag.id in card.layout.squares and tag.id not in card.seen]
    again = group([*seen, *more])
    return max(again, key=lambda each: (len(set(each.seen) & set(card.seen)), len(each.seen)))


def _area(quad: Floats) -> float:
    x, y = quad[:, 0], quad[:, 1]
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
