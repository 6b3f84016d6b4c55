"""The bench: an assignment's photos as they are taken, looked at, named, measured and graded.

photo  ->  quick look, within seconds  ->  queue  ->  measured  ->  whose is it?  ->  gradebook

Each step is written down when it is done, beside the journal, so that a closed browser or a stopped program
loses nothing: the next one who opens the assignment goes on.

    bench/ASSIGNMENT/SHA256.photo     the file as it came, until its tray is graded
    bench/ASSIGNMENT/SHA256.json      what is known of it (``bench_photo``)
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import shutil
import threading
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from cutcheck import serialise
from cutcheck.access import must_be_here, vouched_for
from cutcheck.classroom.asked import Asked
from cutcheck.classroom.bench_photo import BenchPhoto
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.gradebook_entries import Assignment
from cutcheck.classroom.gradebook_rows import cut_of
from cutcheck.classroom.look import Look
from cutcheck.classroom.measuring import measured
from cutcheck.classroom.naming import Naming, name_trays
from cutcheck.classroom.quick_look import quick_look
from cutcheck.classroom.repeats import Repeat, find_repeats
from cutcheck.classroom.run_store import write_whole
from cutcheck.errors import CutcheckError
from cutcheck.journal.database import WHAT
from cutcheck.photo import Limits, read_photo
from cutcheck.photo_copy import copy_photo
from cutcheck.settings import load_settings

LOG = logging.getLogger(__name__)
FOLDER = "bench"
MOVED = "whose tray it is was settled by hand"
REPLACED = "another photo of the tray counts"
Turn = Callable[[], AbstractContextManager[None]]


def bench_folder(journal: Path) -> Path:
    """Where the photos lie that are not graded yet, beside the journal's file."""
    return journal.with_name(f"{journal.stem}-{FOLDER}")


class Bench:
    """The bench of one assignment; safe to use from several threads. ``turn`` is taken while measuring;
    an ``idle`` one does not begin by itself."""

    def __init__(
        self, journal: Path, assignment: Assignment, turn: Turn = nullcontext, *, idle: bool = False
    ) -> None:
        must_be_here(WHAT)
        self.journal, self.assignment = journal, assignment
        self.now: str | None = None  # what the photo is called that is being measured
        self._turn = turn
        self._folder = bench_folder(journal) / assignment.key
        self._lock = threading.RLock()
        self._thread: threading.Thread | None = None
        self._photos = {one.sha256: one for one in self._read()}
        self._repeats: tuple[frozenset[str], tuple[Repeat, ...]] = (frozenset(), ())
        if not idle:
            self.go_on()

    # ---- what there is

    def photos(self) -> tuple[BenchPhoto, ...]:
        """All photos, in the order in which they came."""
        with self._lock:
            return tuple(sorted(self._photos.values(), key=lambda one: one.order))

    @property
    def busy(self) -> bool:
        """Is there something left to measure, and somebody at it?"""
        with self._lock:
            return self._thread is not None

    def naming(self) -> Naming:
        """Whose each photo is, what a person must settle, and who is missing."""
        with Gradebook.open(self.journal) as book:
            roster = book.roster(self.assignment.class_id, self.assignment.day)
            graded = {
                mark.student_id
                for mark in book.overview(self.assignment.class_id).marks.values()
                if mark.assignment_id == self.assignment.id
            }
            whose = {
                one.number: one.student.id
                for one in book.members(self.assignment.class_id, self.assignment.day)
            }
        photos = self.photos()
        found = name_trays(
            {one.called: one.numbers for one in photos},
            roster,
            {
                one.called: one.settled
                for one in photos
                if one.settled != 0 and (one.settled is None or roster.with_number(one.settled))
            },
        )
        # Who was graded in another way, from a folder or before the bench was cleared, is not missing.
        return replace(found, missing=tuple(s for s in found.missing if whose[s.number] not in graded))

    def repeats(self) -> tuple[Repeat, ...]:
        """The pairs of photos that show one tray; 'left out' ones are not looked at."""
        looks = {
            one.called: Look.from_json(one.outcome["look"])
            for one in self.photos()
            if one.outcome and "look" in one.outcome and one.settled is not None
        }
        if self._repeats[0] != frozenset(looks):
            self._repeats = (frozenset(looks), find_repeats(looks))
        return self._repeats[1]

    def photo_of(self, sha256: str) -> bytes | None:
        """The file of a photo that is not graded yet."""
        try:
            return self._file(sha256).read_bytes()
        except OSError:
            return None

    # ---- what is done

    def give(self, name: str, data: bytes, who: str) -> tuple[BenchPhoto, bool]:
        """Look at a photo and, where it is usable, put it into the queue; and whether it is new here.

        The same file given again is the photo that is there already.
        """
        must_be_here(WHAT)
        sha256 = hashlib.sha256(data).hexdigest()
        with self._lock:
            if sha256 in self._photos:
                return self._photos[sha256], False
        look = quick_look(data, name=name, cut=cut_of(self.assignment), settings=load_settings())
        with self._lock:
            if sha256 in self._photos:
                return self._photos[sha256], False
            order = 1 + max((one.order for one in self._photos.values()), default=0)
            photo = BenchPhoto(sha256, order, name, who, look)
            self._folder.mkdir(parents=True, exist_ok=True)
            write_whole(self._file(sha256), data)
            self._put(photo)
            if look.usable:
                for other in self.photos():  # it was asked for in the place of these
                    if other.state == "again" and other.look.numbers and other.look.numbers == look.numbers:
                        self.remove(other.sha256)
        self.go_on()
        return photo, True

    def insist(self, sha256: str) -> None:
        """Measure a photo although the first look said 'take it again', or once more after it failed."""
        with self._lock:
            self._put(replace(self._photos[sha256], insisted=True, outcome=None))
        self.go_on()

    def settle(self, sha256: str, number: int | None, who: str) -> None:
        """Say whose card number a photo has, or None to leave it out. Raises what keeping raises."""
        must_be_here(WHAT)
        with self._lock:
            self._put(replace(self._photos[sha256], settled=number, who=who))
        self._keep_named()

    def remove(self, sha256: str) -> None:
        """Forget a photo that is not graded."""
        with self._lock:
            self._photos.pop(sha256, None)
            for path in (self._file(sha256), self._file(sha256).with_suffix(".json")):
                path.unlink(missing_ok=True)

    def tidy(self, photos: Sequence[BenchPhoto], gradings: set[int], now: datetime, days: float) -> None:
        """Forget which of ``photos`` are older than ``days``, or their graded tray is not among ``gradings``.

        The photos are those of before the gradings were read: a tray graded meanwhile is in neither.
        """
        before = (now.astimezone(UTC) - timedelta(days=days)).timestamp()
        for one in photos:
            file = self._file(one.sha256).with_suffix(".json")
            old = file.exists() and file.stat().st_mtime < before
            if old or (one.kept is not None and one.kept[0] not in gradings):
                self.remove(one.sha256)

    def go_on(self) -> None:
        """Measure what waits, if nobody is at it."""
        with self._lock:
            if self._thread is None and self._next() is not None:
                self._thread = threading.Thread(target=self._work, daemon=True, name="bench")
                self._thread.start()

    def wait(self, seconds: float = 300.0) -> None:
        """Wait until the queue is empty."""
        thread = self._thread
        if thread is not None:
            thread.join(seconds)

    # ---- how

    def _next(self) -> BenchPhoto | None:
        return next((one for one in self.photos() if one.state == "waits"), None)

    def _work(self) -> None:
        with vouched_for():
            try:
                while (photo := self._take_next()) is not None:
                    self._one(photo)
            except CutcheckError as error:  # the disk is full, say: what waits is measured next time
                LOG.warning("the bench stopped: %s", error)
            finally:
                with self._lock:
                    if self._thread is threading.current_thread():
                        self.now, self._thread = None, None

    def _take_next(self) -> BenchPhoto | None:
        with self._lock:
            photo = self._next()
            self.now = None if photo is None else photo.called
            if photo is None:
                self._thread = None  # at once: whoever gives a photo from now on starts another
            return photo

    def _one(self, photo: BenchPhoto) -> None:
        try:
            with self._turn():
                outcome = self._measured(photo)
        except CutcheckError as error:
            outcome = error.to_dict()
        except Exception as error:  # this photo is told as failed, the others go on
            LOG.exception("measuring %s", photo.called)
            outcome = CutcheckError("internal", what=type(error).__name__).to_dict()
        with self._lock:
            if photo.sha256 not in self._photos:
                return
            self._put(replace(self._photos[photo.sha256], outcome=outcome))
        try:
            self._keep_named()
        except CutcheckError as error:
            LOG.warning("keeping %s: %s", photo.called, error)

    def _measured(self, photo: BenchPhoto) -> dict[str, Any]:
        work = self.assignment
        standard = work.standard
        if work.standard_text is not None:
            file = self._folder / "standard.toml"
            write_whole(file, work.standard_text.encode())
            standard = str(file)
        asked = Asked(work.cut, standard, work.produce, settings=load_settings())
        kept = measured(self._file(photo.sha256), photo.name, photo.sha256, asked.to_json())
        if "result" in kept:
            kept["numbers"] = kept["result"]["scale"]["numbers"]
            if kept["result"]["score"] is None:
                return CutcheckError("no-pieces").to_dict()
        return kept

    def _keep_named(self) -> None:
        """Bring the gradebook in line with whose the measured photos are. Raises ``class``."""
        with self._lock, Gradebook.open(self.journal) as book:
            work, naming = self.assignment, self.naming()
            by_name = {one.called: one for one in self.photos()}
            ids = {one.number: one.student.id for one in book.members(work.class_id, work.day)}
            whose = {one.photo: ids[one.student.number] for one in naming.named}
            waits = {one.photo for one in naming.unsettled}
            for called, photo in by_name.items():
                if photo.kept is not None and called not in waits and whose.get(called) != photo.kept[1]:
                    self._take_back(book, photo)
            for one in naming.named:
                photo = self._photos[by_name[one.photo].sha256]
                if photo.state == "measured" and photo.kept is None:
                    self._keep(book, photo, whose[one.photo])

    def _take_back(self, book: Gradebook, photo: BenchPhoto) -> None:
        grading = self._loosened(book, photo)
        book.take_back(grading, who=photo.who, why=MOVED)

    def _loosened(self, book: Gradebook, photo: BenchPhoto) -> int:
        """Have the bench hold again what the gradebook had of a photo; gives the grading that it was."""
        assert photo.kept is not None
        grading = book.grading(photo.kept[0])
        data = book.photo(grading.id)
        if data is not None:
            write_whole(self._file(photo.sha256), data.data)
        result = serialise.to_dict(grading.result, with_budget=True)
        self._put(replace(photo, kept=None, outcome={**(photo.outcome or {}), "result": result}))
        return grading.id

    def _keep(self, book: Gradebook, photo: BenchPhoto, student: int) -> None:
        assert photo.outcome is not None
        data = self.photo_of(photo.sha256)
        result = serialise.from_dict(photo.outcome["result"])
        settings = load_settings()
        copy = None
        if data is not None:
            limits = Limits(settings.max_megapixels, settings.max_megabytes)
            copy = copy_photo(data, read_photo(data, name=photo.name, limits=limits), result.scale)
        for other in self.photos():
            if other.kept is not None and other.kept[1] == student:
                self._loosened(book, other)
        scale_u = photo.outcome["scale_u"]
        graded = (student, self.assignment.id) in book.overview(self.assignment.class_id).marks
        why = REPLACED if graded else ""
        given = book.keep(
            self.assignment.id, student, result, who=photo.who, photo=copy, scale_u=scale_u, why=why
        )
        light = {name: value for name, value in photo.outcome.items() if name != "result"}
        self._put(replace(photo, outcome=light, kept=(given.id, student)))
        with contextlib.suppress(OSError):
            self._file(photo.sha256).unlink(missing_ok=True)

    def _put(self, photo: BenchPhoto) -> None:
        write_whole(self._file(photo.sha256).with_suffix(".json"), json.dumps(photo.to_json()).encode())
        self._photos[photo.sha256] = photo

    def _file(self, sha256: str) -> Path:
        return self._folder / f"{sha256}.photo"

    def _read(self) -> list[BenchPhoto]:
        found = []
        for path in self._folder.glob("*.json") if self._folder.is_dir() else ():
            try:
                found.append(BenchPhoto.from_json(json.loads(path.read_bytes())))
            except (OSError, ValueError, KeyError, TypeError):
                LOG.warning("%s can't be read and is left alone", path)
        return found


_benches: dict[tuple[Path, str], Bench] = {}
_benches_lock = threading.Lock()


def bench_of(journal: Path, assignment: Assignment, turn: Turn = nullcontext) -> Bench:
    """The one bench of an assignment in this program, opened where it was left."""
    must_be_here(WHAT)
    with _benches_lock:
        found = _benches.get((journal, assignment.key))
        if found is None:
            found = _benches[journal, assignment.key] = Bench(journal, assignment, turn)
        found.assignment = assignment
        return found


def tidy_benches(book: Gradebook, journal: Path, now: datetime, days: float) -> None:
    """Forget, on all benches beside a journal, the photos that are older than ``days`` or whose graded tray,
    assignment or class is gone."""
    folder = bench_folder(journal)
    if not folder.is_dir():
        return
    with _benches_lock:
        benches = {key: bench for (path, key), bench in _benches.items() if path == journal}
    photos = {key: bench.photos() for key, bench in benches.items()}
    overviews = [book.overview(one.id) for one in book.classes()]
    known = {work.key: (work, one) for one in overviews for work in one.assignments}
    for own in folder.iterdir():
        if own.name not in known:
            shutil.rmtree(own, ignore_errors=True)
            continue
        work, overview = known[own.name]
        gradings = {mark.id for mark in overview.marks.values() if mark.assignment_id == work.id}
        bench = benches.get(work.key) or Bench(journal, work, idle=True)
        bench.tidy(photos.get(work.key, bench.photos()), gradings, now, days)
