"""Goals: a share on size in so many sessions, so many days apart, for one cut of one cook."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date

from sqlalchemy import delete, insert, select

from cutcheck.journal.database import fault, reading, writing
from cutcheck.journal.entries import Cook
from cutcheck.journal.schema import goals
from cutcheck.journal.store import Journal

__all__ = ["Goal", "goals_of", "remove_goal", "set_goal"]


@dataclass(frozen=True, slots=True)
class Goal:
    """``on_size`` (0 to 1) in ``sessions`` sessions, each ``days_apart`` days or more after the last."""

    cut: str
    on_size: float
    sessions: int
    days_apart: int
    set_on: str


def set_goal(
    journal: Journal,
    cook: Cook,
    cut: str,
    on_size: float,
    sessions: int = 3,
    days_apart: int = 7,
    *,
    today: date | None = None,
) -> Goal:
    """Set the goal of a cook for a cut; one that was set before gives way."""
    if not 0.0 < on_size <= 1.0:
        raise fault(f"A goal can't be {100 * on_size:g} % on size.", "Give a share from 1 to 100 per cent.")
    if not 1 <= sessions <= 50 or not 0 <= days_apart <= 365:
        raise fault(
            f"A goal can't be {sessions} sessions {days_apart} days apart.",
            "Give 1 to 50 sessions, 0 to 365 days apart.",
        )
    goal = Goal(cut, on_size, sessions, days_apart, (today or date.today()).isoformat())
    with writing(journal.engine) as connection:
        connection.execute(delete(goals).where(goals.c.cook_id == cook.number, goals.c.cut == cut))
        connection.execute(
            insert(goals).values(
                key=uuid.uuid4().hex,
                cook_id=cook.number,
                **{name: getattr(goal, name) for name in Goal.__slots__},
            )
        )
    return goal


def remove_goal(journal: Journal, cook: Cook, cut: str) -> bool:
    """Take a goal away; was there one?"""
    with writing(journal.engine) as connection:
        gone = connection.execute(delete(goals).where(goals.c.cook_id == cook.number, goals.c.cut == cut))
        return gone.rowcount > 0


def goals_of(journal: Journal, cook: Cook) -> tuple[Goal, ...]:
    """The goals of a cook, by cut."""
    names = [goals.c[name] for name in Goal.__slots__]
    query = select(*names).where(goals.c.cook_id == cook.number).order_by(goals.c.cut)
    with reading(journal.engine) as connection:
        return tuple(Goal(**row) for row in connection.execute(query).mappings())
