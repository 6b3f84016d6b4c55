"""How long a class of 30 with 20 assignments takes to open: ``python tests/benchmarks/gradebook.py``.

The class is invented: 600 graded trays of 40 pieces, each with budgets, 300 of them set by hand.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import trays
from streamlit.testing.v1 import AppTest

from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.rubric import usual_rubric

STUDENTS, ASSIGNMENTS, READS = 30, 20, 5


def fill(book: Gradebook) -> int:
    """A class with all its trays; returns its id."""
    course = book.add_class("Invented", "2026-01-12", "2026-06-26")
    people = [book.add_student(course.id, f"Student {k}", k).student for k in range(1, STUDENTS + 1)]
    tray = trays.tray(40)
    for a in range(ASSIGNMENTS):
        work = book.add_assignment(
            course.id, f"Week {a + 1}", cut="small-dice", rubric=usual_rubric(), day=f"2026-03-{a + 1:02d}"
        )
        for k, student in enumerate(people):
            photo = replace(tray.photo, sha256=f"{1000 * a + k:064x}")
            kept = book.keep(work.id, student.id, replace(tray, photo=photo), who="B. Example")
            if k % 2:
                book.override(kept.id, 60.0, who="B. Example", why="looked at by eye")
    return course.id


def time_the_page(path: Path) -> None:
    """Time 'My class' as the page draws it (Streamlit's test client): opened, then drawn again."""
    os.environ["CUTCHECK_JOURNAL"] = str(path)
    script = "from cutcheck.page.places import my_class\nmy_class.show()\n"
    for _ in range(READS):
        page = AppTest.from_string(script, default_timeout=60)
        for what in ("opened", "drawn again"):
            wall = time.perf_counter()
            page.run()
            assert not page.exception
            print(f"the page's place {what} in {time.perf_counter() - wall:.3f} s")


def main() -> None:
    """Fill a gradebook and time opening the file and reading what the class page shows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.sqlite"
        started = time.perf_counter()
        class_id = fill(Gradebook.open(path))
        size = path.stat().st_size / 1e6
        print(
            f"filled {STUDENTS * ASSIGNMENTS} trays in {time.perf_counter() - started:.1f} s, {size:.0f} MB"
        )
        for _ in range(READS):
            wall, cpu = time.perf_counter(), time.process_time()
            with Gradebook.open(path) as book:
                marks = book.overview(class_id).marks
            told = f"{time.perf_counter() - wall:.3f} s, of the processor {time.process_time() - cpu:.3f} s"
            print(f"opened and read {len(marks)} marks in {told}")
        time_the_page(path)


if __name__ == "__main__":
    main()
