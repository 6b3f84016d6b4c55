"""One table of what can go wrong: code, exit status, message and remedy.

The command line, the page and the documentation take their words from here, so that there is one place
to learn what can go wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

from cutcheck.printable import printable


@dataclass(frozen=True, slots=True)
class Fault:
    """A kind of error. ``message`` may hold ``{placeholders}`` for the thing and the value it got."""

    code: str
    exit_status: int
    message: str
    remedy: str


_FAULTS = (
    # 2: the command is wrong
    Fault("no-file", 2, "There is no file '{file}'.", "Check the name and the folder."),
    Fault("unknown-cut", 2, "'{cut}' is not a cut of the {standard} standard.", "{remedy}"),
    Fault(
        "unknown-standard",
        2,
        "'{standard}' is not a standard, nor a file.",
        "Take one of {known}, or the path of a standard file of your own.",
    ),
    Fault("bad-option", 2, "{problem}", "{remedy}"),
    Fault("journal", 2, "{problem}", "{remedy}"),
    Fault("roster", 2, "{problem}", "{remedy}"),
    Fault("class", 2, "{problem}", "{remedy}"),
    Fault("busy", 2, "Many photos are being measured just now.", "Wait a moment, and give the photo again."),
    Fault("not-here", 2, "{what} stay with the computer itself.", "Go to the computer that runs the page."),
    # 3: the photo can't be measured
    Fault(
        "no-card",
        3,
        "No {what} was found in the photo.",
        "{remedy}",
    ),
    Fault(
        "card-cut-off",
        3,
        "Only part of the card can be seen ({seen} of {needed} squares).",
        "Move back or shift the card so that the whole card is in the picture and nothing lies on it.",
    ),
    Fault(
        "card-bent",
        3,
        "The card is not flat: its corners are up to {off_mm:.1f} mm off a plane.",
        "Press the card flat, or print it on heavier paper or laminate it (matt), and take the photo again.",
    ),
    Fault(
        "blurred",
        3,
        "The photo is blurred: edges are {blur_px:.1f} pixels wide.",
        "Hold still, tap on the pieces to focus, and take the photo again with more light.",
    ),
    Fault(
        "too-dark",
        3,
        "The photo is too dark to measure.",
        "Switch on a light or move to the window, and take the photo again without shading the board.",
    ),
    Fault(
        "too-bright",
        3,
        "The photo is too bright: {share:.0%} of the {what} has lost its detail.",
        "Move out of the glare, tap on the card so that the phone exposes for it, and take it again.",
    ),
    Fault(
        "too-oblique",
        3,
        "The camera looked too much from the side ({tilt:.0f} degrees; 55 is the most).",
        "Hold the phone higher, more above the board, and take the photo again.",
    ),
    Fault(
        "too-far",
        3,
        "The photo was taken from too far away: {what} is {pixels:.0f} pixels, {needed} are needed.",
        "Move the phone closer, or use the main camera at full resolution, and take the photo again.",
    ),
    Fault(
        "not-a-photo",
        3,
        "'{file}' is not a photo that can be read ({why}).",
        "Give a JPEG, PNG, WebP, TIFF or HEIC file as the camera wrote it.",
    ),
    Fault(
        "too-large",
        3,
        "The photo is too large: {got}, at most {limit}.",
        "Send it at the camera's normal size, or raise the limit in the settings.",
    ),
    Fault(
        "no-pieces",
        3,
        "No pieces were found on the board.",
        "Lay the pieces apart on a board of another colour than theirs, beside the card.",
    ),
    Fault(
        "not-finished",
        3,
        "Measuring '{file}' did not come to an end ({why}).",
        "Run the same command again: only what is missing is measured. Where it happens again, try "
        "--workers 1, which needs less memory.",
    ),
)

INTERNAL = Fault(
    "internal",
    1,
    "Something went wrong inside cutcheck ({what}).",
    "Report it with the photo; nothing that was done before is lost.",
)  # a fault of the program's own: no code of the interface, so not in the table of users' errors

FAULTS: dict[str, Fault] = {fault.code: fault for fault in _FAULTS}


_LONGEST = 2000  # of a text that is told, letters


def _told(text: str) -> str:
    plain = printable(text[: _LONGEST + 1], lines=True)
    return plain if len(plain) <= _LONGEST else f"{plain[:_LONGEST]}…"


class CutcheckError(Exception):
    """An error with a code of the table above, a message and what to do next."""

    def __init__(self, code: str, **details: object) -> None:
        fault = INTERNAL if code == INTERNAL.code else FAULTS[code]
        self.code = code
        # What a stranger named must not steer the terminal that it is told on, nor fill it.
        details = {k: _told(v) if isinstance(v, str) else v for k, v in details.items()}
        self.details = details
        self.exit_status = fault.exit_status
        self.message = fault.message.format(**details)
        self.remedy = fault.remedy.format(**details)
        super().__init__(f"{self.message} {self.remedy}")

    def to_dict(self) -> dict[str, dict[str, str]]:
        """The error as ``--json`` prints it."""
        return {"error": {"code": self.code, "message": self.message, "remedy": self.remedy}}
