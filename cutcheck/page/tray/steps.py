"""What is being done with a photo, as a list of steps of one fixed height, so that nothing jumps."""

from __future__ import annotations

from html import escape

from cutcheck.page.tray.look import Seen
from cutcheck.pipeline import STEPS


def steps_panel(photo: str, now: str, seen: tuple[Seen, ...] = ()) -> str:
    """The steps with the one that is being done; ``now`` may also be a wait before the first.

    What a first look saw stands under the step that found the scale.
    """
    at = STEPS.index(now) if now in STEPS else -1
    rows = ""
    for k, step in enumerate(STEPS):
        state, said = ("done", "done") if k < at else ("now", "now") if k == at else ("todo", "to do")
        rows += f"<li class='cc-{state}'>{escape(step)}<span class='cc-hidden'>, {said}</span></li>"
    found = ", ".join(f"{one.what.lower()} {'✓' if one.good else '✗'}" for one in seen)
    waits = "" if at >= 0 else f"{escape(now)} … "
    return (
        f"<div class='cc-panel cc-steps' role='status'><h3>{escape(photo)}</h3><ol>{rows}</ol>"
        f"<p class='cc-small'>{waits}{escape(found)}&nbsp;</p></div>"
    )


def look_panel(seen: tuple[Seen, ...]) -> str:
    """How the photo is, a row for each thing that was looked at, with a drawing where it could be better."""
    rows = "".join(
        f"<li class='{'cc-good' if one.good else 'cc-poor'}'><b>{escape(one.what)}</b>"
        f"<span class='cc-hidden'>{': good' if one.good else ': could be better'}</span> "
        f"<span>{escape(one.said)}</span></li>"
        for one in seen
    )
    return f"<ul class='cc-look'>{rows}</ul>"
