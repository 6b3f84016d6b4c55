"""A first look at a photo, before its pieces are measured: is the card whole, flat, sharp, large enough?

What can't be measured at all is an error of ``cutcheck.errors``; this is what could be better.
"""

from __future__ import annotations

from dataclasses import dataclass

from cutcheck import words
from cutcheck.exposure import is_soft
from cutcheck.pipeline import FEWEST_PIXELS, Looked

# House rules: julienne and brunoise are some 2 mm thick; below this slant few side faces are seen.
SMALLEST_MM = 2.0
LEAST_SLANT_DEG = 12.0


@dataclass(frozen=True, slots=True)
class Seen:
    """One thing that was looked at: good or not, in words; ``code`` names the drawing that shows how."""

    what: str
    good: bool
    said: str
    code: str = ""


def look(looked: Looked) -> tuple[Seen, ...]:
    """What the photo is like, in the order in which a cook would mend it."""
    located = looked.located
    scale, card = located.scale, words.reference(located.scale)
    bent = [text for text in located.warnings if " is bent by " in text]
    sharp = not is_soft(located.blur_px, scale.mm_per_px)
    smallest = FEWEST_PIXELS * scale.mm_per_px
    seen = [Seen("Whole", True, f"the {card} is all in the picture")]
    if scale.reference in ("card", "mat"):
        flat = bent[0] if bent else f"the {words.REFERENCES[scale.reference]} lies flat"
        seen.append(Seen("Flat", not bent, flat, "card-bent"))
    soft = f"edges are {located.blur_px:.0f} pixels wide: tap on the pieces to focus, and hold still"
    seen.append(Seen("Sharp", sharp, "the edges are sharp" if sharp else soft, "blurred"))
    large = smallest <= SMALLEST_MM
    said = f"sides from {smallest:.1f} mm up can be measured"
    seen.append(Seen("Large", large, said if large else f"{said}: go closer for smaller cuts", "too-far"))
    slanted = scale.tilt_deg >= LEAST_SLANT_DEG
    slant = f"a slant of {scale.tilt_deg:.0f} degrees"
    better = f"{slant}: at some 25 degrees the heights are seen, too"
    seen.append(Seen("Slant", slanted, slant if slanted else better, "too-straight"))
    return tuple(seen)
