"""Which of several boxes explains a piece: on small drawn photos where one of them is the truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from small_scene import Prism, blob, over, photo, placed, rectangle

from cutcheck.edgefit import FIRST_PX, fit_edges
from cutcheck.explain import WEIGHTS, Evidence, evidence, rivals, weigh
from cutcheck.outlines import resample
from cutcheck.silhouette import support
from cutcheck.solids import Box

Floats = NDArray[np.float64]


@pytest.mark.parametrize("tilt", [18.0, 32.0])
@pytest.mark.parametrize("wrong", [0.4, 1.6])
def test_the_true_box_outweighs_one_of_another_height(tilt: float, wrong: float) -> None:
    """Of a box as drawn and one of 0.4 or 1.6 times its height on the same place, the first is chosen."""
    camera, angle = over(tilt), 25.0
    solid = Prism(placed(rectangle(12.0, 9.0), 2.0, 1.0, angle), 8.0)
    pixels = photo(camera, [solid], seed=3)
    outline = resample(blob(camera, [solid], off_px=0.3).outline_px)[None]
    true = np.array([2.0, 1.0, np.radians(angle), 12.0, 9.0, 8.0, 0.0, 0.0, 0.0])
    other = true * np.array([1.0, 1.0, 1.0, 1.0, 1.0, wrong, 1.0, 1.0, 1.0])
    fit = fit_edges(
        pixels,
        camera,
        Box(),
        np.stack([other, true]),
        np.repeat(outline, 2, axis=0),
        np.full((2, 2, 2), np.nan),
        FIRST_PX,
    )
    n, reach = support([outline[0]])
    found = evidence(pixels, camera, fit, 2, n, reach, np.array([8.0]), outline)
    # Alone on its tray a piece has no usual size to be compared with.
    chance = weigh(found, np.concatenate([WEIGHTS[:-3], np.zeros(3)]))
    assert chance[1, 0] > 0.8


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.integers(0, 10_000), st.integers(2, 7), st.integers(1, 12))
def test_probabilities_are_probabilities(seed: int, keep: int, count: int) -> None:
    """Whatever the evidence, a piece's candidates have probabilities from 0 to 1 that add up to 1."""
    rng = np.random.default_rng(seed)
    boxes = np.abs(rng.normal(6.0, 1.0, (keep, count, 9))) + 0.2
    chance = weigh(Evidence(rng.normal(0.0, 3.0, (keep, count, len(WEIGHTS) - 3)), boxes))
    assert chance.shape == (keep, count)
    assert np.all((chance >= 0.0) & (chance <= 1.0))
    assert chance.sum(axis=0) == pytest.approx(1.0)


def test_what_rivals_leave_open() -> None:
    """Two candidates 0.6 mm apart in length at odds of 3 to 1 leave sqrt(1/4) of that; a sure one nothing.

    The root of the expected squared difference from the one that is chosen; a box turned by a right angle
    with its sides exchanged is the same box.
    """
    chosen = np.array([[0.0, 0.0, 0.0, 6.0, 5.0, 4.0, 0.0, 0.0, 0.0]])
    longer = chosen + np.array([0, 0, 0, 0.6, 0, 0, 0, 0, 0])
    turned = chosen[:, [0, 1, 2, 4, 3, 5, 6, 7, 8]]
    assert rivals(np.array([[0.75], [0.25]]), np.stack([chosen, longer]), chosen) == pytest.approx(
        np.array([[0.3, 0.0, 0.0]])
    )
    assert rivals(np.array([[0.5], [0.5]]), np.stack([chosen, turned]), chosen) == pytest.approx(0.0)
