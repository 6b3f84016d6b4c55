"""The next session and the goals in plain words."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from cutcheck import words
from cutcheck.journal import Cook
from cutcheck.practice import Proposal, Standing

ADVICE = "This is advice, not a rule: your instructor knows more of you than your trays do."
SAFE = "Go slowly, fingertips curled; speed comes after control."


def whole(cook: Cook, proposal: Proposal, standings: Sequence[Standing]) -> str:
    """All of it for a terminal."""
    lines = [f"Next for {cook.label}: {headline(proposal)}", f"  Why: {proposal.why}"]
    lines += [
        textwrap.fill(line, 98, initial_indent="  Watch: ", subsequent_indent="    ")
        for line in proposal.watch
    ]
    lines += [f"  {SAFE}", f"  {ADVICE}"]
    if standings:
        lines += ["", "Goals", *(f"  {goal_words(one)}" for one in standings)]
    return "\n".join(lines)


def headline(proposal: Proposal) -> str:
    """The cut and how many pieces."""
    return f"{words.cut_title(proposal.cut)}, {words.count(proposal.pieces, 'piece')}"


def goal_words(one: Standing) -> str:
    """One goal and where it stands."""
    goal = one.goal
    apart = {0: "", 1: ", a day apart", 7: ", a week apart"}.get(
        goal.days_apart, f", {goal.days_apart} days apart"
    )
    sessions = words.count(goal.sessions, "session") + (apart if goal.sessions > 1 else "")
    wanted = f"{words.cut_title(goal.cut)}: {100 * goal.on_size:.0f} % on size in {sessions}"
    if one.reached is not None:
        return f"{wanted}. Reached on {one.reached}."
    last = "" if one.last_on_size is None else f" The last tray had {words.percent(one.last_on_size)}."
    following = ""
    if one.next_from is not None and len(one.done) < goal.sessions:
        following = f" The next one counts from {one.next_from}."
    return f"{wanted}. {len(one.done)} of {goal.sessions} done since {goal.set_on}.{following}{last}"
