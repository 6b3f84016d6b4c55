"""Accuracy as a table with the bars it is held against, and as JSON. A figure beyond its bar has a '!'."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from cutcheck.accuracy import Figures, Scene, f1

LEAST_SIDES = 200  # fewer tell too little of how often u95 holds the true value


@dataclass(frozen=True, slots=True)
class Bars:
    """What is wanted, in allowances and shares: of each scene, and of all together."""

    f1: float
    mean: float
    p95: float = 2.5
    bias: float = 0.5
    covered: tuple[float, float] = (0.90, 0.99)
    u95: float = 2.0
    heights_given: float = 0.80
    height_mean: float = 1.0
    share_points: float = 0.05
    share_pieces: float = 2.0


EACH = Bars(f1=0.95, mean=1.5)
ALL = Bars(f1=0.99, mean=1.0)

PLAN_HEAD = ("mean", "median", "p95", "bias", "give holds", "give")
HEIGHT_HEAD = ("given", "mean", "median", "bias", "give holds", "give")
HEAD = ("scene", "found", "F1", *PLAN_HEAD, *HEIGHT_HEAD, "on size", "true", "suggested", "s")


def text(scenes: Sequence[Scene]) -> str:
    """One row for each scene, then all together and shape by shape."""
    rows = [HEAD, *[_scene_row(scene) for scene in scenes]]
    rows.append(_total_row("all", scenes, None))
    shapes = sorted({side.shape for scene in scenes for side in scene.sides})
    rows += [_total_row(shape, scenes, shape) for shape in shapes if len(shapes) > 1]
    widths = [max(len(row[k]) for row in rows) for k in range(len(HEAD))]
    group = ["", "", "", "plan", *[""] * 5, "height"]
    lines = [
        "  ".join(
            cell.ljust(w) if k == 0 else cell.rjust(w)
            for k, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    ]
    above = "  ".join(cell.rjust(w) for cell, w in zip(group, widths, strict=False))
    right = [scene.suggested_right for scene in scenes if scene.suggested_right is not None]
    low, high = EACH.covered
    notes = [
        "Errors in allowances: plan the larger of 0.10 mm and 1 %, height the larger of 0.20 mm and 3 %.",
        "'!': beyond the bar. "
        f"Each scene: F1 {EACH.f1}, mean {EACH.mean}, p95 {EACH.p95}, bias {EACH.bias}; "
        f"all: F1 {ALL.f1}, mean {ALL.mean}. "
        f"Of {LEAST_SIDES} sides or more the give or take holds {low:.0%} to {high:.0%}, "
        f"its median at most {EACH.u95}. "
        f"Heights: given {EACH.heights_given:.0%}, mean {EACH.height_mean}. "
        f"On size: within {100 * EACH.share_points:.0f} points or {EACH.share_pieces:.0f} pieces.",
    ]
    if right:
        notes.append(f"Suggested cut right in {sum(right)} of {len(right)} scenes with a cut.")
    return "\n".join([above.rstrip(), *lines, "", *notes])


def to_dict(scenes: Sequence[Scene]) -> dict[str, Any]:
    """The same for ``--json``."""
    shapes = sorted({side.shape for scene in scenes for side in scene.sides})
    right = [scene.suggested_right for scene in scenes if scene.suggested_right is not None]
    return {
        "scenes": [_scene_dict(scene) for scene in scenes],
        "all": {
            "f1": round(f1(scenes), 4),
            **_sides_dict(scenes, None),
            "suggested_right": sum(right),
            "suggested_asked": len(right),
        },
        "shapes": {shape: _sides_dict(scenes, shape) for shape in shapes},
        "bars": {"each": _plain(EACH), "all": _plain(ALL), "least_sides": LEAST_SIDES},
    }


# --- rows ---------------------------------------------------------------------------------------------------


def _scene_row(scene: Scene) -> tuple[str, ...]:
    if scene.refused is not None:
        return (
            scene.name,
            f"0/{scene.true}",
            f"{0:.3f}!",
            scene.refused,
            *[""] * (len(HEAD) - 5),
            _seconds(scene),
        )
    suggested = scene.suggested or "none"
    return (
        scene.name,
        f"{scene.found}/{scene.true}",
        _told(scene.f1, lambda v: v < EACH.f1, 3),
        *_plan_cells(scene.figures("plan"), EACH),
        *_height_cells(scene.figures("height"), scene.heights_given, scene.heights_due),
        *_share_cells(scene),
        "-" if scene.suggested_right is None else suggested + ("" if scene.suggested_right else "!"),
        _seconds(scene),
    )


def _total_row(name: str, scenes: Sequence[Scene], shape: str | None) -> tuple[str, ...]:
    plan, height = (_together(scenes, side, shape) for side in ("plan", "height"))
    whole = shape is None
    given, due = (sum(getattr(scene, key) for scene in scenes) for key in ("heights_given", "heights_due"))
    return (
        name,
        f"{sum(s.found for s in scenes)}/{sum(s.true for s in scenes)}" if whole else "",
        _told(f1(scenes), lambda v: v < ALL.f1, 3) if whole else "",
        *_plan_cells(plan, ALL),
        *_height_cells(height, given if whole else 0, due if whole else 0),
        *("", "", ""),
        f"{sum(s.seconds for s in scenes):.1f}" if whole else "",
    )


def _together(scenes: Sequence[Scene], side: str, shape: str | None) -> Figures | None:
    return Figures.of(
        [s for scene in scenes for s in scene.sides if s.side == side and shape in (None, s.shape)]
    )


def _plan_cells(figures: Figures | None, bars: Bars) -> tuple[str, ...]:
    if figures is None:
        return ("-",) * 6
    return (
        _told(figures.mean, lambda v: v > bars.mean),
        _told(figures.median),
        _told(figures.p95, lambda v: v > bars.p95),
        _told(figures.bias, lambda v: abs(v) > bars.bias),
        *_sure_cells(figures, bars),
    )


def _height_cells(figures: Figures | None, given: int, due: int) -> tuple[str, ...]:
    share = _told(given / due, lambda v: v < EACH.heights_given) if due else "-"
    if figures is None:
        return (share, *("-",) * 5)
    return (
        share,
        _told(figures.mean, lambda v: v > EACH.height_mean),
        _told(figures.median),
        _told(figures.bias),
        *_sure_cells(figures, EACH),
    )


def _sure_cells(figures: Figures, bars: Bars) -> tuple[str, str]:
    low, high = bars.covered
    enough = figures.count >= LEAST_SIDES
    return (
        _told(figures.covered, lambda v: enough and not low <= v <= high),
        _told(figures.u95, lambda v: enough and v > bars.u95),
    )


def _share_cells(scene: Scene) -> tuple[str, str]:
    if scene.share is None or scene.true_share is None:
        return ("-", "-")
    allowed = max(EACH.share_points, EACH.share_pieces / max(scene.true, 1))
    off = abs(scene.share - scene.true_share)
    return (_told(scene.share, lambda v: off > allowed), _told(scene.true_share))


def _told(value: float, beyond: Callable[[float], bool] = lambda v: False, digits: int = 2) -> str:
    return f"{value:.{digits}f}{'!' if beyond(value) else ''}"


def _seconds(scene: Scene) -> str:
    return f"{scene.seconds:.1f}"


# --- JSON ---------------------------------------------------------------------------------------------------


def _scene_dict(scene: Scene) -> dict[str, Any]:
    return {
        "name": scene.name,
        "refused": scene.refused,
        "true": scene.true,
        "found": scene.found,
        "paired": scene.paired,
        "f1": round(scene.f1, 4),
        "plan": _plain(scene.figures("plan")),
        "height": _plain(scene.figures("height")),
        "heights_due": scene.heights_due,
        "heights_given": scene.heights_given,
        "cut": scene.cut,
        "suggested": scene.suggested,
        "suggested_right": scene.suggested_right,
        "share_on_size": _rounded(scene.share),
        "true_share_on_size": _rounded(scene.true_share),
        "mark": None if scene.mark is None else [_rounded(value) for value in scene.mark],
        "seconds": _rounded(scene.seconds),
    }


def _sides_dict(scenes: Sequence[Scene], shape: str | None) -> dict[str, Any]:
    return {side: _plain(_together(scenes, side, shape)) for side in ("plan", "height")}


def _plain(record: Figures | Bars | None) -> dict[str, Any] | None:
    if record is None:
        return None
    return {name: _rounded(getattr(record, name)) for name in record.__dataclass_fields__}


def _rounded(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_rounded(v) for v in value]
    if isinstance(value, float):
        return round(value, 4) if math.isfinite(value) else None
    return value
