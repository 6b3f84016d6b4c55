"""The rubric's file, the school's scale, and how a grade adds up."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm
from terms import tray_of_dice

from cutcheck.classroom.grade import Grade, Weights, grade, pass_probability, scale_of
from cutcheck.classroom.rubric import (
    HandLine,
    Penalty,
    Rubric,
    Weighting,
    parse_rubric,
    read_rubric,
    rubric_text,
    usual_rubric,
    write_rubric,
)
from cutcheck.classroom.rubric_words import rubric_lines
from cutcheck.classroom.scales import KINDS, Band, SchoolScale
from cutcheck.cli import run
from cutcheck.commands.rubric import rubric as command
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import mark_without
from cutcheck.records import BudgetLine, Measure, Piece, Result
from cutcheck.standards import find_cut
from cutcheck.verdict import Rules, judge

DICE = find_cut("small-dice")
FULL = Rubric(
    name='Ours, "2026"',
    sample_note="Two spoonfuls\u00e9",
    sample_size=30,
    fewest_pieces=25,
    weights=Weighting(1.0, 0.0, 0.5),
    pass_mark=62.5,
    second_look="measuring",
    few=Penalty(25.0, 2.0, 12.0),
    waste=Penalty(15.0, 0.5, 10.0),
    time=Penalty(12.0, 1.0, 8.0),
    hand_lines=(HandLine("hygiene", 10.0, "board, knife, hands"), HandLine("technique", 15.5)),
    scale=SchoolScale("letters", 20.0, 0.25, (Band(80.0, "merit"), Band(0.0, "not yet"))),
)


def tray(sd: float = 0.6, seed: int = 5, count: int = 40) -> Result:
    """Invented dice, marked."""
    return tray_of_dice(np.random.default_rng(seed), sd, count=count)


@pytest.mark.parametrize("rubric", [usual_rubric(), FULL, Rubric()])
def test_a_written_rubric_is_read_back_the_same(rubric: Rubric, tmp_path: Path) -> None:
    """Every field survives the file; a file that is there is not overwritten."""
    path = tmp_path / "ours.toml"
    write_rubric(rubric, path)
    assert read_rubric(path) == rubric
    with pytest.raises(CutcheckError, match="is there already"):
        write_rubric(rubric, path)
    assert parse_rubric(rubric_text(rubric)) == rubric


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("pas_mark = 50", "line 1, pas_mark: 'pas_mark' is not known here.*Known are: name, pass_mark"),
        ("pass_mark = 0", "pass_mark: 0 is not a number from 1 to 100"),
        ("pass_mark = '50'", "pass_mark: '50' is not a number"),
        ("pass_mark = nan", "nan is not a number"),
        ("second_look = 'never'", "second_look: 'never' is not known.*measuring, sample"),
        ("[sample]\nsize = 40.5", "line 2, sample.size: 40.5 is not a whole number"),
        ("[sample]\nsize = 10\nfewest = 11", "sample.fewest: 11 is more than the sample of 10"),
        ("[sample]\ncount = 3", "sample.count: 'count' is not known here.*how, size, fewest"),
        ("[weights]\non_size = 0", "weights.on_size: on_size must count for something"),
        ("[weights]\nevenness = -1", "weights.evenness: -1 is not a number from 0 to 1000"),
        (
            "[penalties]\nwaste = { over_percent = 20, most = 10 }",
            "penalties.waste: 'each_percent' is missing",
        ),
        ("[penalties]\nlate = 3", "penalties.late: 'late' is not known here.*few_pieces, waste, time"),
        ("[penalties]\ntime = 3", "penalties.time: this is no table"),
        ("[[by_hand]]\nname = 'x'\npoints = 95", "by_hand.1.points: 95 is not a number from 0.5 to 90"),
        (
            "[[by_hand]]\nname = 'x'\npoints = 50\n[[by_hand]]\nname = 'X'\npoints = 5",
            "by_hand.2.name: there are two lines 'X'",
        ),
        (
            "[[by_hand]]\nname = 'x'\npoints = 50\n[[by_hand]]\nname = 'y'\npoints = 41",
            "more than 90 of the 100 points",
        ),
        ("by_hand = 3", "by_hand: this is no list"),
        ("[scale]\nkind = 'stars'", "scale.kind: 'stars' is not known.*percent, points, letters, pass"),
        ("[scale]\nof = 20\nstep = 3", "scale.step: steps of 3 do not end at 20"),
        ("[scale]\nbands = [{ from = 50, name = 'A' }]", "scale.bands: the bands must fall"),
        ("[scale]\nbands = [{ from = 0, name = '' }]", "scale.bands.1.name: this is no line of text"),
        ("name = 'a\nb'", "line 1: this is not TOML"),
    ],
)
def test_each_mistake_is_named_with_what_is_allowed(text: str, told: str, tmp_path: Path) -> None:
    """The file, the key, and what may stand there."""
    path = tmp_path / "wrong.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CutcheckError) as error:
        read_rubric(path)
    assert error.value.code == "bad-option"
    assert "wrong.toml" in error.value.message
    assert re.search(told, str(error.value)), str(error.value)


def test_no_file_and_no_text_are_told(tmp_path: Path) -> None:
    """A missing file and one that is no text are errors with a next step, not faults."""
    with pytest.raises(CutcheckError, match="There is no file"):
        read_rubric(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(CutcheckError, match="can't be read as text"):
        read_rubric(tmp_path / "bytes.toml")


SCALES = st.builds(
    SchoolScale,
    st.sampled_from(KINDS),
    st.sampled_from([4.0, 5.0, 10.0, 20.0, 100.0]),
    st.sampled_from([0.1, 0.25, 0.5, 1.0]),
)


@given(SCALES, st.floats(0, 100), st.floats(0, 100), st.floats(1, 100))
def test_more_points_are_never_written_as_less(scale: SchoolScale, a: float, b: float, at: float) -> None:
    """Every scale rises with the points, whatever the pass mark."""
    low, high = (scale.text(points, at) for points in sorted((a, b)))
    assert _height(scale, low) <= _height(scale, high)


@given(SCALES, st.floats(0, 99.999), st.floats(1, 100))
def test_who_fails_is_never_written_as_one_who_passes(scale: SchoolScale, points: float, at: float) -> None:
    """In figures, and as passed or not, a mark below the pass mark looks lower than the pass mark."""
    if points < at and scale.kind != "letters" and not (scale.text(at, at).startswith("0")):
        assert _height(scale, scale.text(points, at)) < _height(scale, scale.text(at, at))


def _height(scale: SchoolScale, text: str) -> float:
    if scale.kind == "letters":
        return -float([band.name for band in scale.bands].index(text))
    if scale.kind == "pass":
        return float(text == "passed")
    return float(text.split("/")[0].removesuffix(" %"))


@pytest.mark.parametrize(
    ("scale", "points", "text"),
    [
        (SchoolScale("percent"), 100.0, "100 %"),
        (SchoolScale("percent"), 82.5, "83 %"),
        (SchoolScale("percent"), 49.9, "49 %"),  # the pass mark is 50: not written as 50
        (SchoolScale("percent"), 50.0, "50 %"),
        (SchoolScale("points", 20.0, 0.5), 83.0, "16.5/20"),
        (SchoolScale("points", 20.0, 0.5), 49.99, "9.5/20"),
        (SchoolScale("points", 20.0, 0.5), 0.0, "0/20"),
        (SchoolScale("points", 20.0, 0.5), 140.0, "20/20"),
        (SchoolScale("letters"), 90.0, "A"),
        (SchoolScale("letters"), 89.99, "B"),
        (SchoolScale("letters"), -3.0, "F"),
        (SchoolScale("pass"), 49.99, "not passed"),
        (SchoolScale("pass"), 50.0, "passed"),
    ],
)
def test_points_on_the_schools_scale(scale: SchoolScale, points: float, text: str) -> None:
    """Ends, halves and the pass mark are where they are documented to be."""
    assert scale.text(points, 50.0) == text


@pytest.mark.parametrize("half", [0.5, 3.0, 12.0])
@pytest.mark.parametrize("off", [-9.0, -2.0, -0.1, 0.0, 0.1, 2.0, 9.0])
def test_the_probability_to_pass_is_the_normals(half: float, off: float) -> None:
    """At borderline marks it is that of scipy's normal: JCGM 106:2012, 7.2, a one-sided tolerance limit."""
    u = half / norm.ppf(0.975)
    expected = 1.0 - norm.cdf(50.0, loc=50.0 + off, scale=u)
    # 1.96 for the quantile, as JCGM 100:2008 rounds it
    assert pass_probability(50.0 + off, 50.0 + off - half, 50.0 + off + half, 50.0) == pytest.approx(
        expected, abs=2e-5
    )


@given(st.floats(0, 100), st.floats(0, 30), st.floats(0, 30), st.floats(1, 99))
def test_a_second_look_is_a_probability_between_the_ends(
    points: float, below: float, above: float, at: float
) -> None:
    """The interval holds the pass mark just where passing is between 2.5 and 97.5 % probable."""
    p = pass_probability(points, points - below, points + above, at)
    inside = points - below < at <= points + above
    assert 0.0 <= p <= 1.0
    if inside and below > 0 and above > 0:
        assert 0.0249 <= p <= 0.9751
    elif not inside:
        assert p <= 0.0251 or p >= 0.9749


def test_a_sure_mark_passes_or_does_not() -> None:
    """Without any doubt the probability is 1 at the pass mark and above, and 0 below."""
    assert pass_probability(50.0, 50.0, 50.0, 50.0) == 1.0
    assert pass_probability(49.999, 49.999, 49.999, 50.0) == 0.0


def test_the_usual_rubric_gives_the_mark_that_was_measured() -> None:
    """Points and ends are those of the result; the sample adds its part in quadrature."""
    result = tray()
    given = grade(result, usual_rubric())
    score = result.score
    assert score is not None
    assert score.sampling is not None
    assert (given.points, given.low, given.high) == (score.mark, score.mark_low, score.mark_high)
    down = float(np.hypot(score.mark - score.mark_low, score.sampling))
    assert given.sample_low == pytest.approx(score.mark - down)
    assert given.points_all == given.points
    assert given.excluded_text == ""


def test_other_weights_are_those_of_the_judge() -> None:
    """The mark, and its interval, are what the judge gives with these weights; only proportions count."""
    result = tray()
    alone = judge(result.pieces, DICE, rules=Rules(1.0, 0.0, 0.0)).score
    assert alone is not None
    for weights in (Weighting(1.0, 0.0, 0.0), Weighting(80.0, 0.0, 0.0)):
        given = grade(result, replace(usual_rubric(), weights=weights))
        assert given.points == pytest.approx(100.0 * alone.on_size)
        assert (given.low, given.high) == pytest.approx((alone.mark_low, alone.mark_high))
    same = grade(result, replace(usual_rubric(), weights=Weighting(12.0, 5.0, 3.0)))
    assert same == grade(result, usual_rubric())


def test_the_parts_add_up_to_the_points() -> None:
    """Measured part, lines by hand and penalties sum to the points, before and after lines are marked."""
    result = tray(count=22)
    weights = Weights(raw_g=200.0, waste_g=40.0)
    marks = {"hygiene": 8.0, "technique": 10.5}
    given = grade(result, FULL, weights=weights, minutes=15.0, hand_marks=marks)
    assert {part.name: round(part.points, 2) for part in given.parts[1:]} == {
        "hygiene": 8.0,
        "technique": 10.5,
        "too few pieces": -6.0,  # 3 short, 2 each
        "waste": -2.5,  # 20 % where 15 are allowed, half a point each
        "time": -3.0,
    }
    assert given.parts[0].of == 74.5
    assert sum(part.points for part in given.parts) == pytest.approx(given.points)
    assert given.not_marked == ()


def test_a_line_not_marked_yet_leaves_its_points_to_the_others() -> None:
    """Full marks in all that is marked is still 100, and what is missing is named."""
    rubric = replace(usual_rubric(), hand_lines=(HandLine("hygiene", 20.0), HandLine("safety", 30.0)))
    measured = grade(tray(), usual_rubric()).points
    none = grade(tray(), rubric)
    assert none.points == pytest.approx(measured)
    assert none.not_marked == ("hygiene", "safety")
    one = grade(tray(), rubric, hand_marks={"hygiene": 20.0})
    assert one.points == pytest.approx((measured * 0.5 + 20.0) / 0.7)
    assert sum(part.of for part in one.parts) == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("marks", "told"),
    [({"speed": 3.0}, "'speed' is no line.*hygiene, technique"), ({"hygiene": 11.0}, "Give 0 to 10 points")],
)
def test_a_hand_mark_that_does_not_fit_is_told(marks: dict[str, float], told: str) -> None:
    """A line that the rubric lacks, and more points than it has, are refused."""
    with pytest.raises(CutcheckError, match=told):
        grade(tray(), FULL, hand_marks=marks)


def test_excluded_pieces_are_as_if_they_had_not_been_there() -> None:
    """The mark is that of the judge without them; the one with all is kept; they still count as cut."""
    result = tray(count=22)
    out = {1: "fell on the floor", 2: "the lid", 3: "the lid"}
    given = grade(result, usual_rubric(), excluded=out)
    alone = judge([p for p in result.pieces if p.number not in out], DICE).score
    assert alone is not None
    assert given.points == pytest.approx(alone.mark)
    assert given.points_all == grade(result, usual_rubric()).points
    assert (given.excluded_text, given.counted) == ("3 of 22 excluded", 19)
    assert [part.name for part in given.parts] == ["measured"]


def test_only_the_instructor_leaves_pieces_out() -> None:
    """Pieces that a student left out before handing in count in the grade."""
    result = tray()
    students = mark_without(result, {1, 2, 3}, DICE)
    assert grade(students, usual_rubric()).counted == 40
    assert grade(students, usual_rubric()).points == pytest.approx(grade(result, usual_rubric()).points)


def test_what_cannot_be_graded_is_told() -> None:
    """No cut, a strange piece, a missing reason and nothing left are clear errors."""
    with pytest.raises(CutcheckError, match="compared with no cut"):
        grade(replace(tray(), cut=None, score=None), usual_rubric())
    with pytest.raises(CutcheckError, match="There is no piece 99"):
        grade(tray(), usual_rubric(), excluded={99: "gone"})
    with pytest.raises(CutcheckError, match="without a reason"):
        grade(tray(), usual_rubric(), excluded={1: " "})
    with pytest.raises(CutcheckError, match="No piece is left"):
        grade(tray(count=3), usual_rubric(), excluded=dict.fromkeys((1, 2, 3), "all of it"))


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 40), st.floats(0.05, 3.0))
def test_a_grade_is_within_its_intervals(seed: int, sd: float) -> None:
    """0 <= sample_low <= low <= points <= high <= sample_high <= 100, whatever the tray."""
    given_: Grade = grade(tray(sd, seed, 12), usual_rubric())
    ends = (0.0, given_.sample_low, given_.low, given_.points, given_.high, given_.sample_high, 100.0)
    assert all(a <= b + 1e-9 for a, b in pairwise(ends))


def test_the_scale_s_doubt_is_read_from_the_budgets() -> None:
    """It is the print's share of the sides, and nothing where no budget says so."""
    one = Measure(10.0, 0.1)
    piece = Piece(1, (0.0, 0.0), (), "box", one, one, one, budget=(BudgetLine("length", "print", 0.02),))
    assert scale_of(replace(tray(), pieces=(piece,))) == pytest.approx(0.002)
    assert scale_of(replace(tray(), pieces=())) == 0.0


def test_the_command_writes_a_rubric_and_says_what_it_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A new file is shown line by line; a wrong one ends with status 2 and the key."""
    path = tmp_path / "ours.toml"
    written = CliRunner().invoke(command, ["new", str(path)])
    assert written.exit_code == 0, written.output
    shown = CliRunner().invoke(command, ["show", str(path)])
    assert shown.output.splitlines() == list(rubric_lines(replace(usual_rubric(), name="ours")))
    path.write_text("pass_mark = 101", encoding="utf-8")
    assert run(["rubric", "show", str(path)]) == 2
    assert "pass_mark: 101 is not a number from 1 to 100" in capsys.readouterr().err


def test_all_that_counts_is_in_the_words() -> None:
    """Each part of a full rubric is told with its figures."""
    text = "\n".join(rubric_lines(FULL))
    for part in (
        "30 pieces, at least 25",
        "on size 67 %, evenness 0 %, squareness 33 %",
        "74.5 of 100 points",
        "hygiene: board, knife, hands",
        "2 off for each below 25; 12 at most",
        "0.5 off for each percent of the raw weight over 15",
        "1 off for each minute over 12",
        "Pass mark: 62.5",
        "merit from 80",
    ):
        assert part in text
