"""A rubric in words, for the terminal, the appeal page and whoever asks how a mark came about."""

from __future__ import annotations

from cutcheck.classroom.rubric import Penalty, Rubric


def rubric_lines(rubric: Rubric) -> tuple[str, ...]:
    """The rubric, a line for each thing that counts."""
    w = rubric.weights
    total = (w.on_size + w.evenness + w.squareness) / 100.0
    weights = ", ".join(
        f"{name} {value / total:.0f} %"
        for name, value in (("on size", w.on_size), ("evenness", w.evenness), ("squareness", w.squareness))
    )
    lines = [
        f"Rubric: {rubric.name}",
        f"Sample: {rubric.sample_size} pieces, at least {rubric.fewest_pieces}. {rubric.sample_note}",
        f"Measured, {rubric.measured_points:g} of 100 points: {weights}. "
        "What can't be seen leaves its share to the others.",
    ]
    for line in rubric.hand_lines:
        about = f": {line.about}" if line.about else ""
        lines.append(f"Marked by hand, {line.points:g} points, {line.name}{about}")
    lines += _penalty(rubric.few, "Too few pieces", f"for each below {rubric.fewest_pieces}")
    if rubric.waste is not None:
        each = f"for each percent of the raw weight over {rubric.waste.limit:g}"
        lines += _penalty(rubric.waste, "Waste", f"{each}, where weights are given")
    if rubric.time is not None:
        each = f"for each minute over {rubric.time.limit:g}"
        lines += _penalty(rubric.time, "Time", f"{each}, where the minutes are given")
    doubt = "measuring and of the sample" if rubric.second_look == "sample" else "measuring"
    lines.append(f"Pass mark: {rubric.pass_mark:g}. A second look where the doubt of {doubt} holds it.")
    lines.append(f"School's scale: {rubric.scale.words()}")
    return tuple(lines)


def _penalty(penalty: Penalty | None, name: str, each: str) -> list[str]:
    if penalty is None:
        return []
    return [f"{name}: {penalty.each:g} off {each}; {penalty.most:g} at most"]
