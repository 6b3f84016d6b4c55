"""An invented class, to look at before there is one of one's own: people, pieces and pictures are made up.

The pieces are drawn from sides that cooks of different skill could cut, judged and graded as any tray is.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.gradebook_entries import SchoolClass
from cutcheck.classroom.rubric import HandLine, Penalty, Rubric
from cutcheck.photo_copy import PhotoCopy
from cutcheck.picture import encode
from cutcheck.records import SIDES, BudgetLine, Measure, PhotoInfo, Piece, Point, Result, Scale
from cutcheck.standards import Cut, find_cut
from cutcheck.verdict import judge

NAME = "Sample class (invented)"
WHO = "B. Example"
# How far their sides spread, as a share of the side, and how far they are off.
PEOPLE = (
    ("Ada Example", 0.05, 0.0),
    ("Ben Example", 0.13, 0.06),
    ("Cleo Example", 0.09, -0.03),
    ("Dev Example", 0.21, 0.10),
    ("Elif Example", 0.07, 0.02),
    ("Finn Example", 0.16, -0.05),
)
WORK = (("Dice", "small-dice", "2026-09-14"), ("Larger dice", "medium-dice", "2026-09-28"),
        ("Dice again", "small-dice", "2026-10-12"))  # fmt: skip
MISSING = ("Dice again", "Finn Example")
PIECES, COLUMNS, PX_MM = 30, 6, 5.0
SIZE_PX = (900, 680)
_CARD: tuple[Point, ...] = ((640.0, 60.0), (860.0, 60.0), (860.0, 200.0), (640.0, 200.0))
_BOARD, _SIDE, _TOP = (226, 232, 234), (30, 96, 196), (52, 134, 238)


def make_sample(path: Path) -> SchoolClass:
    """Write the class into a new gradebook at ``path``."""
    rng = np.random.default_rng(14)
    rubric = Rubric(
        name="Sample",
        sample_size=PIECES,
        pass_mark=60.0,
        few=Penalty(20.0, 1.0, 20.0),
        hand_lines=(HandLine("hygiene", 10.0, "board, knife, hands"),),
    )
    with Gradebook.open(path) as book:
        course = book.add_class(NAME, "2026-09-01", "2026-12-18")
        people = [book.add_student(course.id, one[0], k).student for k, one in enumerate(PEOPLE, 1)]
        for at, (name, cut_name, day) in enumerate(WORK):
            cut = find_cut(cut_name, "inch")
            work = book.add_assignment(
                course.id, name, cut=cut_name, rubric=rubric, day=day, standard=cut.standard
            )
            for number, (student, (_, spread, off)) in enumerate(zip(people, PEOPLE, strict=True), 1):
                if (name, student.name) == MISSING:
                    continue
                result = _tray(rng, cut, number, spread * (1.0 - 0.15 * at), off)
                picture = PhotoCopy("image/jpeg", encode(_drawn(result), ".jpg"))
                marks = {} if at == len(WORK) - 1 and number > 3 else {"hygiene": 10.0 - number % 3}
                book.keep(work.id, student.id, result, who=WHO, hand_marks=marks, photo=picture)
    return course


def _tray(rng: np.random.Generator, cut: Cut, number: int, spread: float, off: float) -> Result:
    side = float(np.mean(cut.targets[0].size_mm))
    sides = side * (1.0 + off + spread * rng.standard_normal((PIECES, 3)))
    pieces = [_piece(rng, k, np.sort(row)[::-1]) for k, row in enumerate(np.clip(sides, 0.4 * side, None))]
    judged = judge(pieces, cut)
    return Result(
        photo=PhotoInfo("drawn.jpg", rng.bytes(32).hex(), *SIZE_PX, None),
        scale=Scale("card", (number,), 1.0 / PX_MM, 0.0, 0.1, 1200.0, "solved", (_CARD,)),
        pieces=judged.pieces,
        cut=cut.cut_name,
        score=judged.score,
        warnings=("This tray is invented: its picture is drawn.",),
    )


def _piece(rng: np.random.Generator, k: int, mm: NDArray[np.float64]) -> Piece:
    x, y = 70.0 + 92.0 * (k % COLUMNS), 90.0 + 118.0 * (k // COLUMNS)
    turn = rng.uniform(0.0, np.pi)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * mm[:2] / 2.0 * PX_MM
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    top = corners @ spin.T + [x, y]
    foot = top + np.array([0.0, 0.3 * mm[2] * PX_MM])
    hull = cv2.convexHull(np.vstack([top, foot]).astype(np.float32)).reshape(-1, 2)
    u = (0.1, 0.1, 0.18)
    length, width, height = (Measure(float(v), u95) for v, u95 in zip(mm, u, strict=True))
    return Piece(
        k + 1,
        (x, y),
        tuple((float(a), float(b)) for a, b in hull),
        "box",
        length,
        width,
        height,
        budget=tuple(BudgetLine(n, "edges", 0.5 * u95) for n, u95 in zip(SIDES, u, strict=True)),
        top_px=tuple((float(a), float(b)) for a, b in top),
    )


def _drawn(result: Result) -> NDArray[np.uint8]:
    pixels = np.full((SIZE_PX[1], SIZE_PX[0], 3), _BOARD, np.uint8)
    for piece in result.pieces:
        for outline, colour in ((piece.outline_px, _SIDE), (piece.top_px, _TOP)):
            cv2.fillPoly(pixels, [np.round(outline).astype(np.int32)], colour, cv2.LINE_AA)
    low, high = ((int(x), int(y)) for x, y in (_CARD[0], _CARD[2]))
    cv2.rectangle(pixels, low, high, (255, 255, 255), -1)
    cv2.rectangle(pixels, low, high, (0, 0, 0), 2)
    at = (low[0] + 70, high[1] - 40)
    number, font = str(result.scale.numbers[0]), cv2.FONT_HERSHEY_SIMPLEX
    cv2.putText(pixels, number, at, font, 3.0, (0, 0, 0), 6, cv2.LINE_AA)
    return pixels
