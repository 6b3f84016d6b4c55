"""``cutcheck class`` from a folder and a roster to the files, as an instructor meets it."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest
from class_photos import OUTPUTS, start

from cutcheck.classroom.rubric import Rubric, rubric_text
from cutcheck.classroom.run_store import run_store
from cutcheck.classroom.scales import SchoolScale
from cutcheck.cli import run


def rows(path: Path) -> list[dict[str, str]]:
    """A CSV file as the standard library reads it."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def arguments(photos: Path, out: Path, *more: str) -> list[str]:
    """The command for the class in this folder."""
    roster = str(photos.parent / "roster.csv")
    return ["class", str(photos), "--roster", roster, "--cut", "medium-dice", "--out", str(out), *more]


def test_an_afternoon(class_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A run lists what is to settle; filled in by a spreadsheet and run again everything is marked."""
    assert run(arguments(class_folder, tmp_path)) == 3
    out, err = capsys.readouterr()
    assert "4 students, 7 photos" in out
    assert "2 marked" in out
    assert "failed: 'broken.jpg' (not-a-photo)" in out
    assert "'zz-copy-of-ada.jpg' is the same file as 'ada.jpg'" in out
    assert "1 student without a tray: Dot Example (4)" in out
    assert "Left alone, no photos: notes.txt." in err
    assert "Measuring" not in err  # no terminal, no bar
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([".cutcheck-run", *OUTPUTS])
    marks = rows(tmp_path / "marks.csv")
    assert [(row["number"], row["name"], row["photo"]) for row in marks] == [
        *(("1", "'=SUM(1;1)", "ada.jpg"), ("2", "Ben Example", "")),
        *(("3", "Cy Example", "cy.jpg"), ("4", "Dot Example", "")),
    ]
    assert 0 < float(marks[2]["low"]) <= float(marks[2]["mark"]) <= float(marks[2]["high"]) <= 100

    assert [row["photo"] for row in rows(tmp_path / "to-settle.csv")] == [
        "ben-again.jpg",
        "ben.jpg",
        "who.jpg",
    ]
    settled = "photo;number\nben.jpg;leave out\nben-again.jpg;2\nwho.jpg;4\n"
    (tmp_path / "to-settle.csv").write_bytes(settled.encode("cp1252"))
    assert run(arguments(class_folder, tmp_path)) == 3
    out, err = capsys.readouterr()
    assert "4 marked" in out
    assert "to settle" not in out
    assert "left out by hand: ben.jpg" in out
    assert "Measured before: 5 photos; to measure: 1." in err
    marks = rows(tmp_path / "marks.csv")
    assert [row["photo"] for row in marks] == ["ada.jpg", "ben-again.jpg", "cy.jpg", "who.jpg"]
    assert ["named by hand" in row["remarks"] for row in marks] == [False, True, False, True]

    kept = {name: (tmp_path / name).read_bytes() for name in OUTPUTS}
    assert run(arguments(class_folder, tmp_path)) == 3  # the list that it wrote says the same
    assert {name: (tmp_path / name).read_bytes() for name in OUTPUTS} == kept


def test_a_list_of_one_s_own_counts_first(
    class_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``--settle`` names a tray; for the same photo it counts before the list in the out folder."""
    photos = tmp_path / "photos"
    photos.mkdir()
    shutil.copy(class_folder / "who.jpg", photos)
    shutil.copy(class_folder.parent / "roster.csv", tmp_path)
    mine = tmp_path / "mine.csv"
    for number, name in ((4, "Dot Example"), (3, "Cy Example")):
        mine.write_text(f"photo,number\nwho.jpg,{number}\n")
        assert run(arguments(photos, tmp_path / "out", "--settle", str(mine))) == 0
        (row,) = [row for row in rows(tmp_path / "out" / "marks.csv") if row["photo"]]
        assert row["name"] == name
    mine.write_text("photo,number\nwhom.jpg,4\n")
    assert run(arguments(photos, tmp_path / "out", "--settle", str(mine))) == 2
    assert "line 2: there is no photo 'whom.jpg' in the folder" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"--roster": "none.csv"}, "There is no file 'none.csv'"),
        ({"--cut": "no-such-cut"}, "'no-such-cut' is not a cut"),
        ({"--standard": "no-such"}, "'no-such' is not a standard"),
        ({"--workers": "0"}, "--workers"),
        ({"--settle": "none.csv"}, "There is no file 'none.csv'"),
    ],
)
def test_wrong_commands_are_told_at_once(
    change: dict[str, str], words: str, class_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 2 with what is wrong and what to do; nothing is measured, no traceback."""
    more = [word for pair in change.items() for word in pair]
    assert run(arguments(class_folder, tmp_path / "out", *more)) == 2
    err = capsys.readouterr().err
    assert words in err
    assert "Traceback" not in err
    assert not list((tmp_path / "out").glob("*.csv"))


def test_two_runs_in_one_folder(class_folder: Path, tmp_path: Path) -> None:
    """The second of two runs at once is refused with status 2 and a clear word, and changes nothing."""
    with run_store(tmp_path):
        second = start(class_folder, tmp_path)
        _, said = second.communicate()
    assert second.returncode == 2
    assert "Another run is at work" in said
    assert [path.name for path in tmp_path.iterdir()] == [".cutcheck-run"]


def test_another_rubric_marks_anew_and_measures_nothing(
    class_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a school's scale and pass mark the marks are told in it; the measuring is the one from before."""
    photos = tmp_path / "photos"
    photos.mkdir()
    shutil.copy(class_folder / "cy.jpg", photos)
    shutil.copy(class_folder.parent / "roster.csv", tmp_path)
    assert run(arguments(photos, tmp_path / "out")) == 0
    usual = rows(tmp_path / "out" / "marks.csv")[2]
    rubric = tmp_path / "rubric.toml"
    rubric.write_text(rubric_text(Rubric(pass_mark=100.0, scale=SchoolScale("points", of=20.0, step=0.5))))
    capsys.readouterr()
    assert run(arguments(photos, tmp_path / "out", "--rubric", str(rubric))) == 0
    out, err = capsys.readouterr()
    assert "Measured before: 1 photo; to measure: 0." in err
    assert "1 marked: 0 passed, 1 not" in out
    school = rows(tmp_path / "out" / "marks.csv")[2]
    assert usual["remarks"].startswith("too few pieces: -14.0 (6 pieces found, 20 are asked for)")
    assert float(school["mark"]) == pytest.approx(float(usual["mark"]) + 14.0, abs=0.11)
    points = float(school["school's mark"].split()[0])
    assert points == pytest.approx(float(school["mark"]) / 5.0, abs=0.26)
    assert school["passed"] == "no"
