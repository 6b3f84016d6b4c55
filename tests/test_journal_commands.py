"""``check --keep`` and ``cutcheck journal`` as a user types them, and taking a journal elsewhere."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import threading
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trays

from cutcheck import serialise
from cutcheck.cli import run
from cutcheck.errors import CutcheckError
from cutcheck.journal import Extras, Journal
from cutcheck.journal.keeping import marked
from cutcheck.journal.transfer import copy_journal, export_journal, import_journal
from cutcheck.photo import read_photo
from cutcheck.photo_copy import PhotoCopy
from cutcheck.pipeline import chosen_cut


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the commands of this test keep their journal."""
    where = tmp_path / "journal.sqlite"
    monkeypatch.setenv("CUTCHECK_JOURNAL", str(where))
    return where


def filled(path: Path, count: int = 3) -> Journal:
    """A journal with invented checks of two cooks; the first has its photo kept."""
    journal = Journal.open(path)
    ada, ben = journal.add_cook("Ada Example"), journal.add_cook("=Ben Example")
    for k in range(count):
        base = trays.tray(9, seed=k)
        result = replace(base, photo=replace(base.photo, sha256=f"{k + 1:064x}", file=f"tray-{k}.jpg"))
        photo = PhotoCopy("image/jpeg", b"\xff\xd8 invented") if k == 0 else None
        journal.keep(result, ben if k == 1 else ada, extras=Extras(note=f"note {k}"), photo=photo)
    return journal


def test_check_keeps_the_tray(path: Path, tray_photo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One command measures and keeps; the same photo again is told and not doubled, and leaves no cook."""
    command = ["check", str(tray_photo), "--cut", "medium-dice", "--json", "--keep", "--keep-photo"]
    weights = ["--raw", "300", "--waste", "45", "--minutes", "4", "--note", "calm"]
    assert run([*command, "--cook", "Ada Example", *weights]) == 0
    said = capsys.readouterr()
    assert "Kept as check 1 of Ada Example#1." in said.err
    printed = json.loads(said.out)
    journal = Journal.open(path)
    kept = journal.check(1)
    assert serialise.to_dict(kept.result) == {**printed, "photo": serialise.to_dict(kept.result)["photo"]}
    assert kept.entry.extras == Extras(300.0, None, 45.0, 4.0, "calm")
    assert len(kept.taking.camera) == 11
    copy = journal.photo(1)
    assert copy is not None
    assert np.array_equal(read_photo(copy.data).pixels, read_photo(tray_photo).pixels)
    assert run([*command, "--cook", "Somebody Else"]) == 0
    assert "kept before, as check 1 of Ada Example#1 (medium-dice)" in capsys.readouterr().err
    assert [cook.name for cook in journal.cooks()] == ["Ada Example"]


def test_a_kept_photo_is_measured_again(
    path: Path, tray_photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Measured again by the same version, a kept photo gives the same sides, marked as the corrected cut."""
    keep = [
        "check",
        str(tray_photo),
        "--cut",
        "medium-dice",
        "--keep",
        "--keep-photo",
        "--cook",
        "Ada Example",
    ]
    assert run(keep) == 0
    before = Journal.open(path).check(1)
    assert run(["journal", "correct", "1", "--cut", "large-dice", "--note", "it was large"]) == 0
    corrected = Journal.open(path).check(1)
    assert corrected.entry.cut == "large-dice"
    assert corrected.entry.mark != before.entry.mark
    assert [p.length for p in corrected.result.pieces] == [p.length for p in before.result.pieces]
    assert run(["journal", "again", "--all"]) == 0
    again = Journal.open(path).check(1)
    assert again.entry.cut == "large-dice"
    assert again.entry.extras.note == "it was large"
    assert [p.length for p in again.result.pieces] == [p.length for p in before.result.pieces]
    assert "measured again" in capsys.readouterr().out or again.entry.mark is not None


def test_marking_again_gives_what_the_check_gave(tmp_path: Path, tray_photo: Path) -> None:
    """A kept tray marked as its own cut has the mark, the verdicts and the advice that the check had."""
    from cutcheck.journal.keeping import keep_measured
    from cutcheck.pipeline import mark, measure_photo
    from cutcheck.settings import Settings

    cut = chosen_cut("medium-dice")
    measured = measure_photo(tray_photo, settings=Settings())
    result = mark(measured, cut)
    journal = Journal.open(tmp_path / "j.sqlite")
    entry = keep_measured(
        journal, journal.add_cook("Ada Example"), measured, result, settings=Settings()
    ).entry
    again = marked(journal.check(entry.number), cut)
    assert again.score is not None
    assert result.score is not None
    assert again.score.mark == pytest.approx(result.score.mark, abs=0.05)
    assert [p.verdict for p in again.pieces] == [p.verdict for p in result.pieces]
    assert again.advice == result.advice


def test_a_calibrated_lens_is_kept_with_the_check(own_journal: Path, tray_photo: Path) -> None:
    """A photo measured with a calibrated lens is measured again with that lens, and gives the same sides."""
    from cutcheck.journal.keeping import keep_measured, measure_again
    from cutcheck.lens import LensPrior
    from cutcheck.pipeline import mark, measure_photo
    from cutcheck.settings import Settings

    data = tray_photo.read_bytes()
    plain = measure_photo(data, settings=Settings())
    diagonal = float(np.hypot(*plain.photo.pixels.shape[:2]))
    f = plain.located.camera.f / diagonal * 1.01
    lens = LensPrior(f, 0.0, 0.0, 0.0, 0.0, (1e-4, 1e-4, 1e-4, 1e-3, 1e-3))
    measured = measure_photo(data, settings=Settings(), lens=lens)
    assert measured.located.scale.focal_from == "lens"
    journal = Journal.open(own_journal)
    kept = keep_measured(
        journal,
        journal.add_cook("Ada Example"),
        measured,
        mark(measured, chosen_cut("medium-dice")),
        settings=Settings(),
        lens=lens,
        photo_bytes=data,
    )
    before = journal.check(kept.entry.number)
    assert before.taking.lens is not None
    measure_again(journal, kept.entry.number)
    after = journal.check(kept.entry.number)
    assert after.result.scale.focal_from == "lens"
    assert after.taking.lens == before.taking.lens
    for one, two in zip(before.result.pieces, after.result.pieces, strict=True):
        assert two.length.mm == pytest.approx(one.length.mm, abs=1e-3)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--keep"], "whose tray it is"),
        (["--cook", "Ada Example"], "--cook goes with --keep"),
        (["--raw", "30", "--keep-photo"], "--raw, --keep-photo goes with --keep"),
        (["--keep", "--cook", "Ada Example", "--minutes", "2", "another.jpg"], "belong to one tray"),
    ],
)
def test_wrong_options_are_told_before_anything_is_measured(
    path: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Options that don't go together are told at once, and no journal is made."""
    assert run(["check", "tray.jpg", *words]) == 2
    assert said in capsys.readouterr().err
    assert not path.exists()


def test_the_list_and_the_show(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The list has one row for each check, by cook and cut if wanted; show tells one; both as JSON, too."""
    filled(path)
    assert run(["journal"]) == 0
    assert capsys.readouterr().out.count("small-dice") == 3
    assert run(["journal", "--cook", "=Ben Example", "--json"]) == 0
    assert [one["number"] for one in json.loads(capsys.readouterr().out)] == [2]
    assert run(["journal", "--cut", "julienne"]) == 0
    assert "No checks" in capsys.readouterr().out
    assert run(["journal", "show", "1"]) == 0
    assert "Note: note 0" in capsys.readouterr().out
    assert run(["journal", "show", "1", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert serialise.from_dict(shown["result"]).pieces == Journal.open(path).check(1).result.pieces
    assert run(["journal", "show", "77"]) == 2
    assert "no check 77" in capsys.readouterr().err


def test_corrections_on_the_command_line(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Cook and date are put right; nothing named, or a cook who is not there, is told."""
    filled(path)
    assert run(["journal", "correct", "1", "2", "--cook", "#1", "--date", "2026-02-03"]) == 0
    assert "Check 2: Ada Example#1, 2026-02-03" in capsys.readouterr().out
    assert run(["journal", "correct", "1"]) == 2
    assert run(["journal", "correct", "1", "--cook", "Nobody"]) == 2
    assert "no cook named Nobody" in capsys.readouterr().err


def test_removal_asks_first(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A no leaves everything; a yes removes; a cook goes with all checks."""
    journal = filled(path)
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    assert run(["journal", "remove", "1"]) == 0
    assert len(journal.entries()) == 3
    assert run(["journal", "remove", "1", "--yes"]) == 0
    assert run(["journal", "remove", "--cook", "Ada Example", "--yes"]) == 0
    assert [e.cook.name for e in journal.entries()] == ["=Ben Example"]
    assert run(["journal", "remove"]) == 2
    assert "Name what to remove" in capsys.readouterr().err


def test_cooks_are_added_and_renamed(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A second person of one name is added on purpose; a name is written otherwise."""
    filled(path)
    assert run(["journal", "cooks", "--add", "Ada Example"]) == 0
    assert run(["journal", "cooks", "--rename", "#3", "Ada Second", "--json"]) == 0
    out = capsys.readouterr().out
    names = [one["name"] for one in json.loads(out[out.index("[") :])]
    assert names == ["=Ben Example", "Ada Example", "Ada Second"]


def test_an_export_brought_in_elsewhere_is_the_same(tmp_path: Path) -> None:
    """Every check, cook, note and photo arrives; brought in again, nothing is doubled."""
    here, there = filled(tmp_path / "here.sqlite"), Journal.open(tmp_path / "there.sqlite")
    moved = export_journal(here, tmp_path / "all.zip")
    assert moved.told == "2 cooks, 3 checks, 1 photo"
    assert import_journal(there, tmp_path / "all.zip") == moved
    for entry in here.entries():
        one, two = here.check(entry.number), there.check(entry.number)
        assert serialise.to_dict(one.result, with_budget=True) == serialise.to_dict(
            two.result, with_budget=True
        )
        assert (one.taking, one.entry) == (two.taking, two.entry)
        assert here.photo(entry.number) == there.photo(entry.number)
    assert here.sides(1) == there.sides(1)
    again = import_journal(there, tmp_path / "all.zip")
    assert again == (0, 0, 0, 3)
    assert len(there.cooks()) == 2


def test_a_cook_takes_only_their_own_away(tmp_path: Path) -> None:
    """An export of one cook holds nobody else's name, checks or photos."""
    journal = filled(tmp_path / "here.sqlite")
    export_journal(journal, tmp_path / "mine.zip", cook=2)
    with zipfile.ZipFile(tmp_path / "mine.zip") as packed:
        everything = b"".join(packed.read(name) for name in packed.namelist())
    assert b"Ben Example" in everything
    assert b"Ada Example" not in everything
    assert import_journal(Journal.open(tmp_path / "new.sqlite"), tmp_path / "mine.zip")[:3] == (1, 1, 0)


def test_the_tables_for_people_read_back_and_run_no_formula(tmp_path: Path) -> None:
    """The CSV files have a row for each check and piece; a name that begins with '=' is text."""
    journal = filled(tmp_path / "here.sqlite")
    export_journal(journal, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as packed:
        checks = list(csv.DictReader(io.StringIO(packed.read("checks.csv").decode("utf-8-sig"))))
        pieces = list(csv.DictReader(io.StringIO(packed.read("pieces.csv").decode("utf-8-sig"))))
    assert [row["note"] for row in checks] == ["note 0", "note 1", "note 2"]
    assert checks[1]["cook"] == "'=Ben Example#2"
    assert len(pieces) == 27
    assert float(pieces[0]["length mm"]) == journal.check(1).result.pieces[0].length.mm


def test_a_bad_zip_changes_nothing(tmp_path: Path) -> None:
    """What is no export, is damaged, or is of another form is told, and nothing of it is brought in."""
    journal = filled(tmp_path / "here.sqlite")
    export_journal(journal, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as packed:
        files = {name: packed.read(name) for name in packed.namelist()}

    def packed_with(**changed: bytes) -> Path:
        path = tmp_path / f"bad-{len(list(tmp_path.iterdir()))}.zip"
        with zipfile.ZipFile(path, "w") as out:
            for name, data in files.items():
                out.writestr(name, changed.get(name.partition(".")[0], data))
        return path

    (tmp_path / "text.zip").write_text("no zip")
    lines = files["checks.jsonl"].splitlines(keepends=True)
    target = Journal.open(tmp_path / "new.sqlite")
    for path, said in (
        (tmp_path / "text.zip", "is not a journal that was exported"),
        (packed_with(manifest=b'{"form": 99}'), "another version"),
        (packed_with(checks=b"".join(lines[:2]) + lines[2][:200]), "nothing was changed"),
        (packed_with(checks=lines[0].replace(b'"cook"', b'"chef"')), "nothing was changed"),
        (packed_with(cooks=b"[]\n"), "nothing was changed"),
        (tmp_path / "missing.zip", "There is no file"),
    ):
        with pytest.raises(CutcheckError, match=said):
            import_journal(target, path)
        assert target.entries() == ()
        assert target.cooks() == ()


def test_a_copy_is_whole_while_the_journal_is_written(tmp_path: Path) -> None:
    """Copies made during writing open, are sound, and hold a whole number of checks."""
    journal = filled(tmp_path / "here.sqlite", count=2)
    ada = journal.cook("#1")
    base = trays.tray(9)
    stop = threading.Event()

    def keep_on() -> None:
        number = 100
        while not stop.is_set():
            journal.keep(replace(base, photo=replace(base.photo, sha256=f"{number:064x}")), ada)
            number += 1

    writer = threading.Thread(target=keep_on)
    writer.start()
    try:
        copies = [copy_journal(journal, tmp_path / f"copy-{k}.sqlite") for k in range(5)]
    finally:
        stop.set()
        writer.join()
    for copy in copies:
        with sqlite3.connect(copy) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        opened = Journal.open(copy)
        assert all(len(opened.check(e.number).result.pieces) == 9 for e in opened.entries())
    with pytest.raises(CutcheckError, match="is there already"):
        copy_journal(journal, copies[0])


def test_moving_on_the_command_line(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Export, import into another journal, and copy, each with a line that says what was done."""
    filled(path)
    zipped, other, copy = tmp_path / "all.zip", tmp_path / "other.sqlite", tmp_path / "copy.sqlite"
    assert run(["journal", "export", str(zipped)]) == 0
    assert run(["journal", "--journal", str(other), "import", str(zipped)]) == 0
    assert run(["journal", "copy", str(copy)]) == 0
    said = capsys.readouterr().out
    assert "3 checks" in said
    assert len(Journal.open(other).entries()) == len(Journal.open(copy).entries()) == 3
    assert run(["journal", "export", str(tmp_path / "no" / "folder.zip")]) == 2
