"""The suggested cut: from sizes and shape alone."""

from __future__ import annotations

import numpy as np
import pytest
from measured import pieces

from cutcheck.records import Shape
from cutcheck.standards import cuts, find_cut
from cutcheck.suggest import suggest


def tray(mm: tuple[float, float, float], cv: float = 0.06, n: int = 40, seed: int = 1) -> np.ndarray:
    """Pieces of these sides with a spread of ``cv``."""
    return np.asarray(mm) * np.random.default_rng(seed).normal(1.0, cv, (n, 3))


# sizes from the standards themselves: a tray of a cut's middle size is that cut, or one of its size
STANDARD_TRAYS = [
    (cut.name, standard)
    for standard in ("metric", "inch", None)
    for cut in cuts(standard)
    if cut.targets
    and cut.entry.family in ("dice", "stick")
    and {t.side for t in cut.targets} >= {"width", "height"}
]


@pytest.mark.parametrize(("name", "standard"), STANDARD_TRAYS)
def test_a_standard_tray_is_named_or_one_of_the_same_size(name: str, standard: str | None) -> None:
    """Cut to its middle size, a tray suggests that cut, or one whose limits it is as well within."""
    cut = find_cut(name, standard)
    middle = {t.side: t.middle_mm for t in cut.targets}
    sides = (middle.get("length", 60.0), middle["width"], middle["height"])
    found = suggest(pieces(tray(sides), 0.1), standard)
    assert found is not None
    same = find_cut(found.name, standard)
    for target in same.targets:
        mm = dict(zip(("length", "width", "height"), sides, strict=True))[target.side]
        assert target.low_mm <= mm <= target.high_mm, f"{name} was taken for {found.name}"
    assert 0.0 < found.probability <= 1.0


@pytest.mark.parametrize(
    ("mm", "shape", "name"),
    # common sizes, and how the pieces look
    [
        ((2.0, 2.0, 2.0), "box", "brunoise"),
        ((3.0, 3.0, 3.0), "box", "brunoise"),
        ((5.0, 5.0, 5.0), "box", "macedoine"),
        ((6.3, 6.3, 6.3), "box", "small-dice"),
        ((12.7, 12.7, 12.7), "box", "medium-dice"),
        ((20.0, 20.0, 20.0), "box", "large-dice"),
        ((50.0, 3.0, 3.0), "box", "allumette"),
        ((45.0, 3.2, 0.5), "ribbon", "chiffonade"),
        ((60.0, 6.0, 6.0), "box", "batonnet"),
        ((10.0, 10.0, 1.5), "box", "paysanne"),
        ((11.0, 11.0, 1.6), "box", "paysanne"),
        ((25.0, 25.0, 3.0), "disc", "rondelle"),
        ((120.0, 2.5, 0.5), "ribbon", "chiffonade"),
        ((25.0, 25.0, 25.0), "disc", "parisienne"),
    ],
)
def test_common_trays_are_named(mm: tuple[float, float, float], shape: Shape, name: str) -> None:
    """Dice by their edge, sticks by section and length, slices by thickness, ribbons by width."""
    found = suggest(pieces(tray(mm), 0.1, shape=shape))
    assert found is not None
    assert found.name == name
    assert found.probability > 0.5


def test_nothing_is_suggested_where_nothing_fits() -> None:
    """Blocks of 35 mm, and an empty board, are no cut."""
    assert suggest(pieces(tray((35.0, 35.0, 35.0)), 0.1)) is None
    assert suggest([]) is None


def test_the_chosen_cut_plays_no_part() -> None:
    """Whatever cut the user chose, the suggestion from the same pieces is the same."""
    board = pieces(tray((6.3, 6.3, 6.3)), 0.1)
    assert suggest(board, find_cut("brunoise")) == suggest(board, find_cut("large-dice")) == suggest(board)


def test_a_named_standard_is_kept_to() -> None:
    """Dice of 12.7 mm are no cut of the metric standard; with inch named they are medium dice."""
    board = pieces(tray((12.7, 12.7, 12.7)), 0.1)
    found = suggest(board, "metric")
    assert found is None or found.name in {c.name for c in cuts("metric")}
    inch = suggest(board, "inch")
    assert inch is not None
    assert inch.name == "medium-dice"


def test_heights_that_were_not_seen_are_left_out() -> None:
    """From above a tray of 6.3 mm dice is still small dice, with less certainty."""
    sides = tray((6.3, 6.3, 6.3))
    above, slant = suggest(pieces(sides, 0.1, heights=False)), suggest(pieces(sides, 0.1))
    assert above is not None
    assert slant is not None
    assert above.name == slant.name == "small-dice"
    assert above.probability < slant.probability
