"""Millimetres, inches and how a value is printed."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.units import read_shown, read_size, show, show_fraction, show_length, show_range, to_mm


@pytest.mark.parametrize(
    ("printed", "mm"),
    # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959), multiplied out by hand
    [("1/16", 1.5875), ("1/8", 3.175), ("3/16", 4.7625), ("1/4", 6.35), ("3/8", 9.525), ("1/2", 12.7),
     ("5/8", 15.875), ("3/4", 19.05), ("1", 25.4), ("2 1/2", 63.5), ("2.5", 63.5), ("10", 254.0)],
)  # fmt: skip
def test_inches_as_printed_are_exact_millimetres(printed: str, mm: float) -> None:
    """A size printed in inches is the same float as its product with 25.4 worked out by hand."""
    assert to_mm(read_size(printed), "in") == mm


@pytest.mark.parametrize(
    "bad", ["", "x", "-1", "0", "1/0", "1//2", "1/2/3", "1,5", "nan", "inf", "0/4", True, None]
)
def test_what_is_no_size_is_refused(bad: object) -> None:
    """Text, signs, zero and things that are no number are no size."""
    with pytest.raises(ValueError, match=r"size|nothing"):
        read_size(bad)  # type: ignore[arg-type]


@settings(deadline=None)
@given(st.integers(0, 40), st.sampled_from([2, 3, 4, 8, 16]), st.integers(0, 15))
def test_a_fraction_is_read_back_as_it_was_shown(whole: int, bottom: int, top: int) -> None:
    """What ``show_fraction`` prints, ``read_size`` reads as the same number."""
    value = Fraction(whole) + Fraction(top % bottom, bottom)
    if value > 0:
        assert read_size(show_fraction(value)) == value


@pytest.mark.parametrize(
    ("mm", "u95", "unit", "text"),
    [
        (6.3249, 0.0812, "mm", "6.32 mm, give or take 0.09"),
        (6.3249, 0.08, "mm", "6.32 mm, give or take 0.08"),
        (6.3249, 0.2, "mm", "6.3 mm, give or take 0.2"),
        (6.3249, 0.114, "mm", "6.32 mm, give or take 0.12"),
        (6.3249, 0.0961, "mm", "6.32 mm, give or take 0.10"),
        (61.27, 1.31, "mm", "61.3 mm, give or take 1.4"),
        (61.27, 2.31, "mm", "61 mm, give or take 3"),
        (12.7, 0.0, "mm", "12.7000 mm, give or take 0.0000"),
        (6.35, 0.0762, "in", "0.250 in, give or take 0.003"),
        (6.35, None, "in", "0.25 in"),
        (6.3249, None, "mm", "6.3 mm"),
        (6.35, None, "mm", "6.4 mm"),  # half up, though the nearest binary figure lies below 6.35
        (6.35, 0.2, "mm", "6.4 mm, give or take 0.2"),
    ],
)
def test_a_value_is_printed_by_one_rule_and_read_back(
    mm: float, u95: float | None, unit: str, text: str
) -> None:
    """The give-or-take is rounded up to one digit (two after a 1), the value to the same place; both parse
    back."""
    assert show(mm, u95, unit) == text  # type: ignore[arg-type]
    value, give = read_shown(text)
    digits = len(text.split()[0].partition(".")[2])
    assert abs(value - mm) <= 0.5 * 10.0**-digits * (25.4 if unit == "in" else 1.0) + 1e-9
    assert (give is None) == (u95 is None)
    if give is not None and u95 is not None:
        assert give >= u95 - 1e-9


@settings(deadline=None)
@given(st.floats(0.01, 400.0), st.floats(0.0002, 50.0), st.sampled_from(["mm", "in"]))
def test_the_printed_interval_is_never_narrower_than_the_measured_one(
    mm: float, u95: float, unit: str
) -> None:
    """The give-or-take as shown covers the one that was measured, and is at most half as much more."""
    _, give = read_shown(show(mm, u95, unit))  # type: ignore[arg-type]
    assert give is not None
    factor = 25.4 if unit == "in" else 1.0
    assert u95 - 1e-6 * factor <= give <= max(1.51 * u95, u95 + 0.00011 * factor)


@pytest.mark.parametrize(
    "bad", ["6.3", "6,3 mm", "6.3 mm give or take 1", "6.3 cm", "6.3 mm, give or take -1", ""]
)
def test_other_text_is_not_read_as_a_value(bad: str) -> None:
    """Only what this program prints is read back."""
    with pytest.raises(ValueError, match="is not a value"):
        read_shown(bad)


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [(6.35, "mm", "6.4 mm"), (3.175, "mm", "3.2 mm"), (50.0, "mm", "50 mm"), (6.35, "in", "1/4 in"),
     (63.5, "in", "2 1/2 in"), (6.0, "in", "0.24 in"), (10.0, "in", "0.39 in"),
     (7.9375, "in", "5/16 in"), (8.0, "in", "0.31 in")],
)  # fmt: skip
def test_a_nominal_size_is_shown_in_either_unit(mm: float, unit: str, text: str) -> None:
    """To 0.1 mm rounded half up, or as a fraction of an inch where a ruler's sixteenth is meant."""
    assert show_length(mm, unit) == text  # type: ignore[arg-type]


def test_a_range_names_its_unit_once() -> None:
    """A range shows both ends and one unit, a single size no dash."""
    assert show_range(40.0, 50.0) == "40–50 mm"
    assert show_range(50.8, 63.5, "in") == "2–2 1/2 in"
    assert show_range(5.0, 5.0) == "5 mm"
