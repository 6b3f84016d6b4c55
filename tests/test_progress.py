"""Progress over weeks: what is told, what is not told yet, and what must not be mistaken for progress."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from terms import ADA, START, keep_term, series

from cutcheck.cli import run
from cutcheck.journal import Journal
from cutcheck.progress import FEWEST_FOR_LIMITS, FEWEST_FOR_TREND, make_progress, progress_of
from cutcheck.progress_table import sayings, to_dict, whole

TRIES = 200


def test_a_better_phone_is_not_a_better_cook() -> None:
    """A cook of one steadiness, measured roughly at first and finely later, is told of a change by chance.

    Without the noise taken out the spread would fall from 0.47 to 0.40 mm, and nearly all would be told so.
    """
    rng = np.random.default_rng(1)
    noises = [0.25] * 8 + [0.03] * 8
    told = 0
    for _ in range(TRIES):
        side = make_progress(ADA, *series(rng, [0.4] * 16, noises)).cuts[0].sides[0]
        assert side.spread_trend is not None
        told += side.spread_trend.sure
    assert told / TRIES <= 0.08


def test_a_steadier_cook_is_told_so() -> None:
    """A spread that falls from 0.8 to 0.3 mm over twelve trays is told 95 times in 100, and how fast."""
    rng = np.random.default_rng(2)
    told, slopes = 0, []
    for _ in range(TRIES):
        side = make_progress(ADA, *series(rng, np.linspace(0.8, 0.3, 12), [0.06] * 12)).cuts[0].sides[0]
        assert side.spread_trend is not None
        told += side.spread_trend.sure and side.spread_trend.slope < 0
        slopes.append(side.spread_trend.slope)
    assert told / TRIES >= 0.95
    # 0.5 mm in 44 days, by the week
    assert np.median(slopes) == pytest.approx(-0.5 / 44 * 7, rel=0.1)


@pytest.mark.parametrize("count", [1, 2, FEWEST_FOR_TREND - 1])
def test_no_verdict_from_a_few_trays(count: int) -> None:
    """Two points make no trend, nor do five: 'too few yet', no limits, and nothing of a side."""
    rng = np.random.default_rng(3)
    cut = make_progress(ADA, *series(rng, np.linspace(1.2, 0.1, count), [0.05] * count)).cuts[0]
    assert cut.mark_trend is None
    assert cut.mark_chart is None
    assert cut.sides[0].mean_chart is None
    assert cut.sides[0].capability is None
    said = sayings(cut)
    assert len(said) == 1
    assert "Too few yet" in said[0]
    assert f"{FEWEST_FOR_TREND} are needed" in said[0]


def test_limits_come_from_the_differences_between_trays() -> None:
    """Where trays differ as a whole, few lie beyond the limits; limits from within trays would cry wolf."""
    rng = np.random.default_rng(4)
    beyond = naive = total = 0
    for _ in range(60):
        entries, sides = series(rng, [0.3] * 20, [0.05] * 20, between=0.25)
        side = make_progress(ADA, entries, sides).cuts[0].sides[0]
        assert side.mean_chart is not None
        limits, means = side.mean_chart.limits, np.array(side.means_mm)
        beyond += int(((means < limits.low) | (means > limits.high)).sum())
        naive += int((np.abs(means - means.mean()) > 3 * 0.3 / np.sqrt(30)).sum())
        total += len(means)
    assert beyond / total < 0.02
    assert naive / total > 0.3


def test_a_slip_shows_as_a_run() -> None:
    """A mean that jumps is told with the check where it did, and the rule."""
    rng = np.random.default_rng(5)
    entries, sides = series(rng, [0.3] * 12, [0.05] * 12, between=0.02)
    last = sides[-1]
    assert last.mean_mm is not None
    from dataclasses import replace

    sides[-1] = replace(last, mean_mm=last.mean_mm + 0.9)
    cut = make_progress(ADA, entries, sides).cuts[0]
    assert cut.sides[0].mean_chart is not None
    assert any(s.at == 11 and s.higher for s in cut.sides[0].mean_chart.signals)
    text = " ".join(sayings(cut))
    assert "mean of the width upwards, at check 12" in text
    assert "Western Electric rule" in text


def test_bounds_of_capability_allow_for_shared_slabs() -> None:
    """With five slabs a tray, the bounds of Cp hold the true figure 88 times in 100 or more (95 is aimed at);
    bounds that took every piece for independent would do so less than 70 times in 100."""
    rng = np.random.default_rng(6)
    sd = (0.2**2 + 0.3**2 + 0.1**2) ** 0.5
    true = 1.0 / (3.0 * sd)
    held = naive = 0
    from cutcheck.control_charts import capability

    for _ in range(TRIES):
        entries, sides = series(rng, [0.2] * 16, [0.03] * 16, between=0.1, slabs=5, slab_sd=0.3)
        found = make_progress(ADA, entries, sides).cuts[0].sides[0].capability
        assert found is not None
        held += found.cp_low <= true <= found.cp_high
        plain = capability(6.35, 1.0 / (3.0 * found.cp), 5.35, 7.35, count=16 * 30)
        naive += plain.cp_low <= true <= plain.cp_high
    assert held / TRIES >= 0.88
    assert naive / TRIES <= 0.70


def test_trays_of_other_sizes_are_not_mixed(tmp_path: Path) -> None:
    """Each cut has a series of its own, the last practised first; unmarked trays are counted apart."""
    journal = Journal.open(tmp_path / "j.sqlite")
    ada = journal.add_cook("Ada Example")
    keep_term(journal, ada, [0.4] * 2, seed=1)
    keep_term(journal, ada, [0.4] * 3, seed=2, mean=12.7, cut="medium-dice", start=START + timedelta(days=60))
    found = progress_of(journal, ada)
    assert [(c.cut, len(c.entries)) for c in found.cuts] == [("medium-dice", 3), ("small-dice", 2)]
    assert [c.cut for c in progress_of(journal, ada, "small-dice").cuts] == ["small-dice"]


def test_practice_on_one_day_counts_trays_not_weeks() -> None:
    """Trays within two weeks are followed by their number, not by a slope that runs over weeks."""
    rng = np.random.default_rng(7)
    entries, sides = series(rng, [0.4] * 3, [0.05] * 3)
    assert make_progress(ADA, entries, sides).cuts[0].unit == "tray"
    entries, sides = series(rng, [0.4] * 8, [0.05] * 8)
    cut = make_progress(ADA, entries, sides).cuts[0]
    assert cut.unit == "week"
    assert cut.times[-1] == pytest.approx(4.0)


def test_the_command_tells_the_same_in_words_and_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``cutcheck progress`` names the change with its size; JSON has the series, limits and trends."""
    path = tmp_path / "j.sqlite"
    journal = Journal.open(path)
    keep_term(journal, journal.add_cook("Ada Example"), np.linspace(0.9, 0.3, FEWEST_FOR_LIMITS + 2))
    words = ["progress", "Ada Example", "--journal", str(path)]
    assert run([*words, "--capability"]) == 0
    said = capsys.readouterr().out
    assert "Small dice (inch standard), 10 trays, 2026-01-12 to 2026-02-17" in said
    assert "The mark rises by " in said
    assert "Steadier." in said
    assert "Cpk" in said
    assert "Western Electric, Statistical Quality Control Handbook (1956)" in said
    assert run([*words, "--json", "--cut", "small dice"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert len(data["cuts"][0]["trays"]) == 10
    assert data["cuts"][0]["mark_trend"]["sure"]
    assert data == json.loads(json.dumps(to_dict(progress_of(journal, journal.cook("#1")))))
    assert run([*words[:1], "Nobody", *words[2:]]) == 2
    assert run([*words, "--cut", "no such cut"]) == 2


def test_a_cook_without_checks_is_told_how_to_begin(tmp_path: Path) -> None:
    """Nothing kept yet: the way to keep is told."""
    journal = Journal.open(tmp_path / "j.sqlite")
    assert "has no marked check" in whole(progress_of(journal, journal.add_cook("Ada Example")))


def test_inches_are_shown_when_asked_for() -> None:
    """Lengths in the words and the table are inches throughout when inches are asked for."""
    rng = np.random.default_rng(8)
    found = make_progress(ADA, *series(rng, np.linspace(0.9, 0.4, 12), [0.05] * 12))
    assert " mm" not in whole(found, "in")
    assert "on size (in)" in whole(found, "in")


def test_the_longer_side_of_dice_is_no_fault_of_size(tmp_path: Path) -> None:
    """Dice cut to the middle of their size are told neither long nor narrow, and all three sides are one."""
    journal = Journal.open(tmp_path / "j.sqlite")
    ada = journal.add_cook("Ada Example")
    keep_term(journal, ada, [0.5] * 8)
    cut = progress_of(journal, ada).cuts[0]
    assert [side.label for side in cut.sides] == ["sides"]
    assert cut.sides[0].bias_mm == pytest.approx(0.0, abs=0.1)
    assert cut.sides[0].spread_mm == pytest.approx(0.5, rel=0.15)
    assert not any("Size:" in line for line in sayings(cut))
    means = {side.side: side.mean_mm or 0.0 for side in journal.sides(ada.number) if side.check == 1}
    assert means["length"] - means["width"] > 0.2  # by name alone
