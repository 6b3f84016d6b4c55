"""A tray handed in twice: the same photo saved again, or the same pieces photographed again.

Two photos are compared by where their pieces lie and how large they are, whatever way the card lay, and by a
small picture of each. It is only pointed out: two trays can be alike, and a person looks. Pieces that were
laid out anew are not known again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from cutcheck.classroom.look import Floats, Look

Kind = Literal["photo", "pieces"]
Complexes = NDArray[np.complex128]

# Chosen on drawn trays: of the same tray 0.64 to 1 of the pieces lie within 1 mm, of others 0.13 at most;
# trays that different people lay out in rows come near in places, but not in which piece has which size.
NEAR_MM = 1.0  # two photos place a piece 0.2 to 0.6 mm apart
FEWEST = 5  # pieces that must be found again: fewer lie alike by chance
SHARE, SHARE_ALL = 0.6, 0.9
SIZES_AGREE = 0.6  # correlation of the sizes, piece by piece
SHIFT_MM = 0.4  # how far apart, root mean square, where sizes are too even to tell trays apart
# Correlation of the small pictures: saved again, smaller, coarser or brighter 0.994; other pieces before the
# same stand, board and light 0.976 at most (25 dice of 2 mm), so that they differ in hardly a pixel.
PICTURE = 0.99
DETAIL_PX = 2.0  # of the small picture: what is coarser is light and board, not the tray
TRIES, SOME, BEST = 8, 12, 4


@dataclass(frozen=True, slots=True)
class Repeat:
    """Two photos of one tray: the same ``photo`` saved again, or the same ``pieces``."""

    first: str
    second: str
    kind: Kind


def find_repeats(looks: Mapping[str, Look]) -> tuple[Repeat, ...]:
    """The pairs of photos, by name, that show one tray; each pair once, in the order of the names given."""
    details = {name: _detail(look.small) for name, look in looks.items()}
    found = []
    for first, second in combinations(looks, 2):
        kind = _same(looks[first], looks[second], float((details[first] * details[second]).sum()))
        if kind is not None:
            found.append(Repeat(first, second, kind))
    return tuple(found)


def same_tray(one: Look, two: Look) -> Kind | None:
    """Whether two looks are of one tray, and whether of one photo of it."""
    return _same(one, two, float((_detail(one.small) * _detail(two.small)).sum()))


def _same(one: Look, two: Look, picture: float) -> Kind | None:
    """``picture`` is the correlation of the small pictures, -1 to 1, of their detail."""
    if picture >= PICTURE:
        return "photo"
    share, shift, sizes = _alike(one, two)
    even = share >= SHARE_ALL and shift <= SHIFT_MM
    return "pieces" if share >= SHARE and (sizes >= SIZES_AGREE or even) else None


def _detail(small: NDArray[np.uint8]) -> Floats:
    """What is finer than ``DETAIL_PX`` in a small picture, of length 1 as a vector."""
    picture = small.astype(float)
    fine = picture - cv2.GaussianBlur(picture, (0, 0), DETAIL_PX)
    fine = fine - fine.mean()
    return np.asarray(fine / max(float(np.linalg.norm(fine)), 1e-9))


def _alike(one: Look, two: Look) -> tuple[float, float, float]:
    """Over the best rigid move: the share of the pieces that lie on one another, how far apart these are
    (root mean square, mm), and how their sizes correlate."""
    (at, sizes), (other, others) = ((_complex(look.places), look.sizes) for look in (one, two))
    if len(at) < len(other):
        (at, sizes), (other, others) = (other, others), (at, sizes)
    best = (0.0, float("inf"), 0.0)
    if len(other) < FEWEST:
        return best
    tree = _tree(at)
    for turn, shift in _guesses(at, sizes, other, others, tree):
        turn, shift = _fitted(turn, shift, at, other, tree)
        there, here, far = _pairs(turn * other + shift, tree, NEAR_MM)
        if len(here) >= FEWEST and len(here) / len(other) > best[0]:
            rms = float(np.sqrt(np.mean(far**2)))
            best = (len(here) / len(other), rms, _correlation(sizes[there], others[here]))
    return best


def _guesses(
    at: Complexes, sizes: Floats, other: Complexes, others: Floats, tree: cKDTree
) -> list[tuple[complex, complex]]:
    """Moves (turn, shift) that bring a pair of pieces onto a pair as far apart and of like sizes; those few
    that bring some more pieces near to one."""
    rng = np.random.default_rng(0)  # the same photos give the same result
    some = other[rng.permutation(len(other))[:SOME]]
    apart = np.abs(at[:, None] - at[None])
    scored: list[tuple[float, complex, complex]] = []
    for _ in range(TRIES):
        k = int(rng.integers(len(other)))
        m = int(rng.choice(np.argsort(np.abs(other - other[k]))[len(other) // 2 :]))  # far: the turn is surer
        step = other[m] - other[k]
        alike = [np.abs(sizes - others[q]).max(axis=1) < 0.1 * others[q].max() + 0.5 for q in (k, m)]
        i, j = np.nonzero((np.abs(apart - abs(step)) < 1.5 * NEAR_MM) & alike[0][:, None] & alike[1][None])
        if not len(i) or step == 0:
            continue
        turns = (at[j] - at[i]) / step
        turns /= np.maximum(np.abs(turns), 1e-9)
        shifts = 0.5 * (at[i] + at[j] - turns * (other[k] + other[m]))
        far = tree.query(_xy(turns[:, None] * some + shifts[:, None]))[0]
        cost = np.minimum(far, 3.0 * NEAR_MM).sum(axis=1)
        scored += [(float(cost[q]), turns[q], shifts[q]) for q in np.argsort(cost)[:BEST]]
    scored.sort(key=lambda guess: guess[0])
    return [(turn, shift) for _, turn, shift in scored[:BEST]]


def _fitted(
    turn: complex, shift: complex, at: Complexes, other: Complexes, tree: cKDTree
) -> tuple[complex, complex]:
    """The least-squares rigid move of the pieces that it pairs, the pairs taken ever nearer."""
    for reach in (3.0, 2.0, 1.5, 1.5):
        there, here, _ = _pairs(turn * other + shift, tree, reach * NEAR_MM)
        if len(here) < 3:
            break
        a, b = at[there], other[here]
        product = complex(np.vdot(b - b.mean(), a - a.mean()))
        turn = product / max(abs(product), 1e-9)
        shift = complex(a.mean() - turn * b.mean())
    return turn, shift


def _pairs(
    moved: Complexes, tree: cKDTree, reach: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Places that are each other's nearest within reach: their numbers in the tree and in ``moved``, and how
    far apart, mm."""
    far, there = tree.query(_xy(moved))
    back = _tree(moved).query(tree.data)[1]
    good = (back[there] == np.arange(len(moved))) & (far < reach)
    return there[good], np.flatnonzero(good), far[good]


def _correlation(one: Floats, two: Floats) -> float:
    """How the sizes of pieces (N, 2) mm in one photo go with those in the other, -1 to 1."""
    a, b = (sizes - np.median(sizes, axis=0) for sizes in (one, two))
    most = float(np.percentile(np.abs(np.concatenate([a, b])), 90))  # one odd piece must not decide
    a, b = np.clip(a, -most, most), np.clip(b, -most, most)
    return float((a * b).sum() / max(float(np.sqrt((a * a).sum() * (b * b).sum())), 1e-9))


def _complex(xy: Floats) -> Complexes:
    return np.asarray(xy[:, 0] + 1j * xy[:, 1])


def _xy(z: Complexes) -> Floats:
    return np.stack([z.real, z.imag], axis=-1)


def _tree(z: Complexes) -> cKDTree:
    return cKDTree(_xy(z))
