"""From a photo to a marked tray: the whole way in one function, ``check``.

    photo -> card -> pieces -> sides -> cut and verdict -> mark and advice

What is measured never depends on the cut: ``measure_photo`` knows none, and ``mark`` changes no measurement.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

from cutcheck.advice import advise
from cutcheck.blobs import find_blobs
from cutcheck.card import PrintCheck
from cutcheck.errors import CutcheckError
from cutcheck.lens_store import lens_of
from cutcheck.measure import measure
from cutcheck.photo import Limits, Photo, read_photo
from cutcheck.pose import LensPrior, Located, locate
from cutcheck.records import Piece, Result
from cutcheck.settings import Settings, load_settings
from cutcheck.standards import DEFAULT, Cut, find_cut, load_standard
from cutcheck.suggest import suggest
from cutcheck.units import Unit
from cutcheck.verdict import EXCLUDED, Judged, judge, leave_out

Source = str | Path | bytes | BinaryIO

# Fewer pixels than this on a side and an edge's place is a guess: see the README, "how well".
FEWEST_PIXELS = 10.0
STEPS = ("Reading the photo", "Finding the scale", "Finding the pieces", "Measuring each piece")


@dataclass(frozen=True)
class Looked:
    """A photo with the camera over the board: what it takes to find the pieces."""

    photo: Photo
    located: Located


@dataclass(frozen=True)
class Measured:
    """A photo with the camera over the board and the pieces on it, not yet compared with any cut."""

    photo: Photo
    located: Located
    pieces: tuple[Piece, ...]
    warnings: tuple[str, ...]


def check(
    photo: Source,
    cut: str | None = None,
    *,
    standard: str | Path | None = None,
    produce: str | None = None,
    reference: str = "card",
    lens: LensPrior | None = None,
    settings: Settings | None = None,
) -> Result:
    """Measure the pieces in a photo and mark them: ``check("tray.jpg", cut="small-dice")``.

    ``settings`` are the user's own where none are given (print check, thickness of the card, limits).
    Raises ``CutcheckError`` with a code, what is wrong and what to do.
    """
    settings = settings or load_settings()
    if standard is not None:
        load_standard(standard)  # a broken one is told before the photo is measured
    chosen = None if cut is None else chosen_cut(cut, standard, produce=produce, default=settings.standard)
    measured = measure_photo(photo, reference=reference, lens=lens, settings=settings)
    return mark(measured, chosen, standard=standard, unit=settings.unit)


def measure_photo(
    photo: Source,
    *,
    name: str | None = None,
    reference: str = "card",
    lens: LensPrior | None = None,
    settings: Settings | None = None,
    on_step: Callable[[str], None] = lambda step: None,
) -> Measured:
    """Read a photo, find the card and the pieces, and measure them; ``on_step`` hears what is being done."""
    looked = look_at(photo, name=name, reference=reference, lens=lens, settings=settings, on_step=on_step)
    return measure_looked(looked, on_step=on_step)


def look_at(
    photo: Source,
    *,
    name: str | None = None,
    reference: str = "card",
    lens: LensPrior | None = None,
    settings: Settings | None = None,
    on_step: Callable[[str], None] = lambda step: None,
) -> Looked:
    """The first half of ``measure_photo``: whether the photo will do, before time is spent on its pieces."""
    settings = settings or load_settings()
    on_step(STEPS[0])
    image = read_photo(photo, name=name, limits=Limits(settings.max_megapixels, settings.max_megabytes))
    on_step(STEPS[1])
    located = locate(
        image,
        reference=reference,
        printed=None if settings.printed is None else PrintCheck.parse(settings.printed),
        thickness_mm=settings.thickness_mm,
        lens=lens or lens_of(image),
    )
    return Looked(image, located)


def measure_looked(looked: Looked, *, on_step: Callable[[str], None] = lambda step: None) -> Measured:
    """The second half: find the pieces and measure them."""
    image, located = looked.photo, looked.located
    on_step(STEPS[2])
    found = find_blobs(image, located.camera, located.regions_px, area_px=located.surface_px)
    on_step(STEPS[3])
    pieces = measure(image.pixels, located.camera, found.blobs, scale_u=located.scale_u)
    if not pieces:
        raise CutcheckError("no-pieces")
    return Measured(image, located, pieces, (*image.warnings, *located.warnings, *found.warnings))


def mark(
    measured: Measured, cut: Cut | None = None, *, standard: str | Path | None = None, unit: Unit = "mm"
) -> Result:
    """Compare measured pieces with a cut, mark the tray and say what to do; without a cut, only measure.

    ``standard`` (a name or a file) is where the suggested cut is looked for when no cut says so;
    ``unit`` is that of the sizes in the advice; figures are mm whatever it is.
    """
    located = measured.located
    if cut is None:
        judged = Judged(measured.pieces, None, ())
    else:
        fault = too_far(located, cut)
        if fault is not None:
            raise fault
        judged = judge(measured.pieces, cut, scale_u=located.scale_u)
    return Result(
        photo=measured.photo.info,
        scale=replace(located.scale, regions_px=_outlines(located)),
        pieces=judged.pieces,
        cut=None if cut is None else cut.cut_name,
        suggested=suggest(_counting(measured.pieces), standard if cut is None else cut),
        score=judged.score,
        advice=() if cut is None else advise(judged.pieces, judged.score, cut, unit),
        warnings=(*measured.warnings, *judged.notes),
    )


def mark_without(
    tray: Measured | Result,
    numbers: Collection[int] | Mapping[int, str],
    cut: Cut,
    *,
    scale_u: float = 0.0,
    unit: Unit = "mm",
) -> Result:
    """The mark as it is without some pieces: these keep their sizes, lose their verdict and are flagged.

    ``numbers`` are the pieces left out, with the reason for each where it is a mapping; a piece that was left
    out before and is not among them counts again. Nothing is measured anew and ``tray`` is not changed. Of a
    ``Result`` (one that was read back, say) ``scale_u`` is the relative uncertainty of its scale; what it
    warned of in judging is told anew. Raises ``bad-option`` for a number that no piece has.
    """
    known = {piece.number for piece in tray.pieces}
    if strange := sorted(set(numbers) - known):
        raise CutcheckError(
            "bad-option",
            problem=f"There is no piece {strange[0]} on this tray.",
            remedy=f"The pieces are numbered {min(known)} to {max(known)}." if known else "It has no pieces.",
        )
    pieces = leave_out(tray.pieces, numbers)
    reasons = [_left_out(n, numbers) for n in sorted(numbers)]
    notes = (f"Left out of the mark: {', '.join(reasons)}.",) if reasons else ()
    if isinstance(tray, Measured):
        result = mark(replace(tray, pieces=pieces), cut, unit=unit)
        return replace(result, warnings=(*result.warnings, *notes))
    judged = judge(pieces, cut, scale_u=scale_u)
    return replace(
        tray,
        pieces=judged.pieces,
        cut=cut.cut_name,
        score=judged.score,
        suggested=suggest(_counting(pieces), cut),
        advice=advise(judged.pieces, judged.score, cut, unit),
        warnings=(*_of_the_photo(tray, scale_u), *judged.notes, *notes),
    )


def _counting(pieces: tuple[Piece, ...]) -> tuple[Piece, ...]:
    return tuple(piece for piece in pieces if EXCLUDED not in piece.flags)


def _left_out(number: int, numbers: Collection[int] | Mapping[int, str]) -> str:
    reason = numbers[number].strip() if isinstance(numbers, Mapping) else ""
    return f"{number} ({reason})" if reason else str(number)


def _of_the_photo(result: Result, scale_u: float) -> tuple[str, ...]:
    """What a result warned of before its pieces were judged."""
    said: set[str] = set()
    if result.cut is not None:
        try:
            before = find_cut(result.cut.name, result.cut.standard)
        except CutcheckError:  # a standard of the user's own that is no longer there: its notes stay
            return result.warnings
        said = set(judge(result.pieces, before, scale_u=scale_u).notes)
    return tuple(
        text for text in result.warnings if text not in said and not text.startswith("Left out of the mark:")
    )


def chosen_cut(
    name: str, standard: str | Path | None = None, *, produce: str | None = None, default: str = DEFAULT
) -> Cut:
    """The cut with the sizes that count. ``default`` is the standard that the user prefers: what it lacks
    comes from another; a ``standard`` that was named must have the cut."""
    if standard is None and default != DEFAULT:
        try:
            return find_cut(name, default, produce)
        except CutcheckError as error:
            if error.code != "unknown-cut":
                raise
    return find_cut(name, standard, produce)


def too_far(located: Located, cut: Cut) -> CutcheckError | None:
    """``too-far`` where the cut's smallest side that counts in the plan has too few pixels."""
    plan = [target.size_mm[0] for target in cut.targets if target.side != "height"]
    pixels = min(plan, default=float("inf")) / located.scale.mm_per_px
    if pixels >= FEWEST_PIXELS:
        return None
    return CutcheckError("too-far", what="the cut's smallest side", pixels=pixels, needed=int(FEWEST_PIXELS))


def _outlines(located: Located) -> tuple[tuple[tuple[float, float], ...], ...]:
    return tuple(tuple((float(x), float(y)) for x, y in region) for region in located.regions_px)
