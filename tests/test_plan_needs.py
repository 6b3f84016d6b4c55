"""Needs in words and from lists: what is understood, and what is told when a line is not."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.errors import CutcheckError
from cutcheck.needs import MOST_LINES, read_list, read_needs
from cutcheck.produce import find_vegetable, vegetables
from cutcheck.standards import find_cut


@pytest.mark.parametrize(
    ("text", "cut", "produce", "size"),
    [
        ("brunoise carrot 500 g", "brunoise", "carrot", ""),
        ("carrot brunoise 500 g", "brunoise", "carrot", ""),
        ("500 g julienne de poireau", "julienne", "leek", ""),
        ("jardinière navets 1 kg", "jardiniere", "turnip", ""),
        ("pont-neuf pomme de terre 2 kg", "pont-neuf", "potato", ""),
        ("small dice large carrot 2 lb", "small-dice", "carrot", "large"),
        ("large dice potatoes 2 lb", "large-dice", "potato", ""),
        ("Zucchini rondelle 300 g", "rondelle", "courgette", ""),
        ("CÉLERI-RAVE JULIENNE 300 g", "julienne", "celeriac", ""),
    ],
)
def test_words_are_understood_in_either_order_and_language(
    text: str, cut: str, produce: str, size: str
) -> None:
    """Cut and vegetable by any of their names, in either order, accents and case and plural forgiven."""
    (need,), problems = read_needs([text])
    assert not problems
    assert find_cut(need.cut, sized=False).name == cut
    assert find_vegetable(need.produce)[0].name == produce
    assert need.size == size


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("peeled carrot 10 kg", "peeled"),
        ("carrot 10 kg", "peeled"),
        ("brunoise pepper, ends removed too 1 kg", "ends removed too"),
        ("broccoli florets 2 kg", "florets"),
        ("peeled and seeded cucumber 500 g", "peeled and seeded"),
    ],
)
def test_the_state_wanted_may_be_named(text: str, state: str) -> None:
    """A vegetable may be wanted uncut, and in another state than its usual one."""
    (need,), _ = read_needs([text])
    assert find_vegetable(need.produce)[1] == state


@pytest.mark.parametrize(
    ("text", "message", "remedy"),
    [
        ("brunoise unicorn 3 g", "'unicorn' is not a vegetable", "sweetcorn"),
        ("brunoise carot 3 g", "'carot' is not a vegetable", "Did you mean carrot?"),
        ("brunoize carrot 3 g", "'brunoize' is not a cut", "brunoise"),
        ("brunoise carrot -500 g", "a weight must be above zero", "Correct the amount"),
        ("brunoise carrot", "has no amount", "brunoise carrot 500 g"),
        ("500 g", "names no vegetable", "brunoise carrot 500 g"),
        ("large dice 3 kg", "a cut without a vegetable", "large dice carrot 500 g"),
        ("foo bar 3 kg", "Neither a cut nor a vegetable", "cutcheck cuts"),
        ("carrot 3 cups", "'cups' is not a unit", "Correct the amount"),
    ],
)
def test_a_line_that_is_not_understood_is_told_and_the_rest_is_read(
    text: str, message: str, remedy: str
) -> None:
    """The problem names what is wrong and what to do; the good line beside it is still read."""
    needs, (problem,) = read_needs([text, "julienne leek 200 g"])
    assert [n.produce for n in needs] == ["leek"]
    assert problem.line == 1
    assert message in problem.message
    assert remedy in problem.remedy


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=40))
def test_no_words_break_the_reading(text: str) -> None:
    """Whatever is typed becomes a need or a problem, never an exception."""
    needs, problems = read_needs([text])
    assert len(needs) + len(problems) == 1


def write(folder: Path, text: str | bytes) -> Path:
    """A list in a file."""
    path = folder / "list.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_list_is_read_with_its_line_numbers(tmp_path: Path) -> None:
    """Header, comment and empty lines are passed over; problems carry the line of the file."""
    path = write(
        tmp_path,
        "cut,produce,amount,size,yield\n# Tuesday\nbrunoise,carrot,500 g,large,\n\n"
        "none,onion,1 kg,,88 %\njulienne,,200 g,,\nbrunoise,turnip,-3 g,,\nsmall dice,potato,2 lb,huge,\n"
        "rondelle,courgette,1 kg,,1.2\n",
    )
    needs, problems = read_list(path)
    assert [(n.line, n.cut, n.produce, n.size, n.own_yield) for n in needs] == [
        (3, "brunoise", "carrot", "large", None),
        (5, "", "onion", "", 0.88),
    ]
    assert [(p.line, p.message.split(":")[0]) for p in problems] == [
        (6, "There is no vegetable on this line."),
        (7, "'-3 g'"),
        (8, "'huge' is not a size of a vegetable."),
        (9, "'1.2' is not a yield."),
    ]


@pytest.mark.parametrize(
    "text",
    [
        "cut;produce;amount\nbrunoise;céleri;1,5 kg\n".encode(),
        "cut\tproduce\tamount\nbrunoise\tcéleri\t1,5 kg\n".encode(),
        '\ufeffcut,produce,amount\r\nbrunoise,céleri,"1,5 kg"\r\n'.encode(),
        "coupe;légume;quantité\nbrunoise;céleri;1,5 kg\n".encode("cp1252"),
        'cut,produce,amount\nbrunoise,céleri,"1,5 kg"\n'.encode("utf-16"),
        b"cut,produce,amount\r\nbrunoise,celeri,1.5 kg",
    ],
)
def test_spreadsheets_of_every_habit_are_read(tmp_path: Path, text: bytes) -> None:
    """Comma, semicolon or tab, byte-order mark or none, UTF-8, UTF-16 or Windows-1252, French header."""
    (need,), problems = read_list(write(tmp_path, text))
    assert not problems
    assert find_vegetable(need.produce)[0].name == "celery"
    assert need.amount.grams == 1500


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("cut,produce,amount\n", "nothing below it"),
        ("brunoise,carrot,500 g\n", "the first line must name the columns"),
        ("cut,amount\nbrunoise,500 g\n", "produce is not there"),
        (b"\x00\x01\x02PNG", "not a text file"),
        ("cut,produce,amount\n" + "brunoise,carrot,1 g\n" * (MOST_LINES + 5), "more than"),
        ("cut,produce,amount\n" + "x" * 1_100_000, "larger than a list can be"),
    ],
)
def test_a_file_that_is_no_list_is_refused_in_plain_words(
    tmp_path: Path, text: str | bytes, said: str
) -> None:
    """The whole file is refused where there is no sense in its lines; the message says why."""
    with pytest.raises(CutcheckError, match=said) as caught:
        read_list(write(tmp_path, text))
    assert caught.value.exit_status == 2
    assert caught.value.remedy


def test_a_missing_file_and_a_folder_are_told_apart(tmp_path: Path) -> None:
    """A name that is not there is `no-file`; a folder is said to be one."""
    with pytest.raises(CutcheckError) as caught:
        read_list(tmp_path / "none.csv")
    assert caught.value.code == "no-file"
    with pytest.raises(CutcheckError, match="is a folder"):
        read_list(tmp_path)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300))
def test_no_bytes_break_the_reading_of_a_list(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    """Whatever the file holds, there is a list or a coded error."""
    path = write(tmp_path_factory.mktemp("list"), b"cut,produce,amount\n" + data)
    codes = []
    try:
        read_list(path)
    except CutcheckError as error:
        codes.append(error.code)
    assert codes in ([], ["bad-option"])


def test_every_name_of_every_vegetable_finds_it() -> None:
    """English, French and other names all lead to their vegetable; no two share one."""
    for vegetable in vegetables().values():
        for name in vegetable.names:
            assert find_vegetable(name)[0] is vegetable, name
