"""Full disks, no permission, locked journals, clocks and Ctrl-C: told plainly, nothing lost."""

from __future__ import annotations

import io
import os
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

import pytest
from photo_files import encoded, exif, picture

from cutcheck.cli import run
from cutcheck.errors import CutcheckError
from cutcheck.journal import Journal
from cutcheck.photo import read_photo

# A file may grow no further: what the system says is what it says on a full disk but for the error's number
# (EFBIG for ENOSPC; setrlimit(2), RLIMIT_FSIZE). Standard output, a pipe, is no file.
NO_ROOM = """
import resource, signal, sys
from cutcheck.cli import run
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
sys.exit(run(sys.argv[2:]))
"""


def without_room(size: int, *command: str) -> subprocess.CompletedProcess[str]:
    """Run a command in a process whose files can't grow past ``size`` bytes."""
    code = [sys.executable, "-c", NO_ROOM, str(size), *command]
    return subprocess.run(code, capture_output=True, text=True, timeout=120)


def told(done: subprocess.CompletedProcess[str]) -> bool:
    """Whether a command ended in an error of the table, a problem and a remedy."""
    assert "Traceback" not in done.stderr
    assert "inside cutcheck" not in done.stderr, done.stderr
    assert len(done.stderr.strip().splitlines()) in (2, 3), done.stderr  # a new cook is told before
    return done.returncode == 2


@pytest.mark.parametrize("option", ["--picture", "--pdf"])
def test_a_full_disk_is_told_where_a_picture_or_page_is_written(
    option: str, tray_photo: Path, tmp_path: Path
) -> None:
    """Where the disk is full the command says what can't be written, and the photo is as it was."""
    before = tray_photo.read_bytes()
    out = tmp_path / ("out.png" if option == "--picture" else "out.pdf")
    assert told(without_room(1000, "check", str(tray_photo), option, str(out)))
    assert tray_photo.read_bytes() == before


def again(photo: Path, folder: Path) -> Path:
    """The photo as another file: a byte behind its end changes nothing but its hash."""
    other = folder / "again.jpg"
    other.write_bytes(photo.read_bytes() + b"\0")
    return other


def test_a_full_disk_loses_nothing_of_the_journal(
    tray_photo: Path, tmp_path: Path, own_journal: Path
) -> None:
    """A check that can't be kept is told, and the journal holds what it held and can be read."""
    assert run(["check", str(tray_photo), "--keep", "--cook", "Ada Example", "--cut", "medium-dice"]) == 0
    kept = Journal.open(own_journal).entries()
    size = own_journal.stat().st_size
    other = ["check", str(again(tray_photo, tmp_path)), "--keep", "--cook", "Ben Example"]
    assert told(without_room(size // 2, *other))
    assert Journal.open(own_journal).entries() == kept
    assert run(other) == 0
    assert len(Journal.open(own_journal).entries()) == 2


def test_a_full_disk_under_the_output_is_told(tray_photo: Path) -> None:
    """Output that can't be written (to /dev/full, say) ends in a sentence, not in a traceback."""
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "cutcheck", "cuts"], stdout=full, stderr=subprocess.PIPE, text=True
        )
    assert done.returncode != 0
    assert "Traceback" not in done.stderr
    assert "No space" in done.stderr


@pytest.mark.parametrize(
    "options",
    [
        ("--picture", "FILE/out.png"),
        ("--pdf", "FILE/out.pdf"),
        ("--keep", "--cook", "Ada", "--journal", "FILE/j.sqlite"),
    ],
)
def test_a_folder_that_is_none_is_told(
    options: tuple[str, ...], tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Writing below a file, which no user may do, not even root, is told with the file's name."""
    (tmp_path / "file").write_text("precious")
    place = [one.replace("FILE", str(tmp_path / "file")) for one in options]
    assert run(["check", str(tray_photo), *place]) == 2
    said = capsys.readouterr().err
    assert str(tmp_path / "file") in said
    assert "inside cutcheck" not in said
    assert (tmp_path / "file").read_text() == "precious"


NOBODY = """
import os, sys
from cutcheck.cli import run
photo, out = sys.argv[1:]
run(["check", photo, "--picture", out + "/first.png", "--keep", "--cook", "Ada Example"])
print("then", file=sys.stderr)
if os.geteuid() == 0:
    os.seteuid(65534)
for command in (["check", out + "/secret.jpg"], ["check", photo, "--picture", out + "/second.png"],
                ["check", photo, "--keep", "--cook", "Ada Example"], ["settings", "unit", "in"]):
    print(run(command), file=sys.stderr)
"""


def test_without_permission_nothing_is_read_or_written_and_it_is_told(
    tray_photo: Path, tmp_path: Path, own_journal: Path
) -> None:
    """Someone who may not read the photo or write to the folder reads so, and nothing changes there."""
    out = tmp_path / "theirs"
    out.mkdir(mode=0o755)
    secret = out / "secret.jpg"
    secret.write_bytes(tray_photo.read_bytes())
    secret.chmod(0o000)
    done = subprocess.run(
        [sys.executable, "-c", NOBODY, str(tray_photo), str(out)], capture_output=True, text=True, timeout=120
    )
    after = done.stderr.split("then\n")[1]
    assert "inside cutcheck" not in after, after
    assert not (out / "second.png").exists()
    assert len(Journal.open(own_journal).entries()) == 1


def test_a_locked_journal_is_told_and_keeps_all(
    tray_photo: Path, own_journal: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """While another program holds the journal, keeping ends in a sentence; afterwards it works."""
    command = ["check", str(tray_photo), "--keep", "--cook", "Ada Example"]
    Journal.open(own_journal).add_cook("Ada Example")
    monkeypatch.setattr("cutcheck.journal.database.WAIT_S", 0.2)
    holder = sqlite3.connect(own_journal, isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    assert run(command) == 2
    assert "inside cutcheck" not in capsys.readouterr().err
    holder.execute("ROLLBACK")
    holder.close()
    assert run(command) == 0
    assert len(Journal.open(own_journal).entries()) == 1


class Yesteryear(datetime):
    """A clock that is a year behind."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
        """The time a year ago."""
        return datetime.now(tz) - timedelta(days=365)


def test_a_clock_that_jumps_back_loses_and_doubles_nothing(
    tray_photo: Path, tmp_path: Path, own_journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Checks kept after the clock went back by a year are there beside the others."""
    assert run(["check", str(tray_photo), "--keep", "--cook", "Ada Example"]) == 0
    now = datetime.now(UTC).isoformat()
    monkeypatch.setattr("cutcheck.journal.store.datetime", Yesteryear)
    assert run(["check", str(again(tray_photo, tmp_path)), "--keep", "--cook", "Ada Example"]) == 0
    entries = Journal.open(own_journal).entries()
    assert len(entries) == 2
    assert len({entry.number for entry in entries}) == 2
    assert min(entry.kept for entry in entries) < now[:4] <= max(entry.kept for entry in entries)
    assert len(Journal.open(own_journal).cooks()) == 1


class Vanishing(io.BytesIO):
    """A photo on a card that is pulled out while it is read."""

    def read(self, size: int | None = -1, /) -> bytes:
        """EIO, as Linux answers for a device that is gone."""
        raise OSError(5, os.strerror(5))


def test_a_photo_that_disappears_while_it_is_read_is_told() -> None:
    """A read that breaks off in the middle ends in a coded error that says so."""
    with pytest.raises(CutcheckError, match="Input/output error") as caught:
        read_photo(Vanishing(encoded(picture(), "JPEG", exif=exif())), name="tray.jpg")
    assert caught.value.code == "not-a-photo"


STEPS = (
    "cutcheck.pipeline.read_photo",
    "cutcheck.pipeline.locate",
    "cutcheck.pipeline.find_blobs",
    "cutcheck.pipeline.measure",
    "cutcheck.pipeline.judge",
    "cutcheck.pipeline.advise",
    "cutcheck.picture.draw",
    "cutcheck.picture.encode",
    "cutcheck.journal.store.insert_check",
)


@pytest.mark.parametrize("step", STEPS)
def test_ctrl_c_at_each_step_stops_and_leaves_nothing_half_done(
    step: str, tray_photo: Path, tmp_path: Path, own_journal: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Wherever Ctrl-C hits, the last word is "Stopped."; no half picture, no half check is left."""

    def pressed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    out = tmp_path / "out.png"
    keep = ["--keep", "--cook", "Ada Example"]
    command = ["check", str(tray_photo), "--cut", "medium-dice", *keep, "--picture", str(out)]
    with monkeypatch.context() as patched:
        patched.setattr(step, pressed)
        assert run(command) == 130
    said = capsys.readouterr().err
    assert said.endswith("\nStopped.\n")
    assert "inside cutcheck" not in said
    assert not out.exists()
    assert len(Journal.open(own_journal).entries()) <= 1  # kept before the picture is drawn
    assert run(command) == 0
    assert len(Journal.open(own_journal).entries()) == 1
