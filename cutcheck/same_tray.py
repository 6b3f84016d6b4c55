"""Several photos of one tray as one: pieces matched, sides combined, what one hides taken from another.

Each photo measures in the frame of its own card. Where the card was moved in between, the move is found from
where the pieces lie and how large they are. Two readings of one side are combined as JCGM 100:2008 has it for
correlated values: the print of the card, the camera's lens and the piece's own roughness are common to both
and don't average out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.spatial import cKDTree

from cutcheck.camera import Camera, Floats
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import Measured
from cutcheck.records import SIDES, BudgetLine, Measure, Piece, SideName

# Taken as fully correlated between photos: the card, the piece and mostly the lens are the same in both.
COMMON = ("print", "camera", "roughness")
DISAGREE = 3.0  # standard uncertainties of the difference beyond which two photos disagree
NEAR_MM = 3.0  # how far a piece may seem to have moved, at least; half its width for larger ones
ENOUGH = 0.6  # share of the pieces that must be found again
ANCHORS, TRIED = 24, 40  # pairs from which a move is guessed, and pieces it is tried on
_NOT_ONE = {"cut-off", "cluster"}
ALIKE_SIDES = 1.3  # a plan this near to square may have its length and width taken the other way round


@dataclass(frozen=True)
class Move:
    """From one photo's board to another's: ``turn`` (2, 2), then ``shift`` (2,) mm."""

    turn: Floats
    shift: Floats

    def __call__(self, xy: Floats) -> Floats:
        return np.asarray(xy @ self.turn.T + self.shift)


def together(measured: Sequence[Measured]) -> tuple[Piece, ...]:
    """The pieces of photos of one tray, in the pixels of the first photo and with its numbers.

    A piece that only one photo shows is kept. Raises ``bad-option`` where the photos don't show one tray.
    """
    first, *others = measured
    for other in others:
        first = replace(first, pieces=_combined(first, other))
    return first.pieces


def _combined(one: Measured, two: Measured) -> tuple[Piece, ...]:
    heights = [p.height.mm for p in (*one.pieces, *two.pieces) if p.height.mm is not None]
    usual = float(np.median(heights)) if heights else 0.0
    at_one, at_two = places_mm(one, usual), places_mm(two, usual)
    move = _move(at_one, at_two, sizes_mm(one.pieces), sizes_mm(two.pieces))
    pairs = dict(_pairs(at_one, move(at_two), sizes_mm(one.pieces)))
    done = [
        piece
        if i not in pairs
        else _merged(piece, _turned(one, piece, two, two.pieces[pairs[i]], move, usual))
        for i, piece in enumerate(one.pieces)
    ]
    last = max((piece.number for piece in done), default=0)
    alone = [piece for j, piece in enumerate(two.pieces) if j not in pairs.values()]
    for number, piece in enumerate(alone, start=last + 1):
        done.append(replace(_carried(piece, one.located.camera, two.located.camera, move), number=number))
    return tuple(done)


# --- which piece is which -----------------------------------------------------------------------------------


def places_mm(measured: Measured, usual_mm: float) -> Floats:
    """Where the pieces lie on the board, (N, 2) mm. A height that was not seen is taken as the tray's usual
    one, for the place alone."""
    px = np.array([piece.centre_px for piece in measured.pieces], float).reshape(-1, 2)
    h = np.array([usual_mm if p.height.mm is None else p.height.mm for p in measured.pieces])
    return measured.located.camera.to_height(px, h)


def sizes_mm(pieces: Sequence[Piece]) -> Floats:
    """Length and width, (N, 2) mm; 0 where unknown."""
    return np.array([[p.length.mm or 0.0, p.width.mm or 0.0] for p in pieces], float).reshape(-1, 2)


def _pairs(at: Floats, other: Floats, sizes: Floats) -> list[tuple[int, int]]:
    """Places (N, 2) and (M, 2) mm that are each other's nearest, and near enough: their numbers."""
    if not len(at) or not len(other):
        return []
    far, there = cKDTree(other).query(at)
    _, back = cKDTree(at).query(other)
    reach = np.maximum(NEAR_MM, 0.5 * sizes[:, 1])
    return [(i, int(j)) for i, j in enumerate(there) if back[j] == i and far[i] <= reach[i]]


def _move(at: Floats, other: Floats, sizes: Floats, other_sizes: Floats) -> Move:
    """The move from ``other`` (M, 2) to ``at`` (N, 2) mm: none, if that fits, else the best of pairs."""
    still = Move(np.eye(2), np.zeros(2))
    needed = math.ceil(ENOUGH * min(len(at), len(other)))
    if len(_pairs(at, other, sizes)) >= needed:
        return _refined(still, at, other, sizes)
    best, count = still, 0
    for guess in _guesses(at, other, sizes, other_sizes):
        found = len(_pairs(at, guess(other), sizes))
        if found > count:
            best, count = guess, found
    best = _refined(best, at, other, sizes)
    if len(_pairs(at, best(other), sizes)) < max(needed, 3):
        raise CutcheckError(
            "bad-option",
            problem="These photos don't show one tray: too few pieces lie in the same places.",
            remedy="Give photos of one tray in which no piece was moved, or leave out --same-tray.",
        )
    return best


def _guesses(at: Floats, other: Floats, sizes: Floats, other_sizes: Floats) -> list[Move]:
    """Moves under which a pair of pieces comes to lie on a pair as far apart and of like sizes; those few
    that bring most of some of the pieces near to one."""
    rng = np.random.default_rng(0)  # the same photos give the same result
    tree = cKDTree(at)
    some = other[rng.permutation(len(other))[:TRIED]]
    scored: list[tuple[int, Move]] = []
    apart = np.linalg.norm(at[:, None] - at[None], axis=-1)
    for _ in range(ANCHORS):
        k, m = rng.choice(len(other), 2, replace=False) if len(other) > 1 else (0, 0)
        step = other[m] - other[k]
        alike = [
            np.abs(sizes - other_sizes[q]).max(axis=1) < 0.1 * other_sizes[q].max() + 0.5 for q in (k, m)
        ]
        fits = (np.abs(apart - np.linalg.norm(step)) < NEAR_MM) & alike[0][:, None] & alike[1][None]
        for i, j in np.argwhere(fits & (apart > 0.0)):
            to = at[j] - at[i]
            angle = math.atan2(to[1], to[0]) - math.atan2(step[1], step[0])
            turn = _turn(angle)
            move = Move(turn, 0.5 * (at[i] + at[j]) - turn @ (0.5 * (other[k] + other[m])))
            near = int((tree.query(move(some))[0] < NEAR_MM).sum())
            scored.append((near, move))
    scored.sort(key=lambda item: -item[0])
    return [move for _, move in scored[:ANCHORS]]


def _refined(move: Move, at: Floats, other: Floats, sizes: Floats) -> Move:
    """The least-squares move of the pieces that it pairs (Kabsch 1976)."""
    for _ in range(3):
        pairs = np.array(_pairs(at, move(other), sizes), int).reshape(-1, 2)
        if len(pairs) < 3:
            return move
        a, b = at[pairs[:, 0]], other[pairs[:, 1]]
        cross = (b - b.mean(axis=0)).T @ (a - a.mean(axis=0))
        turn = _turn(math.atan2(cross[0, 1] - cross[1, 0], cross[0, 0] + cross[1, 1]))
        move = Move(turn, a.mean(axis=0) - turn @ b.mean(axis=0))
    return move


def _turn(angle: float) -> Floats:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s], [s, c]])


# --- two readings of one piece ------------------------------------------------------------------------------


def _turned(one: Measured, piece: Piece, two: Measured, again: Piece, move: Move, usual_mm: float) -> Piece:
    """``again`` with length and width the way round that ``piece`` has them, where they are nearly equal."""
    sizes = sizes_mm([piece, again])
    square = (sizes[:, 0] < ALIKE_SIDES * sizes[:, 1]).all()
    if not square or min(len(piece.top_px), len(again.top_px)) < 3:
        return again
    along = _long_axis(one.located.camera, piece, usual_mm)
    other = move.turn @ _long_axis(two.located.camera, again, usual_mm)
    return again if abs(along @ other) > math.sqrt(0.5) else _swapped(again)


def _long_axis(camera: Camera, piece: Piece, usual_mm: float) -> Floats:
    """The direction of a piece's longer side on the board, (2,)."""
    h = usual_mm if piece.height.mm is None else piece.height.mm
    rim = camera.to_height(np.array(piece.top_px, float), h)
    if piece.shape == "box" and len(rim) % 2 == 0:  # along one edge and back: both averaged, as its sides are
        half = len(rim) // 2
        corners = rim[[0, half - 1, half, -1]]
        along = np.array([corners[1] - corners[0] + corners[2] - corners[3]]) / 2.0
        across = np.array([corners[2] - corners[1] + corners[3] - corners[0]]) / 2.0
        both = np.concatenate([along, across])
        length = np.linalg.norm(both, axis=1)
        longest = int(np.argmax(length))
        return np.asarray(both[longest] / max(float(length[longest]), 1e-9))
    corners = np.asarray(cv2.boxPoints(cv2.minAreaRect(rim.astype(np.float32))), float)
    sides = np.diff(corners[:3], axis=0)
    length = np.linalg.norm(sides, axis=1)
    longest = int(np.argmax(length))
    return np.asarray(sides[longest] / max(float(length[longest]), 1e-9), float)


def _swapped(piece: Piece) -> Piece:
    other: dict[SideName, SideName] = {"length": "width", "width": "length", "height": "height"}
    budget = tuple(replace(line, side=other[line.side]) for line in piece.budget)
    return replace(piece, length=piece.width, width=piece.length, budget=budget)


def _merged(one: Piece, two: Piece) -> Piece:
    """One piece of two readings, with the outline of the first."""
    # Half a piece, or several seen as one, tell nothing of the single whole one.
    for part, whole in ((one, two), (two, one)):
        if _NOT_ONE & {*part.flags} and not _NOT_ONE & {*whole.flags}:
            flags = tuple(sorted({*part.flags, *whole.flags} - _NOT_ONE))
            kept = replace(whole, number=one.number, centre_px=one.centre_px, outline_px=one.outline_px)
            return replace(kept, top_px=one.top_px, flags=flags)
    flags_of = {*one.flags, *two.flags}
    measures: dict[SideName, Measure] = {}
    budget: list[BudgetLine] = []
    for side in SIDES:
        measures[side], lines, agree = _side(one, two, side)
        budget += lines
        if not agree:
            flags_of.add("photos-differ")
    merged = replace(
        one,
        length=measures["length"],
        width=measures["width"],
        height=measures["height"],
        figures=one.figures or two.figures,
        budget=tuple(budget),
        flags=tuple(sorted(flags_of)),
    )
    return _swapped(merged) if (merged.width.mm or 0.0) > (merged.length.mm or 0.0) else merged


def _side(one: Piece, two: Piece, side: SideName) -> tuple[Measure, list[BudgetLine], bool]:
    """A side from two readings: the measure, its budget, and whether they agree.

    The weights are those of least variance (JCGM 100:2008, 5.2, with what is common correlated), none below
    0, so that the result is never less sure than the better reading.
    """
    a, b = getattr(one, side), getattr(two, side)
    causes = [{line.cause: line.standard_mm for line in p.budget if line.side == side} for p in (one, two)]
    for measure, piece in ((b, one), (a, two)):
        if not (measure.seen and measure.mm is not None):
            taken: Measure = getattr(piece, side)
            return taken, [line for line in piece.budget if line.side == side], True
    va, vb = ((m.u95 or 0.0) ** 2 / 4.0 for m in (a, b))
    common = sum(causes[0].get(cause, 0.0) * causes[1].get(cause, 0.0) for cause in COMMON)
    apart2 = max(va + vb - 2.0 * common, 1e-12)
    w = min(max((vb - common) / apart2, 0.0), 1.0)
    total = w * w * va + (1.0 - w) ** 2 * vb + 2.0 * w * (1.0 - w) * common
    lines = []
    for cause in dict.fromkeys([*causes[0], *causes[1]]):
        pa, pb = w * causes[0].get(cause, 0.0), (1.0 - w) * causes[1].get(cause, 0.0)
        lines.append(BudgetLine(side, cause, pa + pb if cause in COMMON else math.hypot(pa, pb)))
    # Of the difference only the print is surely no part: what else is common may not be so in full.
    print2 = causes[0].get("print", 0.0) * causes[1].get("print", 0.0)
    agree = abs(a.mm - b.mm) <= DISAGREE * math.sqrt(max(va + vb - 2.0 * print2, 1e-12))
    if not agree:  # one of them is wrong, and nobody knows which
        between = w * (1.0 - w) * (a.mm - b.mm) ** 2
        total += between
        lines.append(BudgetLine(side, "photos", math.sqrt(between)))
    return Measure(w * a.mm + (1.0 - w) * b.mm, 2.0 * math.sqrt(max(total, 0.0))), lines, agree


def _carried(piece: Piece, to: Camera, of: Camera, move: Move) -> Piece:
    """A piece of another photo with its places in the pixels of this one."""

    def there(px: Sequence[tuple[float, float]], h: float) -> tuple[tuple[float, float], ...]:
        if not px:
            return ()
        moved = to.project_at(move(of.to_height(np.array(px, float), h)), h)
        return tuple((float(x), float(y)) for x, y in moved)

    h = piece.height.mm or 0.0
    return replace(
        piece,
        centre_px=there([piece.centre_px], h)[0],
        outline_px=there(piece.outline_px, 0.0),
        top_px=there(piece.top_px, h),
    )
