"""A class at once, the whole way: measure the folder, name the trays, grade them, write the tables.

photos  ->  measured, each once  ->  named  ->  graded  ->  marks, pieces, to settle, failed
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from cutcheck.classroom.asked import Asked
from cutcheck.classroom.folder_run import Start, Tray, photos_in, run_folder
from cutcheck.classroom.grade import Grade
from cutcheck.classroom.naming import read_settled
from cutcheck.classroom.result_files import TO_SETTLE, write_results
from cutcheck.classroom.results import ClassResults, class_results
from cutcheck.classroom.roster import Roster, Student
from cutcheck.classroom.run_store import run_store


class Done(NamedTuple):
    """A class's results, and the files they were written to."""

    results: ClassResults
    files: tuple[Path, ...]


def run_class(
    folder: str | Path,
    out: str | Path,
    roster: Roster,
    asked: Asked,
    grade_of: Callable[[Tray, Student | None], Grade],
    *,
    settle: str | Path | None = None,
    workers: int | None = None,
    on_start: Callable[[Start], None] = lambda start: None,
    on_done: Callable[[str], None] = lambda photo: None,
) -> Done:
    """Measure a folder of photos and write the class's results into the out folder.

    What a person settled is read from ``settle`` and from ``to-settle.csv`` in the out folder; for one photo
    ``settle`` counts. Raises ``no-file``, ``roster``, ``class``, or what a wrong cut raises.
    """
    out = Path(out)
    names = photos_in(folder)[0]
    _settled(out, settle, roster, list(names))  # a wrong list is told before the photos are measured
    with run_store(out) as store:
        trays = run_folder(folder, store, asked, workers=workers, on_start=on_start, on_done=on_done)
        # Read again: it may have been filled in while the photos were measured.
        settled = _settled(out, settle, roster, [tray.photo for tray in trays])
        results = class_results(trays, roster, grade_of, settled)
        return Done(results, write_results(out, results))


def _settled(
    out: Path, settle: str | Path | None, roster: Roster, photos: Sequence[str]
) -> dict[str, int | None]:
    settled: dict[str, int | None] = {}
    if (out / TO_SETTLE).is_file():
        settled |= read_settled(out / TO_SETTLE, roster, photos)
    if settle is not None:
        settled |= read_settled(settle, roster, photos)
    return settled
