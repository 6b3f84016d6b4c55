"""The verdict: probabilities of conformity, the mark, and its interval."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from measured import measured, piece, pieces
from scipy import stats

from cutcheck.errors import CutcheckError
from cutcheck.standards import Target, find_cut
from cutcheck.tray import Tray, side_arrays
from cutcheck.verdict import Rules, judge

DICE = find_cut("small-dice", "inch")  # 6.35 ± 1 mm each way
LOW, HIGH = 5.35, 7.35


def true_mark(true: np.ndarray) -> tuple[float, float]:
    """Share on size and mark of dice whose true sides (n, 3) are known, from the README's three lines."""
    share = ((true >= LOW) & (true <= HIGH)).all(axis=1).mean()
    spread2 = true.var(ddof=1)
    within2 = np.mean([(true[:, a] - true[:, b]) ** 2 / 2 for a, b in ((0, 1), (0, 2), (1, 2))])
    return share, 100 * (0.6 * share + 0.25 / (1 + spread2) + 0.15 / (1 + within2))


WIDTH = Target("width", "width", "width", (6.35, 6.35), LOW, HIGH)


def tray_of(x: list[float], u: float) -> Tray:
    """One side of several pieces."""
    sides = np.array(x)[:, None]
    return Tray.of(sides, np.full_like(sides, u), np.zeros((2, *sides.shape)), [WIDTH])


def test_the_conformance_probability_of_the_published_example() -> None:
    """JCGM 106:2012, 7.4, a breakdown voltage (from memory): 5.47 V, u 0.05, at least 5.40 V: 0.92."""
    target = Target("width", "width", "width", (5.5, 5.5), 5.40, 1e6)
    assert tray_of([5.47], 0.05).conformity([target])[0, 0] == pytest.approx(0.919, abs=0.0005)


@settings(deadline=None)
@given(st.floats(5.0, 8.0), st.floats(5.0, 8.0), st.floats(5.0, 8.0), st.floats(0.01, 0.4))
def test_a_piece_alone_has_the_closed_form_of_the_normal(a: float, b: float, c: float, u: float) -> None:
    """Too few pieces to know the tray by: the product over the sides of Φ(high) - Φ(low), by scipy."""
    judged = judge([piece(1, (max(a, b), min(a, b), c), 2 * u)], DICE)
    sides = [stats.norm.cdf(HIGH, m, u) - stats.norm.cdf(LOW, m, u) for m in (a, b, c)]
    assert judged.pieces[0].conformity == pytest.approx(np.prod(sides), abs=1e-9)


def test_in_a_tray_the_tray_is_the_prior() -> None:
    """With many pieces the probability is the area of prior times likelihood within the limits, over what the
    tray's mean may be: by numeric integration."""
    rng = np.random.default_rng(4)
    x, u = rng.normal(7.1, 0.4, 50), 0.2
    spread = np.sqrt(x.var(ddof=1) - u**2)
    probability = tray_of(list(x), u).conformity([WIDTH])[:, 0]
    error = x.std(ddof=1) / np.sqrt(50)
    centres = x.mean() + error * np.linspace(-6, 6, 121)
    weights = stats.norm.pdf(centres, x.mean(), error)
    t = np.linspace(4, 10, 6001)
    within = (t >= LOW) & (t <= HIGH)
    prior = stats.norm.pdf(t[None], centres[:, None], spread)
    for value, found in zip(x[:10], probability[:10], strict=True):
        both = prior * stats.norm.pdf(value, t, u)
        inside = (both * within).sum(axis=1) / both.sum(axis=1)
        assert found == pytest.approx((inside * weights).sum() / weights.sum(), abs=2e-3)


@pytest.mark.parametrize(
    ("mean", "sd", "plan_u", "height_u"), [(6.35, 0.5, 0.05, 0.15), (7.0, 0.4, 0.1, 0.2)]
)
def test_the_share_on_size_has_no_bias_from_measuring(
    mean: float, sd: float, plan_u: float, height_u: float
) -> None:
    """Over 150 trays of 40 dice the reported share is that of the true sides to 1 point on average; the
    textbook probability without the tray as prior would be 2 points or more too low."""
    rng = np.random.default_rng(11)
    error, naive = [], []
    for _ in range(150):
        true = rng.normal(mean, sd, (40, 3))
        seen, u95 = measured(rng, true, plan_u, height_u)
        score = judge(pieces(seen, u95), DICE).score
        assert score is not None
        error.append(score.on_size - true_mark(true)[0])
        flat = stats.norm.cdf((HIGH - seen) / (u95 / 2)) - stats.norm.cdf((LOW - seen) / (u95 / 2))
        naive.append(flat.prod(axis=1).mean() - true_mark(true)[0])
    assert abs(np.mean(error)) < 0.01
    assert np.mean(naive) < -0.02


@pytest.mark.parametrize(("mean", "sd"), [(6.35, 0.1), (6.35, 0.3), (6.35, 0.6), (7.0, 0.4)])
@pytest.mark.parametrize("count", [12, 40])
def test_the_marks_interval_holds_the_true_mark(mean: float, sd: float, count: int) -> None:
    """In at least 88 of 100 trays the mark of the true sides lies within the interval (95 is meant)."""
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(100):
        true = rng.normal(mean, sd, (count, 3))
        seen, u95 = measured(rng, true, 0.06, 0.12, scale_u=0.003)
        score = judge(pieces(seen, u95), DICE, scale_u=0.003).score
        assert score is not None
        inside += score.mark_low - 1e-9 <= true_mark(true)[1] <= score.mark_high + 1e-9
    assert inside >= 88


def test_the_same_tray_measured_twice_gets_marks_that_agree() -> None:
    """Of 20 pairs of photos at least 18 marks differ by no more than the root sum of squares of their half
    intervals, and none by more than 8."""
    rng = np.random.default_rng(6)
    agree = 0
    for _ in range(20):
        true = rng.normal(6.5, 0.4, (30, 3))
        marks = []
        for _ in range(2):
            seen, u95 = measured(rng, true, 0.06, 0.12, scale_u=0.003)
            score = judge(pieces(seen, u95), DICE, scale_u=0.003).score
            assert score is not None
            marks.append((score.mark, (score.mark_high - score.mark_low) / 2))
        apart = abs(marks[0][0] - marks[1][0])
        assert apart <= 8.0
        agree += apart <= np.hypot(marks[0][1], marks[1][1])
    assert agree >= 18


def test_the_mark_is_the_formula_of_the_readme() -> None:
    """Measured without error, share, evenness, squareness and mark are those worked out from the sides."""
    rng = np.random.default_rng(7)
    true = rng.normal(6.5, 0.5, (25, 3))
    score = judge(pieces(true), DICE).score
    assert score is not None
    share, mark = true_mark(true)
    assert score.on_size == pytest.approx(share)
    assert score.mark == pytest.approx(mark)
    assert score.mark_low == pytest.approx(mark)
    assert score.mark_high == pytest.approx(mark)
    assert score.counted == 25
    assert [s.seen for s in score.sides] == [25, 25, 25]
    assert score.sides[2].mean_mm == pytest.approx(true[:, 2].mean())
    assert score.sides[2].sd_mm == pytest.approx(true[:, 2].std(ddof=1))


def test_four_dice_by_hand() -> None:
    """Sides 6, 6, 6 and 7, 7, 7, twice: all on size; s² = 12 x 0.25/11, none within a piece.
    60 + 25/(1 + 3/11) + 15 = 94.64, worked out by hand."""
    score = judge([piece(i, (6.0 + i % 2,) * 3) for i in range(4)], DICE).score
    assert score is not None
    assert score.mark == pytest.approx(94.643, abs=0.001)
    assert (score.on_size, score.squareness) == (1.0, 1.0)
    assert score.evenness == pytest.approx(11 / 14)


def test_measuring_noise_is_not_taken_for_an_uneven_hand() -> None:
    """Equal dice read with noise get nearly full evenness and squareness; their plain spread would not."""
    rng = np.random.default_rng(8)
    true = np.full((60, 3), 6.35)
    seen, u95 = measured(rng, true, 0.3, 0.3)
    score = judge(pieces(seen, u95), DICE).score
    assert score is not None
    assert score.evenness is not None
    assert score.squareness is not None
    assert min(score.evenness, score.squareness) > 0.97
    assert 1 / (1 + seen.var()) < 0.94


def test_an_error_of_scale_moves_sizes_but_not_evenness() -> None:
    """What all sides share widens the mark's interval near a limit, and is not taken out of the spread."""
    rng = np.random.default_rng(9)
    sides = rng.normal(7.2, 0.2, (40, 3))
    alone = judge(pieces(sides, 0.1), DICE).score
    shared = judge(pieces(sides, np.hypot(0.1, 2 * 0.01 * sides)), DICE, scale_u=0.01).score
    assert alone is not None
    assert shared is not None
    assert shared.evenness == pytest.approx(alone.evenness, abs=1e-6)
    assert shared.mark_high - shared.mark_low > 2 * (alone.mark_high - alone.mark_low)


def test_unseen_heights_get_no_mark_and_a_remedy() -> None:
    """From straight above the plan is marked alone, and the user is told to photograph at a slant."""
    sides = np.random.default_rng(1).normal(6.35, 0.3, (20, 3))
    judged = judge(pieces(sides, 0.1, heights=False), DICE)
    assert judged.score is not None
    assert judged.score.sides[2].seen == 0
    assert judged.score.sides[2].mean_mm is None
    assert any("height" in note and "at a slant" in note for note in judged.notes)
    stick = judge(pieces(sides * [8, 1, 1], 0.1, heights=False), find_cut("batonnet", "inch")).score
    assert stick is not None
    assert stick.squareness is None


def test_what_unseen_heights_may_do_to_the_mark_is_within_its_interval() -> None:
    """The mark with heights lies within the interval that was given without them in 18 of 20 uneven trays."""
    rng = np.random.default_rng(2)
    held = 0
    for _ in range(20):
        sides = rng.normal(6.6, 0.5, (30, 3))
        without, with_heights = (judge(pieces(sides, 0.1, heights=h), DICE).score for h in (False, True))
        assert without is not None
        assert with_heights is not None
        held += without.mark_low - 1 <= with_heights.mark <= without.mark_high + 1
    assert held >= 18


def test_a_cut_of_one_side_that_is_not_seen_has_no_score() -> None:
    """Of a rondelle only the thickness counts; where no piece shows it nothing is marked, and why is told."""
    judged = judge([piece(i, (25.0, 24.0, None), 0.2, shape="disc") for i in range(9)], find_cut("rondelle"))
    assert judged.score is None
    assert {p.verdict for p in judged.pieces} == {None}
    assert any("thickness" in n and "at a slant" in n for n in judged.notes)


def test_pieces_cut_off_by_the_picture_are_not_marked() -> None:
    """A piece at the picture's edge keeps its sides and gets no verdict."""
    tray = [piece(1, (6.3, 6.2, 6.4), 0.1), piece(2, (3.0, 2.0, 6.4), 0.1, flags=("cut-off",))]
    judged = judge(tray, DICE)
    assert judged.pieces[1].verdict is None
    assert judged.pieces[1].conformity is None
    assert judged.score is not None
    assert judged.score.counted == 1


def test_offcuts_are_told_and_left_out() -> None:
    """Two sides under half the lower limit or over twice the upper: no try at this cut; one is a fault."""
    good = [piece(i, (6.4, 6.3, 6.3), 0.1) for i in range(8)]
    odd = [piece(8, (6.0, 2.0, 2.1), 0.1), piece(9, (40.0, 18.0, 6.0), 0.1), piece(10, (6.0, 6.0, 2.0), 0.1)]
    judged = judge([*good, *odd], DICE)
    assert [p.verdict for p in judged.pieces[8:]] == ["offcut", "offcut", "out"]
    assert judged.score is not None
    assert judged.score.counted == 9
    assert any("offcuts" in n and "8, 9" in n for n in judged.notes)


def test_a_tray_of_another_cut_is_marked_low_not_left_out() -> None:
    """Brunoise checked as small dice: every piece counts and is out, and the cut is asked about."""
    judged = judge([piece(i, (2.1, 2.0, 2.0), 0.1) for i in range(12)], DICE)
    assert judged.score is not None
    assert judged.score.counted == 12
    assert judged.score.on_size < 0.01
    assert any("is it the cut you meant" in n for n in judged.notes)


def test_verdicts_follow_the_probability() -> None:
    """In from 0.95, out up to 0.05, unsure between."""
    sides = [6.35, 7.35, 9.0]
    judged = judge([piece(i, (s, s, s), 0.2) for i, s in enumerate(sides)], DICE)
    assert [p.verdict for p in judged.pieces] == ["in", "unsure", "out"]
    assert judged.pieces[1].conformity == pytest.approx(0.125, abs=0.001)  # one half for each of three sides


def test_weights_can_be_changed_and_absent_parts_leave_theirs() -> None:
    """Rules of one's own count; a cut that is not meant to be square has no squareness in its mark."""
    tray = [piece(i, (6.0 + i % 2,) * 3) for i in range(4)]
    only_size = judge(tray, DICE, rules=Rules(on_size=1.0, evenness=0.0, squareness=0.0)).score
    assert only_size is not None
    assert only_size.mark == pytest.approx(100.0)
    rough = judge(tray, find_cut("mirepoix")).score
    assert rough is not None
    assert rough.squareness is None
    assert rough.mark == pytest.approx(100 * (0.6 + 0.25 * 11 / 14) / 0.85)


def test_a_borrowed_standard_is_told() -> None:
    """Where the default standard lacks the cut, the notes say whose sizes were used."""
    borrowed = judge([piece(1, (6, 6, 6))], find_cut("small-dice"))
    assert any("the inch standard's sizes are used" in note for note in borrowed.notes)
    assert not judge([piece(1, (6, 6, 6))], DICE).notes


def test_a_cut_without_sizes_is_refused() -> None:
    """Nothing can be marked against a cut that no source sizes."""
    with pytest.raises(CutcheckError) as caught:
        judge([piece(1, (6, 6, 6))], find_cut("wedge", sized=False))
    assert caught.value.code == "unknown-cut"


def test_sampling_is_told_apart_and_is_what_redrawing_gives() -> None:
    """The half interval for a larger heap is 1.96 spreads of the marks of trays drawn from it, to a third."""
    rng = np.random.default_rng(3)
    marks, told = [], []
    for _ in range(200):
        score = judge(pieces(rng.normal(6.6, 0.5, (30, 3))), DICE).score
        assert score is not None
        assert score.sampling is not None
        marks.append(score.mark)
        told.append(score.sampling)
    assert np.mean(told) == pytest.approx(1.96 * np.std(marks), rel=0.33)


sides_of_a_piece = st.tuples(*[st.floats(0.5, 60.0)] * 3)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(sides_of_a_piece, min_size=1, max_size=30),
    st.floats(0.0, 2.0),
    st.booleans(),
    st.sampled_from(
        ["brunoise", "small-dice", "julienne", "paysanne", "rondelle", "chiffonade", "tourne", "noisette"]
    ),
)
def test_any_tray_gets_numbers_that_make_sense(
    sides: list[tuple[float, float, float]], u95: float, heights: bool, name: str
) -> None:
    """Parts from 0 to 1, a mark from 0 to 100 within its interval, and no measurement changed by the cut."""
    before = pieces(np.array(sides), u95, heights=heights)
    after, score, _ = judge(before, find_cut(name))
    assert [(p.length, p.width, p.height) for p in after] == [(p.length, p.width, p.height) for p in before]
    for one in after:
        assert one.conformity is None or 0.0 <= one.conformity <= 1.0
    if score is not None:
        assert 0.0 <= score.mark_low <= score.mark <= score.mark_high <= 100.0 + 1e-9
        for part in (score.on_size, score.evenness, score.squareness):
            assert part is None or 0.0 <= part <= 1.0 + 1e-9


@settings(max_examples=20, deadline=None)
@given(st.lists(sides_of_a_piece, min_size=2, max_size=15), st.randoms())
def test_the_order_of_the_pieces_does_not_matter(
    sides: list[tuple[float, float, float]], random: object
) -> None:
    """Each piece keeps its probability wherever it stands, and the mark stays."""
    tray = pieces(np.array(sides), 0.2)
    mixed = list(tray)
    random.shuffle(mixed)  # type: ignore[attr-defined]
    first, second = judge(tray, DICE), judge(mixed, DICE)
    known = {p.number: p.conformity for p in first.pieces}
    assert {p.number: p.conformity for p in second.pieces} == pytest.approx(known)
    assert (first.score is None) == (second.score is None)
    if first.score and second.score:
        assert second.score.mark == pytest.approx(first.score.mark)


def test_the_result_is_the_same_each_time() -> None:
    """The draws behind the interval have a fixed seed, which is part of the rules."""
    tray = pieces(np.random.default_rng(0).normal(7.0, 0.4, (20, 3)), 0.2)
    assert judge(tray, DICE).score == judge(tray, DICE).score
    assert judge(tray, DICE, rules=Rules(seed=1)).score != judge(tray, DICE).score


def test_what_all_pieces_share_is_never_more_than_their_uncertainty() -> None:
    """A shared part larger than the whole is cut down to it, so that no variance goes below zero."""
    _, u, shared = side_arrays(
        [piece(1, (10.0, 9.0, 8.0), 0.02)], ["length", "width", "height"], scale_u=0.05
    )
    assert np.all((shared**2).sum(axis=0) <= u**2 + 1e-12)


def test_a_poorly_seen_height_borrows_from_the_plan() -> None:
    """Heights read four times worse than their spread leave the share on size within 3 points on average, and
    the true mark within the interval 85 times in 100; by the heights alone the share would be far lower."""
    cut = find_cut("brunoise", "inch")  # 3.175 ± 0.5 mm
    low, high = cut.targets[0].low_mm, cut.targets[0].high_mm
    rng = np.random.default_rng(12)
    error, alone, inside = [], [], 0
    for _ in range(100):
        true = rng.normal(3.3, 0.15, (30, 3))
        seen, u95 = measured(rng, true, 0.05, 0.45)
        score = judge(pieces(seen, u95), cut).score
        assert score is not None
        share = ((true >= low) & (true <= high)).all(axis=1).mean()
        error.append(score.on_size - share)
        sd = u95[:, 2] / 2
        flat = stats.norm.cdf((high - seen[:, 2]) / sd) - stats.norm.cdf((low - seen[:, 2]) / sd)
        alone.append(flat.mean() - share)
        within2 = np.mean([(true[:, a] - true[:, b]) ** 2 / 2 for a, b in ((0, 1), (0, 2), (1, 2))])
        mark = 100 * (0.6 * share + 0.25 / (1 + 4 * true.var(ddof=1)) + 0.15 / (1 + 4 * within2))
        inside += score.mark_low <= mark <= score.mark_high
    assert abs(np.mean(error)) < 0.03
    assert np.mean(alone) < -0.2
    assert inside >= 85
