"""Finding a cut by a size."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.errors import CutcheckError
from cutcheck.finding import like, read_like
from cutcheck.standards import cuts, find_cut


@pytest.mark.parametrize(
    ("text", "mm"),
    [("3x3x50", (50, 3, 3)), ("50 x 3 x 3 mm", (50, 3, 3)), ("1/8x1/8x2in", (50.8, 3.175, 3.175)),
     ('1/4"', (6.35,)), ("6", (6,)), ("0.5x0.5x4cm", (40, 5, 5)),
     ("10×10×1.5", (10, 10, 1.5)), ("3X50", (50, 3))],
)  # fmt: skip
def test_sizes_are_read_as_people_write_them(text: str, mm: tuple[float, ...]) -> None:
    """One to three sides, in mm, cm or inches, the largest first."""
    assert read_like(text) == pytest.approx(mm)


@pytest.mark.parametrize("bad", ["", "x", "3x", "3xx3", "1x2x3x4", "-3", "three", "3x0", "3;3;50"])
def test_what_is_no_size_is_told_with_an_example(bad: str) -> None:
    """The error repeats what was written and shows how to write it."""
    with pytest.raises(CutcheckError) as caught:
        read_like(bad)
    assert caught.value.code == "bad-option"
    assert f"'{bad}'" in caught.value.message
    assert "3x3x50" in caught.value.remedy


@pytest.mark.parametrize(
    ("size", "first"),
    [("3x3x50", "allumette"), ("2x2x45", "julienne"), ("6.35", "small-dice"),
     ("1/4x1/4x2 1/4 in", "batonnet"),
     ("10x10x1.5", "paysanne"), ("20x20x20", "large-dice"), ("25", "parisienne")],
)  # fmt: skip
def test_the_cut_that_fits_best_comes_first(size: str, first: str) -> None:
    """A size within a cut's limits names it first, and says that it fits."""
    found = like(size)
    assert found[0].cut.name == first
    assert found[0].fits
    assert found[0].to_dict()["off_mm"] == 0.0


def test_all_that_is_named_does_fit() -> None:
    """Every cut said to fit has the size within its limits, and no stick is called a slice."""
    for found in like("3x3x50"):
        sides = {"length": 50.0, "width": 3.0, "height": 3.0}
        assert all(t.low_mm <= sides[t.side] <= t.high_mm for t in found.cut.targets)
        assert found.cut.entry.family == "stick"


def test_where_nothing_fits_the_nearest_come_with_how_far_off_they_are() -> None:
    """A stick of 4 x 4 x 30 is no cut: the nearest are sticks, each with its distance in mm."""
    found = like("4x4x30")
    assert found
    assert all(not f.fits and f.off_mm > 0 for f in found)
    assert all(f.cut.entry.family in ("stick", "turned") for f in found)


def test_a_standard_that_is_named_is_kept_to() -> None:
    """In the inch standard only its cuts are named."""
    assert {f.cut.name for f in like("6", "inch")} <= {c.name for c in cuts("inch")}


DICE_AND_STICKS = [c.name for c in cuts() if {t.key for t in c.targets} in ({"edge"}, {"section", "length"})]


@pytest.mark.parametrize("name", DICE_AND_STICKS)
def test_every_die_and_stick_is_found_by_its_own_size(name: str) -> None:
    """Asked for the middle of its own size, a cut is among those that fit."""
    cut = find_cut(name)
    middle = {t.side: t.middle_mm for t in cut.targets}
    if set(middle) == {"length", "width", "height"}:
        text = "x".join(f"{middle[s]:.4f}" for s in ("length", "width", "height"))
        assert name in [f.cut.name for f in like(text) if f.fits]


@settings(deadline=None)
@given(st.text(max_size=20))
def test_any_text_is_a_size_or_a_told_error(text: str) -> None:
    """No text makes reading a size fall over."""
    code = ""
    try:
        sizes = read_like(text)
    except CutcheckError as error:
        sizes, code = (), error.code
    assert code == "bad-option" or all(mm > 0 for mm in sizes)
