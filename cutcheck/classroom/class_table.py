"""What a run over a class's folder says at its start and its end, in plain lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from cutcheck.classroom.class_run import Done
from cutcheck.classroom.folder_run import Start
from cutcheck.classroom.result_files import TO_SETTLE
from cutcheck.words import count

SHOWN = 8  # names in one line; the files have all


def start_text(start: Start) -> str:
    """What was measured before, what is measured again and why, and what was left alone."""
    lines = []
    if start.again:
        changed = ", ".join(start.changed)
        lines.append(f"Changed since the last run: {changed}. {count(start.again, 'photo')} measured again.")
    if start.before:
        lines.append(f"Measured before: {count(start.before, 'photo')}; to measure: {start.to_do}.")
    if start.other_files:
        lines.append(f"Left alone, no photos: {_some(start.other_files)}.")
    return "\n".join(lines)


def summary(done: Done) -> str:
    """Who is marked, who needs a second look, what is to settle, what failed, who is missing, and where the
    files are."""
    results, naming = done.results, done.results.naming
    students = count(len(results.roster.students), "student")
    lines = [f"{students}, {count(len(results.trays), 'photo')}", *_indented(_lines(done))]
    for repeat in results.repeats:
        what = {"photo": "the same photo saved again", "pieces": "the same pieces"}[repeat.kind]
        lines.append(f"  handed in twice? '{repeat.first}' and '{repeat.second}': {what}")
    if naming.unsettled:
        lines.append(
            f"Write the right card number beside each photo in {TO_SETTLE} and run the same command again."
        )
    lines.append(f"Written: {', '.join(str(path) for path in done.files)}")
    return "\n".join(lines)


def _lines(done: Done) -> Iterator[str]:
    results, naming = done.results, done.results.naming
    grades = [results.grades[one.photo] for one in naming.named if one.photo in results.grades]
    judged = [grade for grade in grades if grade.passed is not None]
    passed = sum(bool(grade.passed) for grade in judged)
    of = f": {passed} passed, {len(judged) - passed} not" if judged else ""
    yield f"{len(grades)} marked{of}"
    looks = [
        one.student.name
        for one in naming.named
        if one.photo in results.grades and results.grades[one.photo].second_look
    ]
    if looks:
        yield f"{len(looks)} for a second look, the mark is too close to the pass mark: {_some(looks)}"
    for one in naming.unsettled:
        yield f"to settle: '{one.photo}', {one.told}"
    for tray in results.failed:
        error = tray.error or {}
        yield f"failed: '{tray.photo}' ({error['code']}). {error['message']} {error['remedy']}"
    for tray in results.copies:
        yield f"'{tray.photo}' is the same file as '{tray.copy_of}' and not counted again"
    if naming.left_out:
        yield f"left out by hand: {_some(naming.left_out)}"
    if naming.missing:
        missing = [f"{student.name} ({student.number})" for student in naming.missing]
        yield f"{count(len(missing), 'student')} without a tray: {_some(missing)}"


def _indented(lines: Iterable[str]) -> Iterator[str]:
    return (f"  {line}" for line in lines)


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return ", ".join(names[:SHOWN]) + more
