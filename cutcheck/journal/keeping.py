"""From a measured photo to a kept check, and marking or measuring a kept one again."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from cutcheck.advice import advise
from cutcheck.errors import CutcheckError
from cutcheck.journal.database import fault
from cutcheck.journal.entries import Cook, Entry, Extras, Kept, Taking
from cutcheck.journal.store import Journal, KeptCheck
from cutcheck.lens import LensPrior
from cutcheck.photo_copy import copy_photo
from cutcheck.pipeline import Measured, chosen_cut, mark, measure_photo
from cutcheck.records import Result
from cutcheck.settings import Settings, load_settings
from cutcheck.standards import Cut
from cutcheck.suggest import suggest
from cutcheck.verdict import judge


def keep_measured(
    journal: Journal,
    cook: Cook,
    measured: Measured,
    result: Result,
    *,
    settings: Settings,
    reference: str = "card",
    lens: LensPrior | None = None,
    extras: Extras | None = None,
    produce: str | None = None,
    photo_bytes: bytes | None = None,
) -> KeptCheck:
    """Keep a check that was just made. ``photo_bytes``, the file as it came, keeps a copy of the photo."""
    photo = None
    if photo_bytes is not None:
        photo = copy_photo(photo_bytes, measured.photo, result.scale)
    taking = taking_of(measured, settings, reference, lens)
    return journal.keep(result, cook, taking=taking, extras=extras, photo=photo, produce=produce)


def taking_of(
    measured: Measured, settings: Settings, reference: str = "card", lens: LensPrior | None = None
) -> Taking:
    """What it takes to measure this photo again. Where a kept calibration of the lens was used, that goes in:
    it may be another one by then."""
    if lens is None and measured.located.scale.focal_from == "lens":
        from cutcheck.lens_store import lens_of

        lens = lens_of(measured.photo)
    return Taking(
        reference=reference,
        printed=settings.printed,
        thickness_mm=settings.thickness_mm,
        focal_35mm=measured.photo.focal_35mm,
        camera_name=measured.photo.camera_name,
        maybe_cropped=measured.photo.maybe_cropped,
        scale_u=measured.located.scale_u,
        camera=tuple(float(v) for v in measured.located.camera.vector()),
        lens=None if lens is None else asdict(lens),
    )


def mark_again(
    journal: Journal, number: int, cut: str, standard: str | None = None, produce: str | None = None
) -> Entry:
    """Hold a kept check against another cut. The measured sides stay as they are."""
    kept = journal.check(number)
    chosen = chosen_cut(cut, standard, produce=produce, default=load_settings().standard)
    return journal.correct(number, result=marked(kept, chosen), produce=produce)


def marked(kept: Kept, cut: Cut) -> Result:
    """A kept check's pieces, marked as this cut."""
    bare = tuple(replace(piece, verdict=None, conformity=None) for piece in kept.result.pieces)
    pieces, score, notes = judge(bare, cut, scale_u=kept.taking.scale_u)
    return replace(
        kept.result,
        pieces=pieces,
        cut=cut.cut_name,
        suggested=suggest(bare, cut),
        score=score,
        advice=advise(pieces, score, cut),
        warnings=notes,
    )


def measure_again(journal: Journal, number: int) -> Entry:
    """Measure a kept photo with this version of the program, and mark it as the same cut.

    Raises ``journal`` where no photo was kept or its scale was painted over, and what ``check`` raises.
    """
    kept = journal.check(number)
    photo, taking = journal.photo(number), kept.taking
    if photo is None:
        remedy = "Keep photos with 'check --keep --keep-photo'."
        raise fault(f"The photo of check {number} was not kept.", remedy)
    if kept.result.scale.reference == "id1":
        raise fault(
            f"The photo of check {number} can't be measured again: its bank-size card is painted over.",
            "Use the printed card for the next one.",
        )
    settings = replace(load_settings(), printed=taking.printed)
    if taking.thickness_mm is not None:
        settings = replace(settings, thickness_mm=taking.thickness_mm)
    lens = None if taking.lens is None else _lens(taking.lens)
    measured = measure_photo(
        photo.data, name=kept.entry.file, reference=taking.reference, lens=lens, settings=settings
    )
    cut = None
    if kept.result.cut is not None:
        name = kept.result.cut
        cut = chosen_cut(name.name, name.standard or None, produce=kept.entry.produce)
    try:
        result = mark(measured, cut)
    except CutcheckError as error:
        raise fault(f"Check {number} can't be marked again: {error.message}", error.remedy) from None
    again = taking_of(measured, settings, taking.reference, lens)
    return journal.correct(number, result=result, taking=again, produce=kept.entry.produce)


def _lens(kept: dict[str, Any]) -> LensPrior:
    """A calibration as the journal keeps it: JSON has lists where the record has tuples."""
    values: dict[str, Any] = {name: tuple(v) if isinstance(v, list) else v for name, v in kept.items()}
    return LensPrior(**values)
