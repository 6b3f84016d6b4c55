"""Card numbers and the names that go with them, as people write them: '1-30', or a table of a class."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

from cutcheck.card import LAST_NUMBER
from cutcheck.errors import CutcheckError

LONGEST_NAME = 60
_MOST_BYTES = 1_000_000  # a class of 125 needs some 5 kB
_HOW_NUMBERS = f"Give numbers from 0 to {LAST_NUMBER}: one as 7, a range as 1-30, or several as 1,4,9-12."
_HOW_NAMES = "Save it as 'CSV UTF-8' with the first line number,name and one card a line, such as 7,Ada."


def parse_numbers(text: str) -> tuple[int, ...]:
    """The card numbers in '7', '1-30' or '1,4,9-12', in that order, each once; else ``bad-option``."""
    numbers: dict[int, None] = {}
    parts = [part.strip() for part in text.replace("–", "-").split(",")]
    for part in parts:
        match = re.fullmatch(r"(\d{1,9})(?:\s*-\s*(\d{1,9}))?", part, re.ASCII)
        if not match:
            what = f"'{part}' in '{text}'" if part and len(parts) > 1 else f"'{text}'"
            raise CutcheckError("bad-option", problem=f"{what} is no card number.", remedy=_HOW_NUMBERS)
        first, last = int(match[1]), int(match[2] or match[1])
        if max(first, last) > LAST_NUMBER:
            problem = f"There is no card {max(first, last)}: the last one is {LAST_NUMBER}."
            raise CutcheckError("bad-option", problem=problem, remedy=_HOW_NUMBERS)
        if last < first:
            problem = f"The range '{part}' runs backwards."
            raise CutcheckError("bad-option", problem=problem, remedy=f"Write it as {last}-{first}.")
        numbers.update(dict.fromkeys(range(first, last + 1)))
    return tuple(numbers)


def read_names(source: str | Path | bytes, *, name: str | None = None) -> dict[int, str]:
    """Names by card number from a CSV file with the columns ``number`` and ``name``.

    Commas, semicolons or tabs part the columns; other columns are left alone. Raises ``no-file`` or
    ``bad-option``, which names the line that can't be understood.
    """
    name = name or ("names" if isinstance(source, bytes) else str(source))
    lines = _decoded(_bytes_of(source, name), name).splitlines()
    if lines and lines[0].lower().startswith("sep="):  # a spreadsheet's hint to itself
        del lines[0]
    head = lines[0] if lines else ""
    delimiter = max(",;\t", key=head.count)
    names: dict[int, str] = {}
    try:
        rows = csv.DictReader(io.StringIO("\n".join(lines)), delimiter=delimiter, restval="")
        columns = {(title or "").strip().lower(): title for title in rows.fieldnames or ()}
        missing = [title for title in ("number", "name") if title not in columns]
        if missing:
            found = ", ".join(f"'{title}'" for title in columns if title) or "nothing"
            raise _bad(name, f"has no column '{missing[0]}'; its first line has {found}")
        for row in rows:
            number, person = row[columns["number"]].strip(), " ".join(row[columns["name"]].split())
            if number or person:
                _add(names, number, person, f"{name}, line {rows.line_num}")
    except csv.Error as error:
        raise _bad(name, f"is no table ({error})") from None
    if not names:
        raise _bad(name, "holds no names")
    return names


def _add(names: dict[int, str], number: str, person: str, where: str) -> None:
    if not re.fullmatch(r"\d{1,9}", number, re.ASCII):
        raise _bad(where, f"'{number}' is no card number" if number else f"'{person}' has no card number")
    if int(number) > LAST_NUMBER:
        raise _bad(where, f"there is no card {int(number)}, the last one is {LAST_NUMBER}")
    if int(number) in names:
        raise _bad(where, f"card {int(number)} has a name already, '{names[int(number)]}'")
    if len(person) > LONGEST_NAME:
        raise _bad(where, f"the name of card {int(number)} is longer than {LONGEST_NAME} letters")
    if not person.isprintable():
        raise _bad(where, f"the name of card {int(number)} holds characters that can't be printed")
    if person:
        names[int(number)] = person


def _bad(where: str, problem: str) -> CutcheckError:
    return CutcheckError("bad-option", problem=f"The list of names {where}: {problem}.", remedy=_HOW_NAMES)


def _bytes_of(source: str | Path | bytes, name: str) -> bytes:
    if isinstance(source, bytes):
        data = source
    else:
        try:
            with Path(source).open("rb") as file:
                data = file.read(_MOST_BYTES + 1)
        except FileNotFoundError:
            raise CutcheckError("no-file", file=name) from None
        except (OSError, ValueError) as error:
            raise _bad(name, f"can't be read ({getattr(error, 'strerror', None) or error})") from None
    if len(data) > _MOST_BYTES:
        raise _bad(name, "is larger than 1 MB")
    return data


def _decoded(data: bytes, name: str) -> str:
    try:
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return data.decode("utf-16")
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Guessing an old Windows code page would print wrong names without a word.
        raise _bad(name, "is not in UTF-8, so its accents would come out wrong") from None
