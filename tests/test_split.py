"""Cutting outlines apart: at necks, and nowhere else."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from cutcheck.split import may_hold_several, solidity, split_outline


def traced(mask: NDArray[np.uint8]) -> NDArray[np.float64]:
    """The one outline of a mask, (N, 2) px."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    assert len(contours) == 1
    return contours[0].reshape(-1, 2).astype(float)


def cut(mask: NDArray[np.uint8]) -> list[NDArray[np.float64]]:
    """The parts of what ``mask`` shows."""
    return split_outline(traced(mask), 80.0)


def discs(angles_deg: list[float], radius: int) -> NDArray[np.uint8]:
    """A chain of touching discs, each seen from the one before in the direction of an angle."""
    mask = np.zeros((900, 900), np.uint8)
    at = np.array([450.0, 450.0])
    cv2.circle(mask, (450, 450), radius, 1, -1)
    for angle in np.radians(angles_deg):
        at = at + (2 * radius - 2) * np.array([np.cos(angle), np.sin(angle)])
        cv2.circle(mask, tuple(np.round(at).astype(int).tolist()), radius, 1, -1)
    return mask


@settings(max_examples=20, deadline=None)
@given(first=st.floats(0, 360), bend=st.floats(-60, 60), radius=st.integers(30, 70))
def test_touching_discs_are_cut_at_their_necks(first: float, bend: float, radius: int) -> None:
    """Three discs in a chain come apart into three outlines of a disc's area."""
    parts = cut(discs([first, first + bend], radius))
    assert len(parts) == 3
    areas = [cv2.contourArea(part.astype(np.float32)) for part in parts]
    assert areas == pytest.approx([np.pi * radius**2] * 3, rel=0.08)


@settings(max_examples=20, deadline=None)
@given(angle=st.floats(0, 180), long=st.floats(20, 320), wide=st.floats(20, 60))
def test_one_box_stays_one(angle: float, long: float, wide: float) -> None:
    """A rectangle of one tone is not cut, however long."""
    mask = np.zeros((500, 500), np.uint8)
    cv2.fillPoly(mask, [np.round(cv2.boxPoints(((250, 250), (long, wide), angle))).astype(np.int32)], 1)
    assert len(cut(mask)) == 1


def test_a_bent_ribbon_stays_one() -> None:
    """A half ring is no thinner anywhere than elsewhere."""
    mask = np.zeros((400, 400), np.uint8)
    cv2.ellipse(mask, (200, 220), (140, 140), 0, 180, 360, 1, 22)
    assert len(cut(mask)) == 1


def test_solidity_of_an_l() -> None:
    """Three quarters of a square, whose hull holds seven eighths of it: 6/7."""
    mask = np.zeros((400, 400), np.uint8)
    mask[50:350, 50:350] = 1
    mask[50:200, 200:350] = 0
    assert solidity(traced(mask)) == pytest.approx(6 / 7, abs=0.01)


def test_a_plain_box_is_not_worth_a_look() -> None:
    """Without a notch there is nothing to cut; with one there may be."""
    own = np.zeros((40, 60), np.uint8)
    own[5:35, 5:55] = 1
    assert not may_hold_several(traced(own))
    own[5:18, 26:32] = 0
    assert may_hold_several(traced(own))
