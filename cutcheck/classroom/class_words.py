"""A class's term in plain words: who improves, who needs a look, the weakest cut, and what can't be told."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean
from typing import Any

from cutcheck import table, words
from cutcheck.classroom.class_term import FEWEST, MISSED, ClassTerm, CutTerm, StudentTerm
from cutcheck.printable import listed

CAUTION = (
    "Changes are told within each cut. All students were looked at together, so that of those named for one "
    "reason 1 in 20 or fewer is named by luck. It says where to look, and no reason: look before you judge."
)


def sayings(term: ClassTerm) -> list[str]:
    """What there is to be said of the class, in sentences."""
    if term.days is None:
        return ["No tray was graded yet."]
    lines = []
    told = len(term.students) - len(term.too_few)
    if told:
        names = listed([one.name for one in term.improving])
        lines.append(f"Improving: {names or 'nobody for sure'}.")
    looks = [f"{one.name} ({', '.join(reasons(one))})" for one in term.to_look_at]
    if looks:
        lines.append(f"Look at: {'; '.join(looks)}.")
    elif told:
        lines.append("Look at: nobody stands out.")
    if term.too_few:
        lines.append(
            f"Too few yet: of {words.count(len(term.too_few), 'student')} no change can be told "
            f"({FEWEST} trays of cuts made more than once are needed)."
        )
    lines.append(weakest_saying(term))
    if term.hidden:
        lines.append(f"Left out, since it is still graded blind: {', '.join(term.hidden)}.")
    return lines


def weakest_saying(term: ClassTerm) -> str:
    """The cut that the class is weakest at, or why none is named."""
    if term.weakest is not None:
        at = f"{term.weakest.level:.0f} on average"
        return f"Weakest cut: {words.cut_title(term.weakest.cut)} ({at}), lower than each other one."
    if not term.weakest_testable:
        return f"Weakest cut: too few yet ({FEWEST} students who made two cuts are needed)."
    lowest = listed([words.cut_title(one.cut) for one in term.cuts[:2]])
    return f"Weakest cut: none for sure; lowest are {lowest}, and it may be luck."


def reasons(student: StudentTerm) -> list[str]:
    """Why a student needs a look."""
    found = []
    if student.falls and student.trend is not None:
        found.append(f"falls by {abs(student.trend.slope):.1f} marks a week")
    if student.behind:
        below = -fmean(student.against)
        found.append(f"{below:.0f} marks below the middle of the class")
    if student.missed >= MISSED:
        found.append(f"no tray for the last {words.count(student.missed, 'assignment')}")
    return found


def change(student: StudentTerm) -> str:
    """A student's change in a few words, for a table."""
    if student.trend is None:
        return "too few yet"
    if not (student.improves or student.falls):
        return "no clear change"
    return f"{student.trend.slope:+.1f} a week"


def student_sayings(student: StudentTerm) -> list[str]:
    """What there is to be said of one student."""
    if not student.marks:
        return ["No tray was graded yet."]
    last = student.marks[-1]
    lines = [f"The last mark is {last.mark:.0f} ({last.low:.0f} to {last.high:.0f})."]
    found = student.trend
    if found is None:
        lines.append(
            f"Too few yet to tell a change from luck: {words.count(len(student.marks), 'tray')}; {FEWEST} of "
            "cuts made more than once are needed."
        )
    elif student.improves or student.falls:
        way = "rise" if found.slope > 0 else "fall"
        ends = sorted((abs(found.slope_low), abs(found.slope_high)))
        if found.slope_low * found.slope_high < 0:
            ends[0] = 0.0
        lines.append(
            f"The marks {way} by {abs(found.slope):.1f} a week within each cut "
            f"({ends[0]:.1f} to {ends[1]:.1f})."
        )
    else:
        lines.append(
            "No clear change within the cuts: anything from "
            f"{found.slope_low:+.1f} to {found.slope_high:+.1f} marks a week would fit."
        )
    lines += [f"{reason[0].upper()}{reason[1:]}." for reason in reasons(student)[int(student.falls) :]]
    return lines


def student_rows(students: Sequence[StudentTerm]) -> list[list[str]]:
    """The table of students, with its head."""
    rows = [["student", "trays", "mark lately", "change", "look"]]
    for one in students:
        lately = "-" if one.lately is None else f"{one.lately:.0f}"
        rows.append([one.name, str(len(one.marks)), lately, change(one), "yes" if one.needs_a_look else ""])
    return rows


def cut_rows(cuts: Sequence[CutTerm]) -> list[list[str]]:
    """The table of cuts, the weakest first, with its head."""
    rows = [["cut", "trays", "students", "mean mark", "lowest", "highest"]]
    for one in cuts:
        marks = [mark.mark for mark in one.marks]
        figures = [f"{one.level:.0f}", f"{min(marks):.0f}", f"{max(marks):.0f}"]
        rows.append([words.cut_title(one.cut), str(len(marks)), str(one.students), *figures])
    return rows


def title(term: ClassTerm) -> str:
    """The class, and from when to when."""
    return term.name if term.days is None else f"{term.name}, {term.days[0]} to {term.days[1]}"


def whole(term: ClassTerm) -> str:
    """The term for a terminal."""
    parts = [title(term), "\n".join(f"  {line}" for line in sayings(term))]
    parts.append(table.columns(cut_rows(term.cuts)) if term.cuts else "")
    parts.append(table.columns(student_rows(term.students)) if term.students else "")
    return "\n\n".join(part for part in [*parts, CAUTION] if part)


def to_dict(term: ClassTerm) -> dict[str, Any]:
    """The term for ``--json``."""
    return {
        "class": term.name,
        "days": term.days,
        "said": sayings(term),
        "cuts": [
            {"cut": one.cut, "trays": len(one.marks), "students": one.students, "mean_of_students": one.level}
            for one in term.cuts
        ],
        "weakest": None if term.weakest is None else term.weakest.cut,
        "students": [
            {
                "name": one.name,
                "trays": len(one.marks),
                "lately": one.lately,
                "trend": None
                if one.trend is None
                else {name: getattr(one.trend, name) for name in one.trend.__slots__},
                "improves": one.improves,
                "falls": one.falls,
                "behind": one.behind,
                "missed": one.missed,
            }
            for one in term.students
        ],
    }
