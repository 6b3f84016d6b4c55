"""Text from strangers made fit for a screen: names of files and people may hold anything."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

_JOINERS = "\u200c\u200d"  # invisible, and part of how some scripts are written


def printable(text: str, *, lines: bool = False) -> str:
    """The text with each character that can't be shown as ``\\ufffd``; ``lines``: line ends stay.

    So nothing that is printed steers a terminal (ECMA-48 control sequences), turns the order of letters round
    (Unicode's bidirectional controls), or fails to be written because it is no valid Unicode.
    """
    good = _JOINERS + ("\n" if lines else "")
    return "".join(c if c.isprintable() or c in good else "\ufffd" for c in text)


def file_name(path: Path) -> str:
    """A file's name as text that can be written anywhere, whatever bytes it has on the disk."""
    return printable(os.fsencode(path.name).decode("utf-8", "replace"))


def listed(things: Sequence[str], link: str = "and") -> str:
    """``"a"``, ``"a and b"``, ``"a, b and c"``; there is at least one."""
    return things[0] if len(things) == 1 else f"{', '.join(things[:-1])} {link} {things[-1]}"
