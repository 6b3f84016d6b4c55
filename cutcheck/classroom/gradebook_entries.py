"""What the gradebook holds, as typed, immutable records. Days are ISO dates, times ISO 8601 in UTC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cutcheck.classroom.grade import Grade
from cutcheck.classroom.rubric import Rubric, parse_rubric
from cutcheck.journal.entries import Extras
from cutcheck.records import Result


@dataclass(frozen=True, slots=True)
class SchoolClass:
    """A class, from its first day to its last."""

    id: int
    key: str
    name: str
    begins: str
    ends: str


@dataclass(frozen=True, slots=True)
class Pupil:
    """A person of the gradebook. Two of one name are two persons."""

    id: int
    key: str
    name: str


@dataclass(frozen=True, slots=True)
class Member:
    """Whose a card number is in a class, from a day to a day, both included."""

    id: int
    student: Pupil
    number: int
    begins: str
    ends: str


@dataclass(frozen=True, slots=True)
class Assignment:
    """A tray that a class hands in. ``rubric_text`` and ``standard_text`` are as they were on that day."""

    id: int
    key: str
    class_id: int
    name: str
    cut: str
    standard: str | None
    standard_text: str | None
    produce: str | None
    rubric_text: str
    day: str
    blind: bool

    @property
    def rubric(self) -> Rubric:
        """The rubric of that day."""
        return parse_rubric(self.rubric_text, f"the rubric of '{self.name}'")


@dataclass(frozen=True, slots=True)
class Mark:
    """A line of the class page: one student's mark for one assignment, without the pieces.

    ``points`` is the mark that was measured; ``given`` the one that counts, another where the instructor set
    one (``set_by_hand``). ``scale_text`` and ``passed`` are those of ``given``.
    """

    id: int
    key: str
    assignment_id: int
    student_id: int
    points: float
    given: float
    low: float
    high: float
    sample_low: float
    sample_high: float
    scale_text: str
    passed: bool
    second_look: bool
    pass_probability: float
    counted: int
    excluded: int
    points_all: float
    not_marked: tuple[str, ...]
    kept: str
    set_by_hand: bool


@dataclass(frozen=True, slots=True)
class LogLine:
    """A line of the log. ``student`` is a name, or a pseudonym where the person or the work is gone."""

    id: int
    written: str
    who: str
    what: str
    student: str
    grading_key: str | None
    before: float | None
    after: float | None
    why: str

    @property
    def text(self) -> str:
        """``"2026-03-04 10:20, B. Example: mark set, Ada Example, 48 to 52 (measured through a shadow)"``."""
        parts = [f"{self.written[:16].replace('T', ' ')}, {self.who}: {self.what}"]
        parts += [self.student] if self.student else []
        if self.before is not None and self.after is not None:
            parts.append(f"{self.before:.1f} to {self.after:.1f}")
        return ", ".join(parts) + (f" ({self.why})" if self.why else "")


@dataclass(frozen=True, slots=True)
class Grading:
    """One student's graded tray with all that went into its mark."""

    id: int
    key: str
    assignment: Assignment
    student: Pupil
    sha256: str
    kept: str
    grade: Grade
    hand_marks: Mapping[str, float]
    extras: Extras
    scale_u: float
    result: Result
    has_photo: bool
    log: tuple[LogLine, ...] = ()


@dataclass(frozen=True, slots=True)
class Overview:
    """All that a class page shows. ``marks`` is by (student id, assignment id)."""

    school_class: SchoolClass
    members: tuple[Member, ...]
    assignments: tuple[Assignment, ...]
    marks: Mapping[tuple[int, int], Mark]

    @property
    def second_looks(self) -> tuple[Mark, ...]:
        """The marks whose interval holds the pass mark, the most doubtful first; not those already set."""
        found = [mark for mark in self.marks.values() if mark.second_look and not mark.set_by_hand]
        return tuple(sorted(found, key=lambda mark: abs(mark.pass_probability - 0.5)))


@dataclass(frozen=True, slots=True)
class Forgotten:
    """How many gradings, and photos among them, went past their time."""

    gradings: int
    photos: int
