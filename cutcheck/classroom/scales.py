"""From points, 0 to 100, to what the school writes down: percent, points of 20, letters, or passed and not.

Every scale only ever rises with the points. It is rounded to its nearest step, half a step upwards; but a
mark below the pass mark is never written as one that passes: it stays a step below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple, get_args

Kind = Literal["percent", "points", "letters", "pass"]
KINDS: tuple[Kind, ...] = get_args(Kind)


class Band(NamedTuple):
    """What is written for points at or above ``low``, up to the next band."""

    low: float
    name: str


# Common practice in schools of the United States, no source; a rubric may give bands of its own.
LETTERS = (Band(90.0, "A"), Band(80.0, "B"), Band(70.0, "C"), Band(60.0, "D"), Band(0.0, "F"))


@dataclass(frozen=True, slots=True)
class SchoolScale:
    """The school's scale. ``of`` is full marks and ``step`` the smallest difference of ``points``; ``bands``
    are those of ``letters``, the highest first, the last from 0."""

    kind: Kind = "percent"
    of: float = 20.0
    step: float = 0.5
    bands: tuple[Band, ...] = LETTERS

    def text(self, points: float, pass_mark: float) -> str:
        """What is written for these points, held to 0 to 100: ``"83 %"``, ``"16.5/20"``, ``"B"``."""
        points = min(max(points, 0.0), 100.0)
        if self.kind == "pass":
            return "passed" if points >= pass_mark else "not passed"
        if self.kind == "letters":
            return next(band.name for band in self.bands if points >= band.low)
        of, step = (100.0, 1.0) if self.kind == "percent" else (self.of, self.step)
        value = _on_step(points / 100.0 * of, step)
        if points < pass_mark:
            value = max(0.0, min(value, _on_step(pass_mark / 100.0 * of, step) - step))
        return f"{value:g} %" if self.kind == "percent" else f"{value:g}/{of:g}"

    def words(self) -> str:
        """The scale in words."""
        if self.kind == "letters":
            return "letters: " + ", ".join(f"{band.name} from {band.low:g}" for band in self.bands)
        if self.kind == "points":
            return f"points of {self.of:g}, in steps of {self.step:g}"
        return {"percent": "percent", "pass": "passed or not passed"}[self.kind]


def _on_step(value: float, step: float) -> float:
    # A hair more, so that a half that binary figures can't hold is still rounded up.
    return round(math.floor(value / step + 0.5 + 1e-9) * step, 9)
