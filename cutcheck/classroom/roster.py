"""The roster: who has which card, from a table as a school keeps it."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from cutcheck.card import LAST_NUMBER
from cutcheck.card_numbers import LONGEST_NAME
from cutcheck.classroom.messy_table import Columns, Row, fold, read_table, tell_faults

# Headings in English, French and German, folded; of two that are there the one further left counts. Common
# practice, no source.
_NUMBER = (
    *("cardnumber", "cardno", "cardnr", "cardnum", "card", "traynumber", "trayno", "tray"),
    *("numerodecarte", "numerocarte", "nodecarte", "nocarte", "ndecarte", "ncarte", "carte"),
    *("kartennummer", "kartennr", "kartenr", "karte", "number", "no", "nr", "num", "numero", "nummer", "n"),
)
_NAME = (
    *("name", "fullname", "studentname", "student", "learner", "pupil", "cook", "participant"),
    *("nom", "nomcomplet", "nometprenom", "nomprenom", "prenomnom", "prenometnom", "eleve", "etudiant"),
    *("nameundvorname", "namevorname", "vornamename", "schuler", "schuelerin", "schulerin", "lernende"),
    *("teilnehmer", "teilnehmerin", "kursteilnehmer"),
)
_FIRST = ("firstname", "givenname", "forename", "prenom", "vorname", "rufname")
_LAST = ("lastname", "surname", "familyname", "nomdefamille", "nachname", "familienname", "zuname")
COLUMNS = Columns(
    {"number": _NUMBER, "name": _NAME, "first": _FIRST, "last": _LAST},
    (("name", "last", "first"), ("number",)),
    "The roster",
    f"Save it as CSV with the first line name,number and one student a line, such as Ada Example,7; the card "
    f"numbers run from 1 to {LAST_NUMBER}.",
)


@dataclass(frozen=True, slots=True)
class Student:
    """A student and the number of the card."""

    name: str
    number: int


@dataclass(frozen=True, slots=True)
class Roster:
    """The students in the order of the file, no number twice; ``notes`` is what to look at."""

    students: tuple[Student, ...]
    notes: tuple[str, ...] = ()

    def with_number(self, number: int) -> Student | None:
        """The student who has this card."""
        return next((student for student in self.students if student.number == number), None)


def read_roster(source: str | Path | bytes, *, name: str | None = None) -> Roster:
    """A roster from a CSV file, or its bytes.

    The header may name its columns in English, French or German, the name in one column or two; other columns
    are left alone. Raises ``no-file``, or ``roster`` with the lines that are wrong and what to do.
    """
    name = name or ("the file" if isinstance(source, bytes) else str(source))
    table = read_table(source, COLUMNS, name=name)
    if len(table.rows) > LAST_NUMBER:
        line = table.rows[LAST_NUMBER].line
        told = f"there are {len(table.rows)} rows, and only {LAST_NUMBER} cards: is this one class's table?"
        tell_faults(COLUMNS, name, [(line, told)])
    faults: list[tuple[int, str]] = []
    students: dict[int, Student] = {}
    lines: dict[int, int] = {}
    for row in table.rows:
        person, fault = _person(row)
        number, number_fault = card_number(row.cells["number"], nobody=False)
        if row.surplus:
            fault = "more cells than the header has; put a name with the separator in it between quotes"
        elif number_fault and person and not row.cells["number"]:
            number_fault = f"'{person}' has no card number"
        faults += [(row.line, one) for one in (fault, None if row.surplus else number_fault) if one]
        if number is None:
            continue
        if number in students:
            told = f"card {number} is that of '{students[number].name}' already, line {lines[number]}"
            faults.append((row.line, told))
        students.setdefault(number, Student(person, number))
        lines.setdefault(number, row.line)
    tell_faults(COLUMNS, name, faults)
    if not students:
        tell_faults(COLUMNS, name, [(1, "there are no students below the header")])
    return Roster(tuple(students.values()), table.notes)


def card_number(text: str, *, nobody: bool) -> tuple[int | None, str | None]:
    """A card's number as people write it (``7``, ``007``, ``#7``, ``7.0``), else what is wrong with it.

    ``nobody``: whether 0, the card that is nobody's, may be.
    """
    match = re.fullmatch(r"#?\s*(\d{1,9})(?:[.,]0+)?", text.strip(), re.ASCII)
    if match is None:
        short = text if len(text) <= 40 else text[:39] + "…"
        return None, f"'{short}' is no card number" if text else "there is no card number"
    number = int(match[1])
    if number > LAST_NUMBER:
        return None, f"there is no card {number}, the last one is {LAST_NUMBER}"
    if number == 0 and not nobody:
        return None, "card 0 is nobody's; the numbers begin at 1"
    return number, None


def _person(row: Row) -> tuple[str, str | None]:
    """The name in a row, and what is wrong with it."""
    first, last, whole = (_clean(row.cells.get(column, "")) for column in ("first", "last", "name"))
    family = last or whole
    # 'Vorname' beside 'Name' are two parts; a whole name that holds the first name is not doubled.
    both = bool(first) and fold(first) not in [fold(word) for word in family.split()]
    person = f"{first} {family}".strip() if both else family
    if not person:
        number = row.cells["number"]
        return "", f"card {number} has no name" if number else "there is no name"
    if len(person) > LONGEST_NAME:
        return person, f"the name '{person[:20]}…' is longer than {LONGEST_NAME} letters"
    if not person.replace("\u200c", "").replace("\u200d", "").isprintable():  # both are part of some scripts
        return person, "the name holds characters that can't be shown"
    return person, None


def _clean(text: str) -> str:
    return " ".join(unicodedata.normalize("NFC", text.replace("\u200b", "").replace("\ufeff", "")).split())
