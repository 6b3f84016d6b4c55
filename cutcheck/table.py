"""Results as plain text for a terminal: one tray, several trays, one piece explained."""

from __future__ import annotations

import math
import statistics
import textwrap
from collections.abc import Sequence

from cutcheck import words
from cutcheck.records import SIDES, Measure, Piece, Result, SideScore
from cutcheck.units import Unit, show

NONE_SEEN = "none seen"  # of a spread: what measuring itself adds explains all of it


def tray(result: Result, unit: Unit = "mm") -> str:
    """What one photo gave: the mark, a row for each side, the advice, the warnings."""
    parts = [headline(result), *_mark(result), side_table(result, unit), _tally(result)]
    parts += _listed("What to do", result.advice)
    parts += _listed("Good to know", result.warnings)
    return "\n\n".join(part for part in parts if part)


def headline(result: Result) -> str:
    """The photo, the cut and what gave the scale, in one line."""
    bits = [result.photo.file, words.count(len(result.pieces), "piece")]
    if result.cut is not None:
        bits.insert(1, f"{words.cut_title(result.cut.name)} ({result.cut.standard} standard)")
    bits.append(f"scale from the {words.reference(result.scale)}")
    return ", ".join(bits)


def side_table(result: Result, unit: Unit = "mm") -> str:
    """One row for each side: of the score where there is one, else of all pieces."""
    if result.score is not None:
        head = ["side", f"target ({unit})", "mean", "spread", "on size", "seen"]
        return columns([head, *[_score_row(side, unit) for side in result.score.sides]])
    rows = []
    for side in SIDES:
        seen = [mm for piece in result.pieces if (mm := getattr(piece, side).mm) is not None]
        if seen:
            spread = statistics.stdev(seen) if len(seen) > 1 else None
            figures = (statistics.fmean(seen), spread, min(seen), max(seen))
            rows.append([side, *(_bare(mm, unit, 2) for mm in figures), str(len(seen))])
    return (
        columns([["side", f"mean ({unit})", "spread", "smallest", "largest", "seen"], *rows]) if rows else ""
    )


def trays(results: Sequence[tuple[str, Result | str]], unit: Unit = "mm") -> str:
    """One row for each photo: ``results`` holds its name and what it gave, or the words why it did not."""
    rows = [["photo", "pieces", "cut", "mark", "on size", f"mean sides ({unit})"]]
    failed = []
    for name, result in results:
        if isinstance(result, str):
            failed.append(f"{name}: {result}")
            continue
        score = result.score
        sides = score.sides if score else ()
        means = " x ".join(_bare(side.mean_mm, unit, 1) for side in sides) or _means(result, unit)
        cut = result.cut or result.suggested
        rows.append(
            [
                name,
                str(len(result.pieces)),
                "-" if cut is None else cut.name if result.cut else f"{cut.name}?",
                "-" if score is None else f"{score.mark:.0f} ({score.mark_low:.0f} to {score.mark_high:.0f})",
                words.percent(score.on_size) if score else "-",
                means,
            ]
        )
    return "\n\n".join(part for part in (columns(rows) if len(rows) > 1 else "", "\n".join(failed)) if part)


def explain(piece: Piece, unit: Unit = "mm") -> str:
    """One piece: its sides, its verdict, and where each give-or-take comes from."""
    lines = [f"Piece {piece.number}: {words.VERDICTS[piece.verdict]}"]
    if piece.conformity is not None:
        lines[0] += f" (chance that all sides that count are on size: {words.chance(piece.conformity)})"
    rows = [[side, side_words(getattr(piece, side), unit)] for side in SIDES]
    rows += [[f.name, f"{f.value:.2f} {f.unit}, give or take {f.u95:.2f}"] for f in piece.figures]
    lines.append(columns(rows))
    if piece.flags:
        lines.append("Note: " + "; ".join(words.flag(code) for code in piece.flags) + ".")
    for side in SIDES:
        budget = [line for line in piece.budget if line.side == side]
        if budget:
            whole = math.sqrt(sum(line.standard_mm**2 for line in budget))
            named = [[words.CAUSES.get(line.cause, line.cause), f"{line.standard_mm:.3f}"] for line in budget]
            named.append(["together (root of the sum of squares)", f"{whole:.3f}"])
            named.append(["twice that", f"{2 * whole:.3f}"])
            lines.append(f"Where the give or take of the {side} comes from, mm:\n" + columns(named))
    return "\n\n".join(lines)


def side_words(measure: Measure, unit: Unit) -> str:
    """A measured side in words: ``"6.3 mm, give or take 0.2"``, or that it is not seen."""
    return "not seen in this photo" if measure.mm is None else show(measure.mm, measure.u95, unit)


def columns(rows: Sequence[Sequence[str]]) -> str:
    """Rows as aligned columns, the first to the left and figures to the right; empty text for no rows."""
    if not rows:
        return ""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    figures = [len(rows) > 1 and all(_is_figure(row[k]) for row in rows[1:]) for k in range(len(widths))]
    lines = []
    for row in rows:
        cells = [
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(row, widths, figures, strict=True)
        ]
        lines.append(("  " + "   ".join(cells)).rstrip())
    return "\n".join(lines)


def wrapped(text: str, indent: str = "  ") -> str:
    """The text in lines of at most 96 characters, each behind the indent; its own line breaks go."""
    return textwrap.fill(" ".join(text.split()), 96, initial_indent=indent, subsequent_indent=indent)


def _is_figure(cell: str) -> bool:
    return cell in ("-", NONE_SEEN) or (cell[:1].isdigit() and not cell[-1:].isalpha() and " x " not in cell)


def _score_row(side: SideScore, unit: Unit) -> list[str]:
    return [
        side.label or side.side,
        f"{_bare(side.target_mm[0], unit, 2)} to {_bare(side.target_mm[1], unit, 2)}",
        _bare(side.mean_mm, unit, 2),
        _spread(side.sd_mm, unit),
        words.percent(side.share_on_size),
        str(side.seen),
    ]


def _bare(mm: float | None, unit: Unit, digits: int) -> str:
    if mm is None:
        return "-"
    return f"{mm:.{digits}f}" if unit == "mm" else f"{mm / 25.4:.{digits + 1}f}"


def _spread(mm: float | None, unit: Unit) -> str:
    """A spread with the measuring noise taken out: nothing left is not a proof that there is none."""
    told = _bare(mm, unit, 2)
    return NONE_SEEN if mm is not None and float(told) == 0.0 else told


def _means(result: Result, unit: Unit) -> str:
    means = []
    for side in SIDES:
        seen = [mm for piece in result.pieces if (mm := getattr(piece, side).mm) is not None]
        means.append(_bare(statistics.fmean(seen) if seen else None, unit, 1))
    return " x ".join(means)


def _mark(result: Result) -> list[str]:
    score = result.score
    if score is None:
        if result.suggested is None:
            return []
        likely = f"looks most like {result.suggested.name} ({words.percent(result.suggested.probability)})"
        return [f"No mark: no cut was named. The tray {likely}; name one with --cut."]
    low, high = f"{score.mark_low:.0f}", f"{score.mark_high:.0f}"
    line = f"Mark {score.mark:.0f} of 100 ({low} to {high} with what measuring leaves open)"
    parts = [f"on size {words.percent(score.on_size)}"]
    if score.evenness is not None:
        parts.append(f"evenness {words.percent(score.evenness)}")
    if score.squareness is not None:
        parts.append(f"squareness {words.percent(score.squareness)}")
    return [f"{line}\n  {', '.join(parts)}, {words.count(score.counted, 'piece')} counted"]


def _tally(result: Result) -> str:
    counts = words.tally(result.pieces)
    if set(counts) <= {None}:
        return ""
    return "  " + ", ".join(f"{words.VERDICTS[verdict]} {number}" for verdict, number in counts.items())


def _listed(title: str, lines: Sequence[str]) -> list[str]:
    if not lines:
        return []
    return [
        "\n".join(
            [title, *(textwrap.fill(line, 98, initial_indent="  ", subsequent_indent="  ") for line in lines)]
        )
    ]
