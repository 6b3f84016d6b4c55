"""Card numbers and names as people write them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cutcheck.card_numbers import parse_numbers, read_names
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


@pytest.mark.parametrize(
    "data",
    [
        "number,name\n1,Ada\n2,Łukasz\n",
        "\ufeffNumber ; NAME\r\n1;Ada\r\n2;Łukasz\r\n",
        "sep=;\nnumber;name\n1;Ada\n2;Łukasz\n",
        "group\tname\tnumber\nred\t Ada \t1\n\nblue\tŁukasz\t2\nblue\t\t\n",
        'number,name\n1,"Ada"\n2,"Łukasz"\n3,\n',
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_tables_of_any_spreadsheet_are_read(data: str, encoding: str) -> None:
    """Commas, semicolons or tabs, any order and case of columns, UTF-8 or UTF-16, gaps: all the same."""
    assert read_names(data.lstrip("\ufeff").encode(encoding)) == {1: "Ada", 2: "Łukasz"}
    if encoding == "utf-8":
        assert read_names(data.encode()) == {1: "Ada", 2: "Łukasz"}


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "no column 'number'"),
        (b"Ada,1\nBob,2\n", "first line has 'ada', '1'"),
        (b"number,person\n1,Ada\n", "no column 'name'"),
        (b"number,name\n", "holds no names"),
        (b"number,name\none,Ada\n", "line 2: 'one' is no card number"),
        (b"number,name\n,Ada\n", "'Ada' has no card number"),
        (b"number,name\n1,Ada\n\n125,Eve\n", "there is no card 125"),
        (b"number,name\n1,Ada\n1,Eve\n", "line 3: card 1 has a name already, 'Ada'"),
        ("number,name\n1,Zoë\n".encode("latin-1"), "not in UTF-8"),
        (b"number,name\n1," + b"x" * 61, "longer than 60"),
        (b"number,name\n1,Ada\x1b[31m\n", "can't be printed"),
        (b"number,name\n1,Ada\0\n", "can't be printed"),
        (b'number,name\n1,"' + b"x" * 200_000 + b'"\n', "is no table"),
        (b"x" * 1_000_001, "larger than 1 MB"),
    ],
)
def test_a_messy_table_is_answered_with_what_is_wrong(data: bytes, says: str) -> None:
    """A wrong header, number, encoding or name is told with its place and the form to use."""
    with pytest.raises(CutcheckError) as caught:
        read_names(data, name="class.csv")
    assert caught.value.code == "bad-option"
    assert says in caught.value.message
    assert "class.csv" in caught.value.message
    assert "number,name" in caught.value.remedy


def test_a_missing_table_or_a_folder(tmp_path: Path) -> None:
    """A table that is not there is ``no-file``; a folder can't be read."""
    with pytest.raises(CutcheckError) as caught:
        read_names(tmp_path / "class.csv")
    assert caught.value.code == "no-file"
    with pytest.raises(CutcheckError, match="can't be read"):
        read_names(tmp_path)


@given(st.binary(max_size=80))
def test_any_bytes_are_names_or_a_coded_error(noise: bytes) -> None:
    """Whatever a file holds, the answer is names or a coded error."""
    for data in (noise, b"number,name\n1," + noise, b"number,name\n" + noise):
        try:
            names = read_names(data)
        except CutcheckError:
            continue
        assert all(0 <= number <= 124 and name for number, name in names.items())
