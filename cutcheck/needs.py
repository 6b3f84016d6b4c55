"""What is to be prepared: read from a list (CSV) or from words such as ``brunoise carrot 500 g``.

A line that can't be understood becomes a ``Problem`` that names it and the remedy; the others are still read.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from cutcheck.cuts import plain_name
from cutcheck.errors import CutcheckError
from cutcheck.produce import find_vegetable
from cutcheck.standards import find_cut
from cutcheck.weights import Amount, read_amount, split_amount

__all__ = ["Need", "Problem", "parse_list", "read_list", "read_needs"]

SIZES = ("small", "medium", "large")
# In the place of a cut: nothing is cut, the vegetable is wanted peeled or trimmed as it is.
UNCUT = ("", "none", "whole", "uncut", "prepared")
_JOINING = ("of", "de", "en", "in")
MOST_LINES, MOST_BYTES = 500, 1_000_000

_COLUMNS = {
    "cut": ("cut", "coupe", "taille", "decoupe"),
    "produce": ("produce", "vegetable", "legume", "item", "product"),
    "amount": ("amount", "quantity", "weight", "need", "quantite", "poids", "qty"),
    "size": ("size", "calibre"),
    "yield": ("yield", "own yield", "rendement"),
}
_EXAMPLE = "For example: cut,produce,amount and below it brunoise,carrot,500 g"


@dataclass(frozen=True, slots=True)
class Need:
    """One thing to prepare. ``cut`` is empty where nothing is cut; ``own_yield`` is the cook's own, 0 to 1.

    ``line`` is its line in the list, or its place among the words, from 1 on.
    """

    cut: str
    produce: str
    amount: Amount
    size: str = ""
    own_yield: float | None = None
    line: int = 1
    text: str = ""


@dataclass(frozen=True, slots=True)
class Problem:
    """A line that could not be planned: what is wrong and what to do."""

    line: int
    text: str
    message: str
    remedy: str

    def to_dict(self) -> dict[str, object]:
        """For ``--json``."""
        return {"line": self.line, "text": self.text, "message": self.message, "remedy": self.remedy}


def read_needs(texts: Sequence[str]) -> tuple[tuple[Need, ...], tuple[Problem, ...]]:
    """Needs in words: cut, vegetable and amount; the cut may be left out."""
    needs, problems = [], []
    for line, text in enumerate(texts, 1):
        try:
            needs.append(_words(text, line))
        except CutcheckError as error:
            problems.append(Problem(line, text, error.message, error.remedy))
    return tuple(needs), tuple(problems)


def read_list(path: str | Path) -> tuple[tuple[Need, ...], tuple[Problem, ...]]:
    """The needs in a CSV file with a header of cut, produce and amount; size and yield may follow.

    Comma, semicolon and tab are understood, and lines that are empty or start with # are passed over. Raises
    ``no-file``, and ``bad-option`` where the file as a whole can't be read.
    """
    file = Path(path)
    return parse_list(str(file), _bytes(file))


def parse_list(file: str, data: bytes) -> tuple[tuple[Need, ...], tuple[Problem, ...]]:
    """The same from the bytes of a list called ``file``, as a page gets them."""
    rows = _rows(file, _text(file, data))
    if not rows:
        raise _bad(f"'{file}' is empty.", f"Write one line for each thing to prepare. {_EXAMPLE}")
    columns = _header(file, rows[0][1])
    needs, problems = [], []
    for line, row in rows[1:]:
        text = ", ".join(cell.strip() for cell in row if cell.strip())
        try:
            needs.append(
                _row({name: row[k] if k < len(row) else "" for name, k in columns.items()}, line, text)
            )
        except CutcheckError as error:
            problems.append(Problem(line, text, error.message, error.remedy))
    if not needs and not problems:
        raise _bad(f"'{file}' has a header and nothing below it.", f"Write what to prepare. {_EXAMPLE}")
    return tuple(needs), tuple(problems)


def _words(text: str, line: int) -> Need:
    words, amount_text = split_amount(text)
    if not amount_text:
        raise _bad(f"'{text.strip()}' has no amount.", "Write for example: brunoise carrot 500 g")
    amount = _amount(amount_text)
    parts = words.split()
    if not parts:
        raise _bad(f"'{text.strip()}' names no vegetable.", "Write for example: brunoise carrot 500 g")
    for cut, produce in _splits(parts):
        if not _is_cut(cut):
            continue
        size, _, rest = produce.partition(" ")
        if _is_vegetable(produce):
            return Need(cut, produce, amount, "", None, line, text.strip())
        if size.casefold() in SIZES and _is_vegetable(rest):
            return Need(cut, rest, amount, size.casefold(), None, line, text.strip())
    raise _which_is_wrong(parts)


def _splits(parts: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Every way to read the words as (cut, vegetable), in either order, the longest cut first."""
    for k in range(len(parts) - 1, 0, -1):
        yield _joined(parts[:k]), _joined(parts[k:])
        yield _joined(parts[-k:]), _joined(parts[:-k])
    yield "", _joined(parts)


def _joined(parts: Sequence[str]) -> str:
    """The words without a joining one at either end: ``julienne de`` is ``julienne``."""
    start, end = 0, len(parts)
    while start < end and parts[start].casefold() in _JOINING:
        start += 1
    while end > start and parts[end - 1].casefold() in _JOINING:
        end -= 1
    return " ".join(parts[start:end])


def _which_is_wrong(parts: Sequence[str]) -> CutcheckError:
    """Tell the unknown vegetable from the unknown cut, by the part that is known."""
    words = " ".join(parts)
    if _is_cut(words):
        return _bad(f"'{words}' is a cut without a vegetable.", f"Write for example: {words} carrot 500 g")
    for cut, produce in _splits(parts):
        try:
            if cut and _is_vegetable(produce):
                find_cut(cut, sized=False)
            elif cut and _is_cut(cut):
                find_vegetable(produce)
        except CutcheckError as error:
            return error
    return _bad(
        f"Neither a cut nor a vegetable is known in '{words}'.",
        "`cutcheck cuts` and `cutcheck produce` list them.",
    )


def _is_cut(text: str) -> bool:
    if plain_name(text) in UNCUT:
        return True
    try:
        find_cut(text, sized=False)
    except CutcheckError:
        return False
    return True


def _is_vegetable(text: str) -> bool:
    try:
        find_vegetable(text)
    except CutcheckError:
        return False
    return True


def _row(cells: dict[str, str], line: int, text: str) -> Need:
    if not cells["produce"].strip():
        raise _bad("There is no vegetable on this line.", "Fill in the produce column.")
    cut, size = cells["cut"].strip(), plain_name(cells.get("size", ""))
    if size and size not in SIZES:
        raise _bad(f"'{cells['size'].strip()}' is not a size of a vegetable.", f"Take {', '.join(SIZES)}.")
    return Need(
        cut="" if plain_name(cut) in UNCUT else cut,
        produce=cells["produce"].strip(),
        amount=_amount(cells["amount"]),
        size=size,
        own_yield=_own_yield(cells.get("yield", "")),
        line=line,
        text=text,
    )


def _amount(text: str) -> Amount:
    if not text.strip():
        raise _bad("There is no amount on this line.", "Write for example 500 g, 2 lb or 40 pieces.")
    try:
        return read_amount(text)
    except ValueError as error:
        said = str(error)
        raise _bad(f"{said[:1].upper()}{said[1:]}.", "Correct the amount.") from None


def _own_yield(text: str) -> float | None:
    """``82 %``, ``82%`` or ``0.82``; None where the cell is empty."""
    plain = text.strip().replace(",", ".")
    if not plain:
        return None
    try:
        share = float(plain.removesuffix("%")) / (100 if plain.endswith("%") else 1)
    except ValueError:
        share = -1.0
    if not 0 < share <= 1:
        raise _bad(f"'{text.strip()}' is not a yield.", "Write what you keep: 82 % or 0.82.")
    return share


def _bytes(file: Path) -> bytes:
    if not file.exists():
        raise CutcheckError("no-file", file=str(file))
    try:
        if file.is_dir():
            raise _bad(f"'{file}' is a folder.", "Name the list itself, a CSV file.")
        with file.open("rb") as opened:
            return opened.read(MOST_BYTES + 1)
    except OSError as error:
        raise _bad(f"'{file}' can't be read ({error.strerror}).", "Look at its permissions.") from None


def _text(file: str, data: bytes) -> str:
    if len(data) > MOST_BYTES:
        raise _bad(f"'{file}' is larger than a list can be (1 MB).", "Is it the right file? Else split it.")
    if b"\0" in data[:4096] and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _bad(f"'{file}' is not a text file.", "Save the list as CSV (UTF-8).")
    encodings = (
        ("utf-16",) if data.startswith((b"\xff\xfe", b"\xfe\xff")) else ("utf-8-sig", "cp1252", "latin-1")
    )
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise _bad(f"'{file}' is not a text file.", "Save the list as CSV (UTF-8).")


def _rows(file: str, text: str) -> list[tuple[int, list[str]]]:
    """(line number, cells) of every line that holds something."""
    lines = text.splitlines()
    head = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    found = []
    try:
        for row in reader:
            if any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#"):
                found.append((reader.line_num, row))
    except csv.Error as error:
        raise _bad(f"'{file}', line {reader.line_num}: {error}.", "Save the list as CSV again.") from None
    if len(found) > MOST_LINES + 1:
        raise _bad(f"'{file}' has more than {MOST_LINES} lines.", "Split it.")
    return found


def _header(file: str, row: Sequence[str]) -> dict[str, int]:
    named = [plain_name(cell).replace("-", " ") for cell in row]
    found = {}
    for column, names in _COLUMNS.items():
        at = next((k for k, name in enumerate(named) if name in names), None)
        if at is not None:
            found[column] = at
    missing = [c for c in ("cut", "produce", "amount") if c not in found]
    if missing:
        problem = f"'{file}': the first line must name the columns, and {' and '.join(missing)} is not there."
        raise _bad(problem, _EXAMPLE)
    return found


def _bad(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("bad-option", problem=problem, remedy=remedy)
