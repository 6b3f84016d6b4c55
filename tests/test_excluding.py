"""A piece left out of the mark by hand: what changes, and what must not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from terms import tray_of_dice

from cutcheck.errors import CutcheckError
from cutcheck.pipeline import mark_without
from cutcheck.records import Measure, Result
from cutcheck.serialise import from_json, to_json
from cutcheck.standards import find_cut
from cutcheck.verdict import judge

DICE = find_cut("small-dice", "inch")


@pytest.fixture
def tray() -> Result:
    """Thirty dice, the third of them crushed to half its width."""
    result = tray_of_dice(np.random.default_rng(5), 0.3)
    crushed = replace(result.pieces[2], width=Measure(4.4, 0.1))
    pieces = tuple(replace(p, verdict=None, conformity=None) for p in result.pieces)
    return mark_without(replace(result, pieces=(*pieces[:2], crushed, *pieces[3:])), (), DICE)


def test_the_mark_without_a_piece_is_the_mark_of_a_tray_that_never_had_it(tray: Result) -> None:
    """Score and verdicts are those that the judge gives the other pieces alone."""
    without = mark_without(tray, {3}, DICE)
    alone = judge([p for p in tray.pieces if p.number != 3], DICE)
    assert without.score == alone.score
    assert [p.verdict for p in without.pieces if p.number != 3] == [p.verdict for p in alone.pieces]
    assert tray.score is not None
    assert without.score is not None
    assert without.score.mark > tray.score.mark
    assert without.score.counted == tray.score.counted - 1


def test_a_piece_left_out_is_still_there_to_be_seen(tray: Result) -> None:
    """It keeps its number and sizes, has no verdict and says why; the tray that was given is unchanged."""
    before = to_json(tray)
    piece = mark_without(tray, {3: "fell on the floor"}, DICE).pieces[2]
    assert (piece.number, piece.length, piece.width) == (3, tray.pieces[2].length, tray.pieces[2].width)
    assert (piece.verdict, piece.conformity, "excluded" in piece.flags) == (None, None, True)
    assert (
        "Left out of the mark: 3 (fell on the floor)."
        in mark_without(tray, {3: "fell on the floor"}, DICE).warnings
    )
    assert to_json(tray) == before


def test_taken_back_everything_is_as_before(tray: Result) -> None:
    """Leaving nothing out undoes what was left out, also of a result that was written and read back."""
    there = from_json(to_json(mark_without(tray, (1, 3), DICE)))
    back = mark_without(there, (), DICE)
    assert back.score is not None
    assert tray.score is not None
    # written to 0.001 mm
    assert back.score.mark == pytest.approx(tray.score.mark, abs=0.05)
    assert not any("excluded" in p.flags for p in back.pieces)
    assert back.warnings == tray.warnings


def test_all_pieces_left_out_is_no_mark(tray: Result) -> None:
    """With nothing left there is no score, and no error."""
    assert mark_without(tray, [p.number for p in tray.pieces], DICE).score is None


def test_a_number_that_no_piece_has_is_told(tray: Result) -> None:
    """The error names the number and those that there are."""
    with pytest.raises(CutcheckError, match=r"There is no piece 99 .* numbered 1 to 30"):
        mark_without(tray, {99}, DICE)
