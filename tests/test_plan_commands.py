"""The commands of preparing, as typed: output, JSON, exit status, and errors in plain words."""

from __future__ import annotations

import json
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from cutcheck.cli import run


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No settings of the machine's user enter."""
    monkeypatch.setenv("CUTCHECK_SETTINGS", str(tmp_path / "settings.toml"))


def test_a_need_in_words_is_planned(capsys: pytest.CaptureFixture[str]) -> None:
    """`cutcheck plan --need` prints what to buy and the order of work, and ends with 0."""
    assert run(["plan", "--need", "brunoise carrot 500 g"]) == 0
    out, err = capsys.readouterr()
    assert "1.27 kg" in out
    assert "Order of work" in out
    assert not err


def test_a_list_with_a_wrong_line_is_planned_without_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The wrong line is told with number and remedy on standard error, the rest planned; status 2."""
    path = tmp_path / "list.csv"
    path.write_text(
        "cut,produce,amount\nbrunoise,carot,1 kg\njulienne,leek,-2 g\nbrunoise,onion,1 lb\n", "utf-8"
    )
    assert run(["plan", str(path), "--unit", "oz"]) == 2
    out, err = capsys.readouterr()
    assert "17.8 oz" in out
    assert "Line 2: 'carot' is not a vegetable of the reference.\n  Did you mean carrot?" in err
    assert "Line 3: '-2 g': a weight must be above zero." in err


def test_json_holds_the_plan_and_the_problems(capsys: pytest.CaptureFixture[str]) -> None:
    """--json prints one object: items with steps in grams, problems with their line, and nothing else."""
    assert run(["plan", "--need", "peeled carrot 10 kg", "--need", "x 3", "--yields", "SR28", "--json"]) == 2
    data = json.loads(capsys.readouterr().out)
    assert data["items"][0]["steps"][0]["grams"] == pytest.approx(10_000 / 0.89)
    assert data["items"][0]["yield"]["source"] == "SR28"
    assert data["problems"][0]["line"] == 2


def test_a_pdf_is_written_beside(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--pdf writes the page and says where."""
    path = tmp_path / "plan.pdf"
    assert run(["plan", "--need", "brunoise carrot 500 g", "--pdf", str(path), "--heading", "Today"]) == 0
    assert path.read_bytes().startswith(b"%PDF")
    assert f"Written: {path}" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["plan"], "There is nothing to plan."),
        (["plan", "nowhere.csv"], "There is no file 'nowhere.csv'."),
        (["plan", "--need", "carrot 1 kg", "--pace", "brunoise"], "'brunoise' is not a pace."),
        (["plan", "--need", "carrot 1 kg", "--pace", "flurb=3"], "'flurb' is not a cut"),
        (["plan", "--need", "carrot 1 kg", "--unit", "stone"], "'stone'"),
        (["plan", "--need", "carrot 1 kg", "--standard", "none"], "is not a standard"),
        (["gestures", "flambieren"], "'flambieren' is not a gesture"),
        (["gestures", "--for", "unicorn"], "'unicorn' is not a vegetable"),
        (["produce", "unicorn"], "'unicorn' is not a vegetable"),
        (["station", "--out", "station.png"], "does not end in .svg"),
        (["station", "--out", "/nowhere/station.svg"], "can't be written"),
        (["safety", "fire"], "'fire'"),
    ],
)
def test_wrong_commands_say_what_is_wrong_and_what_to_do(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2, one line for what is wrong and one for what to do, nothing on standard output."""
    assert run(arguments) == 2
    out, err = capsys.readouterr()
    assert not out
    assert said in err
    assert len(err.strip().splitlines()) >= 2
    assert "Traceback" not in err


def test_pace_gives_a_time(capsys: pytest.CaptureFixture[str]) -> None:
    """The user's own pieces a minute turn into minutes."""
    assert run(["plan", "--need", "small dice potato 60 pieces", "--pace", "small-dice=30"]) == 0
    assert "potato, small dice: 2 min" in capsys.readouterr().out


def test_gestures_are_listed_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """All gestures, those of one vegetable, and one with sources and what they differ on."""
    assert run(["gestures"]) == 0
    listed = capsys.readouterr().out
    for word in ("éplucher", "peler", "écosser", "effiler", "équeuter", "monder"):
        assert word in listed
    assert run(["gestures", "--for", "tomato"]) == 0
    tomato = capsys.readouterr().out
    assert "monder" in tomato
    assert "écosser" not in tomato
    assert run(["gestures", "EFFILER"]) == 0
    effiler = capsys.readouterr().out
    assert "[GASTRO, published and read]" in effiler
    assert "They differ" in effiler


def test_the_station_is_told_and_drawn_for_either_hand(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Left to right raw, waste, finished; mirrored for a left-hander; the drawing is valid XML."""
    path = tmp_path / "station.svg"
    assert run(["station", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["left_to_right"] == ["raw", "waste", "finished"]
    assert run(["station", "--left-handed", "--json", "--out", str(path)]) == 0
    assert json.loads(capsys.readouterr().out)["left_to_right"] == ["finished", "waste", "raw"]
    assert ElementTree.parse(path).getroot().tag.endswith("svg")


def test_safety_tells_washing_and_cautions_with_their_sources(capsys: pytest.CaptureFixture[str]) -> None:
    """Vinegar for and against, the claw grip, and that local codes and the instructor come first."""
    assert run(["safety"]) == 0
    text = capsys.readouterr().out
    for words in (
        "Vinegar. Tests that speak against it",
        "claw grip",
        "PUNDIT",
        "not cut-proof",
        "instructor",
    ):
        assert words in text
    assert run(["safety", "washing", "--json"]) == 0
    assert set(json.loads(capsys.readouterr().out)) == {"washing", "defer"}


def test_produce_shows_every_source_with_its_standing(capsys: pytest.CaptureFixture[str]) -> None:
    """One vegetable: each yield, its source and how it is known; the allergen where there is one."""
    assert run(["produce", "céleri-rave"]) == 0
    text = capsys.readouterr().out
    assert "86 % kept (14 % refuse), SR28, published and read" in text
    assert "Allergen: celery" in text
    assert run(["produce", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)) >= 40


def test_looking_up_and_planning_import_nothing_heavy() -> None:
    """Plan and look-ups answer at once because neither numpy, OpenCV nor reportlab is brought in."""
    code = (
        "import sys; from cutcheck.cli import run\n"
        "for a in (['plan', '--need', 'brunoise carrot 1 kg'], ['gestures'], ['station'], ['safety'],\n"
        "          ['produce']):\n"
        "    assert run(a) == 0\n"
        "heavy = {'numpy', 'cv2', 'scipy', 'skimage', 'streamlit', 'reportlab', 'PIL'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
