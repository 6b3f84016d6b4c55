"""Is the tool itself fair? Several photos of several trays, measured and put through a gauge study.

The study is of the mark and of each side's mean: how far two photos of one tray differ, and what part of all
differences comes from the photo, from who took it, and from the trays.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

from cutcheck import serialise
from cutcheck.classroom.asked import Asked
from cutcheck.classroom.gauge_study import Component, GaugeStudy, Interaction, TooLittle, gauge_study
from cutcheck.classroom.steady_plan import Shot
from cutcheck.classroom.workers import Question, cores, measure_all
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import chosen_cut
from cutcheck.records import Result

# Two values with one standard deviation differ by less than this many of it, 95 times in 100 (the limits of
# repeatability and reproducibility, ISO 5725-6:1994).
LIMIT = 1.96 * sqrt(2.0)
# With fewer trays, how much these differ is a guess, and so are all shares. A house rule.
FEWEST_TRAYS = 5
NAMES = {
    "repeatability": "photo to photo",
    "appraiser": "person to person",
    "interaction": "person and tray together",
    "part": "tray to tray",
}
_TOP = 99.5


@dataclass(frozen=True, slots=True)
class Taken:
    """A photo that was measured and marked."""

    photo: str
    tray: str
    by: str
    result: Result


@dataclass(frozen=True, slots=True)
class Quantity:
    """The study of one figure: the mark, or a side's mean. Where it can't be, ``why`` says what is needed.

    ``allowed`` is the width of the interval on size, mm; None for the mark.
    """

    name: str
    unit: Literal["marks", "mm"]
    study: GaugeStudy | None
    allowed: float | None = None
    why: str = ""

    @property
    def one_person(self) -> float | None:
        """Two photos of one tray by one person differ by no more, 95 times in 100."""
        return None if self.study is None else LIMIT * self.study.repeatability.sd

    @property
    def two_people(self) -> float | None:
        """The same for two people; None where there is only one."""
        found = self.study
        return None if found is None or found.reproducibility is None else LIMIT * found.gauge.sd


@dataclass(frozen=True, slots=True)
class Steady:
    """What came of it. ``failed`` are photos with the reason why they are not in it."""

    cut: str
    standard: str
    taken: tuple[Taken, ...]
    failed: tuple[tuple[str, str], ...]
    quantities: tuple[Quantity, ...]
    notes: tuple[str, ...]

    @property
    def trays(self) -> tuple[str, ...]:
        """The trays, in the order of the photos."""
        return tuple(dict.fromkeys(one.tray for one in self.taken))

    @property
    def people(self) -> tuple[str, ...]:
        """Who took photos."""
        return tuple(dict.fromkeys(one.by for one in self.taken))


def run_steady(
    photos: Sequence[Shot],
    asked: Asked,
    *,
    interaction: Interaction = "by-p",
    workers: int | None = None,
    on_done: Callable[[str], None] = lambda photo: None,
) -> Steady:
    """Measure the photos and study them; a photo that fails is named and the rest goes on.

    Raises ``unknown-cut`` and the like before anything is measured.
    """
    chosen_cut(asked.cut, asked.standard, produce=asked.produce, default=asked.settings.standard)
    hashes: dict[str, Shot] = {}
    failed: dict[str, str] = {}
    questions = []
    for shot in photos:
        try:
            sha256 = hashlib.sha256(shot.path.read_bytes()).hexdigest()
        except OSError as error:
            failed[shot.photo] = f"it can't be read ({error.strerror})"
            continue
        if sha256 in hashes:
            failed[shot.photo] = f"it is the same photo as '{hashes[sha256].photo}'"
        else:
            hashes[sha256] = shot
            questions.append(Question(shot.path, shot.photo, sha256))
    found: dict[str, Taken] = {}
    for question, kept in measure_all(questions, asked.to_json(), workers or cores()):
        shot = hashes[question.sha256]
        if "error" in kept:
            failed[shot.photo] = kept["error"]["message"]
        else:
            result = serialise.from_dict(kept["result"])
            tray = shot.tray or _number(result)
            if result.score is None:
                failed[shot.photo] = "it got no mark: no piece of it counts"
            elif tray is None:
                failed[shot.photo] = "its card does not say which tray it is; write the tray in a --plan"
            else:
                found[shot.photo] = Taken(shot.photo, tray, shot.by, result)
        on_done(shot.photo)
    order = [shot.photo for shot in photos]
    taken = tuple(found[photo] for photo in order if photo in found)
    told = tuple((photo, failed[photo]) for photo in order if photo in failed)
    return study_of(taken, told, interaction=interaction)


def study_of(
    taken: Sequence[Taken], failed: Sequence[tuple[str, str]] = (), *, interaction: Interaction = "by-p"
) -> Steady:
    """The study of photos that were measured. Raises ``class`` where none was."""
    if not taken:
        why = f" ('{failed[0][0]}': {failed[0][1]})" if failed else ""
        raise CutcheckError(
            "class",
            problem=f"Not one photo gave a tray with a mark{why}.",
            remedy="Try one with 'cutcheck check PHOTO --cut NAME', which says more.",
        )
    cut = taken[0].result.cut
    assert cut is not None  # a mark has one
    marks = [(one, one.result.score.mark) for one in taken if one.result.score is not None]
    quantities = [_quantity("mark", "marks", marks, None, interaction)]
    sides: dict[str, list[tuple[Taken, float]]] = {}
    allowed: dict[str, float] = {}
    for one in taken:
        for side in one.result.score.sides if one.result.score is not None else ():
            if side.mean_mm is not None:
                name = side.label or side.side
                sides.setdefault(name, []).append((one, side.mean_mm))
                allowed[name] = side.target_mm[1] - side.target_mm[0]
    quantities += [_quantity(name, "mm", rows, allowed[name], interaction) for name, rows in sides.items()]
    return Steady(
        cut.name, cut.standard, tuple(taken), tuple(failed), tuple(quantities), _notes(taken, quantities)
    )


def _quantity(
    name: str,
    unit: Literal["marks", "mm"],
    rows: Sequence[tuple[Taken, float]],
    allowed: float | None,
    interaction: Interaction,
) -> Quantity:
    values = [value for _, value in rows]
    trays, people = [one.tray for one, _ in rows], [one.by for one, _ in rows]
    try:
        try:
            found = gauge_study(values, trays, people, interaction=interaction, tolerance=allowed)
        except TooLittle:
            # each took every tray once: people can be told, what they see in single trays can't
            found = gauge_study(values, trays, people, interaction="pooled", tolerance=allowed)
    except TooLittle as error:
        return Quantity(name, unit, None, allowed, str(error))
    return Quantity(name, unit, found, allowed)


def _notes(taken: Sequence[Taken], quantities: Sequence[Quantity]) -> tuple[str, ...]:
    notes = []
    study = quantities[0].study
    trays = len({one.tray for one in taken})
    if study is not None and trays < FEWEST_TRAYS:
        notes.append(
            f"How much trays differ, and so every share, is a guess with {trays} trays: {FEWEST_TRAYS} or "
            "more are needed."
        )
    if study is not None and not study.balanced:
        notes.append(
            "Not every person took as many photos of every tray; the figures allow for that, and say less "
            "of how sure they are."
        )
    below = study is not None and [one for one in _components(study) if one.below_zero]
    if below:
        notes.append(
            f"The spread {' and '.join(NAMES[one.name] for one in below)} came out below "
            "nothing, as it may by chance, and was taken as 0."
        )
    tops = sum(one.result.score is not None and one.result.score.mark >= _TOP for one in taken)
    if tops:
        notes.append(
            f"The full mark: {tops} of {len(taken)} photos. No mark goes higher, so that such photos "
            "look more alike than they are; trays of middling marks say more."
        )
    return tuple(notes)


def _components(study: GaugeStudy) -> list[Component]:
    both = (study.repeatability, study.appraiser, study.interaction, study.part)
    return [one for one in both if one is not None]


def _number(result: Result) -> str | None:
    """The tray by the card's number; None where there is none, or several; 0 is nobody's."""
    numbers = {number for number in result.scale.numbers if number}
    return str(numbers.pop()) if len(numbers) == 1 else None
