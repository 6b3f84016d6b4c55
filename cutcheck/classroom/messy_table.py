"""A small table as people keep it: any of the usual encodings and separators, its header somewhere on top.

What is sure is read; what would be a guess is an error that names the line and what to do.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from cutcheck.errors import CutcheckError

MOST_BYTES = 1_000_000  # a class of 124 needs some 5 kB
HEADER_WITHIN = 10  # rows from the top; above it a title may stand
SEPARATORS = (",", ";", "\t", "|")
# What is plainly another kind of file, by its first bytes (as their formats' specifications have them).
_KINDS = (
    (b"PK\x03\x04", "a workbook or another zip"),
    (b"\xd0\xcf\x11\xe0", "a workbook of an old form"),
    (b"\xff\xd8\xff", "a picture"),
    (b"\x89PNG", "a picture"),
    (b"GIF8", "a picture"),
    (b"%PDF", "a PDF"),
)
# Read as Windows-1252 these come from no name: the file is in an older DOS or Mac code page.
_NO_LETTERS = set("‚ƒ„…†‡ˆ‰‹•˜™›¢£¤¥¦§¨©«¬®¯±²³µ¶·¸¹»¼½¾¿×÷")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the line it begins on, and its cells by the name of their column, trimmed."""

    line: int
    cells: Mapping[str, str]
    surplus: bool = False  # there is more in it than the header has columns


@dataclass(frozen=True, slots=True)
class Table:
    """The rows below the header that are not empty; ``notes`` is what a person should look at."""

    rows: tuple[Row, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns that are looked for: ``known`` has the headings of each, folded, the surest first; at
    least one of each tuple in ``needed`` must be there. ``what`` and ``how`` are for messages: what the
    table is, and how it should be."""

    known: Mapping[str, Sequence[str]]
    needed: Sequence[tuple[str, ...]]
    what: str
    how: str


def read_table(source: str | Path | bytes, columns: Columns, *, name: str | None = None) -> Table:
    """Read a table of text. Raises ``no-file`` or ``roster``, never anything else, whatever the bytes."""
    name = name or ("the table" if isinstance(source, bytes) else str(source))
    text, notes = _text(_bytes_of(source, name, columns), name, columns)
    best: list[str] = []
    for separator in _separators(text):
        rows = _rows(text, separator)
        for index, (_, cells) in enumerate(rows[:HEADER_WITHIN]):
            found = _header(cells, columns, name)
            if found is not None:
                return Table(_below(text, separator, index, found, columns, name), notes)
        if rows and len(rows[0][1]) > len(best):
            best = rows[0][1]
    seen = ", ".join(f"'{_short(cell)}'" for cell in best if cell.strip()) or "nothing"
    missing = " and ".join(each[0] for each in columns.needed)
    raise bad(columns, name, f"has no header with {missing}; its first line has {seen}")


def fold(heading: str) -> str:
    """A heading without case, accents, spaces and signs: ``"N° de carte"`` is ``"nodecarte"``."""
    plain = unicodedata.normalize("NFKD", heading.replace("°", "o").replace("#", "no")).casefold()
    return "".join(c for c in plain if c.isalnum())


def bad(columns: Columns, where: str, problem: str) -> CutcheckError:
    """The error ``roster``: what is wrong with this table, and how it should be."""
    return CutcheckError("roster", problem=f"{columns.what} {where} {problem}.", remedy=columns.how)


def tell_faults(columns: Columns, name: str, faults: Sequence[tuple[int, str]], shown: int = 5) -> None:
    """Raise ``roster`` with the first few faults, each with its line; nothing where there are none."""
    if faults:
        told = "; ".join(f"line {line}: {problem}" for line, problem in faults[:shown])
        more = f"; and {len(faults) - shown} more" if len(faults) > shown else ""
        raise CutcheckError("roster", problem=f"{columns.what} {name}, {told}{more}.", remedy=columns.how)


def _below(
    text: str, separator: str, index: int, found: Mapping[str, int], columns: Columns, name: str
) -> tuple[Row, ...]:
    try:
        rows = _rows(text, separator, strict=True)
    except _BadRow as row:
        raise bad(columns, f"{name}, line {row.line},", f"has quotes that don't match ({row})") from None
    width = len(rows[index][1])
    return tuple(
        Row(
            line,
            {column: cells[at].strip() if at < len(cells) else "" for column, at in found.items()},
            any(cell.strip() for cell in cells[width:]),
        )
        for line, cells in rows[index + 1 :]
    )


class _BadRow(Exception):
    def __init__(self, line: int, why: str) -> None:
        super().__init__(why)
        self.line = line


def _rows(text: str, separator: str, *, strict: bool = False) -> list[tuple[int, list[str]]]:
    """The rows that are not empty, each with the line it begins on (RFC 4180)."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=strict)
    rows, line = [], 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        if strict:
            raise _BadRow(line, str(error)) from None
    return rows


def _separators(text: str) -> tuple[str, ...]:
    """The separators to try: the one a spreadsheet names for itself (``sep=;``), else all."""
    hint = re.match(r"sep=(.)\r?\n", text, re.IGNORECASE)
    return (hint[1],) if hint and hint[1] in SEPARATORS else SEPARATORS


def _header(cells: Sequence[str], columns: Columns, name: str) -> dict[str, int] | None:
    """Which cell heads which column; None if the row is no header."""
    folded = [fold(cell) for cell in cells]
    found: dict[str, int] = {}
    for column, headings in columns.known.items():
        for heading in headings:
            at = [k for k, cell in enumerate(folded) if cell == heading]
            if len(at) > 1:
                raise bad(columns, name, f"has two columns '{cells[at[0]].strip()}'")
            if at:
                found[column] = at[0]
                break
    return found if all(any(one in found for one in each) for each in columns.needed) else None


def _bytes_of(source: str | Path | bytes, name: str, columns: Columns) -> bytes:
    if isinstance(source, bytes):
        data = source
    else:
        try:
            with Path(source).open("rb") as file:
                data = file.read(MOST_BYTES + 1)
        except FileNotFoundError:
            raise CutcheckError("no-file", file=name) from None
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or error
            raise bad(columns, name, f"can't be read ({why})") from None
    for start, kind in _KINDS:
        if data.startswith(start):
            raise bad(columns, name, f"is {kind}, not a table of text")
    if len(data) > MOST_BYTES:
        raise bad(columns, name, "is larger than 1 MB")
    return data


def _text(data: bytes, name: str, columns: Columns) -> tuple[str, tuple[str, ...]]:
    notes: tuple[str, ...] = ()
    try:
        text = data.decode(_encoding(data))
    except UnicodeDecodeError:
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError:
            text = "‚"
        if _NO_LETTERS & set(text):
            told = "is in an encoding that is not known, so its accents would come out wrong"
            raise bad(columns, name, told) from None
        notes = (f"{name} is not in UTF-8 and was read as Windows text: look whether the accents are right.",)
    if re.search(r"[\x00-\x08\x0e-\x1f]", text):
        raise bad(columns, name, "is no text")
    return text.lstrip("\ufeff"), notes


def _encoding(data: bytes) -> str:
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        return "utf-32"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    # Without the mark at its start UTF-16 shows by every other byte of its plain letters being 0.
    some = data[: 2 * (min(len(data), 200) // 2)]
    if len(some) >= 4:
        for encoding, zeros in (("utf-16-le", some[1::2]), ("utf-16-be", some[::2])):
            if zeros.count(0) > 0.6 * len(zeros):
                return encoding
    return "utf-8-sig"


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 40 else text[:39] + "…"
