"""A grade without a rubric: the mark as it was measured, with its ends."""

from __future__ import annotations

from dataclasses import dataclass

from cutcheck.records import Result


@dataclass(frozen=True, slots=True)
class PlainGrade:
    """The mark, 0 to 100, what measuring leaves of it, and what the sample leaves besides; no pass mark."""

    points: float
    low: float
    high: float
    sample_low: float
    sample_high: float
    counted: int
    scale_text: str = ""
    passed: bool | None = None
    second_look: bool = False


def plain_grade(result: Result) -> PlainGrade:
    """The grade of a result that has a score."""
    score = result.score
    assert score is not None
    sample = score.sampling or 0.0
    low = score.mark - ((score.mark - score.mark_low) ** 2 + sample**2) ** 0.5
    high = score.mark + ((score.mark_high - score.mark) ** 2 + sample**2) ** 0.5
    ends = (max(low, 0.0), min(high, 100.0))
    return PlainGrade(score.mark, score.mark_low, score.mark_high, *ends, score.counted)
