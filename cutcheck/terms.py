"""The terms: one word for each thing, and the words that we do not use for it.

The page ('Settings'), the README and the tests take them from here; a test reads every text that a user may
see and finds none of the words of ``not_``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Term:
    """A word, what it means, and words for the same thing that are not used, as regular expressions."""

    word: str
    means: str
    not_: tuple[str, ...] = ()


TERMS = (
    Term(
        "card",
        "the printed card that lies beside the pieces and tells how large they are",
        ("calibration target",),
    ),
    Term("mat", "a printed sheet with squares round its edge, for a whole tray"),
    Term(
        "square",
        "one of the black and white tags on the card",
        (r"markers?", r"fiducials?", r"apriltags?", "aruco", r"qr[- ]codes?", r"barcodes?"),
    ),
    Term(
        "piece",
        "one bit of what was cut",
        (r"blobs?", r"instances?", r"detections?", r"detected objects?", r"segments?", "segmentation"),
    ),
    Term(
        "tray",
        "the pieces of one photo, or of several photos of the same pieces",
        ("your image", "upload your image"),
    ),
    Term("cut", "the shape and size that was meant, such as small dice"),
    Term("standard", "the sizes of the cuts, published or your own"),
    Term("side", "the length, width or height of a piece", (r"dimensions?",)),
    Term(
        "give or take",
        "how far off a figure may be: 95 of 100 true values lie within it",
        ("u95", r"error bars?", r"confidence intervals?", r"uncertainty budgets?"),
    ),
    Term(
        "on size", "all sides that count lie within what the standard allows", (r"compliant", r"conform\w*")
    ),
    Term("mark", "the result of a tray, 0 to 100", (r"scores?", "rating")),
    Term("spread", "how much the pieces differ from each other", ("std", "stdev", "sigma")),
    Term("evenness", "how alike the pieces of a tray are, as a share"),
    Term("squareness", "how alike the sides of one piece are that should be equal, as a share"),
    Term("rubric", "what a class is marked by, and how much each part weighs"),
    Term("keep", "to write a tray into the journal", (r"save to (the )?database",)),
    Term("journal", "the trays that were kept on this computer"),
    Term("print check", "what a ruler said on the printed card"),
)
# Words of the trade of measuring photos, which no cook needs.
NEVER = (
    r"homograph\w*",
    r"contours?",
    r"bounding box\w*",
    r"pose estimation",
    r"click\w*",
    r"oops",
    r"please",
)


def unused() -> tuple[str, ...]:
    """Regular expressions of all the words that are not used."""
    return (*(pattern for term in TERMS for pattern in term.not_), *NEVER)
