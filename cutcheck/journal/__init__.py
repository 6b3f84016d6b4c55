"""The journal: every practice kept. ``Journal.open()`` opens the user's own.

``database`` knows the file, ``schema`` the tables, ``migrations`` how they changed, ``rows`` how a result is
written in them, ``store`` what can be done, ``transfer`` how a journal is taken away and brought back.
"""

from cutcheck.journal.database import journal_path
from cutcheck.journal.entries import Cook, Entry, Extras, Kept, SideEntry, Taking
from cutcheck.journal.store import Journal, KeptCheck

__all__ = [
    "Cook",
    "Entry",
    "Extras",
    "Journal",
    "Kept",
    "KeptCheck",
    "SideEntry",
    "Taking",
    "journal_path",
]
