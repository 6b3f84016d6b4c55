"""A term of practice for tests: trays of an invented cook, judged as the program judges them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
from measured import measured, pieces

from cutcheck.advice import advise
from cutcheck.journal import Cook, Entry, Extras, Journal, SideEntry
from cutcheck.records import PhotoInfo, Result, Scale
from cutcheck.standards import Target, find_cut
from cutcheck.tray import Tray
from cutcheck.verdict import judge

ADA = Cook(1, "Ada Example", "2026-01-01T00:00:00+00:00")
WIDTH = Target("width", "width", "width", (6.35, 6.35), 5.35, 7.35)
START = datetime(2026, 1, 12, 10, 0, 0)


def tray_of_dice(
    rng: np.random.Generator,
    sd: float,
    *,
    mean: float = 6.35,
    cut: str = "small-dice",
    count: int = 30,
    noise: float = 0.06,
    when: datetime = START,
) -> Result:
    """A marked tray of dice cut with this mean and spread, mm; every number of it is invented."""
    true = rng.normal(mean, sd, (count, 3))
    seen, u95 = measured(rng, true, noise, 1.5 * noise)
    chosen = find_cut(cut)
    marked, score, notes = judge(pieces(seen, u95), chosen)
    return Result(
        photo=PhotoInfo("tray.jpg", rng.bytes(32).hex(), 4000, 3000, when.isoformat()),
        scale=Scale("card", (0,), 0.12, 20.0, 0.1, 3000.0, "exif"),
        pieces=marked,
        cut=chosen.cut_name,
        score=score,
        advice=advise(marked, score, chosen),
        warnings=notes,
    )


def keep_term(
    journal: Journal,
    cook: Cook,
    spreads: Sequence[float],
    *,
    days: float = 4.0,
    seed: int = 1,
    mean: float = 6.35,
    cut: str = "small-dice",
    start: datetime = START,
    minutes: float | None = None,
) -> None:
    """Keep one tray for each spread, ``days`` apart."""
    rng = np.random.default_rng(seed)
    for k, sd in enumerate(spreads):
        when = start + timedelta(days=k * days)
        result = tray_of_dice(rng, sd, when=when, mean=mean, cut=cut)
        extras = Extras(minutes=minutes, raw_g=None if minutes is None else 200.0)
        if minutes is not None:
            extras = replace(extras, waste_g=30.0)
        journal.keep(result, cook, extras=extras)


def series(
    rng: np.random.Generator,
    spreads: Sequence[float],
    noises: Sequence[float],
    *,
    between: float = 0.0,
    slabs: int = 0,
    slab_sd: float = 0.0,
    count: int = 30,
    mean: float = 6.35,
) -> tuple[list[Entry], list[SideEntry]]:
    """Entries and one side (width) of trays, without a database: ``between`` is how trays' means differ,
    ``slab_sd`` how the slabs of one tray do, which their pieces share."""
    entries, sides = [], []
    for k, (sd, noise) in enumerate(zip(spreads, noises, strict=True)):
        true = mean + between * rng.normal() + sd * rng.normal(size=count)
        if slabs:
            true = true + slab_sd * rng.normal(size=slabs)[rng.integers(0, slabs, count)]
        x = (true + noise * rng.normal(size=count))[:, None]
        tray = Tray.of(x, np.full_like(x, noise), np.zeros((2, *x.shape)), [WIDTH])
        when = (START + timedelta(days=4 * k)).isoformat()
        mark = float(np.clip(90.0 - 40.0 * sd + rng.normal(), 0.0, 100.0))
        entries.append(
            Entry(
                k + 1, ADA, when, "small-dice", "metric", mark, mark - 3, mark + 3, 0.8, count, "tray.jpg",
                f"{k:064x}", when, "0.1.0", "version", None, False,
            )
        )  # fmt: skip
        sides.append(
            SideEntry(
                k + 1, when, "width", "width", 5.35, 7.35, float(x.mean()), noise / count**0.5,
                tray.true_sd([0]), noise, count, 0.8,
            )
        )  # fmt: skip
    return entries, sides
