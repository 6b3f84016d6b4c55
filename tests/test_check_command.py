"""``cutcheck check``: what it prints of one photo and of several, and the print check that it keeps."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import cutcheck
from cutcheck.cli import run
from cutcheck.serialise import from_json, to_json
from cutcheck.settings import load_settings

# --- one photo ----------------------------------------------------------------------------------------------


def test_a_photo_gives_a_mark_a_table_and_warnings(
    tray_photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The table names each side with target, mean, spread and share; the mark has its interval."""
    assert run(["check", str(tray_photo), "--cut", "medium-dice"]) == 0
    out = capsys.readouterr().out
    assert "Medium dice (inch standard)" in out
    assert "Mark " in out
    assert "of 100 (" in out
    for word in ("length", "width", "target (mm)", "mean", "spread", "on size", "scale from the card 3"):
        assert word in out
    assert "ruler" in out  # the print was not checked
    assert max(map(len, out.splitlines())) <= 110


def test_json_is_schema_1_and_the_library_gives_the_same(
    tray_photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``--json`` prints one line, the result that ``cutcheck.check`` returns."""
    assert run(["check", str(tray_photo), "--cut", "medium-dice", "--json"]) == 0
    line = capsys.readouterr().out
    assert line.count("\n") == 1
    result = from_json(line)
    truth = json.loads(tray_photo.with_suffix(".json").read_text())
    assert len(result.pieces) == len(truth["pieces"])
    assert result.scale.numbers == (3,)
    assert result.cut is not None
    assert (result.cut.name, result.cut.standard) == ("medium-dice", "inch")
    assert to_json(cutcheck.check(str(tray_photo), cut="medium-dice")) == line.strip()


def test_standard_input_gives_the_same_sizes(
    tray_photo: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """``-`` reads the photo from standard input."""
    run(["check", str(tray_photo), "--json"])
    named = from_json(capsys.readouterr().out)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(tray_photo.read_bytes())))
    assert run(["check", "-", "--json"]) == 0
    piped = from_json(capsys.readouterr().out)
    assert piped.photo.file == "standard input"
    assert [p.length for p in piped.pieces] == [p.length for p in named.pieces]


def test_the_cut_never_moves_a_measurement(tray_photo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Told another cut, or none, the sides are the same to the last digit."""
    sides = []
    for cut in (["--cut", "medium-dice"], ["--cut", "large-dice"], []):
        run(["check", str(tray_photo), "--json", *cut])
        pieces = json.loads(capsys.readouterr().out)["pieces"]
        sides.append([(p["length"], p["width"], p["height"]) for p in pieces])
    assert sides[0] == sides[1] == sides[2]


def test_without_a_cut_it_measures_and_says_what_it_looks_like(
    tray_photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No cut named: no mark, the sides' means, and the likeliest cut."""
    assert run(["check", str(tray_photo)]) == 0
    out = capsys.readouterr().out
    assert "No mark: no cut was named" in out
    assert "smallest" in out


def test_a_piece_is_explained(tray_photo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``--explain N`` prints the sides of piece N and a budget whose lines make up the give or take."""
    assert run(["check", str(tray_photo), "--explain", "2"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Piece 2: ")
    assert "Where the give or take of the length comes from" in out
    block = out.split("of the length comes from, mm:\n")[1].split("\n\n")[0].splitlines()
    figures = [float(line.split()[-1]) for line in block]
    *parts, together, twice = figures
    assert together == pytest.approx(float(np.hypot.reduce(parts)), abs=0.002)
    assert twice == pytest.approx(2 * together, abs=0.002)


def test_an_unknown_piece_is_told(tray_photo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A number that no piece has is a wrong command, and the numbers that there are are named."""
    assert run(["check", str(tray_photo), "--explain", "99", "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["error"]["message"] == "There is no piece 99 in this photo."


def test_inches_are_only_a_way_of_showing(tray_photo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``--unit in`` shows 12.7 mm dice as half an inch."""
    assert run(["check", str(tray_photo), "--cut", "medium-dice", "--unit", "in"]) == 0
    out = capsys.readouterr().out
    assert "target (in)" in out
    row = next(line for line in out.splitlines() if line.split()[:1] == ["length"])
    assert float(row.split()[4]) == pytest.approx(0.5, abs=0.03)


def test_advice_speaks_in_the_unit_that_is_shown(
    tray_photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Told that half-inch dice are meant to be 3/4 in, the advice names inches, or mm, as asked."""
    for unit, other in (("in", " mm"), ("mm", "/4 in")):
        run(["check", str(tray_photo), "--cut", "large-dice", "--unit", unit])
        advice = capsys.readouterr().out.split("What to do\n")[1].split("\n\n")[0]
        assert f" {unit}" in advice
        assert "too small" in advice
        assert other not in advice


def test_the_marked_picture_is_written(tray_photo: Path, tmp_path: Path) -> None:
    """``--picture`` writes a file that another library reads, in the format of its ending."""
    out = tmp_path / "marked.png"
    assert run(["check", str(tray_photo), "--cut", "medium-dice", "--picture", str(out)]) == 0
    with Image.open(out) as image:
        assert image.format == "PNG"
        assert image.width == 1600
        assert image.height > 1200


@pytest.mark.parametrize("name", ["marked.txt", "marked"])
def test_a_picture_of_no_kind_is_told_before_measuring(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another ending than a picture's is a wrong command; the photo need not even be there."""
    assert run(["check", "nowhere.jpg", "--picture", str(tmp_path / name)]) == 2
    assert "can't be written" in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--picture", "--pdf"])
def test_the_photo_is_never_written_over(
    option: str, tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who names the photo itself, or a link to it, is told so before it is measured, and has it still."""
    photo, link = tmp_path / "tray.jpg", tmp_path / "link.jpg"
    photo.write_bytes(tray_photo.read_bytes())
    link.symlink_to(photo)
    for named in (photo, link):
        assert run(["check", str(photo), option, str(named)]) == 2
        assert "which would be lost" in capsys.readouterr().err
    assert photo.read_bytes() == tray_photo.read_bytes()


@pytest.mark.parametrize("option", ["--picture", "--pdf"])
def test_two_photos_of_one_name_do_not_write_over_each_other(
    option: str, tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Photos of one name in two folders, which would share a file, are told before they are measured."""
    out = tmp_path / "out"
    photos = [tmp_path / folder / "tray.jpg" for folder in ("monday", "tuesday")]
    for folder in (out, *(photo.parent for photo in photos)):
        folder.mkdir()
    for photo in photos:
        photo.write_bytes(tray_photo.read_bytes())
    assert run(["check", *map(str, photos), option, str(out)]) == 2
    said = capsys.readouterr().err
    assert str(photos[0]) in said
    assert str(photos[1]) in said
    assert not list(out.iterdir())


# --- several photos -----------------------------------------------------------------------------------------


def test_several_photos_give_a_row_each_and_failures_are_told(
    tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One photo that fails does not stop the others; the status is then 3."""
    broken = tmp_path / "broken.jpg"
    broken.write_text("not a photo")
    second = tmp_path / "second.jpg"
    second.write_bytes(tray_photo.read_bytes())
    assert run(["check", str(tray_photo), str(broken), str(second), "--cut", "medium-dice"]) == 3
    out = capsys.readouterr().out
    rows = [line for line in out.splitlines() if "medium-dice" in line]
    assert len(rows) == 2
    assert f"{broken}: '" in out


def test_several_photos_as_json_lines(
    tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """JSON Lines: one object a photo in order, the failed one with its file and its error."""
    missing = tmp_path / "missing.jpg"
    assert run(["check", str(missing), str(tray_photo), "--json"]) == 3
    first, second = map(json.loads, capsys.readouterr().out.splitlines())
    assert first["photo"]["file"] == str(missing)
    assert first["error"]["code"] == "no-file"
    assert second["schema"] == 1


def test_pictures_of_several_photos_go_to_a_folder(
    tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With several photos ``--picture`` names a folder; a file's name is told to be wrong."""
    two = [str(tray_photo), str(tray_photo)]
    assert run(["check", *two, "--picture", str(tmp_path / "one.png")]) == 2
    assert "is not a folder" in capsys.readouterr().err
    folder = tmp_path / "marked"
    folder.mkdir()
    assert run(["check", *two, "--picture", str(folder)]) == 0
    assert [path.name for path in folder.iterdir()] == ["tray-marked.jpg"]


# --- the print check ----------------------------------------------------------------------------------------


def test_a_print_check_scales_every_side_and_is_kept(
    tray_photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A print 2 % too small makes the sides 2 % smaller in the middle, then and until it is forgotten."""

    def middle_length(*options: str) -> float:
        assert run(["check", str(tray_photo), "--json", *options]) == 0
        pieces = json.loads(capsys.readouterr().out)["pieces"]
        return float(np.median([piece["length"]["mm"] for piece in pieces]))

    as_drawn = middle_length()
    printed = f"{198.0 * 0.98:.2f}x{214.0 * 0.98:.2f}"
    told = middle_length("--printed", printed)
    assert told / as_drawn == pytest.approx(0.98, abs=0.003)
    assert load_settings().printed == printed
    assert middle_length() == pytest.approx(told)
    assert middle_length("--printed", "forget") == pytest.approx(as_drawn)
    assert load_settings().printed is None
