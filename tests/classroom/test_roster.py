"""The roster: tables as schools keep them are read, and what would be a guess is told with its line."""

from __future__ import annotations

import csv
import io
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cutcheck.classroom.roster import Student, read_roster
from cutcheck.errors import FAULTS, CutcheckError

CLASS = [("Ada Example", 7), ("Zoë Müller", 12), ("Łukasz O’Neill-Çelik", 3)]


def table(rows: list[tuple[str, int]], head: str, separator: str = ",") -> str:
    """A table written by the standard library's csv, with this header."""
    out = io.StringIO()
    out.write(head + "\r\n")
    csv.writer(out, delimiter=separator).writerows(rows)
    return out.getvalue()


def told(data: bytes) -> str:
    """What the error says of a table that can't be read; its code is the roster's and it has a remedy."""
    with pytest.raises(CutcheckError) as error:
        read_roster(data, name="class.csv")
    assert error.value.code == "roster"
    assert FAULTS["roster"].exit_status == 2
    assert "name,number" in error.value.remedy
    return error.value.message


@pytest.mark.parametrize(
    "head",
    [
        "name,number",
        "  NAME , Number ",
        "Student,Card no.",
        "Full name,#",
        "Nom,N°",
        "Élève,Numéro de carte",
        "NOM ET PRÉNOM,n° carte",
        "Schüler,Kartennummer",
        "Name,Karten-Nr.",
        "Lernende,№",
        "Surname,Nº",
    ],
)
def test_headings_in_three_languages(head: str) -> None:
    """Case, accents, spaces and signs of the headings don't matter; English, French and German are known."""
    roster = read_roster(table(CLASS, head).encode())
    assert roster.students == tuple(Student(*row) for row in CLASS)
    assert roster.notes == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_encodings_and_separators(encoding: str, separator: str) -> None:
    """Python's own encoders write it, with and without a mark at the start; the names come back."""
    text = table(CLASS, f"Name{separator}Number", separator)
    assert read_roster(text.encode(encoding)).students == tuple(Student(*row) for row in CLASS)


def test_windows_text_is_read_and_told() -> None:
    """Windows-1252, as older spreadsheets save it, is read with a note to look at the accents."""
    rows = [("Zoë Müller", 12), ("François Ünal", 2)]
    roster = read_roster(table(rows, "Name;Nº", ";").encode("cp1252"), name="class.csv")
    assert roster.students == tuple(Student(*row) for row in rows)
    assert "class.csv is not in UTF-8" in roster.notes[0]


def test_an_unknown_encoding_is_not_guessed() -> None:
    """The DOS code page 850, where an e acute is what Windows shows as a low quote, is refused."""
    assert "encoding" in told(table([("André Exemple", 4)], "name,number").encode("cp850"))


def test_rows_and_columns_as_they_come() -> None:
    """A title, blank lines, a spreadsheet's hint, other columns, quotes and 7.0 for 7 are all met."""
    text = (
        'sep=;\n"Class 3B; spring"\n\nGroup;Card;Name;No.\n;;;\n'
        'a;7.0;"Example; Ada";1\n\n  ;;  ;\nb;#012;Zoë  Müller;2'
    )
    assert read_roster(text.encode()).students == (Student("Example; Ada", 7), Student("Zoë Müller", 12))


def test_first_and_last_names_are_put_together() -> None:
    """Two columns of a name give one; a whole name that holds the first name is not doubled."""
    two = "Nom;Prénom;N°\nExemple;Ada;7\n"
    assert read_roster(two.encode()).students == (Student("Ada Exemple", 7),)
    assert read_roster(b"Vorname,Nachname,Nr\nAda,Beispiel,7\n").students == (Student("Ada Beispiel", 7),)
    assert read_roster(b"First name,Name,No\nAda,Ada Example,7\n").students == (Student("Ada Example", 7),)


@pytest.mark.parametrize("name", ["=1+1", "+49 Ada", "-Ada", "@Ada", '=HYPERLINK("x")', "007", "TRUE"])
def test_names_that_look_like_formulas_stay_text(name: str) -> None:
    """A name is text whatever it begins with."""
    assert read_roster(table([(name, 5)], "name,number").encode()).students == (Student(name, 5),)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("Ada,7\nBen,7", ["line 3", "card 7", "'Ada'", "line 2"]),
        ("Ada,0", ["line 2", "nobody's"]),
        ("Ada,125", ["line 2", "no card 125", "124"]),
        ("Ada,99999999999999", ["line 2", "no card number"]),
        ("Ada,-3", ["line 2", "'-3' is no card number"]),
        ("Ada,1e1", ["line 2", "'1e1' is no card number"]),
        ("Ada,", ["line 2", "'Ada' has no card number"]),
        (",7", ["line 2", "card 7 has no name"]),
        ("Ada,1\n\n\nBen,x\nCy,200", ["line 5: 'x'", "line 6: there is no card 200"]),
        ("Example, Ada,7", ["line 2", "quotes"]),
        (f"{'A' * 90},7", ["line 2", "longer than 60"]),
        (f"{'A' * 200_000},7", ["line 2"]),
        ('"Ada,7\nBen,8', ["line 2", "quotes"]),
        ('"Ada"x,7', ["line 2", "quotes"]),
        ("", ["no students"]),
    ],
)
def test_faults_name_their_line(body: str, words: list[str]) -> None:
    """What is wrong is told with the line of the file, so that it is found at once."""
    message = told(f"name,number\n{body}\n".encode())
    for word in words:
        assert word in message
    assert len(message) < 500


def test_a_table_of_a_whole_school_is_refused() -> None:
    """More rows than there are cards can't be one class."""
    rows = [(f"Student {k}", k % 124 + 1) for k in range(1200)]
    assert "1200 rows, and only 124 cards" in told(table(rows, "name,number").encode())


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"PK\x03\x04" + bytes(300), "workbook"),
        (b"\xd0\xcf\x11\xe0" + bytes(300), "workbook"),
        (b"\xff\xd8\xff\xe0" + bytes(range(256)), "picture"),
        (b"\x89PNG\r\n\x1a\n" + bytes(300), "picture"),
        (b"%PDF-1.7", "PDF"),
        (bytes(range(1, 33)), "no text"),
        (b"", "no header"),
        (b"Ada,7\nBen,8\n", "'Ada', '7'"),
        (b"name\tage\nAda\t7\n", "'name', 'age'"),
        (b"name,name,number\nA,B,1\n", "two columns 'name'"),
        (b"x" * 2_000_000, "larger than 1 MB"),
    ],
)
def test_what_is_no_roster_is_told(data: bytes, word: str) -> None:
    """A workbook, a picture, nothing, or a table without the two columns: each in its own words."""
    assert word in told(data)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """A missing file is named; a folder is no roster."""
    with pytest.raises(CutcheckError, match=r"no file '.*none\.csv'"):
        read_roster(tmp_path / "none.csv")
    with pytest.raises(CutcheckError, match="can't be read"):
        read_roster(tmp_path)


@given(st.binary(max_size=300))
def test_no_bytes_bring_anything_else_than_the_roster_s_error(data: bytes) -> None:
    """Whatever the bytes, there is a roster or an error that is told."""
    code = "roster"
    students: tuple[Student, ...] = ()
    try:
        students = read_roster(b"name,number\n" + data).students
    except CutcheckError as error:
        code = error.code
    assert code == "roster"
    assert all(1 <= student.number <= 124 for student in students)


NAMES = st.text(
    st.characters(categories=("L", "N", "P", "S"), exclude_characters="\ufeff"), min_size=1, max_size=30
)


@given(
    st.dictionaries(st.integers(1, 124), NAMES, min_size=1, max_size=30),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from(["utf-8-sig", "utf-16"]),
)
def test_what_is_written_is_read(people: dict[int, str], separator: str, encoding: str) -> None:
    """Any class written by the standard library's csv comes back, in its order (names in form C)."""
    text = table([(name, n) for n, name in people.items()], separator.join(["name", "number"]), separator)
    got = read_roster(text.encode(encoding)).students
    assert got == tuple(Student(unicodedata.normalize("NFC", name), n) for n, name in people.items())
