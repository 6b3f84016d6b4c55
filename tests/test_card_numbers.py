"""Card numbers as people write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cutcheck.card_numbers import parse_numbers
from cutcheck.errors import CutcheckError


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("7", (7,)),
        ("0", (0,)),
        ("124", (124,)),
        ("1-4", (1, 2, 3, 4)),
        ("1,4,9-12", (1, 4, 9, 10, 11, 12)),
        (" 3 , 5 – 6 ", (3, 5, 6)),
        ("2,1,2,1-3", (2, 1, 3)),
    ],
)
def test_numbers_are_read_in_order_each_once(text: str, numbers: tuple[int, ...]) -> None:
    """One number, a range or several, with spaces or a long dash: in the order given, none twice."""
    assert parse_numbers(text) == numbers


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no card number"),
        ("seven", "'seven' is no card number"),
        ("1,,2", "no card number"),
        ("1,x-3", "'x-3' in '1,x-3'"),
        ("-3", "no card number"),
        ("1.5", "no card number"),
        ("١", "no card number"),
        ("125", "no card 125"),
        ("1-99999999999999999999", "no card number"),
        ("9-3", "3-9"),
    ],
)
def test_a_wrong_number_is_told_with_the_right_form(text: str, says: str) -> None:
    """What is no number, out of range or backwards is a ``bad-option`` that shows how to write it."""
    with pytest.raises(CutcheckError) as caught:
        parse_numbers(text)
    assert caught.value.code == "bad-option"
    assert says in str(caught.value)


@given(st.text(max_size=12))
def test_any_text_is_numbers_or_a_coded_error(text: str) -> None:
    """Whatever is typed, the answer is card numbers or a coded error."""
    try:
        numbers = parse_numbers(text)
    except CutcheckError:
        return
    assert numbers
    assert all(0 <= number <= 124 for number in numbers)
