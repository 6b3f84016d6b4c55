"""The rubric: how a measured tray is marked. Apart from the standard, which says what size a cut has.

A rubric is a small TOML file, to be changed in a text editor. Every fault in it is told with the line, the
key and what may stand there; a key that is not known is refused.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Literal, cast, get_args

from cutcheck.classroom.scales import KINDS, LETTERS, Band, Kind, SchoolScale
from cutcheck.errors import CutcheckError
from cutcheck.reference import Field, fail, own_text, shown
from cutcheck.whole_file import write_whole

Doubt = Literal["measuring", "sample"]
MOST_LINES = 50  # that a person marks
MOST_BY_HAND = 90.0  # of the 100 points; the rest is measured
_SPOON = "One spoonful, taken by the instructor without looking, spread so that no piece touches another."


@dataclass(frozen=True, slots=True)
class Weighting:
    """What the measured mark is made of; only the proportions count."""

    on_size: float = 60.0
    evenness: float = 25.0
    squareness: float = 15.0


@dataclass(frozen=True, slots=True)
class Penalty:
    """Points taken off: ``each`` for every unit beyond ``limit``, ``most`` in all. The unit is a piece that
    is missing, a percent of waste, or a minute."""

    limit: float
    each: float
    most: float

    def off(self, beyond: float) -> float:
        """The points taken off for so many units beyond the limit."""
        return min(self.most, self.each * max(beyond, 0.0))


@dataclass(frozen=True, slots=True)
class HandLine:
    """A line that a person marks: 0 to ``points`` of the 100."""

    name: str
    points: float
    about: str = ""


@dataclass(frozen=True, slots=True)
class Rubric:
    """A rubric. ``few`` is taken off where fewer pieces than ``fewest_pieces`` (its ``limit``) are found;
    waste (percent of the raw weight) and time (minutes) only where they were given. The points of
    ``hand_lines`` are part of the 100.

    ``second_look`` says whose doubt asks for a look by eye where it crosses the pass mark: of ``measuring``
    alone, or of measuring and of the ``sample`` together.
    """

    name: str = "Usual"
    sample_note: str = _SPOON
    sample_size: int = 40
    fewest_pieces: int = 20
    weights: Weighting = field(default_factory=Weighting)
    pass_mark: float = 50.0
    second_look: Doubt = "sample"
    few: Penalty | None = None
    waste: Penalty | None = None
    time: Penalty | None = None
    hand_lines: tuple[HandLine, ...] = ()
    scale: SchoolScale = field(default_factory=SchoolScale)

    @property
    def measured_points(self) -> float:
        """What is left of the 100 for the measured mark."""
        return 100.0 - sum(line.points for line in self.hand_lines)


def usual_rubric() -> Rubric:
    """The rubric where none was given: a house rule. All of the 100 is measured, in percent; a point is taken
    off for each piece below 20, up to 20 points."""
    return Rubric(few=Penalty(20.0, 1.0, 20.0))


def read_rubric(path: str | Path) -> Rubric:
    """The rubric in a file; ``no-file``, or ``bad-option`` with the line, the key and what is allowed."""
    path = Path(path)
    if not path.is_file():
        raise CutcheckError("no-file", file=str(path))
    return parse_rubric(own_text(path, f"The rubric '{path}'"), str(path))


def parse_rubric(text: str, file: str = "rubric") -> Rubric:
    """The rubric in a text; what is left out is as in ``Rubric()``."""
    top = Field.parse(file, text)
    top.only("name", "pass_mark", "second_look", "sample", "weights", "penalties", "by_hand", "scale")
    usual = Rubric()
    sample = _table(top, "sample", "how", "size", "fewest")
    size = _whole(sample, "size", usual.sample_size, 1, 1000)
    fewest = _whole(sample, "fewest", min(usual.fewest_pieces, size), 1, 1000)
    if fewest > size:
        fail(sample.at("fewest"), f"{fewest} is more than the sample of {size}", f"Give 1 to {size}.")
    penalties = _table(top, "penalties", "few_pieces", "waste", "time")
    return Rubric(
        name=_line(top, "name", usual.name),
        sample_note=_line(sample, "how", usual.sample_note),
        sample_size=size,
        fewest_pieces=fewest,
        weights=_weights(_table(top, "weights", "on_size", "evenness", "squareness")),
        pass_mark=_number(top, "pass_mark", usual.pass_mark, 1.0, 100.0),
        second_look=cast(Doubt, top.choice("second_look", get_args(Doubt), usual.second_look)),
        few=_penalty(penalties, "few_pieces", "", "each_piece", float(fewest)),
        waste=_penalty(penalties, "waste", "over_percent", "each_percent"),
        time=_penalty(penalties, "time", "over_minutes", "each_minute"),
        hand_lines=_by_hand(top),
        scale=_scale(_table(top, "scale", "kind", "of", "step", "bands")),
    )


def rubric_text(rubric: Rubric) -> str:
    """The rubric as TOML that ``parse_rubric`` reads back the same."""
    w, scale = rubric.weights, rubric.scale
    lines = [
        "# How a tray is marked. Change what you like in a text editor; what is left out is as usual.",
        f"name = {_quoted(rubric.name)}",
        f"pass_mark = {_figure(rubric.pass_mark)}  # of 100",
        f"second_look = {_quoted(rubric.second_look)}  # whose doubt counts: measuring, or sample (both)",
        "",
        "[sample]",
        f"how = {_quoted(rubric.sample_note)}",
        f"size = {rubric.sample_size}  # pieces",
        f"fewest = {rubric.fewest_pieces}",
        "",
        "[weights]  # only the proportions count",
        *(f"{name} = {_figure(getattr(w, name))}" for name in ("on_size", "evenness", "squareness")),
        "",
        "[penalties]  # points of 100; waste and time count only where weights and minutes are given",
    ]
    for key, penalty, limit, each in (
        ("few_pieces", rubric.few, "", "each_piece"),
        ("waste", rubric.waste, "over_percent", "each_percent"),
        ("time", rubric.time, "over_minutes", "each_minute"),
    ):
        example = penalty or Penalty(20.0, 1.0, 10.0)
        over = f"{limit} = {_figure(example.limit)}, " if limit else ""
        line = f"{key} = {{ {over}{each} = {_figure(example.each)}, most = {_figure(example.most)} }}"
        lines.append(line if penalty else f"# {line}")
    lines += ["", "# Lines that a person marks; their points are part of the 100:"]
    if not rubric.hand_lines:
        lines += ["# [[by_hand]]", '# name = "hygiene"', "# points = 10", '# about = "board, knife, hands"']
    for one in rubric.hand_lines:
        lines += ["[[by_hand]]", f"name = {_quoted(one.name)}", f"points = {_figure(one.points)}"]
        lines += [f"about = {_quoted(one.about)}"] if one.about else []
    lines += ["", "[scale]  # kind: percent, points, letters or pass", f"kind = {_quoted(scale.kind)}"]
    lines += [f"of = {_figure(scale.of)}  # points", f"step = {_figure(scale.step)}", "bands = ["]
    lines += [f"  {{ from = {_figure(low)}, name = {_quoted(name)} }}," for low, name in scale.bands]
    return "\n".join([*lines, "]", ""])


def write_rubric(rubric: Rubric, path: str | Path) -> None:
    """Write a rubric to a new file; ``bad-option`` where the file is there already or can't be written."""
    write_whole(path, rubric_text(rubric).encode(), over=False)


def _table(top: Field, key: str, *known: str) -> Field:
    found = Field(top.file, top.source, (*top.path, key), top.table().get(key, {}))
    found.only(*known)
    return found


def _number(where: Field, key: str, usual: float | None, low: float, high: float) -> float:
    value = where.table().get(key, usual)
    if value is None:
        fail(where, f"'{key}' is missing", f"Write {key} = and a number from {low:g} to {high:g}.")
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        fail(
            where.at(key),
            f"{shown(value)} is not a number from {low:g} to {high:g}",
            f"Write {key} = and such a number.",
        )
    return float(value)


def _whole(where: Field, key: str, usual: int, low: int, high: int) -> int:
    value = _number(where, key, usual, low, high)
    if value != int(value):
        fail(where.at(key), f"{value:g} is not a whole number", f"Give one from {low} to {high}.")
    return int(value)


def _line(where: Field, key: str, usual: str | None) -> str:
    text = " ".join((where.text(key) if usual is None else where.text(key, usual)).split())
    if not text or not text.isprintable() or len(text) > 300:
        fail(where.at(key), "this is no line of text", "Give 1 to 300 letters that can be printed.")
    return text


def _weights(where: Field) -> Weighting:
    usual = Weighting()
    names = ("on_size", "evenness", "squareness")
    on, even, square = (_number(where, n, getattr(usual, n), 0.0, 1000.0) for n in names)
    # Evenness or squareness can be out of sight; what is on size never is.
    if on <= 0.0:
        fail(where.at("on_size"), "on_size must count for something", "Give a number above 0.")
    return Weighting(on, even, square)


def _penalty(where: Field, key: str, limit: str, each: str, fixed: float | None = None) -> Penalty | None:
    if key not in where.table():
        return None
    row = where.at(key)
    row.only(*([limit] if limit else []), each, "most")
    top = 100.0 if key == "waste" else 1000.0
    over = fixed if fixed is not None else _number(row, limit, None, 0.0, top)
    return Penalty(over, _number(row, each, None, 0.0, 100.0), _number(row, "most", None, 0.0, 100.0))


def _by_hand(top: Field) -> tuple[HandLine, ...]:
    found: list[HandLine] = []
    rows = top.rows("by_hand")
    if len(rows) > MOST_LINES:  # told at once, not after thousands were compared
        fail(top.at("by_hand"), f"these are {len(rows)} lines", f"Take at most {MOST_LINES}.")
    for row in rows:
        row.only("name", "points", "about")
        about = _line(row, "about", None) if "about" in row.table() else ""
        found.append(HandLine(_line(row, "name", None), _number(row, "points", None, 0.5, 90.0), about))
        if found[-1].name.casefold() in {line.name.casefold() for line in found[:-1]}:
            fail(row.at("name"), f"there are two lines '{found[-1].name}'", "Give each a name of its own.")
    if sum(line.points for line in found) > MOST_BY_HAND:
        fail(
            top.at("by_hand"),
            f"the lines marked by hand come to more than {MOST_BY_HAND:g} of the 100 points",
            "Lower their points: what is left of the 100 is the measured part.",
        )
    return tuple(found)


def _scale(where: Field) -> SchoolScale:
    usual = SchoolScale()
    kind = cast(Kind, where.choice("kind", KINDS, usual.kind))
    of = _number(where, "of", usual.of, 1.0, 1000.0)
    step = _number(where, "step", min(usual.step, of), 0.01, of)
    if abs(of / step - round(of / step)) > 1e-6:
        fail(where.at("step"), f"steps of {step:g} do not end at {of:g}", "Take one that divides it.")
    bands = []
    for row in where.rows("bands"):
        row.only("from", "name")
        bands.append(Band(_number(row, "from", None, 0.0, 100.0), _line(row, "name", None)))
    if bands:
        falling = all(a.low > b.low for a, b in pairwise(bands))
        if not falling or bands[-1].low != 0.0:
            fail(where.at("bands"), "the bands must fall, and the last begin at 0", "Order them so.")
    return SchoolScale(kind, of, step, tuple(bands) or LETTERS)


def _quoted(text: str) -> str:
    # JSON escapes what a TOML string needs escaped, but for DEL, which no line of a rubric can hold.
    return json.dumps(text, ensure_ascii=False)


def _figure(value: float) -> str:
    return repr(int(value)) if value == int(value) else repr(value)
