"""What the bench knows of one photo, as it is kept beside the photo's file."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from cutcheck.classroom.quick_look import QuickLook

State = Literal["again", "waits", "failed", "measured"]


@dataclass(frozen=True, slots=True)
class BenchPhoto:
    """One photo. ``called`` is a name of its own, phones call all theirs alike; ``who`` gave it.

    ``settled``: the card number that a person gave it, None for 'leave out', 0 where nobody said anything.
    ``kept`` is (grading, student) by id once it is graded; ``outcome`` is what measuring gave (see
    ``measuring``), without the pieces once it is graded: these are the gradebook's then.
    """

    sha256: str
    order: int
    name: str
    who: str
    look: QuickLook
    insisted: bool = False
    settled: int | None = 0
    outcome: dict[str, Any] | None = None
    kept: tuple[int, int] | None = None

    @property
    def called(self) -> str:
        """``"photo 3 (image.jpg)"``."""
        return f"photo {self.order} ({self.name})"

    @property
    def state(self) -> State:
        """Is it to be taken again, does it wait for measuring, did that fail, or is it measured?"""
        if self.outcome is not None:
            return "failed" if "error" in self.outcome else "measured"
        return "waits" if self.look.usable or self.insisted else "again"

    @property
    def numbers(self) -> tuple[int, ...] | None:
        """The cards in it as far as is known; None where it can't be used as it is."""
        if self.state in ("again", "failed"):
            return None
        return tuple((self.outcome or {}).get("numbers", self.look.numbers))

    @property
    def why_failed(self) -> tuple[str, str, str]:
        """The code, what is wrong, what to do."""
        error = (self.outcome or {}).get("error", {})
        return error.get("code", ""), error.get("message", ""), error.get("remedy", "")

    def to_json(self) -> dict[str, Any]:
        """For keeping."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> BenchPhoto:
        """What ``to_json`` gave, read back from JSON."""
        look = QuickLook(**data["look"])
        look = replace(look, numbers=tuple(look.numbers), notes=tuple(look.notes))
        kept = None if data["kept"] is None else (int(data["kept"][0]), int(data["kept"][1]))
        return cls(**{**data, "look": look, "kept": kept})
