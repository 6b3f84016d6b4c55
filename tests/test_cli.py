"""The command line: what it prints, its exit statuses, and a plain word for everything that goes wrong."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import cutcheck
from cutcheck.cli import run
from cutcheck.records import CutName
from cutcheck.serialise import from_json, to_json
from cutcheck.settings import load_settings


def error_of(out: str) -> dict[str, str]:
    """The error in what ``--json`` printed."""
    error: dict[str, str] = json.loads(out)["error"]
    return error


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
    assert error_of(capsys.readouterr().out)["message"] == "There is no piece 99 in this photo."


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


# --- the print check and the settings -----------------------------------------------------------------------


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


def test_settings_are_shown_and_changed(capsys: pytest.CaptureFixture[str]) -> None:
    """``cutcheck settings`` lists them, with a name and value changes one, and a wrong one is told."""
    assert run(["settings"]) == 0
    assert "thickness_mm" in capsys.readouterr().out
    assert run(["settings", "unit", "in"]) == 0
    assert load_settings().unit == "in"
    assert run(["settings", "colour"]) == 2
    assert "'colour' is not a setting" in capsys.readouterr().err


# --- looking up, cards, standards ---------------------------------------------------------------------------


def test_cuts_are_listed_and_one_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """The list names the cuts; one cut shows mm, inches and where each figure comes from."""
    assert run(["cuts"]) == 0
    assert "julienne" in capsys.readouterr().out
    assert run(["cuts", "Bâtonnet"]) == 0
    out = capsys.readouterr().out
    assert "1/4 in" in out
    assert "class " in out
    assert "house rule" in out


def test_cuts_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """``--json`` holds the same, for one cut and for all."""
    assert run(["cuts", "--json"]) == 0
    assert {"brunoise", "julienne"} <= {cut["name"] for cut in json.loads(capsys.readouterr().out)}
    assert run(["cuts", "julienne", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["french"] == "Julienne"


def test_cuts_of_like_size_are_found(capsys: pytest.CaptureFixture[str]) -> None:
    """Half-inch cubes are medium dice (12.7 mm by ProStart's and other tables)."""
    assert run(["cuts", "--like", "1/2x1/2x1/2in", "--json"]) == 0
    first = json.loads(capsys.readouterr().out)[0]
    assert first["name"] == "medium-dice"
    assert first["fits"]
    assert first["off_mm"] == 0
    assert run(["cuts", "--like", "3x3x50"]) == 0
    assert "allumette" in (table := capsys.readouterr().out)
    assert "fits" in table
    assert run(["cuts", "--like", "4x4x30"]) == 0
    assert "No cut has this size. The nearest:" in (table := capsys.readouterr().out)
    assert "off by" in table
    assert run(["cuts", "--like", "a lot"]) == 2


def test_cards_are_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``cutcheck card`` writes a PDF and says to check it with a ruler."""
    out = tmp_path / "cards.pdf"
    assert run(["card", "--out", str(out), "--number", "1-3", "--mat", "a4"]) == 0
    assert out.read_bytes().startswith(b"%PDF")
    assert "ruler" in capsys.readouterr().out


def test_a_standard_of_ones_own(tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A new standard carries its file's name, can be used, and an old file is never overwritten."""
    file = tmp_path / "house.toml"
    assert run(["standard", "new", str(file), "--from", "inch"]) == 0
    assert run(["standard", "new", str(file)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert run(["check", str(tray_photo), "--cut", "medium-dice", "--standard", str(file), "--json"]) == 0
    assert from_json(capsys.readouterr().out).cut == CutName("medium-dice", "house")
    assert run(["cuts", "medium-dice", "--standard", str(file)]) == 0
    assert "Sizes by the house standard" in capsys.readouterr().out


def test_a_new_standard_offers_the_published_tolerances(tmp_path: Path) -> None:
    """The purchase specification's 1/4 +- 1/8 in for diced onion stands in the file, to be taken or left."""
    file = tmp_path / "school.toml"
    assert run(["standard", "new", str(file), "--from", "metric"]) == 0
    text = file.read_text("utf-8")
    assert 'name = "school"' in text
    assert "1/4 \N{PLUS-MINUS SIGN} 1/8 in" in text


@pytest.mark.parametrize("cut", [[], ["--cut", "medium-dice"]])
def test_a_broken_standard_is_told_with_line_and_field(
    cut: list[str], tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a cut named or not, the error has the file, the line and the field, and nothing is measured."""
    file = tmp_path / "school.toml"
    assert run(["standard", "new", str(file)]) == 0
    lines = file.read_text("utf-8").splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("edge ="))
    lines[at] = 'edge = "thick"'
    file.write_text("\n".join(lines), "utf-8")
    capsys.readouterr()
    assert run(["check", str(tray_photo), "--standard", str(file), *cut]) == 2
    error = capsys.readouterr().err
    assert f"line {at + 1}" in error
    assert "sizes.brunoise.edge" in error


def test_the_suggestion_is_of_the_standard_that_is_named(
    tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a cut, 12.7 mm dice are medium dice in inches, and nothing in a standard of brunoise alone."""
    own = tmp_path / "own.toml"
    own.write_text(
        'name = "own"\n[tolerance]\nlength_percent = 5\nbands = [{ plus_minus = 0.5 }]\n'
        "[sizes.brunoise]\nedge = 3\n",
        "utf-8",
    )
    assert run(["check", str(tray_photo), "--standard", "inch", "--json"]) == 0
    inch = from_json(capsys.readouterr().out).suggested
    assert inch is not None
    assert inch.name == "medium-dice"
    assert run(["check", str(tray_photo), "--standard", str(own), "--json"]) == 0
    assert from_json(capsys.readouterr().out).suggested is None
    assert cutcheck.check(str(tray_photo), standard=own).suggested is None


# --- what goes wrong ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "code", "status"),
    [
        (["check", "nowhere.jpg"], "no-file", 2),
        (["check", "{tray}", "--cut", "small-dcie"], "unknown-cut", 2),
        (["check", "{tray}", "--cut", "brunoise", "--standard", "martian"], "unknown-standard", 2),
        (["check", "{tray}", "--cut", "small-dice", "--standard", "metric"], "unknown-cut", 2),
        (["check", "{tray}", "--printed", "1x2"], "bad-option", 2),
        (["check", "{tray}", "--thickness", "-3"], "bad-option", 2),
        (["check", "{tray}", "--unit", "ell"], "bad-option", 2),
        (["check", "{tray}", "--colour"], "bad-option", 2),
        (["check"], "bad-option", 2),
        (["cuts", "nothing-like-it"], "unknown-cut", 2),
        (["frobnicate"], "bad-option", 2),
        (["check", "{folder}"], "not-a-photo", 3),
        (["check", "{text}"], "not-a-photo", 3),
    ],
)
def test_what_is_wrong_is_told_with_its_code(
    arguments: list[str], code: str, status: int, tray_photo: Path, tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Each error has its status and code with ``--json``, and without it two plain lines on stderr."""
    text = tmp_path / "text.jpg"
    text.write_text("Dear cook, this is not a photo.")
    filled = [part.format(tray=tray_photo, folder=tmp_path, text=text) for part in arguments]
    assert run([*filled, "--json"]) == status
    error = error_of(capsys.readouterr().out)
    if filled[0] != "frobnicate":  # there, --json belongs to no command
        assert error["code"] == code
    assert run(filled) == status
    captured = capsys.readouterr()
    assert captured.out == ""
    problem, remedy = captured.err.strip().splitlines()
    assert problem.endswith((".", "?", ")"))
    assert len(remedy) > 10
    assert "Traceback" not in captured.err


def test_a_fault_of_its_own_is_one_sentence(
    tray_photo: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever breaks inside, the user reads a sentence and what to do, and no traceback."""

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a wheel came off")

    monkeypatch.setattr("cutcheck.pipeline.measure_photo", broken)
    assert run(["check", str(tray_photo)]) == 1
    problem, remedy = capsys.readouterr().err.strip().splitlines()
    assert "a wheel came off" in problem
    assert "report" in remedy
    assert run(["check", str(tray_photo), "--json"]) == 1
    assert error_of(capsys.readouterr().out)["code"] == "internal"


def test_ctrl_c_stops_without_a_word_too_many(
    tray_photo: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C ends the command with the shell's status 130 and one word."""

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("cutcheck.pipeline.measure_photo", interrupted)
    assert run(["check", str(tray_photo)]) == 130
    assert capsys.readouterr().err.strip() == "Stopped."


# --- as a program -------------------------------------------------------------------------------------------


def program(*arguments: str, **options: object) -> subprocess.CompletedProcess[str]:
    """``python -m cutcheck`` in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "cutcheck", *arguments], capture_output=True, text=True, timeout=120, **options
    )  # type: ignore[call-overload, no-any-return]


def test_help_needs_none_of_the_heavy_libraries() -> None:
    """``cutcheck --help`` imports no OpenCV, NumPy, SciPy or Streamlit: it answers at once."""
    code = (
        "import sys; from cutcheck.cli import run; status = run(['--help']);"
        "heavy = {'cv2', 'numpy', 'scipy', 'skimage', 'streamlit', 'reportlab', 'PIL'} & set(sys.modules);"
        "sys.exit(f'{status} {heavy}' if heavy or status else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert "check" in done.stdout


def test_importing_the_package_is_light() -> None:
    """``import cutcheck`` brings no heavy library; the first use of ``check`` does."""
    code = (
        "import sys, cutcheck; assert not {'cv2', 'numpy', 'scipy'} & set(sys.modules);"
        "cutcheck.check; assert 'cv2' in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr


def test_output_may_be_cut_short() -> None:
    """A reader that closes early (``| head``) is no error."""
    command = f"{sys.executable} -m cutcheck cuts --json | head -c 10; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, timeout=60)
    assert done.stderr == ""
    assert done.stdout.strip().endswith("0")


def test_ctrl_c_in_the_middle_of_many_photos(tray_photo: Path) -> None:
    """A real interrupt while photos are measured ends the program with 130 and no traceback."""
    photos = [str(tray_photo)] * 60
    process = subprocess.Popen(
        [sys.executable, "-m", "cutcheck", "check", *photos, "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
        # Where the tests run in the background, an interrupt would be ignored from the start.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(0.2)
    process.send_signal(2)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in err


def test_the_version_is_told() -> None:
    """``cutcheck --version`` names the program and its version."""
    assert program("--version").stdout.strip() == f"cutcheck, version {cutcheck.__version__}"


def test_pixels_are_read_by_opencv_as_written(tray_photo: Path) -> None:
    """The photo that these tests use is a plain JPEG of the size that its truth states."""
    truth = json.loads(tray_photo.with_suffix(".json").read_text())
    image = cv2.imread(str(tray_photo))
    assert image.shape == (truth["height_px"], truth["width_px"], 3)
