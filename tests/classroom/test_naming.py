"""Naming trays: plain numbers name a tray, everything else is left to a person and never guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cutcheck.classroom.naming import name_trays, read_settled
from cutcheck.classroom.roster import Roster, Student
from cutcheck.errors import CutcheckError

ADA, BEN, CY = Student("Ada", 7), Student("Ben", 3), Student("Cy", 12)
ROSTER = Roster((ADA, BEN, CY))


def test_plain_numbers_name_their_trays_in_roster_order() -> None:
    """One known number in a photo, also twice (two cards of it), is its student's; the rest are missing."""
    naming = name_trays({"a.jpg": (3,), "b.jpg": (7, 7)}, ROSTER)
    assert [(one.photo, one.student, one.by_hand) for one in naming.named] == [
        ("b.jpg", ADA, False),
        ("a.jpg", BEN, False),
    ]
    assert (naming.unsettled, naming.missing) == ((), (CY,))


@pytest.mark.parametrize(
    ("numbers", "why", "told"),
    [
        ((), "no-number", "no card with a number"),
        ((0,), "nobodys", "card 0 is nobody's"),
        ((55,), "unknown", "nobody in the roster has card 55"),
        ((7, 3), "several", "cards 3 and 7"),
        ((0, 7), "several", "cards 0 and 7"),
    ],
)
def test_what_is_not_plain_is_to_settle(numbers: tuple[int, ...], why: str, told: str) -> None:
    """No number, number 0, an unknown one, or two different ones: to settle, and nobody gets the tray."""
    naming = name_trays({"a.jpg": numbers, "b.jpg": (12,)}, ROSTER)
    (open_one,) = naming.unsettled
    assert (open_one.photo, open_one.why) == ("a.jpg", why)
    assert told in open_one.told
    assert [one.student for one in naming.named] == [CY]


def test_two_trays_with_one_number_are_both_to_settle() -> None:
    """Neither of two trays gets the student, and the student is not missing but waited for."""
    naming = name_trays({"a.jpg": (7,), "b.jpg": (7,), "c.jpg": (3,)}, ROSTER)
    assert [(one.photo, one.why) for one in naming.unsettled] == [("a.jpg", "taken"), ("b.jpg", "taken")]
    assert "also in 'b.jpg'" in naming.unsettled[0].told
    assert (naming.missing, [one.student for one in naming.named]) == ((CY,), [BEN])


def test_a_person_settles_by_hand() -> None:
    """What a person wrote counts; a photo left out is out; one that could not be measured can be named."""
    numbers = {"a.jpg": (7,), "b.jpg": (7,), "c.jpg": (), "d.jpg": None, "e.jpg": None}
    naming = name_trays(numbers, ROSTER, {"b.jpg": None, "c.jpg": 12, "d.jpg": 3})
    assert [(one.photo, one.student, one.by_hand) for one in naming.named] == [
        ("a.jpg", ADA, False),
        ("d.jpg", BEN, True),
        ("c.jpg", CY, True),
    ]
    assert (naming.unsettled, naming.left_out, naming.missing) == ((), ("b.jpg",), ())


def test_a_hand_that_names_one_student_twice_settles_nothing() -> None:
    """By hand or not, two trays of one number stay to be settled."""
    naming = name_trays({"a.jpg": (7,), "b.jpg": ()}, ROSTER, {"b.jpg": 7})
    assert [one.why for one in naming.unsettled] == ["taken", "taken"]


def test_the_list_is_read_as_a_spreadsheet_leaves_it() -> None:
    """Semicolons, a path before the name, a disarmed '=', an empty number (not yet) and 'leave out'."""
    text = (
        "\ufeffPhoto;Card no.;why\r\nclass/a.jpg;7;x\r\n'=b.jpg;leave out;\r\nc.jpg;;later\r\nd.jpg;3.0;\r\n"
    )
    photos = ["a.jpg", "=b.jpg", "c.jpg", "d.jpg"]
    assert read_settled(text.encode(), ROSTER, photos) == {"a.jpg": 7, "=b.jpg": None, "d.jpg": 3}


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("z.jpg,7", "line 2: there is no photo 'z.jpg'"),
        ("a.jpg,55", "line 2: nobody in the roster has card 55"),
        ("a.jpg,Ada", "line 2: 'Ada' is no card number"),
        ("a.jpg,0", "line 2: card 0 is nobody's"),
        ("a.jpg,7\na.jpg,3", "line 3: 'a.jpg' is settled already, line 2"),
    ],
)
def test_faults_of_the_list_name_their_line(row: str, told: str) -> None:
    """A photo that is not there, a number that is nobody's, or a photo twice is told with its line."""
    with pytest.raises(CutcheckError, match=told) as error:
        read_settled(f"photo,number\n{row}\n".encode(), ROSTER, ["a.jpg"])
    assert error.value.code == "roster"


NUMBERS = st.one_of(st.none(), st.lists(st.sampled_from([0, 3, 7, 12, 55]), max_size=3))
PHOTOS = st.sampled_from(["a", "b", "c", "d", "e"])


@given(
    st.dictionaries(PHOTOS, NUMBERS), st.dictionaries(PHOTOS, st.one_of(st.none(), st.sampled_from([3, 7])))
)
def test_nothing_is_lost_and_nobody_has_two(
    numbers: dict[str, list[int] | None], settled: dict[str, int | None]
) -> None:
    """Each photo of which something is known is in one list only; no student has two trays."""
    naming = name_trays(numbers, ROSTER, settled)
    lists = [one.photo for one in (*naming.named, *naming.unsettled)] + list(naming.left_out)
    assert sorted(lists) == sorted(p for p in numbers if numbers[p] is not None or p in settled)
    students = [one.student for one in naming.named]
    assert len(set(students)) == len(students)
    assert not {*students} & {*naming.missing}
    for one in naming.named:
        assert settled.get(one.photo) == one.student.number or set(numbers[one.photo] or ()) == {
            one.student.number
        }
