"""What another rubric would do to a class's marks, before it is taken. Nothing is changed."""

from __future__ import annotations

from dataclasses import dataclass

from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.rubric import Rubric


@dataclass(frozen=True, slots=True)
class Change:
    """One student's mark now and by the other rubric. A mark set by hand (``by_hand``) stays as it is."""

    grading_id: int
    student_id: int
    before: float
    after: float
    before_text: str
    after_text: str
    passed_before: bool
    passed_after: bool
    by_hand: bool

    @property
    def crosses(self) -> bool:
        """Does it change who passes?"""
        return self.passed_before != self.passed_after


@dataclass(frozen=True, slots=True)
class Preview:
    """The change for each tray of an assignment, in the order of keeping."""

    changes: tuple[Change, ...]

    @property
    def crossing(self) -> tuple[Change, ...]:
        """Who would pass and does not now, or the other way round."""
        return tuple(change for change in self.changes if change.crosses)

    @property
    def text(self) -> str:
        """``"12 of 30 marks change, by -4.0 to +2.5; 1 more passes, 2 no longer pass."``"""
        moved = [c.after - c.before for c in self.changes if abs(c.after - c.before) >= 0.05]
        if not moved:
            told = f"None of {len(self.changes)} marks changes"
        else:
            by = f"by {min(moved):+.1f} to {max(moved):+.1f}"
            told = f"{len(moved)} of {len(self.changes)} marks change, {by}"
        gained = sum(change.passed_after for change in self.crossing)
        lost = len(self.crossing) - gained
        if not self.crossing:
            return f"{told}; the same students pass."
        parts = [f"{gained} more {'passes' if gained == 1 else 'pass'}"] if gained else []
        parts += [f"{lost} no longer {'passes' if lost == 1 else 'pass'}"] if lost else []
        return f"{told}; {', '.join(parts)}."


def preview(book: Gradebook, assignment_id: int, rubric: Rubric) -> Preview:
    """What ``book.change_rubric(assignment_id, rubric, ...)`` would do."""
    changes = []
    for mark, given in book.graded_again(assignment_id, rubric):
        after = mark.given if mark.set_by_hand else given.points
        changes.append(
            Change(
                mark.id,
                mark.student_id,
                mark.given,
                after,
                mark.scale_text,
                rubric.scale.text(after, rubric.pass_mark),
                mark.passed,
                after >= rubric.pass_mark,
                mark.set_by_hand,
            )
        )
    return Preview(tuple(changes))
