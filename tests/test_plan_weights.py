"""Weights as cooks write and read them; the pound is 453.59237 g exactly."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cutcheck.weights import GRAMS_PER, read_amount, show_weight, split_amount


def test_the_pound_is_exact() -> None:
    """1 lb = 453.59237 g and 1 oz a sixteenth of it (international yard and pound agreement of 1959)."""
    assert GRAMS_PER["lb"] == Fraction("453.59237")
    assert GRAMS_PER["oz"] * 16 == GRAMS_PER["lb"]
    assert read_amount("1 lb").grams == 453.59237
    assert read_amount("16 oz").grams == 453.59237
    assert read_amount("1 oz").grams == 28.349523125


@pytest.mark.parametrize(
    ("text", "grams"),
    [
        ("500 g", 500.0),
        ("500g", 500.0),
        ("1.5 kg", 1500.0),
        ("1,5 kg", 1500.0),
        (".5 kg", 500.0),
        ("2 Kilos", 2000.0),
        ("1/2 lb", 226.796185),
        ("1 1/2 lb", 680.388555),
        ("1½ lb", 680.388555),
        ("½ lb", 226.796185),
        ("1 lb 4 oz", 566.9904625),
        ("2 pounds 8 ounces", 1133.980925),
        ("10 lbs.", 4535.9237),
    ],
)
def test_amounts_are_read_as_cooks_write_them(text: str, grams: float) -> None:
    """Decimal comma and point, fractions, pounds with ounces, units long and short."""
    assert read_amount(text).grams == pytest.approx(grams, rel=1e-12)


def test_pieces_are_counted() -> None:
    """An amount may be a whole number of pieces."""
    assert (read_amount("40 pieces").pieces, read_amount("1 piece").pieces) == (40, 1)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("-500 g", "above zero"),
        ("−2 kg", "above zero"),
        ("0 g", "above zero"),
        ("1 lb -4 oz", "above zero"),
        ("500", "is not an amount"),
        ("g", "is not an amount"),
        ("", "is not an amount"),
        ("nan g", "is not an amount"),
        ("1e5 g", "is not an amount"),
        ("2 cups", "'cups' is not a unit"),
        ("1/0 kg", "divides by nothing"),
        ("2.5 pieces", "not a whole number"),
        ("0 pieces", "pieces go from 1"),
        ("999999999 kg", "look at the unit"),
    ],
)
def test_a_wrong_amount_says_what_is_wrong(text: str, said: str) -> None:
    """Every amount that can't be meant is an error in plain words."""
    with pytest.raises(ValueError, match=said):
        read_amount(text)


@pytest.mark.parametrize(
    ("text", "words", "amount"),
    [
        ("brunoise carrot 500 g", "brunoise carrot", "500 g"),
        ("500 g brunoise carrot", "brunoise carrot", "500 g"),
        ("small dice potato 1 lb 4 oz", "small dice potato", "1 lb 4 oz"),
        ("julienne leek 1 1/2 lb", "julienne leek", "1 1/2 lb"),
        ("brunoise carrot", "brunoise carrot", ""),
    ],
)
def test_the_amount_is_found_at_either_end(text: str, words: str, amount: str) -> None:
    """A need in words may begin or end with its amount."""
    assert split_amount(text) == (words, amount)


@pytest.mark.parametrize(
    ("grams", "unit", "text"),
    [
        (5.04, "auto", "5.0 g"),
        (562.3, "auto", "562 g"),
        (999.4, "auto", "999 g"),
        (999.6, "auto", "1.00 kg"),
        (12200.0, "auto", "12.20 kg"),
        (562.3, "kg", "0.562 kg"),
        (28.349523125, "oz", "1.0 oz"),
        (453.59237, "lb", "1 lb"),
        (566.9904625, "lb", "1 lb 4.0 oz"),
        (453.59237 * 0.999, "lb", "1 lb"),
        (100.0, "lb", "3.5 oz"),
        (2.0, "oz", "0.07 oz"),
    ],
)
def test_weights_are_shown_as_cooks_read_them(grams: float, unit: str, text: str) -> None:
    """Grams below a kilogram, pounds with ounces, and never '15.97 oz' beside '1 lb 0.0 oz'."""
    assert show_weight(grams, unit) == text  # type: ignore[arg-type]


@given(st.floats(1, 9_000_000), st.sampled_from(["auto", "g", "kg", "oz", "lb"]))
def test_what_is_shown_reads_back_as_the_same_weight(grams: float, unit: str) -> None:
    """A shown weight, read again, is the weight to the digits shown."""
    again = read_amount(show_weight(grams, unit)).grams  # type: ignore[arg-type]
    step = {"g": 0.5, "kg": 5.0, "oz": 1.42, "lb": 1.42, "auto": 5.0}[unit]
    assert again == pytest.approx(grams, abs=step * 1.01 if grams > 9.95 else 1.5)
