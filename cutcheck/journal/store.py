"""The journal itself: keep a check, find it, correct it, remove it. Each change is one transaction.

with Journal.open() as journal:
    cook = journal.cook_called("Ada Example") or journal.add_cook("Ada Example")
    kept = journal.keep(result, cook)
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple, cast

from sqlalchemy import Connection, Engine, Select, Table, delete, func, insert, select, update

import cutcheck
from cutcheck.card_numbers import LONGEST_NAME
from cutcheck.journal import rows
from cutcheck.journal.database import fault, journal_path, open_database, reading, writing
from cutcheck.journal.entries import Cook, Entry, Extras, Kept, SideEntry, Taking
from cutcheck.journal.schema import checks, cooks, photos, pieces, sides
from cutcheck.photo_copy import PhotoCopy
from cutcheck.records import Result

__all__ = ["Journal", "KeptCheck"]

_CHECK_TABLES = (sides, pieces)


class KeptCheck(NamedTuple):
    """What keeping gave: the check, and whether it is new (the same photo is kept once)."""

    entry: Entry
    new: bool


class Journal:
    """A journal in a file. Safe to use from several threads and programs at once."""

    def __init__(self, engine: Engine, path: Path) -> None:
        self.engine = engine
        self.path = path

    @classmethod
    def open(cls, path: str | Path | None = None) -> Journal:
        """The journal at ``path``, else the user's own (``journal_path``); made if there is none."""
        where = journal_path(path)
        return cls(open_database(where), where)

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.engine.dispose()

    # ---- cooks

    def add_cook(self, name: str) -> Cook:
        """A new person, even where somebody of that name is there already."""
        with writing(self.engine) as connection:
            return insert_cook(connection, name)

    def cooks(self) -> tuple[Cook, ...]:
        """All cooks by name, with how many checks each has and the day of the last."""
        with reading(self.engine) as connection:
            return find_cooks(connection)

    def cook_called(self, who: str) -> Cook | None:
        """The cook of a name (``Ada``) or number (``Ada#3``, ``#3``); None where no cook has that name.

        Raises ``journal`` where several have it, or where the number is nobody's or another's.
        """
        match = re.fullmatch(r"(?P<name>.*?)\s*#(?P<number>\d+)", who.strip())
        with reading(self.engine) as connection:
            if match:
                row = (
                    connection.execute(_cooks().where(cooks.c.id == int(match["number"]))).mappings().first()
                )
                cook = Cook(**row) if row else None
                if cook is None or (match["name"] and not _same_name(match["name"], cook.name)):
                    raise fault(f"There is no cook {who}.", "'cutcheck journal cooks' lists the cooks.")
                return cook
            every = [Cook(**row) for row in connection.execute(_cooks()).mappings()]
        found = [cook for cook in every if _same_name(who, cook.name)]
        if len(found) > 1:
            names = " or ".join(f"'{cook.label}'" for cook in found)
            raise fault(f"There are {len(found)} cooks named {found[0].name}.", f"Say which: {names}.")
        return found[0] if found else None

    def cook(self, who: str) -> Cook:
        """The cook of a name or number; ``journal`` where there is none."""
        found = self.cook_called(who)
        if found is None:
            raise fault(f"There is no cook named {who}.", "'cutcheck journal cooks' lists the cooks.")
        return found

    def rename_cook(self, number: int, name: str) -> Cook:
        """Write a cook's name otherwise."""
        with writing(self.engine) as connection:
            connection.execute(update(cooks).where(cooks.c.id == number).values(name=_good_name(name)))
        return self.cook(f"#{number}")

    def remove_cook(self, number: int) -> int:
        """Remove a cook with all checks and photos; returns how many checks there were."""
        with writing(self.engine) as connection:
            count = connection.execute(
                select(func.count()).select_from(checks).where(checks.c.cook_id == number)
            ).scalar_one()
            connection.execute(delete(cooks).where(cooks.c.id == number))
            return count

    # ---- keeping

    def keep(
        self,
        result: Result,
        cook: Cook,
        *,
        taking: Taking | None = None,
        extras: Extras | None = None,
        photo: PhotoCopy | None = None,
        produce: str | None = None,
        now: datetime | None = None,
    ) -> KeptCheck:
        """Keep a check with all its pieces. A photo that is there already is kept once: the check that it
        has is given back unchanged. ``now`` is for tests; the practice is dated by the photo, if it can."""
        moment = now or datetime.now().astimezone()
        taking = taking or Taking()
        row = {
            **rows.check_row(result, taking, _good_extras(extras or Extras())),
            "key": uuid.uuid4().hex,
            "cook_id": cook.number,
            # the cook's own time, without its zone
            "practised": (result.photo.taken or moment.isoformat())[:19],
            "kept": moment.astimezone(UTC).isoformat(timespec="seconds"),
            "produce": produce,
            "program_version": cutcheck.__version__,
        }
        side, piece = rows.side_rows(result, taking.scale_u), rows.piece_rows(result)
        with writing(self.engine) as connection:
            same = checks.c.sha256 == result.photo.sha256
            there = connection.execute(_entries().where(same)).mappings().first()
            if there is not None:
                return KeptCheck(rows.entry_of(cast(Any, there)), new=False)
            number = insert_check(connection, row, side, piece, photo)
            return KeptCheck(_entry(connection, number), new=True)

    # ---- finding

    def entries(self, *, cook: int | None = None, cut: str | None = None) -> tuple[Entry, ...]:
        """The kept checks in the order of practice, of one cook and cut if wanted."""
        with reading(self.engine) as connection:
            return find_entries(connection, cook, cut)

    def with_photo(self, sha256: str) -> Entry | None:
        """The check of a photo, by its hash."""
        with reading(self.engine) as connection:
            row = connection.execute(_entries().where(checks.c.sha256 == sha256)).mappings().first()
        return None if row is None else rows.entry_of(cast(Any, row))

    def entry(self, number: int) -> Entry:
        """One kept check without its pieces; ``journal`` where there is none of that number."""
        with reading(self.engine) as connection:
            return _entry(connection, number)

    def check(self, number: int) -> Kept:
        """One kept check with all its pieces."""
        with reading(self.engine) as connection:
            return kept_check(connection, _entry(connection, number))

    def sides(self, cook: int, cut: str | None = None) -> tuple[SideEntry, ...]:
        """The sides of a cook's checks in the order of practice."""
        names = [c for c in sides.c if c.name != "check_id"]
        query = (
            select(checks.c.id.label("check"), checks.c.practised, *names)
            .join_from(sides, checks)
            .where(checks.c.cook_id == cook)
            .order_by(checks.c.practised, checks.c.id)
        )
        if cut is not None:
            query = query.where(checks.c.cut == cut)
        with reading(self.engine) as connection:
            return tuple(SideEntry(**cast(Any, row)) for row in connection.execute(query).mappings())

    def photo(self, number: int) -> PhotoCopy | None:
        """The kept copy of a check's photo, if there is one."""
        query = select(photos.c.kind, photos.c.data).where(photos.c.check_id == number)
        with reading(self.engine) as connection:
            row = connection.execute(query).first()
        return None if row is None else PhotoCopy(row.kind, row.data)

    # ---- changing

    def correct(
        self,
        number: int,
        *,
        cook: Cook | None = None,
        practised: str | None = None,
        extras: Extras | None = None,
        result: Result | None = None,
        taking: Taking | None = None,
        produce: str | None = None,
    ) -> Entry:
        """Change what is given and leave the rest. ``result`` replaces marks and pieces: the tray marked as
        another cut, or measured again; then ``taking`` and ``produce`` go with it."""
        values: dict[str, Any] = {}
        if cook is not None:
            values["cook_id"] = cook.number
        if practised is not None:
            values["practised"] = good_time(practised)
        with writing(self.engine) as connection:
            before = kept_check(connection, _entry(connection, number))
            extras = _good_extras(extras or before.entry.extras)
            if result is not None:
                how = taking or before.taking
                values |= {**rows.check_row(result, how, extras), "produce": produce}
                values["program_version"] = cutcheck.__version__
                for name in ("file", "sha256", "width_px", "height_px", "taken"):
                    del values[name]  # the photo stays the one that came
                for table in _CHECK_TABLES:
                    connection.execute(delete(table).where(table.c.check_id == number))
                _insert_parts(
                    connection, number, rows.side_rows(result, how.scale_u), rows.piece_rows(result)
                )
            else:
                values |= {name: getattr(extras, name) for name in Extras.__dataclass_fields__}
            connection.execute(update(checks).where(checks.c.id == number).values(**values))
            return _entry(connection, number)

    def remove(self, numbers: Iterable[int]) -> int:
        """Remove checks with their photos; returns how many there were."""
        with writing(self.engine) as connection:
            return sum(
                connection.execute(delete(checks).where(checks.c.id == number)).rowcount for number in numbers
            )


def find_cooks(connection: Connection) -> tuple[Cook, ...]:
    """All cooks by name."""
    found = connection.execute(_cooks().order_by(func.lower(cooks.c.name), cooks.c.id)).mappings()
    return tuple(Cook(**cast(Any, row)) for row in found)


def find_entries(
    connection: Connection, cook: int | None = None, cut: str | None = None
) -> tuple[Entry, ...]:
    """The kept checks in the order of practice."""
    query = _entries().order_by(checks.c.practised, checks.c.id)
    if cook is not None:
        query = query.where(checks.c.cook_id == cook)
    if cut is not None:
        query = query.where(checks.c.cut == cut)
    return tuple(rows.entry_of(cast(Any, row)) for row in connection.execute(query).mappings())


def insert_check(
    connection: Connection,
    row: dict[str, Any],
    side: Sequence[dict[str, Any]],
    piece: Sequence[dict[str, Any]],
    photo: PhotoCopy | None,
) -> int:
    """Write a check with its parts; returns its number."""
    number = _inserted(connection, checks, row)
    _insert_parts(connection, number, side, piece)
    if photo is not None:
        connection.execute(insert(photos).values(check_id=number, kind=photo.kind, data=photo.data))
    return number


def kept_check(connection: Connection, entry: Entry) -> Kept:
    """A check's entry with the result and how it was measured."""
    row = connection.execute(select(checks).where(checks.c.id == entry.number)).mappings().one()
    side = connection.execute(select(sides).where(sides.c.check_id == entry.number)).mappings().all()
    piece = connection.execute(
        select(pieces).where(pieces.c.check_id == entry.number).order_by(pieces.c.number)
    ).mappings()
    return Kept(entry, rows.result_of(cast(Any, row), cast(Any, side), piece), rows.taking_of(row["taking"]))


def good_time(text: str) -> str:
    """A date or a date and time as the journal keeps it; ``journal`` if it is none."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise fault(f"'{text}' is no date.", "Write it as 2026-03-04 or 2026-03-04T10:20.") from None
    return moment.replace(tzinfo=None).isoformat(timespec="seconds")


def _insert_parts(
    connection: Connection, number: int, side: Sequence[dict[str, Any]], piece: Sequence[dict[str, Any]]
) -> None:
    for table, parts in ((sides, side), (pieces, piece)):
        if parts:
            connection.execute(insert(table), [{"check_id": number, **part} for part in parts])


def _entry(connection: Connection, number: int) -> Entry:
    row = connection.execute(_entries().where(checks.c.id == number)).mappings().first()
    if row is None:
        raise fault(f"There is no check {number} in the journal.", "'cutcheck journal' lists them.")
    return rows.entry_of(cast(Any, row))


def _entries() -> Select[Any]:
    left_out = {"scale", "suggested", "taking", "advice", "warnings"}
    return (
        select(
            *(column for column in checks.c if column.name not in left_out),
            cooks.c.name.label("cook_name"),
            cooks.c.added.label("cook_added"),
            cooks.c.key.label("cook_key"),
            photos.c.kind.is_not(None).label("has_photo"),
        )
        .join_from(checks, cooks)
        .outerjoin(photos)
    )


def _cooks() -> Select[Any]:
    return (
        select(
            cooks.c.id.label("number"),
            cooks.c.key,
            cooks.c.name,
            cooks.c.added,
            func.count(checks.c.id).label("checks"),
            func.max(checks.c.practised).label("last"),
        )
        .select_from(cooks)
        .outerjoin(checks)
        .group_by(cooks.c.id)
    )


def insert_cook(connection: Connection, name: str, key: str | None = None, added: str | None = None) -> Cook:
    key = key or uuid.uuid4().hex
    added = added or datetime.now(UTC).isoformat(timespec="seconds")
    good = _good_name(name)
    return Cook(
        _inserted(connection, cooks, {"name": good, "key": key, "added": added}), good, added, key=key
    )


def _inserted(connection: Connection, table: Table, row: dict[str, Any]) -> int:
    """Insert a row; returns its number."""
    key = connection.execute(insert(table).values(**row)).inserted_primary_key
    return int(cast(Any, key)[0])


def _good_name(name: str) -> str:
    plain = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    if not plain:
        raise fault("A cook needs a name.", "Write it as --cook NAME.")
    if len(plain) > LONGEST_NAME:
        raise fault(f"'{plain[:20]}…' is longer than {LONGEST_NAME} letters.", "Write a shorter name.")
    if re.search(r"#\d+$", plain):
        raise fault(f"'{plain}' ends in a number sign and a number.", "That names a cook by number; drop it.")
    return plain


def _good_extras(extras: Extras) -> Extras:
    for name, what in (("raw_g", "The weight"), ("finished_g", "The weight"), ("waste_g", "The waste")):
        value = getattr(extras, name)
        if value is not None and not 0.0 <= value < 1e6:
            raise fault(f"{what} can't be {value:g} g.", "Give grams, from 0 up.")
    if extras.minutes is not None and not 0.0 < extras.minutes < 1e5:
        raise fault(f"The time can't be {extras.minutes:g} minutes.", "Give the minutes at the board.")
    if extras.raw_g is not None and max(extras.finished_g or 0.0, extras.waste_g or 0.0) > extras.raw_g:
        raise fault(
            "More came out than went in: finished or waste weigh more than the raw vegetable.",
            "Check the three weights, all in grams.",
        )
    return extras


def _same_name(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()
