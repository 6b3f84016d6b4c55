"""A study of the tool itself in words an instructor can use, and as figures."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from cutcheck import table, words
from cutcheck.classroom.gauge_study import Component, GaugeStudy
from cutcheck.classroom.steady import FEWEST_TRAYS, LIMIT, NAMES, Quantity, Steady
from cutcheck.records import Result

# Common practice in gauge studies: measuring that takes up to a tenth of what is allowed is good, more than
# three tenths too much (the bands of the AIAG manual, from memory).
GOOD, TOO_MUCH = 0.10, 0.30
NEED = (
    f"Take {FEWEST_TRAYS} trays or more, two photos or more of each by every person, pieces untouched "
    "between them; ten trays by three people, twice, is usual (common practice)."
)


def whole(steady: Steady) -> str:
    """The study for a terminal."""
    people = "" if len(steady.people) < 2 else f" by {words.count(len(steady.people), 'person', 'people')}"
    counts = f"{words.count(len(steady.taken), 'photo')} of {words.count(len(steady.trays), 'tray')}{people}"
    parts = [f"{words.cut_title(steady.cut)} ({steady.standard} standard): {counts}"]
    parts += ["\n".join(quantity_lines(one)) for one in steady.quantities]
    if steady.notes:
        parts.append("\n".join(["Good to know", *(f"  {note}" for note in steady.notes)]))
    if steady.failed:
        parts.append("\n".join(["Not in it", *(f"  {photo}: {why}" for photo, why in steady.failed)]))
    parts.append("This is how steady the tool is, not how right: for that, 'cutcheck accuracy'.")
    return "\n\n".join(parts)


def quantity_lines(quantity: Quantity) -> list[str]:
    """One figure: its title, what is to be said, a table of causes."""
    title = "The mark" if quantity.unit == "marks" else f"The mean of the {quantity.name}"
    if quantity.study is None:
        return [title, f"  Too few photos to tell: {quantity.why}.", f"  {NEED}"]
    return [title, *(f"  {line}" for line in sayings(quantity)), causes(quantity)]


def sayings(quantity: Quantity) -> list[str]:
    """What the study of one figure says, in sentences."""
    study = quantity.study
    assert study is not None
    unit = quantity.unit
    same = " by one person" if len(study.appraisers) > 1 else ""
    lines = [_differ(f"Two photos of one tray{same}", study.repeatability, unit)]
    if study.reproducibility is not None:
        if study.reproducibility.variance == 0.0:
            lines.append("Who takes the photo makes no difference that shows.")
        else:
            lines.append(_differ("Two photos of one tray by two people", study.gauge, unit))
    if study.part.of_variance is not None and len(study.parts) >= FEWEST_TRAYS:
        lines.append(
            f"Of all differences between photos, {words.percent(study.part.of_variance)} are the trays', "
            f"{words.percent(study.gauge.of_variance)} the measuring's."
        )
        if study.categories is not None:
            lines.append(_categories(study.categories))
    share = study.gauge.of_tolerance
    if share is not None and quantity.allowed is not None:
        verdict = "good" if share <= GOOD else "too much" if share > TOO_MUCH else "fair"
        lines.append(
            f"Measuring takes up {words.percent(share)} of the {quantity.allowed:.2g} mm allowed: {verdict} "
            f"(up to {words.percent(GOOD)} is called good, over {words.percent(TOO_MUCH)} too much)."
        )
    return lines


def causes(quantity: Quantity) -> str:
    """A table: each cause with its spread (a standard deviation) and its share of all differences."""
    study = quantity.study
    assert study is not None
    digits = 1 if quantity.unit == "marks" else 3
    rows = [["from", f"spread ({quantity.unit})", "share"]]
    for one in (study.repeatability, study.appraiser, study.interaction, study.part):
        if one is not None:
            rows.append([NAMES[one.name], f"{one.sd:.{digits}f}", words.percent(one.of_variance)])
    rows.append(["altogether", f"{study.total.sd:.{digits}f}", words.percent(study.total.of_variance)])
    return table.columns(rows)


def to_dict(steady: Steady) -> dict[str, Any]:
    """The study for ``--json``."""
    return {
        "cut": steady.cut,
        "standard": steady.standard,
        "trays": list(steady.trays),
        "people": list(steady.people),
        "photos": [
            {"photo": one.photo, "tray": one.tray, "by": one.by, "mark": _mark(one.result)}
            for one in steady.taken
        ],
        "failed": [{"photo": photo, "why": why} for photo, why in steady.failed],
        "quantities": [_quantity(one) for one in steady.quantities],
        "notes": list(steady.notes),
    }


def _differ(what: str, one: Component, unit: str) -> str:
    most = LIMIT * one.sd
    text = f"{what} differ by up to {_amount(most, unit)}, 19 times in 20"
    if one.low is None or one.high is None:
        return f"{text}."
    if one.high > 10 * max(one.sd, 1e-9):
        return f"{text}; so few people and photos leave it open how much more."
    low, high = _bare(LIMIT * one.low, unit), _amount(LIMIT * one.high, unit)
    return f"{text} (so few photos leave {low} to {high} open)."


def _amount(value: float, unit: str) -> str:
    if unit == "mm":
        return f"{_bare(value, unit)} mm"
    return "less than 1 mark" if value <= 0.5 else words.count(math.ceil(value - 0.05), "mark")


def _bare(value: float, unit: str) -> str:
    return f"{value:.2f}" if unit == "mm" else f"{math.ceil(value - 0.05)}"


def _categories(count: int) -> str:
    if count < 2:
        return "Trays like these can't be told apart by it."
    enough = "" if count >= 5 else "; 5 or more are wished for (common practice)"
    return f"It tells these trays apart in {count} steps{enough}."


def _mark(result: Result) -> float | None:
    return None if result.score is None else float(result.score.mark)


def _quantity(one: Quantity) -> dict[str, Any]:
    head = {"name": one.name, "unit": one.unit, "allowed_mm": one.allowed}
    if one.study is None:
        return {**head, "study": None, "needed": one.why}
    return {
        **head,
        "differ_one_person": one.one_person,
        "differ_two_people": one.two_people,
        "said": sayings(one),
        "study": _study(one.study),
    }


def _study(study: GaugeStudy) -> dict[str, Any]:
    data = asdict(study)
    data["table"] = [{**asdict(row), "mean_square": row.mean_square} for row in study.table]
    for name in (*NAMES, "reproducibility", "gauge", "total"):
        one: Component | None = getattr(study, name)
        data[name] = None if one is None else {**asdict(one), "sd": one.sd}
    return data
