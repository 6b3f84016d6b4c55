"""The words a user reads, one for each thing: page, command line and pictures take theirs from here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cutcheck.records import Piece, Reference, Scale, SideName, Verdict

if TYPE_CHECKING:
    from cutcheck.cuts import Entry

VERDICTS: dict[Verdict | None, str] = {
    "in": "on size",
    "out": "off size",
    "unsure": "too close to call",
    "offcut": "offcut, not counted",
    None: "measured, not marked",
}

SIDES: dict[SideName, str] = {"length": "length", "width": "width", "height": "height"}

REFERENCES: dict[Reference, str] = {
    "card": "card",
    "mat": "mat",
    "id1": "bank-size card",
    "sheet": "sheet",
    "disc": "disc",
    "square": "square",
}

FLAGS = {
    "touching": "touches another piece",
    "cluster": "several pieces seen as one",
    "hidden": "partly hidden",
    "cut-off": "runs out of the picture, not counted",
    "faint": "hard to see against the board",
    "excluded": "left out of the mark by hand",
    "photos-differ": "the photos of the tray give it different sizes",
}

CAUSES = {
    "edges": "how sharply its edges are seen",
    "height": "how high it stands",
    "camera": "where the camera stood, and its lens",
    "print": "the print of the card",
    "roughness": "its own rough faces",
    "reading": "which lines are its edges",
    "photos": "how far the photos differ",
}


def flag(code: str) -> str:
    """A flag in plain words; a code that is not in the table is shown with spaces."""
    return FLAGS.get(code, code.replace("-", " "))


def cut_title(name: str) -> str:
    """A cut's name as a heading: ``"small-dice"`` is ``"Small dice"``, ``"macedoine"`` is ``"Macédoine"``."""
    from cutcheck.cuts import entries  # here: it reads every cut's file

    entry = entries().get(name)
    return entry.english if entry else name.replace("-", " ").capitalize()


def both_names(entry: Entry) -> str:
    """A cut's English name with the French one beside it, where it is not the same or in it already."""
    same = not entry.french or entry.french.lower() in entry.english.lower()
    return entry.english if same else f"{entry.english} ({entry.french})"


def percent(share: float | None) -> str:
    """A share of 0 to 1, ``"92 %"``; a dash where there is none."""
    return "-" if share is None else f"{100 * share:.0f} %"


def chance(probability: float) -> str:
    """A probability without false certainty: ``"more than 99 %"``, ``"84 %"``, ``"less than 1 %"``."""
    if probability > 0.99:
        return "more than 99 %"
    return "less than 1 %" if probability < 0.01 else percent(probability)


def count(number: int, one: str, many: str | None = None) -> str:
    """``"1 piece"``, ``"40 pieces"``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def reference(scale: Scale) -> str:
    """What gave the scale: ``"card 3"``, ``"cards 3 and 7"``, ``"mat"``."""
    name = REFERENCES[scale.reference]
    numbers = [str(number) for number in scale.numbers]
    if not numbers or scale.reference not in ("card", "square"):
        return name
    plural = "s" if len(numbers) > 1 else ""
    return f"{name}{plural} {' and '.join(numbers)}"


def tally(pieces: tuple[Piece, ...]) -> dict[Verdict | None, int]:
    """How many pieces have each verdict; verdicts that no piece has are left out."""
    counts = {verdict: sum(piece.verdict == verdict for piece in pieces) for verdict in VERDICTS}
    return {verdict: n for verdict, n in counts.items() if n}
