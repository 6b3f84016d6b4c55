"""The next session and goals."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from terms import ADA, START, keep_term, series

from cutcheck.cli import run
from cutcheck.errors import CutcheckError
from cutcheck.journal import Entry, Journal
from cutcheck.journal.goals import Goal, goals_of, set_goal
from cutcheck.practice import pieces_needed, propose, standing
from cutcheck.progress import make_progress, progress_of

TODAY = date(2026, 3, 1)


def sessions(*plan: tuple[int, float], counted: int = 30, cut: str = "small-dice") -> list[Entry]:
    """Checks on days after the start, each with its share on size."""
    model = series(np.random.default_rng(1), [0.4], [0.05])[0][0]
    return [
        replace(
            model,
            practised=(START + timedelta(days=day)).isoformat(),
            on_size=share,
            counted=counted,
            cut=cut,
        )
        for day, share in plan
    ]


GOAL = Goal("small-dice", 0.8, 3, 7, START.date().isoformat())


@pytest.mark.parametrize(
    ("plan", "done", "reached", "next_from"),
    [
        ([], 0, None, None),
        ([(0, 0.8)], 1, None, "2026-01-19"),
        ([(0, 0.8), (3, 0.9), (6, 0.95)], 1, None, "2026-01-19"),  # too close together
        ([(0, 0.8), (7, 0.9), (14, 0.85)], 3, "2026-01-26", None),
        ([(0, 0.8), (7, 0.79), (14, 0.85)], 1, None, "2026-02-02"),  # one below starts anew
        ([(0, 0.8), (7, 0.9), (14, 0.85), (21, 0.2)], 3, "2026-01-26", None),  # once reached it stays
        ([(-7, 0.9), (0, 0.9), (7, 0.9)], 2, None, "2026-01-26"),  # before it was set
    ],
)
def test_a_goal_stands_where_its_rule_says(
    plan: list[tuple[int, float]], done: int, reached: str | None, next_from: str | None
) -> None:
    """Sessions count with the share, far enough apart, since the goal was set, without a lapse between."""
    found = standing(GOAL, sessions(*plan))
    assert (len(found.done), found.reached, found.next_from) == (done, reached, next_from)


def test_a_spoonful_of_pieces_or_another_cut_is_no_session() -> None:
    """Nine pieces, or pieces of another cut, do not count towards a goal."""
    assert standing(GOAL, sessions((0, 1.0), counted=9)).done == ()
    assert standing(GOAL, sessions((0, 1.0), cut="large-dice")).done == ()


def test_what_is_least_steady_is_proposed(tmp_path: Path) -> None:
    """Of two cuts practised alike, the unsteady one is next, and steadiness is what to watch."""
    journal = Journal.open(tmp_path / "j.sqlite")
    ada = journal.add_cook("Ada Example")
    keep_term(journal, ada, [0.3] * 3, seed=1, mean=12.7, cut="medium-dice")
    keep_term(journal, ada, [1.1] * 3, seed=2, cut="small-dice")
    found = propose(progress_of(journal, ada), TODAY)
    assert found.cut == "small-dice"
    assert found.watch[0].startswith("Steadiness: the sides differ by 2.")
    assert len(found.watch) <= 2


def test_what_is_longest_ago_is_proposed(tmp_path: Path) -> None:
    """Of two cuts alike in skill, the one that was last practised longer ago is next."""
    journal = Journal.open(tmp_path / "j.sqlite")
    ada = journal.add_cook("Ada Example")
    keep_term(journal, ada, [0.4] * 3, seed=1, cut="small-dice")
    late = START + timedelta(days=35)
    keep_term(journal, ada, [0.4] * 3, seed=2, mean=12.7, cut="medium-dice", start=late)
    assert propose(progress_of(journal, ada), TODAY).cut == "small-dice"


def test_a_fault_of_size_is_what_to_watch(tmp_path: Path) -> None:
    """Dice 1.2 mm too large are told by how much, with the step that makes it."""
    journal = Journal.open(tmp_path / "j.sqlite")
    ada = journal.add_cook("Ada Example")
    keep_term(journal, ada, [0.3] * 3, mean=7.55)
    watch = propose(progress_of(journal, ada), TODAY).watch
    assert watch[0].startswith("Size: the sides ran 1.2 mm over the middle")
    assert watch[1].startswith("In the slabs")


def test_a_beginner_begins_with_sticks() -> None:
    """Without any marked tray, the first cut of a course is proposed."""
    assert propose(make_progress(ADA, [], []), TODAY).cut == "batonnet"


@pytest.mark.parametrize("share", [0.1, 0.4, 0.5, 0.7, 0.9])
def test_the_pieces_asked_for_tell_the_share(share: float) -> None:
    """With so many pieces the share found is within 15 in 100 of the true one 94 times in 100 (binomial)."""
    n = pieces_needed(share)
    low, high = np.ceil((share - 0.15) * n - 1e-9), np.floor((share + 0.15) * n + 1e-9)
    assert 20 <= n <= 60
    assert stats.binom.cdf(high, n, share) - stats.binom.cdf(low - 1, n, share) >= 0.94


def test_a_new_goal_takes_the_place_of_the_old(tmp_path: Path) -> None:
    """A cook has one goal for a cut; it goes with the cook; impossible ones are told."""
    journal = Journal.open(tmp_path / "j.sqlite")
    ada = journal.add_cook("Ada Example")
    set_goal(journal, ada, "small-dice", 0.7)
    newer = set_goal(journal, ada, "small-dice", 0.8, 2, 3, today=TODAY)
    assert goals_of(journal, ada) == (newer,) == (Goal("small-dice", 0.8, 2, 3, "2026-03-01"),)
    with pytest.raises(CutcheckError, match="can't be 120 % on size"):
        set_goal(journal, ada, "small-dice", 1.2)
    with pytest.raises(CutcheckError, match="0 sessions"):
        set_goal(journal, ada, "small-dice", 0.8, 0)
    journal.remove_cook(ada.number)
    assert goals_of(journal, ada) == ()


def test_practice_on_the_command_line(own_journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One command sets a goal, tells where it stands and what is next; as JSON, too; and takes it away."""
    journal = Journal.open(own_journal)
    keep_term(journal, journal.add_cook("Ada Example"), [0.9] * 2)
    assert run(["practice", "Ada Example", "--cut", "small dice", "--goal", "80"]) == 0
    said = capsys.readouterr().out
    assert "Next for Ada Example#1: Small dice" in said
    assert "Small dice: 80 % on size in 3 sessions, a week apart. 0 of 3 done since" in said
    assert "advice, not a rule" in said
    assert run(["practice", "#1", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["proposal"]["cut"] == "small-dice"
    assert data["goals"][0]["goal"]["on_size"] == 0.8
    assert run(["practice", "#1", "--goal", "80"]) == 2
    assert "for one cut" in capsys.readouterr().err
    assert run(["practice", "#1", "--no-goal", "--cut", "small-dice"]) == 0
    assert run(["practice", "#1", "--no-goal", "--cut", "small-dice"]) == 2
