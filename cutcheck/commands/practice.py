"""``cutcheck practice``: the next session, and goals."""

from __future__ import annotations

import json
from dataclasses import asdict

import click

from cutcheck.commands.keep import journal_option
from cutcheck.errors import CutcheckError


@click.command()
@click.argument("name")
@click.option("--goal", metavar="PERCENT", type=float, help="Set a goal for --cut: the share on size.")
@click.option("--sessions", type=int, default=3, show_default=True, help="With --goal: in how many sessions.")
@click.option(
    "--apart", type=int, default=7, show_default=True, metavar="DAYS", help="With --goal: days apart."
)
@click.option("--cut", metavar="NAME", help="The cut that the goal is for.")
@click.option("--no-goal", is_flag=True, help="Take the goal for --cut away.")
@journal_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def practice(
    name: str,
    *,
    goal: float | None,
    sessions: int,
    apart: int,
    cut: str | None,
    no_goal: bool,
    journal: str | None,
    as_json: bool,
) -> None:
    """Propose the next session for NAME, and tell where the goals stand."""
    from cutcheck import practice_table
    from cutcheck.journal import Journal
    from cutcheck.journal.goals import goals_of, remove_goal, set_goal
    from cutcheck.practice import propose, standing
    from cutcheck.progress import progress_of
    from cutcheck.standards import find_cut

    if (goal is not None or no_goal) and cut is None:
        raise CutcheckError("bad-option", problem="A goal is for one cut.", remedy="Add --cut NAME.")
    book = Journal.open(journal)
    cook = book.cook(name)
    wanted = None if cut is None else find_cut(cut).name
    if goal is not None and wanted is not None:
        set_goal(book, cook, wanted, goal / 100.0, sessions, apart)
    if no_goal and wanted is not None and not remove_goal(book, cook, wanted):
        raise CutcheckError("journal", problem=f"There was no goal for {wanted}.", remedy="None was removed.")
    proposal = propose(progress_of(book, cook))
    entries = book.entries(cook=cook.number)
    standings = [standing(one, entries) for one in goals_of(book, cook)]
    if as_json:
        data = {"proposal": asdict(proposal), "goals": [asdict(one) for one in standings]}
        click.echo(json.dumps(data, ensure_ascii=False))
    else:
        click.echo(practice_table.whole(cook, proposal, standings))
