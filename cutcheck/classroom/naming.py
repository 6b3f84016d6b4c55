"""Whose tray is it: the numbers in the photos against the roster. What is not plain is left to a person.

Nothing is guessed: not from the order of the photos, not from who is still missing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from cutcheck.card import LAST_NUMBER
from cutcheck.classroom.messy_table import Columns, read_table, tell_faults
from cutcheck.classroom.roster import Roster, Student, card_number
from cutcheck.csv_text import disarmed
from cutcheck.printable import listed

Why = Literal["no-number", "nobodys", "unknown", "several", "taken"]
LEFT_OUT = "leave out"  # what a person writes instead of a number for a photo that shall not count
_OUT = ("leave out", "left out", "out", "-", "x")
SETTLE = Columns(
    {
        "photo": ("photo", "file", "picture", "image", "bild", "datei", "foto", "fichier"),
        "number": ("number", "cardnumber", "cardno", "card", "no", "nr", "numero", "nummer", "n"),
    },
    (("photo",), ("number",)),
    "The list to settle",
    f"Save it as CSV with the first line photo,number and one photo a line; the number is the student's card "
    f"(1 to {LAST_NUMBER}), or '{LEFT_OUT}' for a photo that shall not count.",
)


@dataclass(frozen=True, slots=True)
class Named:
    """A tray that has its student; ``by_hand``: a person said so."""

    photo: str
    student: Student
    by_hand: bool


@dataclass(frozen=True, slots=True)
class Unsettled:
    """A tray that a person must name, and why; ``numbers`` are those of the cards in the photo."""

    photo: str
    numbers: tuple[int, ...]
    why: Why
    told: str


@dataclass(frozen=True, slots=True)
class Naming:
    """Every photo once, in one of the first three; ``missing`` are the students without a tray.

    A student one of whose trays is unsettled is not missing.
    """

    named: tuple[Named, ...]
    unsettled: tuple[Unsettled, ...]
    left_out: tuple[str, ...]
    missing: tuple[Student, ...]


def name_trays(
    numbers: Mapping[str, Sequence[int] | None],
    roster: Roster,
    settled: Mapping[str, int | None] | None = None,
) -> Naming:
    """Name trays by the card numbers seen in their photos.

    ``numbers``: those in each photo, None where it could not be measured and nothing is known; such a photo
    is in none of the lists unless a person named it. ``settled``: what a person said, a number that is in
    the roster or None for 'leave out'.
    """
    settled = settled or {}
    wanted: dict[str, int] = {}
    unsettled: dict[str, Unsettled] = {}
    left_out = []
    for photo, seen in numbers.items():
        by_hand = settled.get(photo, 0)
        if by_hand is None:
            left_out.append(photo)
        elif by_hand:
            wanted[photo] = by_hand
        elif seen is not None:
            different = tuple(sorted(set(seen)))
            why, told = _why_not(different, roster)
            if why is None:
                wanted[photo] = different[0]
            else:
                unsettled[photo] = Unsettled(photo, different, why, told)
    for number in set(wanted.values()):
        trays = [photo for photo, its in wanted.items() if its == number]
        if len(trays) > 1:
            for photo in trays:
                others = [f"'{other}'" for other in trays if other != photo]
                told = f"card {number} is also in {listed(others)}"
                unsettled[photo] = Unsettled(photo, (number,), "taken", told)
                del wanted[photo]
    named = {}
    for photo, number in wanted.items():
        student = roster.with_number(number)
        assert student is not None  # both ways into ``wanted`` saw to it
        named[number] = Named(photo, student, bool(settled.get(photo)))
    waiting = {number for one in unsettled.values() for number in one.numbers}
    return Naming(
        tuple(named[student.number] for student in roster.students if student.number in named),
        tuple(unsettled[photo] for photo in numbers if photo in unsettled),
        tuple(left_out),
        tuple(s for s in roster.students if s.number not in named and s.number not in waiting),
    )


def read_settled(
    source: str | Path | bytes, roster: Roster, photos: Sequence[str], *, name: str | None = None
) -> dict[str, int | None]:
    """What a person settled: the number for each photo, None for 'leave out'; rows without one are not yet.

    Raises ``no-file`` or ``roster`` with the lines that name no photo of these or no student of the roster.
    """
    name = name or ("the file" if isinstance(source, bytes) else str(source))
    known = {str(disarmed(photo)): photo for photo in photos} | {photo: photo for photo in photos}
    settled: dict[str, int | None] = {}
    lines: dict[str, int] = {}
    faults: list[tuple[int, str]] = []
    for row in read_table(source, SETTLE, name=name).rows:
        said, text = row.cells["photo"], row.cells["number"]
        if not text:
            continue
        photo = known.get(said) or known.get(said.replace("\\", "/").rsplit("/", 1)[-1])
        number, fault = (None, None) if text.casefold() in _OUT else card_number(text, nobody=False)
        if photo is None:
            fault = f"there is no photo '{said}' in the folder; delete the line"
        elif photo in settled:
            fault = f"'{photo}' is settled already, line {lines[photo]}"
        elif number is not None and roster.with_number(number) is None:
            fault = f"nobody in the roster has card {number}"
        if fault:
            faults.append((row.line, fault))
        elif photo is not None:
            settled[photo], lines[photo] = number, row.line
    tell_faults(SETTLE, name, faults)
    return settled


def _why_not(numbers: tuple[int, ...], roster: Roster) -> tuple[Why | None, str]:
    """Why the numbers in one photo name no student; None where they do."""
    if not numbers:
        return "no-number", "no card with a number is in the photo"
    if len(numbers) > 1:
        return "several", f"cards {listed(list(map(str, numbers)))} are in the photo"
    if numbers[0] == 0:
        return "nobodys", "card 0 is nobody's"
    if roster.with_number(numbers[0]) is None:
        return "unknown", f"nobody in the roster has card {numbers[0]}"
    return None, ""
