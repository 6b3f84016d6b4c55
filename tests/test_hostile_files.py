"""Files and names from strangers: what can't be used is told in plain words, what is shown is escaped."""

from __future__ import annotations

import json
import os
import pty
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from photo_files import encoded, picture

from cutcheck.cli import run
from cutcheck.errors import CutcheckError
from cutcheck.journal import Journal
from cutcheck.journal.transfer import FORM, export_journal, import_journal

# ECMA-48: ESC [ begins a control sequence. U+202E and U+2066: Unicode's bidirectional controls (UAX 9, 2).
STRANGE = "\x1b[31m\x07red\u202egpj.\u2066"
MANIFEST = json.dumps({"form": FORM})
DEEP = "[" * 200_000


def whole(**files: str) -> dict[str, str]:
    """The files of an exported journal with nothing in it, some of them put in place of the good ones."""
    good = {"manifest": MANIFEST, "cooks": "", "checks": "", "goals": ""} | files
    return {f"{name}.json{'' if name == 'manifest' else 'l'}": text for name, text in good.items()}


def packed(path: Path, files: dict[str, str]) -> Path:
    """A zip of these files."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, text in files.items():
            out.writestr(name, text)
    return path


def line(**fields: object) -> str:
    """An object on a line."""
    return json.dumps(fields) + "\n"


COOK = line(key="k", name="Ada Example", added="2026-01-01T00:00:00+00:00")


@pytest.mark.parametrize(
    "files",
    [
        whole(manifest=DEEP),
        whole(checks=DEEP),
        whole(cooks=line(key="k", name="x" * 100_000, added="2026")),
        whole(cooks=line(key="k", name=None, added="2026")),
        whole(cooks=line(key=["k"], name="Ada", added="2026")),
        whole(cooks="\n".join(["[]"] * 3)),
        whole(cooks=COOK, goals=line(cook_key="k", key="g", cut="julienne", on_size=0.5, sessions=10**40,
              days_apart=1, set_on="2026-01-01")),
        whole(cooks=COOK, checks=line(result={"photo": 5})),
        whole(cooks=COOK, checks=line(result={"schema": 1, "photo": [], "pieces": "x"})),
        {"../../manifest.json": MANIFEST, "/etc/cooks.jsonl": ""},
    ],
    ids=["deep", "deep-check", "huge", "nobody", "list-key", "lists", "number", "photo", "check", "paths"],
)  # fmt: skip
def test_a_strange_journal_is_refused_and_changes_nothing(
    files: dict[str, str], tmp_path: Path, own_journal: Path
) -> None:
    """Nesting, huge and wrong fields and paths upwards end in the error 'journal'; nothing is kept."""
    journal = Journal.open(own_journal)
    with pytest.raises(CutcheckError) as caught:
        import_journal(journal, packed(tmp_path / "strange.zip", files))
    assert caught.value.code == "journal"
    assert not journal.cooks()


def encrypted(data: bytearray) -> None:
    """The flag that the first file needs a password (APPNOTE.TXT 4.4.4, bit 0)."""
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1


def strangely_packed(data: bytearray) -> None:
    """A method of compression that nobody knows (APPNOTE.TXT 4.4.5)."""
    data[8] = 99
    data[data.index(b"PK\x01\x02") + 10] = 99


def wrong_checksum(data: bytearray) -> None:
    """Another CRC-32 than the content's (APPNOTE.TXT 4.4.7)."""
    data[data.index(b"PK\x01\x02") + 16] ^= 0xFF


def damaged(data: bytearray) -> None:
    """The packed content changed."""
    start = data.index(b"manifest.json") + len("manifest.json")
    data[start : start + 6] = b"\xff" * 6


def cut_off(data: bytearray) -> None:
    """The second half is missing."""
    del data[len(data) // 2 :]


def bomb(data: bytearray) -> None:
    """The directory says that the manifest unpacks to four gigabytes."""
    at = data.index(b"PK\x01\x02") + 24
    data[at : at + 4] = (0xFFFFFFF0).to_bytes(4, "little")


@pytest.mark.parametrize("spoil", [encrypted, strangely_packed, wrong_checksum, damaged, cut_off, bomb])
def test_a_spoilt_zip_is_refused(
    spoil: Callable[[bytearray], None], tmp_path: Path, own_journal: Path
) -> None:
    """Passwords, unknown packing, wrong checksums, damage and bombs end in the error 'journal'."""
    path = packed(tmp_path / "spoilt.zip", whole())
    data = bytearray(path.read_bytes())
    spoil(data)
    path.write_bytes(data)
    with pytest.raises(CutcheckError) as caught:
        import_journal(Journal.open(own_journal), path)
    assert caught.value.code == "journal"


def test_a_zip_writes_nothing_but_the_journal(tmp_path: Path, own_journal: Path) -> None:
    """Paths upwards, absolute ones, a link and doubled names in a zip put no file anywhere."""
    path = packed(tmp_path / "paths.zip", whole() | {"../up.txt": "x", str(tmp_path / "there.txt"): "x"})
    link = zipfile.ZipInfo("link")
    link.external_attr = 0o120777 << 16  # a symbolic link, as Unix zips store it
    with zipfile.ZipFile(path, "a") as out:
        out.writestr(link, "/etc/passwd")
        with pytest.warns(UserWarning, match="Duplicate"):
            out.writestr("cooks.jsonl", "")
    before = {one for one in tmp_path.parent.rglob("*") if own_journal.parent not in one.parents}
    import_journal(Journal.open(own_journal), path)
    after = {one for one in tmp_path.parent.rglob("*") if own_journal.parent not in one.parents}
    assert after - before <= {own_journal.parent}


def test_names_with_markup_survive_export_and_steer_nothing(tmp_path: Path, own_journal: Path) -> None:
    """A cook called like markup or a formula is kept as text, without control characters; in CSV it is no
    formula, and one journal gives it to another unchanged."""
    journal = Journal.open(own_journal)
    markup = journal.add_cook(f"<b>{STRANGE}</b>").name
    formula = journal.add_cook("=HYPERLINK(1)").name
    assert markup.startswith("<b>")
    assert markup.isprintable()
    export_journal(journal, tmp_path / "out.zip")
    other = Journal.open(tmp_path / "other.sqlite")
    import_journal(other, tmp_path / "out.zip")
    assert {cook.name for cook in other.cooks()} == {markup, formula}


@pytest.mark.parametrize("what", ["standard", "settings", "plan"])
@pytest.mark.parametrize(
    "content",
    [
        b"a = " + b"[" * 100_000,
        b"a = " + b"{b=" * 20_000,
        b"\xff\xfe\x00\x00",
        b"",
        b'name = "' + b"x" * 500_000 + b'"',
        b"unit = 1e999\ntitle = nan\n",
        b"\x00" * 1000,
        STRANGE.encode(),
        b"cut,produce,amount\n=1+1,<b>,9e999 g\n",
        b'cut,produce,amount\n"brunoise,carrot,500 g\n',
        b"cut,produce,amount\nbrunoise,carrot," + b"9" * 100_000 + b" g\n",
        "cut;produce;amount\nbrunoise;carrot;500\u202e g\n".encode("utf-16"),
    ],
    ids=["deep", "deep-tables", "bytes", "empty", "huge", "numbers", "nul", "strange", "formula", "quote",
         "long-number", "utf-16"],
)  # fmt: skip
def test_a_strange_file_of_the_users_own_is_told_in_plain_words(
    what: str, content: bytes, tmp_path: Path, own_settings: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Standards, settings and plans of any bytes end in success or a told error, never in a fault inside."""
    path = own_settings if what == "settings" else tmp_path / "file.toml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    commands = {
        "standard": ["cuts", "--standard", str(path)],
        "settings": ["settings"],
        "plan": ["plan", str(path), "--pdf", str(tmp_path / "plan.pdf")],
    }
    assert run(commands[what]) in (0, 2)
    out = "".join(capfd.readouterr())
    assert "inside cutcheck" not in out
    assert "Traceback" not in out
    assert "\x1b" not in out
    assert "\u202e" not in out


def on_a_terminal(*command: str | bytes, folder: Path) -> bytes:
    """What a terminal gets to see of a command."""
    ours, theirs = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "cutcheck", *command], cwd=folder, stdin=theirs, stdout=theirs, stderr=theirs
    )
    os.close(theirs)
    seen = b""
    while True:
        try:
            more = os.read(ours, 65536)
        except OSError:  # Linux's way to say that the other end is closed
            break
        if not more:
            break
        seen += more
    os.close(ours)
    assert child.wait(60) in (0, 2, 3)
    return seen


@pytest.mark.parametrize("name", [f"{STRANGE}.jpg".encode(), b"\xff\xfe.jpg", b"two\nlines.jpg", b"-rf.jpg"])
def test_a_file_name_does_not_steer_the_terminal(name: bytes, tmp_path: Path) -> None:
    """Names with control characters, bytes that are no text and leading dashes are shown harmlessly."""
    with open(os.path.join(os.fsencode(tmp_path), name), "wb") as file:  # noqa: PTH118, PTH123 - bytes
        file.write(encoded(picture(), "JPEG"))
    for names in ([name], [name, b"missing.jpg"], [b"no-" + name]):
        for options in ([], ["--json"]):
            seen = on_a_terminal("check", *options, "--", *names, folder=tmp_path)
            assert b"inside cutcheck" not in seen, seen
            assert b"\x1b[31m" not in seen  # a progress bar has sequences of its own
            assert b"\x07" not in seen
            assert "\u202e".encode() not in seen


def test_what_is_written_stays_in_its_folder(
    tray_photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pictures and pages of photos with names like paths go into the folder that was named, nowhere else."""
    photos, out = tmp_path / "photos", tmp_path / "out"
    (photos / "..a").mkdir(parents=True)
    out.mkdir()
    names = [photos / "..a" / "...jpg", photos / "..a" / "-o.jpg"]
    for name in names:
        shutil.copy(tray_photo, name)
    before = set(tmp_path.rglob("*"))
    assert run(["check", *map(str, names), "--picture", str(out), "--pdf", str(out)]) == 0
    new = set(tmp_path.rglob("*")) - before
    assert len([path for path in new if path.parent == out]) == 4
    assert all(path.parent == out for path in new if path.suffix in (".jpg", ".pdf"))
