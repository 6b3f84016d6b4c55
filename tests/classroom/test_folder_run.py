"""A folder at once: each photo once, whatever happens to the run or its processes."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from class_photos import BROKEN, COPY, PHOTOS, outputs, start

from cutcheck import words
from cutcheck.classroom import workers
from cutcheck.classroom.asked import Asked
from cutcheck.classroom.folder_run import Start, Tray, photos_in, run_folder
from cutcheck.classroom.run_store import run_store, write_whole
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import check
from cutcheck.settings import Settings

MANY = 40  # photos in a run that is stopped

ASKED = Asked("medium-dice")


def run(
    folder: Path, out: Path, asked: Asked = ASKED, **more: Any
) -> tuple[dict[str, Tray], Start, list[str]]:
    """All trays by photo, what the run began with, and the photos that it measured."""
    starts: list[Start] = []
    done: list[str] = []
    with run_store(out) as store:
        trays = run_folder(folder, store, asked, on_start=starts.append, on_done=done.append, **more)
    return {tray.photo: tray for tray in trays}, starts[0], done


@pytest.fixture(scope="module")
def first_run(class_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Tray]]:
    """The out folder and the trays of one run over the class."""
    out = tmp_path_factory.mktemp("out")
    trays, began, done = run(class_folder, out, workers=2)
    assert (began.to_do, began.before, began.other_files) == (len(PHOTOS) + 1, 0, ("notes.txt",))
    assert sorted(done) == sorted([*PHOTOS, BROKEN])
    return out, trays


def test_each_photo_is_measured_as_alone(first_run: tuple[Path, dict[str, Tray]], class_folder: Path) -> None:
    """Measured in another process, a photo has the mark and the sides that ``check`` gives."""
    tray = first_run[1]["cy.jpg"]
    alone = check(class_folder / "cy.jpg", "medium-dice", settings=Settings())
    assert tray.result is not None
    assert tray.result.score is not None
    assert alone.score is not None
    assert tray.result.scale.numbers == (3,)
    assert tray.result.score.mark == pytest.approx(alone.score.mark, abs=0.01)
    assert [p.length.mm for p in tray.result.pieces] == pytest.approx(
        [p.length.mm for p in alone.pieces], abs=1e-3
    )


def test_a_photo_that_fails_is_named_and_the_rest_goes_on(first_run: tuple[Path, dict[str, Tray]]) -> None:
    """The broken one has its code, what is wrong and what to do; all others have results."""
    trays = first_run[1]
    assert list(trays) == sorted([*PHOTOS, BROKEN, COPY])
    error = trays[BROKEN].error
    assert error is not None
    assert error["code"] == "not-a-photo"
    assert BROKEN in error["message"]
    assert error["remedy"]
    assert all(trays[name].result is not None for name in PHOTOS)


def test_the_same_file_is_measured_once(first_run: tuple[Path, dict[str, Tray]]) -> None:
    """A second name of the same bytes only points to the first."""
    assert first_run[1][COPY] == Tray(COPY, first_run[1]["ada.jpg"].sha256, copy_of="ada.jpg")


def test_the_next_run_measures_only_what_is_missing(
    first_run: tuple[Path, dict[str, Tray]], class_folder: Path
) -> None:
    """With one result gone, that photo and the one that failed are measured; the trays are the same."""
    out, trays = first_run
    (out / ".cutcheck-run" / f"{trays['cy.jpg'].sha256}.json").unlink()
    again, began, done = run(class_folder, out)
    assert sorted(done) == [BROKEN, "cy.jpg"]
    assert (began.to_do, began.before, began.again) == (2, len(PHOTOS) - 1, 0)
    assert {name: tray.result for name, tray in again.items()} == {n: t.result for n, t in trays.items()}


def test_half_a_file_in_the_store_is_measured_again(
    first_run: tuple[Path, dict[str, Tray]], class_folder: Path
) -> None:
    """What can't be read as a result counts as not there."""
    out, trays = first_run
    kept = out / ".cutcheck-run" / f"{trays['cy.jpg'].sha256}.json"
    whole = kept.read_bytes()
    kept.write_bytes(whole[: len(whole) // 2])
    _, _, done = run(class_folder, out)
    assert "cy.jpg" in done
    assert json.loads(kept.read_bytes()) == json.loads(whole)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Asked("large-dice"), ("the cut",)),
        (Asked("medium-dice", settings=Settings(printed="93.1x66.0")), ("the print check",)),
        (Asked("medium-dice", standard="inch", produce="carrot"), ("the produce", "the standard")),
    ],
)
def test_a_changed_setting_measures_again_and_says_so(
    asked: Asked, words: tuple[str, ...], tmp_path: Path, class_folder: Path
) -> None:
    """What was measured with other settings is not used, and the start tells which setting changed."""
    photos = tmp_path / "photos"
    photos.mkdir()
    (photos / "cy.jpg").write_bytes((class_folder / "cy.jpg").read_bytes())
    run(photos, tmp_path / "out")
    _, began, done = run(photos, tmp_path / "out", asked)
    assert (began.changed, began.again, done) == (words, 1, ["cy.jpg"])


def test_a_file_standard_counts_by_its_content(tmp_path: Path) -> None:
    """A standard of one's own that was edited is another one."""
    file = tmp_path / "house.toml"
    file.write_text("a")
    before = Asked("x", standard=str(file)).fingerprint()
    file.write_text("b")
    assert Asked("x", standard=str(file)).fingerprint() != before


def test_a_second_run_in_one_folder_is_refused(tmp_path: Path) -> None:
    """While one is at work another has a clear word and no effect; afterwards it may."""
    with run_store(tmp_path), pytest.raises(CutcheckError, match="Another run is at work") as error:
        run_store(tmp_path).__enter__()
    assert (error.value.code, error.value.exit_status) == ("class", 2)
    with run_store(tmp_path) as store:
        assert store.get("0" * 64) is None


def test_a_folder_that_can_t_be_used_is_told(tmp_path: Path) -> None:
    """No folder, a folder without photos, an out folder that is a file: each has its own words."""
    (tmp_path / "file").write_text("x")
    (tmp_path / ".hidden.jpg").write_text("x")
    with pytest.raises(CutcheckError, match="no file"):
        photos_in(tmp_path / "none")
    with pytest.raises(CutcheckError, match="can't be read as a folder"):
        photos_in(tmp_path / "file")
    with pytest.raises(CutcheckError, match="There is no photo in"):
        photos_in(tmp_path)
    with pytest.raises(CutcheckError, match="can't be written"), run_store(tmp_path / "file"):
        pass


def test_an_unknown_cut_is_told_before_measuring(tmp_path: Path, class_folder: Path) -> None:
    """A wrong command costs no minutes."""
    with pytest.raises(CutcheckError) as error:
        run(class_folder, tmp_path, Asked("no-such-cut"))
    assert error.value.code == "unknown-cut"


def test_a_file_is_written_whole_or_not(tmp_path: Path) -> None:
    """A write that fails leaves what was there and nothing beside it."""
    path = tmp_path / "marks.csv"
    write_whole(path, b"first")
    with pytest.raises(CutcheckError, match="can't be written"):
        write_whole(tmp_path / "none" / "marks.csv", b"second")
    (tmp_path / "folder").mkdir()
    with pytest.raises(CutcheckError, match="can't be written"):
        write_whole(tmp_path / "folder", b"second")
    assert path.read_bytes() == b"first"
    assert {one.name for one in tmp_path.iterdir()} == {"marks.csv", "folder"}


# --- processes that die -------------------------------------------------------------------------------------


@pytest.fixture
def children(monkeypatch: pytest.MonkeyPatch) -> list[subprocess.Popen[bytes]]:
    """The measuring processes, as they are started."""
    started: list[subprocess.Popen[bytes]] = []
    real = workers.start_child

    def noted(*arguments: Any) -> subprocess.Popen[bytes]:
        started.append(real(*arguments))
        return started[-1]

    monkeypatch.setattr(workers, "start_child", noted)
    return started


def questions(folder: Path, stuck: Path) -> list[workers.Question]:
    """A photo that never ends being read (a pipe that nobody writes to), and after it a good one."""
    os.mkfifo(stuck)
    good = folder / "ada.jpg"
    sha256 = hashlib.sha256(good.read_bytes()).hexdigest()
    return [workers.Question(stuck, "stuck.jpg", "0" * 64), workers.Question(good, "ada.jpg", sha256)]


def test_a_killed_process_costs_its_photo_only(
    class_folder: Path, tmp_path: Path, children: list[subprocess.Popen[bytes]]
) -> None:
    """A process killed at work (as for want of memory) is told for its photo; the next photo is measured."""
    asked = questions(class_folder, tmp_path / "stuck.jpg")

    def kill() -> None:
        while not children:
            time.sleep(0.05)
        time.sleep(0.5)
        children[0].kill()

    threading.Thread(target=kill).start()
    answers = {question.name: kept for question, kept in workers.measure_all(asked, ASKED.to_json(), 1)}
    error = answers["stuck.jpg"]["error"]
    assert error["code"] == "not-finished"
    assert "signal 9" in error["message"]
    assert "result" in answers["ada.jpg"]
    assert len(children) == 2
    assert all(child.poll() is not None for child in children)


def test_a_photo_that_takes_for_ever_is_given_up(
    class_folder: Path, tmp_path: Path, children: list[subprocess.Popen[bytes]]
) -> None:
    """Beyond the time allowed the process is ended and the photo told; the next photo is measured."""
    asked = questions(class_folder, tmp_path / "stuck.jpg")
    answers = {q.name: kept for q, kept in workers.measure_all(asked, ASKED.to_json(), 1, seconds=10.0)}
    assert "longer than 10 seconds" in answers["stuck.jpg"]["error"]["message"]
    assert "result" in answers["ada.jpg"]


def test_who_stops_listening_ends_the_processes(
    class_folder: Path, tmp_path: Path, children: list[subprocess.Popen[bytes]]
) -> None:
    """Where the caller stops (Ctrl-C ends the loop in the same way) no process stays behind."""
    answers = workers.measure_all(questions(class_folder, tmp_path / "stuck.jpg"), ASKED.to_json(), 2)
    question, _ = next(answers)
    answers.close()
    assert question.name == "ada.jpg"
    assert len(children) == 2
    assert all(child.poll() is not None for child in children)


def test_a_photo_changed_meanwhile_is_not_mistaken(class_folder: Path) -> None:
    """Bytes that are not those that were counted are no result of that photo."""
    asked = [workers.Question(class_folder / "ada.jpg", "ada.jpg", "0" * 64)]
    ((_, kept),) = workers.measure_all(asked, ASKED.to_json(), 1)
    assert kept["error"]["code"] == "not-finished"
    assert "changed meanwhile" in kept["error"]["message"]


# --- runs that are stopped and killed -----------------------------------------------------------------------


def test_killed_at_ten_random_moments_the_files_are_the_same(class_folder: Path, tmp_path: Path) -> None:
    """Ten times killed (SIGKILL), in two folders, and then run to its end: every file byte for byte as
    without."""
    began = time.monotonic()
    whole = start(class_folder, tmp_path / "whole")
    whole.communicate()
    takes = time.monotonic() - began
    assert whole.returncode == 3  # one photo can't be read
    expected = outputs(tmp_path / "whole")
    assert None not in expected.values()
    chance = random.Random(20_106)
    for out in (tmp_path / "one", tmp_path / "two"):
        killed = 0
        while killed < 5:
            process = start(class_folder, out)
            try:
                process.wait(chance.uniform(0.1, 1.0) * takes)
            except subprocess.TimeoutExpired:
                process.kill()
                killed += 1
            else:  # too late: begin anew, and be quicker
                shutil.rmtree(out)
                takes *= 0.8
            process.communicate()
        last = start(class_folder, out, "--workers", "1")
        last.communicate()
        assert last.returncode == 3
        assert outputs(out) == expected
        assert not list((out / ".cutcheck-run").glob("*.new"))


def test_ctrl_c_stops_cleanly_and_the_next_run_goes_on(class_folder: Path, tmp_path: Path) -> None:
    """Stopped by hand it says that the same command goes on, ends with 130, and the next one does."""
    photos, out = tmp_path / "photos", tmp_path / "out"
    photos.mkdir()
    (tmp_path / "roster.csv").write_bytes((class_folder.parent / "roster.csv").read_bytes())
    # So many, one at a time, that it is not done before it is stopped, however fast the computer.
    for k in range(MANY):
        (photos / f"{k:02}.jpg").write_bytes((class_folder / "cy.jpg").read_bytes() + bytes([k]))
    process = start(photos, out, "--workers", "1")
    store = out / ".cutcheck-run"
    while process.poll() is None and not list(store.glob("*.json")):
        time.sleep(0.01)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "goes on from there" in said
    assert "Traceback" not in said
    kept = len(list(store.glob("*.json")))
    assert 0 < kept < MANY
    again = start(photos, out)
    _, said = again.communicate()
    assert f"Measured before: {words.count(kept, 'photo')}" in said
    assert (out / "marks.csv").exists()
