"""Card numbers as people write them: '7', '1-30' or '1,4,9-12'."""

from __future__ import annotations

import re

from cutcheck.card import LAST_NUMBER
from cutcheck.errors import CutcheckError

LONGEST_NAME = 60  # of a person, letters: more could not be read on the back of a card
_HOW = f"Give numbers from 0 to {LAST_NUMBER}: one as 7, a range as 1-30, or several as 1,4,9-12."


def parse_numbers(text: str) -> tuple[int, ...]:
    """The card numbers in '7', '1-30' or '1,4,9-12', in that order, each once; else ``bad-option``."""
    numbers: dict[int, None] = {}
    parts = [part.strip() for part in text.replace("–", "-").split(",")]
    for part in parts:
        match = re.fullmatch(r"(\d{1,9})(?:\s*-\s*(\d{1,9}))?", part, re.ASCII)
        if not match:
            what = f"'{part}' in '{text}'" if part and len(parts) > 1 else f"'{text}'"
            raise CutcheckError("bad-option", problem=f"{what} is no card number.", remedy=_HOW)
        first, last = int(match[1]), int(match[2] or match[1])
        if max(first, last) > LAST_NUMBER:
            problem = f"There is no card {max(first, last)}: the last one is {LAST_NUMBER}."
            raise CutcheckError("bad-option", problem=problem, remedy=_HOW)
        if last < first:
            problem = f"The range '{part}' runs backwards."
            raise CutcheckError("bad-option", problem=problem, remedy=f"Write it as {last}-{first}.")
        numbers.update(dict.fromkeys(range(first, last + 1)))
    return tuple(numbers)
