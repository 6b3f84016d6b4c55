"""The journal: keeping, finding, correcting and removing checks, and journals of other versions."""

from __future__ import annotations

import sqlite3
import stat
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from importlib.resources import as_file, files
from pathlib import Path

import pytest
import trays
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from cutcheck import serialise
from cutcheck.errors import CutcheckError
from cutcheck.journal import Extras, Journal, Taking, journal_path
from cutcheck.journal import database as journal_database
from cutcheck.journal.database import reading
from cutcheck.journal.schema import VERSIONS, metadata
from cutcheck.records import Result


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    """A fresh journal."""
    return Journal.open(tmp_path / "journal.sqlite")


def tray(number: int = 1, taken: str | None = "2026-03-04T10:20:30") -> Result:
    """The check of an invented photo that no other number has."""
    base = trays.tray(12, seed=number)
    return replace(base, photo=replace(base.photo, sha256=f"{number:064x}", taken=taken))


def test_a_kept_check_comes_back_as_it_was(journal: Journal) -> None:
    """All pieces with outlines and budgets, the score, the scale and the words come back the same."""
    result = tray()
    taking = Taking("card", "197.4x213.2", 0.5, 26.0, "Invented One", False, 0.001, (1.0, 2.0))
    extras = Extras(500.0, 430.0, 60.0, 12.5, "after the rain")
    kept = journal.keep(
        result, journal.add_cook("Ada Example"), taking=taking, extras=extras, produce="carrot"
    )
    again = Journal.open(journal.path).check(kept.entry.number)
    assert serialise.to_dict(again.result, with_budget=True) == serialise.to_dict(result, with_budget=True)
    assert again.taking == taking
    assert again.entry.extras == extras
    assert again.entry.produce == "carrot"
    assert again.entry.practised == "2026-03-04T10:20:30"
    assert again.entry.cut_version


def test_a_check_without_a_cut_is_kept_too(journal: Journal) -> None:
    """A tray that was only measured is kept without a mark, and has no side to follow."""
    result = replace(tray(), cut=None, score=None, suggested=None)
    kept = journal.keep(result, journal.add_cook("Ada Example"))
    assert kept.entry.mark is None
    assert serialise.to_dict(journal.check(kept.entry.number).result) == serialise.to_dict(result)
    assert journal.sides(kept.entry.cook.number) == ()


def test_the_same_photo_is_kept_once(journal: Journal) -> None:
    """Keeping a photo again, even for another cook, changes nothing and gives back the first check."""
    ada, ben = journal.add_cook("Ada Example"), journal.add_cook("Ben Example")
    first = journal.keep(tray(), ada)
    second = journal.keep(replace(tray(), advice=("other",)), ben)
    assert (first.new, second.new) == (True, False)
    assert second.entry == first.entry
    assert len(journal.entries()) == 1


def test_two_cooks_of_one_name_are_two_persons(journal: Journal) -> None:
    """One name twice needs the number; each keeps their own checks."""
    one, two = journal.add_cook("Ada Example"), journal.add_cook("Ada Example")
    journal.keep(tray(1), one)
    with pytest.raises(CutcheckError, match=r"2 cooks named Ada Example. Say which: 'Ada Example#1' or"):
        journal.cook("ada example")
    assert journal.cook("Ada Example#2").number == two.number
    assert journal.cook("#1").checks == 1
    with pytest.raises(CutcheckError, match="no cook Ben#1"):
        journal.cook("Ben#1")
    assert journal.cook_called("Nobody") is None


def test_the_day_is_the_photo_s_else_today(journal: Journal) -> None:
    """Practice is dated by the photo in the cook's own time; without a date by the day it was kept."""
    cook = journal.add_cook("Ada Example")
    now = datetime(2026, 5, 6, 7, 8, 9, tzinfo=UTC)
    zoned = journal.keep(tray(1, taken="2026-03-04T10:20:30+02:00"), cook, now=now).entry
    dateless = journal.keep(tray(2, taken=None), cook, now=now).entry
    assert zoned.practised == "2026-03-04T10:20:30"
    assert dateless.practised == "2026-05-06T07:08:09"
    assert zoned.kept == "2026-05-06T07:08:09+00:00"


def test_a_correction_changes_what_is_given_and_leaves_the_rest(journal: Journal) -> None:
    """Cook, day and note can be put right; the pieces stay."""
    ada, ben = journal.add_cook("Ada Example"), journal.add_cook("Ben Example")
    number = journal.keep(tray(), ada, extras=Extras(raw_g=500.0)).entry.number
    before = journal.check(number)
    entry = journal.correct(number, cook=ben, practised="2026-03-01")
    assert (entry.cook.name, entry.practised) == ("Ben Example", "2026-03-01T00:00:00")
    assert entry.extras == Extras(raw_g=500.0)
    assert journal.check(number).result == before.result
    assert journal.correct(number, extras=Extras(note="hurried")).extras == Extras(note="hurried")
    with pytest.raises(CutcheckError, match=r"'soon' is no date. Write it as 2026-03-04"):
        journal.correct(number, practised="soon")


def test_a_new_result_takes_the_place_of_the_old_one(journal: Journal) -> None:
    """A tray marked or measured again keeps its number and its photo's hash; the old pieces are gone."""
    number = journal.keep(tray(1), journal.add_cook("Ada Example")).entry.number
    fresh = tray(2)
    journal.correct(number, result=fresh, taking=Taking(scale_u=0.002))
    kept = journal.check(number)
    assert kept.result.pieces == serialise.from_dict(serialise.to_dict(fresh, with_budget=True)).pieces
    assert kept.entry.sha256 == f"{1:064x}"
    assert kept.taking.scale_u == 0.002


def test_removal_takes_everything_with_it(journal: Journal) -> None:
    """After a cook is removed, no row and no byte of the name is left in the file."""
    cook = journal.add_cook("Unforgettable Example")
    journal.keep(tray(1), cook, extras=Extras(note="a note to forget"))
    journal.keep(tray(2), cook)
    assert journal.remove([1, 99]) == 1
    assert journal.remove_cook(cook.number) == 1
    data = journal.path.read_bytes()
    assert b"Unforgettable" not in data
    assert b"a note to forget" not in data
    with reading(journal.engine) as connection:
        for table in ("cooks", "checks", "sides", "pieces", "photos", "goals"):
            assert connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar() == 0


def test_numbers_are_not_given_twice(journal: Journal) -> None:
    """The number of a removed check or cook is not given to another one."""
    cook = journal.add_cook("Ada Example")
    number = journal.keep(tray(1), cook).entry.number
    journal.remove([number])
    assert journal.keep(tray(2), cook).entry.number == number + 1
    journal.remove_cook(cook.number)
    assert journal.add_cook("Ben Example").number == cook.number + 1


@pytest.mark.parametrize(
    ("extras", "said"),
    [
        (Extras(raw_g=-1.0), "weight can't be -1 g"),
        (Extras(minutes=0.0), "time can't be 0 minutes"),
        (Extras(raw_g=100.0, waste_g=120.0), "More came out than went in"),
    ],
)
def test_impossible_weights_and_times_are_told(journal: Journal, extras: Extras, said: str) -> None:
    """What can't be is refused with its figure, and nothing is kept."""
    with pytest.raises(CutcheckError, match=said):
        journal.keep(tray(), journal.add_cook("Ada Example"), extras=extras)
    assert journal.entries() == ()


def test_waste_comes_from_either_pair_of_weights() -> None:
    """Waste is read from the waste, else from what is left of the raw weight, else it is not known."""
    assert Extras(raw_g=500.0, waste_g=50.0).waste_share == pytest.approx(0.1)
    assert Extras(raw_g=500.0, finished_g=400.0).waste_share == pytest.approx(0.2)
    assert Extras(finished_g=400.0).waste_share is None


def test_the_journal_is_where_it_was_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """``--journal`` comes before ``CUTCHECK_JOURNAL``, and that before the user's data folder."""
    monkeypatch.delenv("CUTCHECK_JOURNAL", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "share"))
    assert journal_path() == tmp_path / "share" / "cutcheck" / "journal.sqlite"
    monkeypatch.setenv("CUTCHECK_JOURNAL", str(tmp_path / "env.sqlite"))
    assert journal_path() == tmp_path / "env.sqlite"
    assert journal_path("named.sqlite") == Path("named.sqlite")


def test_the_tables_are_those_the_migrations_make(journal: Journal) -> None:
    """Migrations end at the version the program names, and make exactly the tables that it uses."""
    with as_file(files("cutcheck.journal") / "migrations") as folder:
        config = Config()
        config.set_main_option("script_location", str(folder))
        script = ScriptDirectory.from_config(config)
        assert tuple(r.revision for r in script.walk_revisions())[::-1] == VERSIONS
    with reading(journal.engine) as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


SINCE_THE_FIRST = (
    *("goals", "grade_log", "grading_photos", "gradings"),
    *("assignments", "members", "classes", "students"),
)


def older_journal(path: Path) -> None:
    """A journal as the first version wrote it, with one invented check."""
    journal = Journal.open(path)
    journal.keep(tray(), journal.add_cook("Ada Example"))
    with sqlite3.connect(path) as connection:
        for table in SINCE_THE_FIRST:
            connection.execute(f"DROP TABLE {table}")
        connection.execute("UPDATE alembic_version SET version_num = '0001'")


def test_an_older_journal_opens_and_keeps_its_checks(tmp_path: Path) -> None:
    """A journal of the first version is brought to this one with all that is in it."""
    path = tmp_path / "old.sqlite"
    older_journal(path)
    journal = Journal.open(path)
    assert journal.entries()[0].cook.name == "Ada Example"
    with reading(journal.engine) as connection:
        assert connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar() == VERSIONS[-1]
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_a_migration_that_fails_leaves_the_journal_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If bringing an older journal to this version breaks off, not a byte of a table is changed."""
    path = tmp_path / "old.sqlite"
    older_journal(path)
    with sqlite3.connect(path) as connection:
        before = list(connection.iterdump())
    from alembic.runtime.migration import HeadMaintainer

    def broken(*_: object) -> None:
        raise RuntimeError("the lights went out")

    monkeypatch.setattr(HeadMaintainer, "update_to_step", broken)  # after the table was made
    with pytest.raises(RuntimeError):
        Journal.open(path)
    monkeypatch.undo()
    with sqlite3.connect(path) as connection:
        assert list(connection.iterdump()) == before
    assert Journal.open(path).entries()


def test_a_newer_journal_is_refused_and_not_touched(tmp_path: Path) -> None:
    """A journal of a version that this one does not know is refused with a clear word."""
    path = tmp_path / "newer.sqlite"
    Journal.open(path)
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0999'")
    before = path.read_bytes()
    with pytest.raises(CutcheckError, match=r"newer cutcheck \(its version is 0999.*Install the newer"):
        Journal.open(path)
    assert path.read_bytes() == before


def test_what_is_no_journal_is_refused(tmp_path: Path) -> None:
    """A text file, a folder and another program's database are refused and left alone."""
    text = tmp_path / "text.sqlite"
    text.write_text("not a database at all")
    other = tmp_path / "other.sqlite"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE recipes (name)")
    for path, said in ((text, "is not a journal"), (tmp_path, "is a folder"), (other, "not a journal")):
        with pytest.raises(CutcheckError, match=said):
            Journal.open(path)
    assert text.read_text() == "not a database at all"


def test_a_damaged_journal_is_told(tmp_path: Path) -> None:
    """A journal with its middle overwritten is told as damaged, with what to do."""
    path = tmp_path / "journal.sqlite"
    Journal.open(path)
    data = bytearray(path.read_bytes())
    data[100:4096] = b"\xaa" * 3996
    path.write_bytes(data)
    with pytest.raises(CutcheckError, match="damaged: go back to your last safe copy"):
        Journal.open(path)


def test_a_journal_in_use_is_waited_for_then_told(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    """While another program writes for too long, the journal says that it is in use, and then works again."""
    monkeypatch.setattr(journal_database, "WAIT_S", 0.1)
    journal = Journal.open(journal.path)
    other = sqlite3.connect(journal.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(CutcheckError, match="Another program is writing to it"):
        journal.add_cook("Ada Example")
    other.execute("ROLLBACK")
    other.close()
    assert journal.add_cook("Ada Example").name == "Ada Example"


def test_several_writers_at_once_lose_nothing(journal: Journal) -> None:
    """Four writers keep twelve checks and one that is common to all at once: 13 are there."""
    cook = journal.add_cook("Ada Example")

    def keep(numbers: range) -> int:
        own = Journal.open(journal.path)
        return sum(own.keep(tray(number), cook).new for number in [*numbers, 99])

    with ThreadPoolExecutor(4) as pool:
        new = sum(pool.map(keep, [range(1, 4), range(4, 7), range(7, 10), range(10, 13)]))
    assert new == len(journal.entries()) == 13


def test_a_folder_that_can_not_be_made_is_told(tmp_path: Path) -> None:
    """A journal below a file, where no folder can be, is told with the way out."""
    file = tmp_path / "file"
    file.write_text("in the way")
    assert stat.S_ISREG(file.stat().st_mode)
    with pytest.raises(CutcheckError, match="Name another file with --journal or CUTCHECK_JOURNAL"):
        Journal.open(file / "journal.sqlite")
