"""What messages say on the page where they speak of the command line elsewhere.

The rooms below know no page: their remedies name commands and options. ``on_page`` is the one place where
these become what a cook can press; a test finds every message that would still show an option.
"""

from __future__ import annotations

import re

# (what is said, what the page says), tried in this order.
_INSTEAD = (
    (r"Measure it once and give --printed\.", "Measure it once and say so under 'Settings'."),
    (r"; name one with --cut\.", "; choose one."),
    (r",? or leave out --same-tray\.", ", or say that each photo is a tray of its own."),
    (r"Keep photos with 'check --keep --keep-photo'\.", "Keep the next ones with their photo."),
    (r"[Nn]ame another file with --journal or CUTCHECK_JOURNAL\.", "Name another file under 'Settings'."),
    (r"You may not write there: name", "You may not write there. Name"),
    (r"Write it as --cook NAME\.", "Type one."),
    (
        r"Run the same command again: (.*?) Where it happens again, try --workers 1, which needs less "
        r"memory\.",
        r"Start it again: \1",
    ),
    (r", or name another folder with --out(?=[.;])", ""),
    (r"add --standard (\w+)", r"choose the \1 standard"),
    (r"Name another with --port\.", "Name another."),
    (
        r"Keep one with 'cutcheck check PHOTO.*? --cook .*?'\.?",
        "Check a tray, choose the cut and press 'Keep'.",
    ),
    (r"'cutcheck check PHOTO.*? --cook .*?'", "'Check a tray'"),
    (r" ?'cutcheck journal( cooks)?' lists (the cooks|them)\.", " 'My progress' lists them."),
    (r"[`']cutcheck cuts[`'] and [`']cutcheck produce[`'] list them", "'Look up' lists them"),
    (r"[`']cutcheck (cuts|produce|gestures)[`'] lists", "'Look up' lists"),
    (r" *'cutcheck (cuts|gestures|produce) NAME' shows one with [^.]*\.", ""),
    (r"'cutcheck safety' has them in full\.", "'The station' has them in full."),
    (
        r"or name another file in the variable CUTCHECK_SETTINGS\.",
        "and see that the folder is there and may be written to.",
    ),
)
_COMPILED = tuple((re.compile(said), instead) for said, instead in _INSTEAD)


def on_page(text: str) -> str:
    """A message in the page's words; one that names no command is returned as it is."""
    for said, instead in _COMPILED:
        text = said.sub(instead, text)
    return text.strip()
