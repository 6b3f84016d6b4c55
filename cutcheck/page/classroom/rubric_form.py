"""A rubric as a form: its main fields, or a TOML file in their place."""

from __future__ import annotations

import re
from typing import Any, cast

import streamlit as st

from cutcheck.classroom.rubric import Doubt, HandLine, Penalty, Rubric, Weighting, parse_rubric, rubric_text
from cutcheck.classroom.scales import LETTERS, Band, Kind, SchoolScale
from cutcheck.errors import CutcheckError
from cutcheck.page import keys
from cutcheck.reference import own_text

KINDS: dict[Kind, str] = {
    "percent": "Percent",
    "points": "Points, such as 16.5 of 20",
    "letters": "Letters",
    "pass": "Passed or not",
}
DOUBTS: dict[Doubt, str] = {"sample": "measuring and the sample", "measuring": "measuring alone"}


def rubric_file(key: str) -> Rubric | None:
    """A rubric from a TOML file, None where none was given. Raises ``bad-option`` with line and key."""
    file = st.file_uploader("Or a rubric of your own (TOML)", type=["toml"], key=key)
    if file is None:
        return None
    return parse_rubric(own_text(file.getvalue(), f"The rubric '{file.name}'"), file.name)


class RubricFields:
    """The fields of the form, drawn where it is made; ``read`` gives the rubric that they say."""

    def __init__(self, usual: Rubric, prefix: str) -> None:
        self._key = f"{keys.RUBRIC_FORM}_{prefix}"
        self._usual = usual
        scale = usual.scale
        self._name = st.text_input("Its name", usual.name, key=f"{self._key}_name")
        self._note = st.text_input("How the sample is taken", usual.sample_note, key=f"{self._key}_note")
        self._size, self._fewest, self._pass = self._row(
            ("Pieces in a sample", usual.sample_size, 1, 1000),
            ("At least", usual.fewest_pieces, 1, 1000),
            ("Pass mark, of 100", usual.pass_mark, 1.0, 100.0),
        )
        st.html("<p class='cc-small'>What the measured mark is made of; only the proportions count.</p>")
        self._weights = self._row(
            ("On size", usual.weights.on_size, 0.0, 1000.0),
            ("Evenness", usual.weights.evenness, 0.0, 1000.0),
            ("Squareness", usual.weights.squareness, 0.0, 1000.0),
        )
        self._doubt = st.selectbox(
            "A second look where the pass mark is within the doubt of",
            list(DOUBTS),
            index=list(DOUBTS).index(usual.second_look),
            format_func=DOUBTS.__getitem__,
            key=f"{self._key}_doubt",
        )
        st.html("<p class='cc-small'>Points taken off. 0 points: nothing is taken off.</p>")
        few, waste, time = usual.few, usual.waste, usual.time
        self._few = self._row(
            ("For each piece too few", few.each if few else 0.0, 0.0, 100.0),
            ("At most, for few pieces", few.most if few else 20.0, 0.0, 100.0),
        )
        self._waste = self._row(
            ("Waste up to, %", waste.limit if waste else 20.0, 0.0, 100.0),
            ("For each % over", waste.each if waste else 0.0, 0.0, 100.0),
            ("At most, for waste", waste.most if waste else 10.0, 0.0, 100.0),
        )
        self._time = self._row(
            ("Minutes allowed", time.limit if time else 20.0, 0.0, 1000.0),
            ("For each minute over", time.each if time else 0.0, 0.0, 100.0),
            ("At most, for time", time.most if time else 10.0, 0.0, 100.0),
        )
        self._lines = st.text_area(
            "Lines that you mark by hand",
            "\n".join(", ".join(filter(None, (h.name, f"{h.points:g}", h.about))) for h in usual.hand_lines),
            placeholder="hygiene, 10, board and hands",
            help="One a line: name, points, what it is about. Their points are part of the 100.",
            key=f"{self._key}_lines",
        )
        left, middle, right = st.columns(3)
        self._kind = left.selectbox(
            "The school writes",
            list(KINDS),
            index=list(KINDS).index(scale.kind),
            format_func=KINDS.__getitem__,
            key=f"{self._key}_kind",
        )
        self._of = middle.number_input(
            "Points: out of", 1.0, 1000.0, float(scale.of), 1.0, "%g", key=f"{self._key}_of"
        )
        self._step = right.number_input(
            "In steps of", 0.01, 1000.0, float(scale.step), 0.5, "%g", key=f"{self._key}_step"
        )
        self._bands = st.text_input(
            "Letters, the best first, each with the points it starts from",
            ", ".join(f"{name} {low:g}" for low, name in scale.bands),
            key=f"{self._key}_bands",
        )

    def read(self) -> Rubric:
        """The rubric as the fields say, checked as a file is. Raises ``bad-option`` or ``class``."""
        few, waste, time = (cast(list[float], row) for row in (self._few, self._waste, self._time))
        fewest = int(self._fewest)
        rubric = Rubric(
            name=self._name,
            sample_note=self._note,
            sample_size=int(self._size),
            fewest_pieces=fewest,
            weights=Weighting(*map(float, self._weights)),
            pass_mark=float(self._pass),
            second_look=self._doubt,
            few=Penalty(float(fewest), few[0], few[1]) if few[0] else None,
            waste=Penalty(*waste) if waste[1] else None,
            time=Penalty(*time) if time[1] else None,
            hand_lines=tuple(_hand_line(line) for line in self._lines.splitlines() if line.strip()),
            scale=SchoolScale(self._kind, float(self._of), float(self._step), _bands(self._bands)),
        )
        return parse_rubric(rubric_text(rubric), "The form")

    def _row(self, *fields: tuple[str, float, float, float]) -> list[Any]:
        """Numbers side by side; on a phone one below the other."""
        return [
            place.number_input(
                label,
                low,
                high,
                value,
                type(low)(1),
                "%d" if isinstance(low, int) else "%g",
                key=f"{self._key}_{label}",
            )
            for place, (label, value, low, high) in zip(st.columns(len(fields)), fields, strict=True)
        ]


def _hand_line(text: str) -> HandLine:
    name, _, rest = (part.strip() for part in text.partition(","))
    points, _, about = (part.strip() for part in rest.partition(","))
    try:
        return HandLine(name, float(points), about)
    except ValueError:
        raise CutcheckError(
            "class",
            problem=f"'{text.strip()[:60]}' is no line to mark by hand.",
            remedy="Write a name, a comma and its points, such as: hygiene, 10",
        ) from None


def _bands(text: str) -> tuple[Band, ...]:
    bands = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        match = re.fullmatch(r"(.+?)\s+(\d+(?:\.\d+)?)", part)
        if match is None:
            raise CutcheckError(
                "class",
                problem=f"'{part[:40]}' is no letter with its points.",
                remedy="Write a letter, a space and the points that it starts from, such as: A 90, B 80, F 0",
            )
        bands.append(Band(float(match[2]), match[1]))
    return tuple(bands) or LETTERS
