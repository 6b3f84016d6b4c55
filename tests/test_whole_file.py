"""Each file that a command writes is there whole or as it was, whatever happens while it is written."""

from __future__ import annotations

import os
import resource
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from cutcheck.cli import run
from cutcheck.errors import CutcheckError
from cutcheck.journal import Journal
from cutcheck.lens import LensPrior
from cutcheck.lens_store import save_lens
from cutcheck.whole_file import write_whole, writing_whole

# Every command that writes a file; PHOTO is a good photo, FILE the file's name without its ending.
REPLACING = [
    "check PHOTO --picture FILE.jpg",
    "check PHOTO --pdf FILE.pdf",
    "card --out FILE.pdf",
    "card --out FILE.svg",
    "card --out FILE.png",
    "plan --need brunoise_carrot_500_g --pdf FILE.pdf",
    "station --out FILE.svg",
    "journal export FILE.zip",
]
NEW = ["standard new FILE.toml", "rubric new FILE.toml", "journal copy FILE.sqlite"]
PRECIOUS = b"precious, and here before"


@contextmanager
def full_disk() -> Iterator[None]:
    """No file grows past ten bytes (setrlimit(2), RLIMIT_FSIZE), as on a disk that is full.

    Around what is tested and no more: the test runner's own output may go to a file, too.
    """
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (10, usual[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)


def words_of(command: str, photo: Path, file: Path) -> list[str]:
    """A command as its words."""
    words = command.replace("PHOTO", str(photo)).replace("FILE", str(file)).split()
    return [word.replace("_", " ") if "carrot" in word else word for word in words]


def set_out(command: str, photo: Path, under: Path) -> tuple[Path, list[str]]:
    """A folder, with an earlier file where the command replaces one, and the words that write there."""
    folder = under / "out"
    folder.mkdir()
    words = words_of(command, photo, folder / "file")
    if command in REPLACING:
        target_of(words).write_bytes(PRECIOUS)
    return folder, words


def contents(folder: Path) -> dict[str, bytes]:
    """What each file of a folder holds."""
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def target_of(words: list[str]) -> Path:
    """The file that a command writes, which its last word names."""
    return Path(words[-1])


@pytest.mark.parametrize("command", REPLACING + NEW)
def test_a_full_disk_leaves_what_was_there(
    command: str, tray_photo: Path, tmp_path: Path, own_journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the disk is full the error names the file and says to make room; the earlier one is as it was."""
    Journal.open(own_journal).add_cook("Ada Example")
    folder, words = set_out(command, tray_photo, tmp_path)
    before = contents(folder)
    with full_disk():
        assert run(words) == 2
    said = capsys.readouterr().err
    assert "file." in said
    assert "Make room on the disk" in said
    assert contents(folder) == before


@pytest.mark.parametrize("command", REPLACING + NEW)
def test_ctrl_c_leaves_what_was_there_and_the_next_run_replaces_it(
    command: str, tray_photo: Path, tmp_path: Path, own_journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C just before a written file takes its place leaves the earlier one and nothing beside it."""
    Journal.open(own_journal).add_cook("Ada Example")
    folder, words = set_out(command, tray_photo, tmp_path)
    before = contents(folder)

    def pressed(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("cutcheck.whole_file.os.fsync", pressed)
        assert run(words) == 130
    assert contents(folder) == before
    assert run(words) == 0
    assert [path.name for path in folder.iterdir()] == [target_of(words).name]
    assert target_of(words).read_bytes() != PRECIOUS


def test_settings_and_lenses_survive_a_full_disk(
    own_settings: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Settings and a calibrated lens that can't be kept are told, and the earlier ones are there."""
    monkeypatch.setenv("CUTCHECK_LENSES", str(tmp_path / "lenses"))
    lens = LensPrior(0.85, 0.0, 0.0, 0.05, -0.05, (0.001,) * 5, "Phone One", 26.0)
    kept = save_lens(lens)
    assert run(["settings", "unit", "in"]) == 0
    before = own_settings.read_bytes(), kept.read_bytes()
    with full_disk():
        assert run(["settings", "thickness_mm", "0.5"]) == 2
    assert "Make room on the disk" in capsys.readouterr().err
    with full_disk(), pytest.raises(CutcheckError, match="Make room on the disk"):
        save_lens(lens)
    assert (own_settings.read_bytes(), kept.read_bytes()) == before
    assert os.listdir(kept.parent) == [kept.name]  # noqa: PTH208


# --- the file itself ----------------------------------------------------------------------------------------


def test_a_replaced_file_keeps_who_may_read_it(tmp_path: Path) -> None:
    """A file that only its owner may read stays so; a new one is as any other new file (umask(2))."""
    own, new, other = tmp_path / "own", tmp_path / "new", tmp_path / "other"
    own.write_bytes(b"first")
    own.chmod(0o600)
    write_whole(own, b"second")
    write_whole(new, b"first")
    other.write_bytes(b"first")
    assert stat.S_IMODE(own.stat().st_mode) == 0o600
    assert new.stat().st_mode == other.stat().st_mode
    assert own.read_bytes() == b"second"


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    """What a symbolic link points to is replaced, also in another folder; the link is left."""
    (tmp_path / "there").mkdir()
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "there" / "file")
    write_whole(link, b"first")
    write_whole(link, b"second")
    assert link.is_symlink()
    assert [path.name for path in (tmp_path / "there").iterdir()] == ["file"]
    assert (tmp_path / "there" / "file").read_bytes() == b"second"


def test_what_is_no_file_is_written_to_and_not_replaced(tmp_path: Path) -> None:
    """A named pipe gets the bytes and is still a pipe; a folder is an error."""
    pipe, got = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()))
    reader.start()
    write_whole(pipe, b"page")
    reader.join(10)
    assert got == [b"page"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    with pytest.raises(CutcheckError, match="Is a directory"):
        write_whole(tmp_path, b"page")


def test_standard_output_can_be_named(tmp_path: Path) -> None:
    """A page written to /dev/stdout comes out of a pipe whole."""
    out = tmp_path / "station.svg"
    out.symlink_to("/dev/stdout")
    command = [sys.executable, "-m", "cutcheck", "station", "--out", str(out)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "</svg>" in done.stdout


def test_a_write_protected_file_is_not_replaced(tmp_path: Path) -> None:
    """A file that its owner protected is left, although its folder could be written to."""
    file = tmp_path / "file"
    file.write_bytes(PRECIOUS)
    file.chmod(0o444)
    with pytest.raises(CutcheckError, match="Permission denied"):
        write_whole(file, b"other")
    assert file.read_bytes() == PRECIOUS


def test_the_longest_name_can_be_written(tmp_path: Path) -> None:
    """A name of 255 bytes, the longest that Linux has (NAME_MAX), is no trouble."""
    file = tmp_path / ("é" * 125 + ".json")
    write_whole(file, b"whole")
    assert file.read_bytes() == b"whole"


def test_a_new_file_never_takes_the_place_of_one(tmp_path: Path) -> None:
    """Not of one that was there, nor of one that came while the new one was written."""
    file = tmp_path / "file"

    def write_while_another_comes() -> None:
        with writing_whole(file, over=False) as place:
            place.write_bytes(b"ours")
            file.write_bytes(PRECIOUS)

    with pytest.raises(CutcheckError, match="already"):
        write_while_another_comes()
    with pytest.raises(CutcheckError, match="already"):
        write_whole(file, b"ours", over=False)
    assert file.read_bytes() == PRECIOUS
    assert [path.name for path in tmp_path.iterdir()] == ["file"]
