"""The gradebook: classes, whose card is whose, assignments and graded trays, in the journal's own file.

with Gradebook.open() as book:
    course = book.add_class("Cuts, autumn", "2026-09-01", "2026-12-18")
    ada = book.add_student(course.id, "Ada Example", 7)
    dice = book.add_assignment(course.id, "Dice", cut="small-dice", rubric=usual_rubric(), day="2026-10-05")
    book.keep(dice.id, ada.student.id, result, who="B. Example")

Each change is one transaction. Grades are apart from practice: nothing here reads or writes a cook's journal.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, cast

from sqlalchemy import Connection, Engine, delete, func, insert, select, update

from cutcheck import serialise
from cutcheck.classroom import gradebook_log as log
from cutcheck.classroom.grade import Weights, grade, scale_of
from cutcheck.classroom.gradebook_assignments import Assignments
from cutcheck.classroom.gradebook_entries import Forgotten, Grading, Mark
from cutcheck.classroom.gradebook_rows import (
    cut_of,
    find_assignment,
    find_student,
    fitting,
    grade_of,
    grade_row,
    mark_of,
    mark_rows,
    result_of,
    rows_where,
)
from cutcheck.errors import CutcheckError
from cutcheck.journal.database import journal_path, open_database, reading, writing
from cutcheck.journal.schema import grade_log, grading_photos, gradings
from cutcheck.photo_copy import PhotoCopy
from cutcheck.records import Result
from cutcheck.settings import load_settings


def utc_now() -> datetime:
    """The time now."""
    return datetime.now(UTC)


class Gradebook(Assignments):
    """A gradebook in a journal's file. ``clock`` tells the time; safe to use from several threads."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime] = utc_now) -> None:
        super().__init__(engine, clock)

    @classmethod
    def open(cls, path: str | Path | None = None, clock: Callable[[], datetime] = utc_now) -> Gradebook:
        """The gradebook in the journal at ``path``, else in the user's own; made if there is none."""
        return cls(open_database(journal_path(path)), clock)

    def __enter__(self) -> Gradebook:
        return self

    def __exit__(self, *_: object) -> None:
        self.engine.dispose()

    # ---- graded trays

    def keep(
        self,
        assignment_id: int,
        student_id: int,
        result: Result,
        *,
        who: str,
        weights: Weights | None = None,
        hand_marks: Mapping[str, float] | None = None,
        excluded: Mapping[int, str] | None = None,
        photo: PhotoCopy | None = None,
        scale_u: float | None = None,
        why: str = "",
    ) -> Grading:
        """Grade a student's tray and keep it whole. Minutes are those in ``weights``.

        A second tray of one student for one assignment takes the first one's place only with a reason
        (``why``), and the log keeps the first mark. The same photo for two students is refused.
        """
        who = log.needed(who, "Who does this")
        extras = weights or Weights()
        scale_u = scale_of(result) if scale_u is None else scale_u
        # Graded as it is kept, to the last decimal: graded again it gives the same.
        kept_as = serialise.to_dict(result, with_budget=True)
        result = serialise.from_dict(kept_as)
        with writing(self.engine) as connection:
            found, student = find_assignment(connection, assignment_id), find_student(connection, student_id)
            rubric = found.rubric
            given = grade(
                result,
                rubric,
                weights=extras,
                minutes=extras.minutes,
                hand_marks=hand_marks,
                excluded=excluded,
                cut=cut_of(found),
                scale_u=scale_u,
            )
            of_photo = (gradings.c.assignment_id == assignment_id, gradings.c.sha256 == result.photo.sha256)
            if connection.execute(
                select(gradings.c.id).where(*of_photo, gradings.c.student_id != student_id)
            ).first():
                raise _bad("This very photo is another student's tray already.", "Settle whose it is first.")
            mine = (gradings.c.assignment_id == assignment_id, gradings.c.student_id == student_id)
            before = connection.execute(select(gradings).where(*mine)).mappings().first()
            if before is not None:
                why = log.needed(why, f"{student.name} has a mark for this already; the reason for a new one")
            row = {
                "assignment_id": assignment_id,
                "student_id": student_id,
                "sha256": result.photo.sha256,
                "kept": log.moment(connection, self.clock()),
                **grade_row(given),
                "hand_marks": dict(hand_marks or {}),
                "extras": asdict(extras),
                "scale_u": scale_u,
                "result": kept_as,
            }
            if before is None:
                row["key"] = uuid.uuid4().hex
                done = connection.execute(insert(gradings).values(**row)).inserted_primary_key
                number = int(cast(Any, done)[0])
            else:
                number, row["key"] = before["id"], before["key"]
                connection.execute(update(gradings).where(gradings.c.id == number).values(**row))
                connection.execute(delete(grading_photos).where(grading_photos.c.grading_id == number))
            if photo is not None:
                connection.execute(
                    insert(grading_photos).values(grading_id=number, kind=photo.kind, data=photo.data)
                )
            what = log.GRADED if before is None else log.AGAIN
            first = None if before is None else before["points"]
            self._log(connection, found, who, what, why, row=row, before=first, after=given.points)
            return _grading(connection, number)

    def grade_again(
        self,
        grading_id: int,
        *,
        who: str,
        why: str,
        hand_marks: Mapping[str, float] | None = None,
        excluded: Mapping[int, str] | None = None,
        weights: Weights | None = None,
    ) -> Grading:
        """Give other hand marks, exclude other pieces (each with a reason) or correct weights and minutes;
        what is None stays. The tray is not measured again."""
        who, why = log.needed(who, "Who does this"), log.needed(why, "The reason")
        with writing(self.engine) as connection:
            row = rows_where(connection, gradings.c.id == grading_id)
            if not row:
                raise _gone()
            found = find_assignment(connection, row[0]["assignment_id"])
            marks = row[0]["hand_marks"] if hand_marks is None else dict(hand_marks)
            used = fitting(marks, found.rubric) if hand_marks is None else marks
            out = {int(n): r for n, r in row[0]["excluded"].items()} if excluded is None else dict(excluded)
            extras = Weights(**row[0]["extras"]) if weights is None else weights
            given = grade(
                result_of(row[0]),
                found.rubric,
                weights=extras,
                minutes=extras.minutes,
                hand_marks=used,
                excluded=out,
                cut=cut_of(found),
                scale_u=row[0]["scale_u"],
            )
            values = {**grade_row(given), "hand_marks": marks, "extras": asdict(extras)}
            connection.execute(update(gradings).where(gradings.c.id == grading_id).values(**values))
            was = row[0]["points"]
            self._log(connection, found, who, log.AGAIN, why, row=row[0], before=was, after=given.points)
            return _grading(connection, grading_id)

    def override(self, grading_id: int, points: float | None, *, who: str, why: str) -> Mark:
        """Set another mark, 0 to 100, by hand; None takes it back. The first mark stays beside it."""
        who, why = log.needed(who, "Who does this"), log.needed(why, "The reason")
        if points is not None and not 0.0 <= points <= 100.0:
            raise _bad(f"A mark can't be {points:g}.", "Give 0 to 100 points.")
        with writing(self.engine) as connection:
            row = connection.execute(mark_rows().where(gradings.c.id == grading_id)).mappings().first()
            if row is None:
                raise _gone()
            found = find_assignment(connection, row["assignment_id"])
            before = row["points"] if row["given"] is None else row["given"]
            self._log(connection, found, who, log.SET, why, row=cast(Any, row), before=before, after=points)
            again = connection.execute(mark_rows().where(gradings.c.id == grading_id)).mappings().one()
            return mark_of(cast(Any, again), found.rubric)

    def take_back(self, grading_id: int, *, who: str, why: str) -> None:
        """Remove one graded tray that was another student's, or nobody's. The log keeps the mark."""
        who, why = log.needed(who, "Who does this"), log.needed(why, "The reason")
        with writing(self.engine) as connection:
            row = rows_where(connection, gradings.c.id == grading_id)
            if not row:
                raise _gone()
            found, was = find_assignment(connection, row[0]["assignment_id"]), row[0]["points"]
            self._log(connection, found, who, log.TAKEN_BACK, why, row=row[0], before=was)
            connection.execute(delete(gradings).where(gradings.c.id == grading_id))

    def grading(self, grading_id: int) -> Grading:
        """One graded tray with its pieces and its lines of the log."""
        with reading(self.engine) as connection:
            return _grading(connection, grading_id)

    def photo(self, grading_id: int) -> PhotoCopy | None:
        """The kept photo of a graded tray, if there is one."""
        query = select(grading_photos.c.kind, grading_photos.c.data)
        with reading(self.engine) as connection:
            row = connection.execute(query.where(grading_photos.c.grading_id == grading_id)).first()
        return None if row is None else PhotoCopy(row.kind, row.data)

    # ---- the end of a grading

    def forget_old(self, now: datetime | None = None, days: float | None = None) -> Forgotten:
        """Remove graded work that was kept for more than ``days`` (the setting ``graded_days`` where None).

        The log stays, with a pseudonym. The age counts from when the work was graded; a clock that jumps
        back only makes it wait.
        """
        days = load_settings().graded_days if days is None else days
        moment = now or self.clock()
        moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
        before = (moment - timedelta(days=days)).isoformat(timespec="seconds")
        with writing(self.engine) as connection:
            old = rows_where(connection, gradings.c.kept < before)
            numbers = [row["id"] for row in old]
            count = select(func.count()).select_from(grading_photos)
            photos = sum(
                connection.execute(count.where(grading_photos.c.grading_id == n)).scalar() or 0
                for n in numbers
            )
            for row in old:
                found = find_assignment(connection, row["assignment_id"])
                what, why = log.FORGOTTEN, f"kept for {days:g} days"
                self._log(connection, found, "cutcheck", what, why, row=row, now=moment)
                connection.execute(delete(gradings).where(gradings.c.id == row["id"]))
        return Forgotten(len(numbers), photos)


def _grading(connection: Connection, grading_id: int) -> Grading:
    rows = rows_where(connection, gradings.c.id == grading_id)
    if not rows:
        raise _gone()
    row = rows[0]
    photo = select(grading_photos.c.kind).where(grading_photos.c.grading_id == grading_id)
    return Grading(
        id=row["id"],
        key=row["key"],
        assignment=find_assignment(connection, row["assignment_id"]),
        student=find_student(connection, row["student_id"]),
        sha256=row["sha256"],
        kept=row["kept"],
        grade=grade_of(row),
        hand_marks=row["hand_marks"],
        extras=Weights(**row["extras"]),
        scale_u=row["scale_u"],
        result=result_of(row),
        has_photo=connection.execute(photo).first() is not None,
        log=log.lines(connection, grade_log.c.grading_key == row["key"]),
    )


def _gone() -> CutcheckError:
    return _bad("That graded tray is not in the gradebook.", "It may have been removed, or past its time.")


def _bad(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("class", problem=problem, remedy=remedy)
