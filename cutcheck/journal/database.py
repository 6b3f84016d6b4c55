"""The journal's file: where it is, opening it, bringing it to this version, and safe reading and writing.

One SQLite file in rollback mode with full syncing: what was committed survives a kill and a power cut, what
was not leaves no trace, and there is one file to copy. Removed rows are overwritten, not only unlinked.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from sqlalchemy import Connection, Engine, NullPool, create_engine, event
from sqlalchemy.engine import URL
from sqlalchemy.exc import DatabaseError

from cutcheck.access import must_be_here
from cutcheck.errors import CutcheckError
from cutcheck.journal.schema import VERSIONS
from cutcheck.settings import load_settings

WHAT = "Journals and classes"  # that are reached here, and only at the computer itself
WAIT_S = 20.0  # for another program to finish writing
_MAGIC = b"SQLite format 3\x00"  # https://sqlite.org/fileformat.html, 1.3
_WRITING = "cutcheck_writing"


def journal_path(named: str | Path | None = None) -> Path:
    """The journal's file: as named, else by ``CUTCHECK_JOURNAL``, else by the settings, else in the user's
    own data folder."""
    chosen = named or os.environ.get("CUTCHECK_JOURNAL") or load_settings().journal
    return Path(chosen) if chosen else user_data_path("cutcheck", appauthor=False) / "journal.sqlite"


def open_database(path: Path) -> Engine:
    """The journal in a file, made if there is none and brought to this version if it is older.

    Raises CutcheckError ``journal``: a newer version's, no journal at all, or a file that can't be used;
    ``not-here`` for who is on the network.
    """
    must_be_here(WHAT)
    _is_usable(path)
    engine = create_engine(
        URL.create("sqlite", database=str(path)), poolclass=NullPool, connect_args={"timeout": WAIT_S}
    )
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    with reading(engine) as connection:
        version = _version(connection, path)
    if version != VERSIONS[-1]:
        _upgrade(engine, path)
    return engine


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection that sees the journal as it is now, whatever is written meanwhile."""
    must_be_here(WHAT)
    with _told(engine), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A connection whose changes are kept together when the block ends, or not at all."""
    must_be_here(WHAT)
    with (
        _told(engine),
        engine.connect().execution_options(**{_WRITING: True}) as connection,
        connection.begin(),
    ):
        yield connection


def fault(problem: str, remedy: str) -> CutcheckError:
    """An error of the journal."""
    return CutcheckError("journal", problem=problem, remedy=remedy)


def _is_usable(path: Path) -> None:
    """A clear word where the file is none that a journal can be in."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir():
            raise fault(f"'{path}' is a folder, not a journal.", "Name a file, such as journal.sqlite in it.")
        if path.exists():
            with path.open("rb") as file:
                start = file.read(len(_MAGIC))
            if start and start != _MAGIC:
                raise fault(
                    f"'{path}' is not a journal.",
                    "Name the journal's own file, or one that is not there yet.",
                )
    except OSError as error:
        raise fault(
            f"The journal '{path}' can't be opened ({error.strerror}).",
            "Name another file with --journal or CUTCHECK_JOURNAL.",
        ) from None


def _prepare(dbapi: Any, _: Any) -> None:
    # Python's sqlite3 would begin transactions late and not for CREATE TABLE; ``_begin`` does it instead.
    dbapi.isolation_level = None
    for pragma in ("foreign_keys=ON", "secure_delete=ON", "synchronous=FULL", "journal_mode=DELETE"):
        dbapi.execute(f"PRAGMA {pragma}").close()


def _begin(connection: Connection) -> None:
    # A writer takes its place at once: one that first reads could find itself unable to write.
    writes = connection.get_execution_options().get(_WRITING)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _version(connection: Connection, path: Path) -> str | None:
    """The version of the tables, None in an empty file; refused if not ours or newer than we know."""
    tables = set(
        connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'").scalars().all()
    )
    if not tables:
        return None
    version = None
    if {"alembic_version", "cooks", "checks"} <= tables:
        version = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    if version is None:
        raise fault(
            f"'{path}' is a database, but not a journal.",
            "Name the journal's own file, or one that is not there yet.",
        )
    if version not in VERSIONS:
        raise fault(
            f"The journal '{path}' was written by a newer cutcheck (its version is {version}, this one knows "
            f"up to {VERSIONS[-1]}).",
            "Install the newer cutcheck, or name another journal. Nothing in it was changed.",
        )
    return str(version)


def _upgrade(engine: Engine, path: Path) -> None:
    """Bring the tables to this version in one transaction: wholly or not at all."""
    from alembic import command  # here: it takes a moment, and is needed once
    from alembic.config import Config

    with writing(engine) as connection:
        # Another program may have done it while we waited for our turn.
        if _version(connection, path) != VERSIONS[-1]:
            config = Config()
            config.set_main_option("script_location", "cutcheck.journal:migrations")
            config.attributes["connection"] = connection
            command.upgrade(config, VERSIONS[-1])


@contextmanager
def _told(engine: Engine) -> Iterator[None]:
    """The database's complaints in plain words."""
    try:
        yield
    except DatabaseError as error:
        why = str(error.orig)
        path = engine.url.database
        if "locked" in why or "busy" in why:
            remedy = "Another program is writing to it. Wait a moment and try again."
        elif "full" in why or "I/O" in why:  # some systems answer so on a full disk, too
            remedy = "Make room on the disk (or see whether it works) and try again. Nothing was half kept."
        elif "readonly" in why or "unable to open" in why:
            remedy = "You may not write there: name another file with --journal or CUTCHECK_JOURNAL."
        elif "malformed" in why or "not a database" in why:
            remedy = (
                "The file is damaged: go back to your last safe copy ('cutcheck journal copy' makes them)."
            )
        else:
            raise
        raise fault(f"The journal '{path}' can't be used ({why}).", remedy) from None
