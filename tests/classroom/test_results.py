"""The tables of a class: one row a student, text that stays text, a workbook that another reader reads."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import trays as made
from hypothesis import given
from hypothesis import strategies as st

from cutcheck.classroom.class_run import Done
from cutcheck.classroom.class_table import summary
from cutcheck.classroom.folder_run import Tray
from cutcheck.classroom.grade import Grade, GradePart
from cutcheck.classroom.look import SIDE, Look
from cutcheck.classroom.result_files import workbook, write_results
from cutcheck.classroom.results import (
    ClassResults,
    Table,
    class_results,
    failed_table,
    marks_table,
    pieces_table,
    settle_table,
)
from cutcheck.classroom.roster import Roster, Student
from cutcheck.records import Result

ROSTER = Roster(tuple(Student(name, n) for n, name in enumerate(("=1+1", "Ben", "@Cy", "Dot", "Eve"), 1)))


# Made-up figures.
GIVEN = Grade(
    points=61.26,
    low=58.04,
    high=64.5,
    sample_low=50.0,
    sample_high=71.0,
    scale_text="12.3/20",
    passed=True,
    second_look=True,
    pass_probability=0.9,
    parts=(GradePart("measured", 63.26, 100.0),),
    counted=11,
    excluded={},
    points_all=61.26,
)


def tray(photo: str, *numbers: int, seed: int = 1, **changes: object) -> Tray:
    """A measured tray of 12 dice with these card numbers in the photo; its look is the seed's."""
    result = made.tray(12, seed)
    result = replace(result, scale=replace(result.scale, numbers=numbers))
    rng = np.random.default_rng(seed)
    places = rng.uniform(0, 150, (12, 2))
    look = Look(rng.integers(0, 255, (SIDE, SIDE)).astype(np.uint8), places, rng.normal(6.0, 0.5, (12, 2)))
    return replace(Tray(photo, f"{seed:064x}", result, look), **changes)  # type: ignore[arg-type]


def failed(photo: str) -> Tray:
    """A photo that could not be measured."""
    return Tray(photo, "f" * 64, error={"code": "blurred", "message": "It is blurred.", "remedy": "Again."})


def results(*trays: Tray, settled: dict[str, int | None] | None = None) -> ClassResults:
    """The class's results with the same grade for all."""
    return class_results(trays, ROSTER, lambda tray, student: GIVEN, settled)


def rows(table: Table | None) -> list[dict[str, object]]:
    """A table's rows by the heads of its columns."""
    assert table is not None
    return [dict(zip(table.head, row, strict=True)) for row in table.rows]


def test_one_row_a_student_in_roster_order() -> None:
    """The marks are plain figures beside the name; who has no tray has a row that says so."""
    table = rows(marks_table(results(tray("b.jpg", 1, seed=2), tray("a.jpg", 3, seed=1))))
    assert [(row["number"], row["name"], row["photo"]) for row in table] == [
        (1, "=1+1", "b.jpg"),
        (2, "Ben", None),
        (3, "@Cy", "a.jpg"),
        (4, "Dot", None),
        (5, "Eve", None),
    ]
    first = table[0]
    assert [first[k] for k in ("mark", "low", "high", "low of the heap", "high of the heap")] == [
        *(61.3, 58.0, 64.5, 50.0, 71.0)
    ]
    assert (first["school's mark"], first["passed"], first["second look"]) == ("12.3 of 20", "yes", "yes")
    assert (first["on size %"], first["counted"], first["pieces"]) == (66.0, 11, 12)
    assert first["good to know"] == "The print was not checked with a ruler."
    assert (table[1]["mark"], table[1]["remarks"]) == (None, "no tray")


def test_what_is_to_settle_is_told_where_it_belongs() -> None:
    """Two trays of one number: no mark for the student, a row each in the list with an empty number."""
    got = results(tray("a.jpg", 2, seed=1), tray("b.jpg", 2, seed=2), tray("c.jpg", seed=3), failed("d.jpg"))
    ben, dot = rows(marks_table(got))[1], rows(marks_table(got))[3]
    assert (ben["mark"], ben["photo"]) == (None, None)
    assert ben["remarks"] == (
        "to settle: 'a.jpg', card 2 is also in 'b.jpg'; to settle: 'b.jpg', card 2 is also in 'a.jpg'"
    )
    assert dot["remarks"] == "no tray (or among the 1 photo that failed)"
    assert [(r["photo"], r["number"], r["cards in the photo"]) for r in rows(settle_table(got))] == [
        ("a.jpg", None, "2"),
        ("b.jpg", None, "2"),
        ("c.jpg", None, ""),
    ]
    assert rows(failed_table(got)) == [
        {"photo": "d.jpg", "code": "blurred", "what is wrong": "It is blurred.", "what to do": "Again."}
    ]


def test_what_was_settled_stays_in_the_list() -> None:
    """The list that is written again holds what a person wrote, so that the next run knows it, too."""
    settled = {"b.jpg": None, "c.jpg": 4, "d.jpg": 5}
    got = results(tray("a.jpg", 2, seed=1), tray("b.jpg", 2, seed=2), tray("c.jpg"), failed("d.jpg"),
                  settled=settled)  # fmt: skip
    assert [(r["photo"], r["number"], r["why"]) for r in rows(settle_table(got))] == [
        ("b.jpg", "leave out", "settled by hand"),
        ("c.jpg", 4, "settled by hand"),
        ("d.jpg", 5, "settled by hand"),
    ]
    marks = rows(marks_table(got))
    assert (marks[1]["photo"], marks[3]["photo"], marks[3]["remarks"].split(";")[0]) == (  # type: ignore[attr-defined]
        *("a.jpg", "c.jpg", "named by hand"),
    )
    assert (marks[4]["mark"], marks[4]["remarks"]) == (
        *(None, "named by hand; the photo can't be measured: It is blurred."),
    )
    assert {row["photo"] for row in rows(pieces_table(got))} == {"a.jpg", "c.jpg"}


def test_pieces_have_a_row_each() -> None:
    """Each piece's sides with their give or take, its verdict in words; an unsettled tray has no name."""
    got = results(tray("a.jpg", 2, seed=1), tray("b.jpg", seed=2))
    table = rows(pieces_table(got))
    assert [row["photo"] for row in table] == ["a.jpg"] * 12 + ["b.jpg"] * 12
    piece = made.tray(12, 1).pieces[2]
    assert table[2] == {
        **{"number": 2, "name": "Ben", "photo": "a.jpg", "piece": 3},
        **{"length mm": round(piece.length.mm or 0, 3), "length give or take": 0.12},
        **{"width mm": round(piece.width.mm or 0, 3), "width give or take": 0.11},
        **{"height mm": round(piece.height.mm or 0, 3), "height give or take": 0.2},
        **{"verdict": "off size", "on size %": 2.0, "remarks": ""},
    }
    assert (table[12]["number"], table[12]["name"]) == (None, None)


def test_a_tray_handed_in_twice_is_pointed_out_and_not_acted_upon() -> None:
    """Both rows name the other photo and its student; both keep their marks."""
    got = results(tray("a.jpg", 2, seed=1), tray("b.jpg", 4, seed=1), tray("c.jpg", 5, seed=2))
    marks = rows(marks_table(got))
    assert marks[1]["remarks"] == "handed in twice? the same photo saved again as in 'b.jpg' of Dot (4)"
    assert marks[3]["remarks"] == "handed in twice? the same photo saved again as in 'a.jpg' of Ben (2)"
    assert [marks[k]["mark"] for k in (1, 3, 4)] == [61.3] * 3
    assert marks[4]["remarks"] == ""


def test_the_same_file_twice_counts_once_unless_a_person_says_so() -> None:
    """A copy is told beside its first name; given a number by hand it is a tray, and pointed out."""
    copy = Tray("b.jpg", f"{1:064x}", copy_of="a.jpg")
    once = rows(marks_table(results(tray("a.jpg", 2), copy)))
    assert once[1]["remarks"] == "'b.jpg' is the same file and not counted again"
    assert [row["photo"] for row in once] == [None, "a.jpg", None, None, None]
    twice = rows(marks_table(results(tray("a.jpg", 2), copy, settled={"b.jpg": 4})))
    assert (twice[3]["photo"], twice[3]["mark"]) == ("b.jpg", 61.3)
    assert "handed in twice? the same photo" in str(twice[1]["remarks"])


def test_nothing_that_could_be_marked_has_no_grade() -> None:
    """A tray none of whose sides could be judged is there, without a mark."""
    bare = tray("a.jpg", 2)
    assert bare.result is not None
    unmarked: Result = replace(bare.result, score=None)
    marks = rows(marks_table(results(replace(bare, result=unmarked))))
    assert (marks[1]["photo"], marks[1]["mark"], marks[1]["remarks"]) == (
        *("a.jpg", None, "nothing could be marked"),
    )


def test_penalties_and_what_is_not_marked_yet_are_told() -> None:
    """Points taken off stand with their reason, and lines that wait for a person are named."""
    few = GradePart("too few pieces", -2.0, 0.0, "18 pieces found, 20 are asked for")
    given = replace(GIVEN, parts=(*GIVEN.parts, few), not_marked=("hygiene",))
    got = class_results([tray("a.jpg", 2)], ROSTER, lambda tray, student: given)
    assert rows(marks_table(got))[1]["remarks"] == (
        "too few pieces: -2.0 (18 pieces found, 20 are asked for); not marked by hand yet: hygiene"
    )


# --- the files ----------------------------------------------------------------------------------------------


def test_names_are_no_formulas_in_csv(tmp_path: Path) -> None:
    """Read by the standard library's csv, a name that begins like a formula has an apostrophe before it."""
    write_results(tmp_path, results(tray("a.jpg", 1)))
    text = (tmp_path / "marks.csv").read_bytes().decode("utf-8-sig")
    read = list(csv.DictReader(io.StringIO(text)))
    assert [row["name"] for row in read] == ["'=1+1", "Ben", "'@Cy", "Dot", "Eve"]
    assert (read[0]["mark"], read[0]["number"], read[1]["mark"]) == ("61.3", "1", "")


def test_openpyxl_reads_the_workbook(tmp_path: Path) -> None:
    """An independent reader finds both sheets, figures as numbers, and names as text and not as formulas."""
    got = results(tray("a.jpg", 1), tray("b.jpg", 3, seed=2))
    write_results(tmp_path, got)
    book = openpyxl.load_workbook(tmp_path / "results.xlsx")
    assert book.sheetnames == ["marks", "pieces"]
    for sheet, table in ((book["marks"], marks_table(got)), (book["pieces"], pieces_table(got))):
        read = [tuple(cell.value for cell in row) for row in sheet.iter_rows()]
        assert read == [table.head, *(tuple(None if c == "" else c for c in row) for row in table.rows)]
        assert {cell.data_type for row in sheet.iter_rows() for cell in row} <= {"s", "n"}  # "f" is a formula
    assert book["marks"]["B2"].value == "=1+1"
    assert book["marks"].freeze_panes == "A2"


@given(st.lists(st.text(st.characters(exclude_categories=("Cs", "Cc"))), min_size=1, max_size=8))
def test_any_text_comes_back_from_the_workbook(texts: list[str]) -> None:
    """Text of any kind (formulas, links, figures, escapes of the format itself) is read as it was written."""
    data = workbook([Table("marks", ("name",), tuple((text,) for text in ["=1+1", "_x0041_", *texts]))])
    sheet = openpyxl.load_workbook(io.BytesIO(data))["marks"]
    read = [sheet.cell(row, 1).value or "" for row in range(2, len(texts) + 4)]
    assert read == ["=1+1", "_x0041_", *texts]


def test_the_same_results_give_the_same_bytes(tmp_path: Path) -> None:
    """Written twice, also the workbook, whose form has dates inside, is the same; stale files go."""
    got = results(tray("a.jpg", 1), failed("b.jpg"))
    first = {path.name: path.read_bytes() for path in write_results(tmp_path, got)}
    assert sorted(first) == ["failed.csv", "marks.csv", "pieces.csv", "results.xlsx"]
    assert {path.name: path.read_bytes() for path in write_results(tmp_path, got)} == first
    write_results(tmp_path, results(tray("a.jpg", 1)))
    assert not (tmp_path / "failed.csv").exists()


@pytest.mark.parametrize(
    "line",
    [
        "5 students, 5 photos",
        "  2 marked: 2 passed, 0 not",
        "  2 for a second look, the mark is too close to the pass mark: =1+1, Ben",
        "  to settle: 'c.jpg', nobody in the roster has card 77",
        "  failed: 'd.jpg' (blurred). It is blurred. Again.",
        "  left out by hand: e.jpg",
        "  3 students without a tray: @Cy (3), Dot (4), Eve (5)",
        "  handed in twice? 'a.jpg' and 'b.jpg': the same photo saved again",
        "Write the right card number beside each photo in to-settle.csv and run the same command again.",
        "Written: marks.csv",
    ],
)
def test_the_summary_tells_what_there_is_to_do(line: str) -> None:
    """Marked, second look, to settle, failed, left out, missing, twice, and where the files are."""
    got = results(
        *(tray("a.jpg", 1), tray("b.jpg", 2), tray("c.jpg", 77, seed=2), failed("d.jpg")),
        tray("e.jpg", 4, seed=3),
        settled={"e.jpg": None},
    )
    assert line in summary(Done(got, (Path("marks.csv"),))).splitlines()
