"""The command line: exit statuses, a plain word for everything that goes wrong, looking up, settings."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import cv2
import pypdfium2
import pytest

import cutcheck
from cutcheck.cli import run
from cutcheck.records import CutName
from cutcheck.serialise import from_json
from cutcheck.settings import load_settings


def error_of(out: str) -> dict[str, str]:
    """The error in what ``--json`` printed."""
    error: dict[str, str] = json.loads(out)["error"]
    return error


# --- settings, looking up, cards, standards -----------------------------------------------------------------


def test_settings_are_shown_and_changed(capsys: pytest.CaptureFixture[str]) -> None:
    """``cutcheck settings`` lists them, with a name and value changes one, and a wrong one is told."""
    assert run(["settings"]) == 0
    assert "thickness_mm" in capsys.readouterr().out
    assert run(["settings", "unit", "in"]) == 0
    assert load_settings().unit == "in"
    assert run(["settings", "colour"]) == 2
    assert "'colour' is not a setting" in capsys.readouterr().err


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


def test_the_names_on_cards_are_those_of_a_class_roster(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``--names`` takes the same list as ``cutcheck class``, whatever a school calls its columns."""
    roster, out = tmp_path / "klasse.csv", tmp_path / "cards.pdf"
    roster.write_bytes("Vorname;Nachname;Nr\nZoë;Beispiel;7\n".encode("cp1252"))
    assert run(["card", "--out", str(out), "--names", str(roster)]) == 0
    assert "read as Windows text" in capsys.readouterr().err
    pages = pypdfium2.PdfDocument(out)
    assert "Zoë Beispiel" in pages[1].get_textpage().get_text_range()
    roster.write_text("Name,Number\nAda Example,seven\n")
    assert run(["card", "--out", str(out), "--names", str(roster)]) == 2
    assert "line 2" in capsys.readouterr().err


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
    assert remedy.startswith("Report it")
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
