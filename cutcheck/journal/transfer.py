"""Taking a journal away and bringing it back: one zip for programs (JSON Lines) and people (CSV, photos).

    manifest.json   the form's version, and the program that wrote it
    cooks.jsonl, checks.jsonl, goals.jsonl   everything, one object a line; results are schema 1
    checks.csv, pieces.csv   the same for a spreadsheet
    photos/SHA256.jpg   the copies that were kept; the name is the hash of the photo as it came

Rows carry keys that are the same in every journal, so what is there already is not doubled.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import sqlite3
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, NamedTuple, cast

from sqlalchemy import Connection, insert, select

import cutcheck
from cutcheck import serialise, words
from cutcheck.csv_text import CsvText
from cutcheck.errors import CutcheckError
from cutcheck.journal import rows
from cutcheck.journal.database import fault, reading, writing
from cutcheck.journal.entries import Cook, Entry, Extras, Kept
from cutcheck.journal.schema import checks, cooks, goals, photos
from cutcheck.journal.store import (
    Journal,
    find_cooks,
    find_entries,
    good_time,
    insert_check,
    insert_cook,
    kept_check,
)
from cutcheck.photo_copy import PhotoCopy
from cutcheck.records import SIDES
from cutcheck.whole_file import not_written, writing_whole

__all__ = ["Moved", "copy_journal", "export_journal", "import_journal"]

FORM = 1
MOST_BYTES = 200_000_000  # of one file in a zip, unpacked: more is no journal but a bomb
_MOST_LINES = 2_000_000_000  # bytes of all checks, unpacked; a term of a school has some hundred megabytes
# What a zip of a stranger's making can raise; RuntimeError: a password, a strange packing, nesting too deep.
_STRANGE = (
    *(OSError, EOFError, zipfile.BadZipFile, zlib.error, RuntimeError),
    *(KeyError, ValueError, TypeError, AttributeError, OverflowError),
)
_ENTRY = ("key", "practised", "kept", "produce", "program_version", "cut_version")


class Moved(NamedTuple):
    """How many of each were taken away or brought in; ``there`` were in the journal already."""

    cooks: int
    checks: int
    photos: int
    there: int = 0

    @property
    def told(self) -> str:
        """In words: ``"2 cooks, 17 checks, 3 photos"``."""
        counts = ((self.cooks, "cook"), (self.checks, "check"), (self.photos, "photo"))
        return ", ".join(words.count(number, name) for number, name in counts)


def export_journal(journal: Journal, path: str | Path, *, cook: int | None = None) -> Moved:
    """Write everything, or all of one cook, to a zip. The file is there only when it is whole."""
    # one transaction: what is changed meanwhile is not half in it
    with (
        writing_whole(path, code="journal") as place,
        zipfile.ZipFile(place, "w", zipfile.ZIP_DEFLATED) as out,
        reading(journal.engine) as connection,
    ):
        entries = find_entries(connection, cook)
        people = [one for one in find_cooks(connection) if cook in (None, one.number)]
        count = _write(out, connection, people, entries)
    return Moved(len(people), len(entries), count)


def import_journal(journal: Journal, path: str | Path) -> Moved:
    """Bring in what ``export_journal`` wrote, in one transaction: wholly or not at all.

    A cook whose key is known is the same person; a check whose photo is there already is left as it is.
    """
    try:
        with zipfile.ZipFile(path) as packed:
            manifest = json.loads(_read(packed, "manifest.json"))
            if not isinstance(manifest, dict) or manifest.get("form") != FORM:
                raise fault(
                    f"'{path}' was written by another version of cutcheck.",
                    f"This one reads form {FORM}; install the newer one.",
                )
            with writing(journal.engine) as connection:
                return _bring_in(packed, connection)
    except FileNotFoundError:
        raise CutcheckError("no-file", file=path) from None
    except _STRANGE as error:
        raise fault(
            f"'{path}' is not a journal that was exported ({error}).",
            "Take the zip that 'cutcheck journal export' wrote; nothing was changed.",
        ) from None


def copy_journal(journal: Journal, path: str | Path) -> Path:
    """A safe copy while the journal is in use, by SQLite's own backup. Not over a file that is there."""
    path = Path(path)
    if path.is_dir():
        path = path / journal.path.name
    with writing_whole(path, over=False, code="journal") as place:
        try:
            with (
                contextlib.closing(sqlite3.connect(journal.path, timeout=20.0)) as source,
                contextlib.closing(sqlite3.connect(place)) as target,
            ):
                source.backup(target)
        except sqlite3.Error as error:
            raise not_written(path, error, code="journal") from None
    return path


def check_dict(kept: Kept) -> dict[str, Any]:
    """A kept check as JSON: what the journal knows of it, and the result as schema 1."""
    entry = kept.entry
    return {
        **{name: getattr(entry, name) for name in _ENTRY},
        "number": entry.number,
        "cook": {"key": entry.cook.key, "name": entry.cook.name, "number": entry.cook.number},
        "extras": asdict(entry.extras),
        "taking": asdict(kept.taking),
        "photo_kept": entry.has_photo,
        "result": serialise.to_dict(kept.result, with_budget=True),
    }


def _write(
    out: zipfile.ZipFile, connection: Connection, people: Iterable[Cook], entries: Iterable[Entry]
) -> int:
    manifest = {"form": FORM, "program": "cutcheck", "version": cutcheck.__version__}
    out.writestr("manifest.json", json.dumps(manifest))
    people = sorted(people, key=lambda cook: cook.number)
    numbers = [cook.number for cook in people]
    out.writestr("cooks.jsonl", _lines({"key": c.key, "name": c.name, "added": c.added} for c in people))
    query = select(goals, cooks.c.key.label("cook_key")).join_from(goals, cooks)
    aims = [
        {n: row[n] for n in ("key", "cook_key", "cut", "on_size", "sessions", "days_apart", "set_on")}
        for row in connection.execute(query.where(goals.c.cook_id.in_(numbers))).mappings()
    ]
    out.writestr("goals.jsonl", _lines(aims))
    entries = list(entries)
    # One check at a time: a term of them need not fit into memory.
    pieces = CsvText(["check", "cook", "cut", "piece", *_PIECE, "verdict", "on size"])
    with out.open("checks.jsonl", "w", force_zip64=True) as lines:
        for entry in entries:
            kept = kept_check(connection, entry)
            lines.write(json.dumps(check_dict(kept), ensure_ascii=False).encode() + b"\n")
            for piece in kept.result.pieces:
                sides = [getattr(getattr(piece, s), w) for s in SIDES for w in ("mm", "u95")]
                who = [entry.number, entry.cook.label, entry.cut]
                pieces.row([*who, piece.number, *sides, piece.verdict, piece.conformity])
    out.writestr("pieces.csv", pieces.text())
    out.writestr("checks.csv", checks_csv(entries))
    count = 0
    for entry in entries:
        if entry.has_photo:
            data = connection.execute(select(photos.c.data).where(photos.c.check_id == entry.number)).scalar()
            # coded pictures don't get smaller
            out.writestr(f"photos/{entry.sha256}.jpg", cast(bytes, data), zipfile.ZIP_STORED)
            count += 1
    return count


_PIECE = [f"{side} {what}" for side in SIDES for what in ("mm", "give or take")]
_CHECK = ("practised", "cut", "standard", "mark", "mark_low", "mark_high", "on_size", "counted", "produce")
_EXTRA = ("raw_g", "finished_g", "waste_g", "minutes", "note")


def checks_csv(entries: Iterable[Entry]) -> str:
    """One row for each check, for a spreadsheet."""
    out = CsvText(["check", "cook", *_CHECK, *_EXTRA, "file", "program_version"])
    for entry in entries:
        plain = [getattr(entry, name) for name in _CHECK]
        extra = [getattr(entry.extras, name) for name in _EXTRA]
        out.row([entry.number, entry.cook.label, *plain, *extra, entry.file, entry.program_version])
    return out.text()


def _lines(objects: Iterable[dict[str, Any]]) -> str:
    return "".join(json.dumps(one, ensure_ascii=False) + "\n" for one in objects)


def _bring_in(packed: zipfile.ZipFile, connection: Connection) -> Moved:
    known = {row[1]: row[0] for row in connection.execute(select(cooks.c.id, cooks.c.key))}
    new_cooks = new_checks = new_photos = there = 0
    for one in _objects(packed, "cooks.jsonl"):
        if one["key"] not in known:
            name, key, added = (_text(one[field]) for field in ("name", "key", "added"))
            cook = insert_cook(connection, name, key, added)
            known[cook.key] = cook.number
            new_cooks += 1
    had = set(connection.execute(select(checks.c.sha256)).scalars())
    names = set(packed.namelist())
    for one in _objects(packed, "checks.jsonl"):
        result = serialise.from_dict(one["result"])
        sha256 = result.photo.sha256
        if not re.fullmatch("[0-9a-f]{64}", sha256):
            raise ValueError("a photo's hash is none")  # it names a file in the next export
        if sha256 in had:
            there += 1
            continue
        had.add(sha256)
        taking, extras = rows.taking_of(one["taking"]), Extras(**one["extras"])
        row = {
            **rows.check_row(result, taking, extras),
            **{name: one[name] for name in _ENTRY},
            "practised": good_time(one["practised"]),
            "cook_id": known[one["cook"]["key"]],
        }
        name = f"photos/{sha256}.jpg"
        photo = PhotoCopy("image/jpeg", _read(packed, name)) if name in names else None
        insert_check(connection, row, rows.side_rows(result, taking.scale_u), rows.piece_rows(result), photo)
        new_checks += 1
        new_photos += photo is not None
    aims = {(row[0], row[1]) for row in connection.execute(select(goals.c.cook_id, goals.c.cut))}
    for one in _objects(packed, "goals.jsonl"):
        cook_id = known[one.pop("cook_key")]
        if (cook_id, one["cut"]) not in aims:
            connection.execute(insert(goals).values(**one, cook_id=cook_id))
    return Moved(new_cooks, new_checks, new_photos, there)


def _objects(packed: zipfile.ZipFile, name: str) -> Iterator[dict[str, Any]]:
    if packed.getinfo(name).file_size > _MOST_LINES:
        raise ValueError(f"{name} is too large")
    with packed.open(name) as lines:
        text = io.TextIOWrapper(lines, "utf-8")
        while line := text.readline(MOST_BYTES):
            one = json.loads(line)
            if not isinstance(one, dict):
                raise ValueError(f"a line of {name} is no object")
            yield one


def _read(packed: zipfile.ZipFile, name: str) -> bytes:
    if packed.getinfo(name).file_size > MOST_BYTES:
        raise ValueError(f"{name} is too large")
    return packed.read(name)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{str(value)[:20]!r} is no text")
    return value
