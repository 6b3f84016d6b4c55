"""Class lists, lists to settle and rubrics from strangers: a result or a told error, and nothing runs in a
spreadsheet, leaves its folder or takes long."""

from __future__ import annotations

import csv
import io
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.classroom.naming import read_settled
from cutcheck.classroom.result_files import csv_file, workbook
from cutcheck.classroom.results import Table
from cutcheck.classroom.roster import Roster, Student, read_roster
from cutcheck.classroom.rubric import HandLine, Penalty, parse_rubric, rubric_text, usual_rubric
from cutcheck.cli import run
from cutcheck.csv_text import CsvText
from cutcheck.errors import CutcheckError
from cutcheck.reference import own_text

HEAD = b"name,number\n"
SOON_S = 20.0  # on a busy machine; unhindered these take a second or two at most


def zipped(name: str, size: int) -> bytes:
    """A zip, as a workbook is one, whose only member unpacks to so many bytes of nothing."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed, packed.open(name, "w") as member:
        for _ in range(size // 1_000_000):
            member.write(bytes(1_000_000))
    return out.getvalue()


def a_workbook() -> bytes:
    """A class list as a spreadsheet saves it by itself."""
    book = openpyxl.Workbook()
    book.active.append(["name", "number"])
    book.active.append(["Ada Example", 1])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


TABLES = {
    "workbook": a_workbook(),
    "bomb": zipped("xl/worksheets/sheet1.xml", 200_000_000),
    "zip with paths": zipped("../../etc/passwd", 1_000_000),
    "lines": HEAD + b"Ada,1\n" * 100_000,
    "empty lines": HEAD + b",\n" * 300_000,
    "columns": b"name,number" + b",x" * 200_000 + b"\nAda,1\n",
    "huge name": HEAD + b"A" * 900_000 + b",1\n",
    "huge number": HEAD + b"Ada," + b"9" * 900_000 + b"\n",
    "one quote": HEAD + b'"Ada,1\n' + b"x,2\n" * 100_000,
    "quotes": HEAD + b'"' * 900_000,
    "separators": b",;\t|" * 200_000,
    "nul": HEAD + b"A\x00da,1\n",
    "nul all over": bytes(100_000),
    "latin-1, half": HEAD + "Zoë".encode("latin-1") + b"\x81,1\n",
    "utf-16, half": HEAD.decode().encode("utf-16") + b"\x00",
    "utf-16, lone surrogate": b"\xff\xfe" + "name,number\n".encode("utf-16-le") + b"\x00\xd8,\x001\x00",
    "utf-32": "name,number\nAda".encode("utf-32"),
    "utf-7": b"+AG4-ame,number\nAda,1\n",
    "two marks": b"\xef\xbb\xbf\xef\xbb\xbf" + HEAD + b"Ada,1\n",
    "turned round": HEAD + "A\u202eda,1\n".encode(),
    "isolated": HEAD + "A\u2066da,1\n".encode(),
    "escape": HEAD + b"A\x1b[31mda,1\n",
    "line in a name": HEAD + b'"Ada\nExample",1\n',
    "same number": HEAD + b"Ada,1\nBen,1\n",
    "same name": HEAD + b"Ada,1\nAda,2\n",
    "paths": HEAD + b"../../x,1\nCON,2\n/etc/passwd,3\nC:\\x,4\n..,5\n",
    "negative": HEAD + b"Ada,-1\n",
    "other figures": HEAD + "Ada,\u0661\nBen,\u00b2\n".encode(),
}
READ = {"columns", "two marks", "line in a name", "same name", "paths"}  # these are class lists, if odd ones


@pytest.mark.parametrize("kind", TABLES)
def test_a_strange_class_list_ends_soon_in_a_list_or_a_told_error(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bombs, endless lines and fields, odd encodings and characters: told in a few lines that steer nothing,
    with the file's name and what to do, before a single photo is measured."""
    file = tmp_path / "list.csv"
    file.write_bytes(TABLES[kind])
    (tmp_path / "photos").mkdir()
    start = time.monotonic()
    options = ["--roster", str(file), "--cut", "small-dice", "--out", str(tmp_path / "out")]
    status = run(["class", str(tmp_path / "photos"), *options])
    said = capsys.readouterr().err
    assert time.monotonic() - start < SOON_S
    assert status == 2  # also of a good list: there are no photos in the folder
    assert ("list.csv" in said) == (kind not in READ), said
    assert len(said) < 2500
    assert len(said.strip().splitlines()) >= 2  # the problem, and what to do
    assert "inside cutcheck" not in said
    assert not set("\x00\x07\x1b\u202e\u2066") & set(said)
    assert {path.name for path in tmp_path.iterdir()} <= {"list.csv", "photos", "out", "settings"}


@pytest.mark.parametrize("data", TABLES.values(), ids=TABLES)
def test_a_strange_list_to_settle_ends_soon_in_a_list_or_a_told_error(data: bytes) -> None:
    """The same for the list in which a person names trays, whose photos and numbers are checked."""
    start = time.monotonic()
    roster = Roster((Student("Ada", 1),))
    code, said = "roster", ""
    try:
        settled = read_settled(data.replace(b"name", b"photo", 1), roster, ["Ada"])
    except CutcheckError as error:
        settled, code, said = {}, error.code, str(error)
    assert settled in ({}, {"Ada": 1})
    assert code == "roster"
    assert len(said) < 2500
    assert time.monotonic() - start < SOON_S


def test_people_of_one_name_keep_their_own_cards() -> None:
    """Two students of one name are two students."""
    assert read_roster(TABLES["same name"]).students == (Student("Ada", 1), Student("Ada", 2))


# --- what is written ----------------------------------------------------------------------------------------

# OWASP, "CSV Injection": what starts a formula in a spreadsheet, also where a separator of other countries (a
# semicolon, a tab) or a line's end cuts the cell in two, and in the wide forms of East Asian scripts.
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
FORMULAS = [f"{start}cmd|' /C calc'!A0" for start in STARTS]
CUT_IN_TWO = [f"Ada{cut}{start}1+1" for cut in (";", "\t", "\n", "\r\n", "|") for start in STARTS[:4]]


@pytest.mark.parametrize("text", FORMULAS + CUT_IN_TWO)
def test_no_cell_of_a_csv_starts_a_formula_whatever_the_separator(text: str) -> None:
    """However a spreadsheet cuts the file (comma, semicolon, tab, bar), no cell begins as a formula does."""
    table = CsvText(["name", "number"])
    table.row([text, 7])
    written = table.text().lstrip("\ufeff")
    for separator in ",;\t|":
        for row in csv.reader(io.StringIO(written, newline=""), delimiter=separator):
            assert not [cell for cell in row if cell.startswith(STARTS)], (separator, row)
    # and where a program does not know of quotes at all
    for line in written.splitlines():
        for cell in line.replace(";", ",").replace("\t", ",").replace("|", ",").split(","):
            assert not cell.strip('"').startswith(STARTS), cell


@pytest.mark.parametrize("text", FORMULAS + CUT_IN_TWO + ["-3", "+49 30 1234", "https://evil.example"])
def test_no_cell_of_a_workbook_is_a_formula_or_a_link(text: str) -> None:
    """What looks like a formula or an address is a text in the workbook, and comes back as it was written."""
    table = Table("marks", ("name",), ((text,),))
    sheet = openpyxl.load_workbook(io.BytesIO(workbook([table])))["marks"]
    cell = sheet["A2"]
    assert cell.data_type == "s"
    assert cell.hyperlink is None
    assert cell.value.replace("_x000D_", "\r").splitlines() == text.splitlines()
    assert csv_file(table)


def test_figures_stay_figures() -> None:
    """Negative numbers are no formulas: they are written as numbers."""
    table = CsvText(["off"])
    table.row([-0.25])
    assert table.text().splitlines()[1] == "-0.25"


# --- rubrics ------------------------------------------------------------------------------------------------

RUBRICS = {
    "deep": b"a = " + b"[" * 100_000,
    "deep tables": b"a = " + b"{b=" * 20_000,
    "dotted": b"a." * 50_000 + b"b = 1",
    "dotted header": b"[" + b"a." * 50_000 + b"b]",
    "long number": b"pass_mark = " + b"9" * 5000,
    "long hex number": b"pass_mark = 0x" + b"f" * 5000,
    "not a number": b"pass_mark = nan",
    "endless": b"pass_mark = -inf",
    "too large": b"pass_mark = 9e999",
    "a day": b"pass_mark = 2026-01-01",
    "yes": b"pass_mark = true",
    "huge key": b"x" * 300_000 + b" = 1",
    "huge text": b'name = "' + b"x" * 500_000 + b'"',
    "huge wrong value": b'pass_mark = "' + b"x" * 500_000 + b'"',
    "long list": b"by_hand = [" + b"1," * 200_000 + b"]",
    "many lines": b"".join(b'[[by_hand]]\nname = "n%d"\npoints = 0.5\n' % k for k in range(20_000)),
    "many keys": b"".join(b"k%d = 1\n" % k for k in range(80_000)),
    "too large a file": b"# " + b"x" * 30_000_000,
    "utf-16": 'name = "x"\n'.encode("utf-16"),
    "latin-1": 'name = "é"\n'.encode("latin-1"),
    "nul": b'name = "a\x00b"',
    "control": b'name = "a\\u0007\\u001b[31m"',
    "turned round": 'name = "a\u202eb"'.encode(),
    "empty line": b'[[by_hand]]\nname = ""\npoints = 5\n',
    "tiny weights": b"[weights]\non_size = 1e-320\nevenness = 1000\n",
    "tiny steps": b"[scale]\nstep = 1e-320\n",
    "bands": b"[scale]\nbands = [1, 2]\n",
    "no table": b"weights = [1, 2]",
    "twice": b"[weights]\n" * 2,
    "cr": b'name = "x"\rpass_mark = 50\r',
    "mark": b'\xef\xbb\xbfname = "x"\n',
    "formula": b'name = "=1+1"\n[[by_hand]]\nname = "=cmd|\' /C calc\'!A0"\npoints = 5\n',
    "markup": b'name = "<script>alert(1)</script>"\n',
    "path": b'name = "../../etc/passwd"\n',
}
GOOD = {"tiny weights", "mark", "formula", "markup", "path"}


@pytest.mark.parametrize("kind", RUBRICS)
def test_a_strange_rubric_ends_soon_in_its_words_or_a_told_error(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Endless keys, numbers, lists and texts, and strange encodings: told briefly with the file's name, and
    what to do."""
    file = tmp_path / "ours.toml"
    file.write_bytes(RUBRICS[kind])
    start = time.monotonic()
    status = run(["rubric", "show", str(file)])
    said = capsys.readouterr()
    assert time.monotonic() - start < SOON_S
    assert status == (0 if kind in GOOD else 2), said
    assert "inside cutcheck" not in said.err
    assert not set("\x00\x07\x1b\u202e") & set(said.out + said.err)
    if kind not in GOOD:
        assert "ours.toml" in said.err
        assert len(said.err) < 2500
        assert len(said.err.strip().splitlines()) == 2


WHOLE = rubric_text(
    replace(usual_rubric(), waste=Penalty(15.0, 0.5, 10.0), hand_lines=(HandLine("hygiene", 10.0, "board"),))
).encode()


@given(at=st.integers(0, len(WHOLE)), out=st.integers(0, 30), put=st.binary(max_size=12))
@settings(max_examples=300, deadline=None)
def test_no_change_of_a_rubric_brings_anything_but_a_rubric_or_the_told_error(
    at: int, out: int, put: bytes
) -> None:
    """Bytes left out and put in anywhere give a rubric, which is written and read back the same, or the error
    'bad-option'."""
    data, code = WHOLE[:at] + put + WHOLE[at + out :], "bad-option"
    rubric = usual_rubric()
    try:
        rubric = parse_rubric(own_text(data, "The rubric"), "ours.toml")
    except CutcheckError as error:
        code = error.code
    assert code == "bad-option"
    assert parse_rubric(rubric_text(rubric)) == rubric
