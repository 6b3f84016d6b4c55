"""Whether the tool itself is fair: who took which photo of what, the study, and what is said of it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import light_scene
import numpy as np
import pytest

from cutcheck.classroom import steady_table
from cutcheck.classroom.steady import Quantity, Steady, Taken, study_of
from cutcheck.classroom.steady_plan import ONE, shots
from cutcheck.cli import run
from cutcheck.errors import CutcheckError
from cutcheck.records import CutName, PhotoInfo, Result, Scale, Score, SideScore


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two invented trays of six dice, two photos of each by Ada and by Ben; one more that is no photo."""
    top = tmp_path_factory.mktemp("steady")
    view = {"tilt_deg": 20.0, "above_mm": 270.0, "lean_deg": -90.0, "roll_deg": 0.0, "card_at": (0.27, 0.5)}
    for tray, mm in ((3, 11.0), (4, 13.5)):
        dice = ({"shape": "box", "mm": (mm, mm, mm), "count": 6, "sd": 0.02, "gap_mm": 12.0},)
        _, truth = light_scene.scene(40 + tray, size=(1600, 1200), pieces=dice, number=tray, **view)
        for who, seed in (("ada", 100), ("ben", 200)):
            (top / who).mkdir(exist_ok=True)
            for k in range(2):
                photo, _ = light_scene.same_tray_again(truth, seed + 10 * tray + k, tilt_deg=12.0 + 5 * k)
                light_scene.save(top / who / f"{who}-{tray}-{k}.jpg", photo, truth)
    (top / "ben" / "ben-broken.jpg").write_text("no photo")
    return top


def test_a_folder_is_measured_and_studied(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Trays by the card's number, people by their folder; the broken photo is named and the rest goes on."""
    assert run(["steady", str(folder), "--cut", "medium-dice", "--json"]) == 3
    found = json.loads(capsys.readouterr().out)
    assert found["trays"] == ["3", "4"]
    assert found["people"] == ["ada", "ben"]
    assert len(found["photos"]) == 8
    assert {(one["photo"][:5], one["tray"]) for one in found["photos"]} == {
        (f"{who}/{who[0]}", tray) for who in ("ada", "ben") for tray in "34"
    }
    assert [one["photo"] for one in found["failed"]] == ["ben/ben-broken.jpg"]
    sides = {one["name"]: one for one in found["quantities"]}
    length = next(one for name, one in sides.items() if "length" in name or "side" in name)
    trays = length["study"]["part"]["sd"]
    truths = [json.loads((folder / "ada" / f"ada-{n}-0.json").read_text())["pieces"] for n in (3, 4)]
    means = [np.mean([max(p["length_mm"], p["width_mm"]) for p in pieces]) for pieces in truths]
    # as a standard deviation of two, a difference is divided by the root of 2
    assert trays == pytest.approx((means[1] - means[0]) / 2**0.5, abs=0.25)
    assert length["study"]["repeatability"]["sd"] < 0.3


def test_the_command_in_words(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Photos of one person: what two of a tray differ by; a photo saved twice counts once."""
    photos = [str(path) for path in sorted((folder / "ada").glob("*.jpg"))]
    shutil.copy(photos[0], tmp_path / "ada-copy.jpg")
    given = [*photos, str(tmp_path / "ada-copy.jpg"), "--by", "one"]
    assert run(["steady", *given, "--cut", "medium-dice"]) == 3
    text = capsys.readouterr().out
    assert "4 photos of 2 trays" in text
    assert "Two photos of one tray differ by " in text
    assert "is the same photo as" in text
    assert "is a guess with 2 trays" in text
    assert "Traceback" not in text


def test_who_took_it(tmp_path: Path) -> None:
    """By folder where there are several, by the name's first word if asked, else one person."""
    for name in ("a/ada-1.jpg", "b/Ben 2.jpg"):
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).write_bytes(b"")
    assert [shot.by for shot in shots([tmp_path])] == ["a", "b"]
    assert [shot.by for shot in shots([tmp_path], "name")] == ["ada", "ben"]
    assert [shot.by for shot in shots([tmp_path / "a"])] == [ONE]
    assert [shot.photo for shot in shots([tmp_path, tmp_path / "a" / "ada-1.jpg"])] == [
        "a/ada-1.jpg",
        "b/Ben 2.jpg",
    ]
    (tmp_path / "a" / "7.jpg").write_bytes(b"")
    with pytest.raises(CutcheckError, match="does not begin with a word"):
        shots([tmp_path], "name")


def test_a_plan_says_tray_and_person(tmp_path: Path) -> None:
    """A plan's rows are found by name or folder and name; what it leaves out is left out."""
    for name in ("x/1.jpg", "y/1.jpg", "y/2.jpg"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    plan = tmp_path / "plan.csv"
    plan.write_text("Photo;Tray;By\nx/1.jpg;left;Ada\n2.jpg;;\n")
    found = shots([tmp_path], plan=plan)
    assert [(shot.photo, shot.tray, shot.by) for shot in found] == [
        ("x/1.jpg", "left", "Ada"),
        ("y/2.jpg", None, ONE),
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("photo,tray\n1.jpg,a\n", "write their folder"),
        ("photo,tray\n9.jpg,a\n", "no photo '9.jpg'"),
        ("photo,tray\n2.jpg,a\n2.jpg,b\n", "in the plan already"),
        ("this,that\n2.jpg,a\n", "plan"),
    ],
)
def test_a_wrong_plan_is_told(tmp_path: Path, text: str, told: str) -> None:
    """A plan that is not plain is an error with the reason, before anything is measured."""
    for name in ("x/1.jpg", "y/1.jpg", "y/2.jpg"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    plan = tmp_path / "plan.csv"
    plan.write_text(text)
    with pytest.raises(CutcheckError, match=told):
        shots([tmp_path], plan=plan)


def test_no_photos_are_told(tmp_path: Path) -> None:
    """An empty folder and a name that is none: told, with what to do."""
    with pytest.raises(CutcheckError, match="no photo"):
        shots([tmp_path])
    with pytest.raises(CutcheckError, match="There is no file"):
        shots([tmp_path / "none"])


def taken(tray: str, by: str, mark: float, mean: float, index: int = 0) -> Taken:
    """A photo as if measured."""
    side = SideScore("length", (12.0, 14.0), mean, 0.2, 10, label="length")
    score = Score(mark, mark - 2, mark + 2, 0.8, None, None, 10, (side,))
    scale = Scale("card", (1,), 0.1, 10.0, 0.1, 3000.0, "exif")
    photo = PhotoInfo(f"{by}-{tray}-{index}.jpg", f"{by}{tray}{index}", 4000, 3000)
    cut = CutName("medium-dice", "inch")
    return Taken(photo.file, tray, by, Result(photo, scale, (), cut=cut, score=score))


def invented(trays: int, people: int, repeats: int, seed: int = 3, bias: float = 3.0) -> Steady:
    """A study of invented marks: trays spread by 12, people by a step of ``bias``, photos by 1.5."""
    random = np.random.default_rng(seed)
    base = 55 + 12 * random.normal(size=trays)
    rows = [
        taken(f"t{t}", f"p{p}", base[t] + bias * p + 1.5 * random.normal(), 13 + 0.05 * random.normal(), k)
        for t in range(trays)
        for p in range(people)
        for k in range(repeats)
    ]
    return study_of(rows)


def test_the_limit_holds_for_pairs_of_photos() -> None:
    """Of all pairs of photos of one tray by one person about 95 % differ by less than the stated limit."""
    found = invented(40, 2, 3)
    limit = found.quantities[0].one_person
    assert limit == pytest.approx(1.96 * 2**0.5 * 1.5, rel=0.15)
    pairs = [
        abs(a.result.score.mark - b.result.score.mark)  # type: ignore[union-attr]
        for i, a in enumerate(found.taken)
        for b in found.taken[i + 1 :]
        if (a.tray, a.by) == (b.tray, b.by)
    ]
    assert np.mean(np.array(pairs) < limit) == pytest.approx(0.95, abs=0.035)


def test_words_of_a_study() -> None:
    """People who read differently, trays, steps and the share of what is allowed are all told."""
    text = steady_table.whole(invented(8, 3, 2))
    assert "Medium dice (inch standard): 48 photos of 8 trays by 3 people" in text
    for words in (
        "Two photos of one tray by one person differ by up to",
        "Two photos of one tray by two people differ by up to",
        "are the trays'",
        "of the 2 mm allowed",
        "photo to photo",
        "person to person",
        "tray to tray",
    ):
        assert words in text


def test_one_person_only() -> None:
    """With one person nothing is said of people."""
    found = invented(6, 1, 3)
    text = "\n".join(steady_table.sayings(found.quantities[0]))
    assert "person" not in text
    assert found.quantities[0].two_people is None


def test_too_few_says_what_is_needed() -> None:
    """One tray, or one photo of each, gives no study but what to take."""
    one = study_of([taken("a", "x", 50, 13.0), taken("a", "x", 52, 13.0, 1)])
    assert one.quantities[0].study is None
    text = steady_table.whole(one)
    assert "Too few photos to tell: two different trays" in text
    assert "two photos or more of each" in text
    single = study_of([taken("a", "x", 50, 13.0), taken("b", "x", 60, 13.2)])
    assert "two photos or more of a tray" in steady_table.whole(single)
    json.dumps(steady_table.to_dict(single), allow_nan=False)


def test_two_people_one_photo_each_is_studied_pooled() -> None:
    """Each took every tray once: people can be told from photos, single trays' quirks can't."""
    found = invented(6, 2, 1).quantities[0].study
    assert found is not None
    assert found.pooled
    assert found.reproducibility is not None


def test_uneven_numbers_are_allowed_for_and_said() -> None:
    """A photo that failed leaves a study that says it is uneven, with no bounds it can't give."""
    whole = invented(6, 2, 2)
    found = study_of(whole.taken[1:])
    study = found.quantities[0].study
    assert study is not None
    assert not study.balanced
    assert any("Not every person" in note for note in found.notes)
    assert study.gauge.low is None
    json.dumps(steady_table.to_dict(found), allow_nan=False)


def test_full_marks_are_pointed_out() -> None:
    """Marks at the top hide differences, and that is said."""
    rows = [taken(tray, "x", 100.0, 13.0, k) for tray in "abc" for k in range(2)]
    found = study_of(rows)
    assert any("The full mark: 6 of 6" in note for note in found.notes)
    quantity: Quantity = found.quantities[0]
    assert "less than 1 mark" in "\n".join(steady_table.sayings(quantity))
    json.dumps(steady_table.to_dict(found), allow_nan=False)


def test_nothing_measured_is_an_error() -> None:
    """Where no photo gave a mark, that is said with one of the reasons."""
    with pytest.raises(CutcheckError, match="it is blurred"):
        study_of([], [("a.jpg", "it is blurred")])
