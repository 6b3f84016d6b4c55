"""How fast a large journal answers: ``python tests/benchmarks/journal.py [--file PATH]``.

200 cooks, 20,000 checks, a million pieces (all invented). To be reached: the progress page's data in under
1 s, one more check kept in under 0.1 s. Filling it takes some minutes; ``--file`` keeps it for another run.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import trays
from terms import START, tray_of_dice

from cutcheck.journal import Cook, Journal, Taking, rows
from cutcheck.journal.database import writing
from cutcheck.journal.entries import Extras
from cutcheck.journal.store import insert_check
from cutcheck.progress import progress_of
from cutcheck.records import Result

COOKS, CHECKS, PIECES, CUTS = 200, 20_000, 50, 4
RUNS = 15


def main() -> None:
    """Fill a journal and print the times."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--file", type=Path)
    given = parser.parse_args().file
    with tempfile.TemporaryDirectory() as folder:
        path = given or Path(folder) / "journal.sqlite"
        fresh = not path.exists()
        journal = Journal.open(path)
        if fresh:
            start = time.perf_counter()
            fill(journal)
            print(f"filled in {time.perf_counter() - start:.0f} s")
        tell(journal)


def tell(journal: Journal) -> None:
    """Time what a user waits for."""
    size = journal.path.stat().st_size / 1e6
    load = os.getloadavg()[0]
    print(f"{COOKS} cooks, {CHECKS} checks, {CHECKS * PIECES:,} pieces, {size:.0f} MB; load {load:.1f}")
    cooks = journal.cooks()
    rng = np.random.default_rng(9)
    some = [cooks[k] for k in rng.integers(0, len(cooks), RUNS)]
    timed("list of cooks", journal.cooks)
    each = iter(some * 2)
    timed("progress of one cook, all cuts", lambda: progress_of(journal, next(each)))
    new = iter([with_outlines(rng, 0.4, 1_000_000 + k) for k in range(RUNS)])
    timed("one more check kept", lambda: journal.keep(next(new), some[0]))
    last = iter([e.number for e in journal.entries(cook=some[0].number)[-RUNS:]])
    timed("one check with its pieces", lambda: journal.check(next(last)))
    kept = [e.number for e in journal.entries(cook=some[0].number) if int(e.sha256, 16) >= 1_000_000]
    journal.remove(kept)


def timed(what: str, act: Callable[[], object]) -> None:
    """Print the median and the longest of several runs."""
    took = []
    for _ in range(RUNS):
        start = time.perf_counter()
        act()
        took.append(time.perf_counter() - start)
    print(f"  {what:32} {np.median(took):.3f} s, at most {max(took):.3f} s")


def with_outlines(rng: np.random.Generator, sd: float, number: int) -> Result:
    """A judged tray whose pieces have outlines and budgets of the usual length."""
    result = tray_of_dice(rng, sd, count=PIECES)
    outline = trays.tray(1).pieces[0]
    usual = tuple((100.0 + k, 200.0 + 1.37 * k) for k in range(24))
    pieces = tuple(
        replace(p, outline_px=usual, top_px=outline.top_px, budget=outline.budget * 4) for p in result.pieces
    )
    return replace(result, pieces=pieces, photo=replace(result.photo, sha256=f"{number:064x}"))


def fill(journal: Journal) -> None:
    """Write the checks in one transaction: a hundred judged trays, each kept for many cooks and days."""
    rng = np.random.default_rng(8)
    cooks: list[Cook] = [journal.add_cook(f"Cook Example {k}") for k in range(COOKS)]
    models = []
    for k in range(100):
        result = with_outlines(rng, rng.uniform(0.2, 0.9), k)
        row = rows.check_row(result, Taking(), Extras())
        models.append((row, rows.side_rows(result, 0.0), rows.piece_rows(result)))
    with writing(journal.engine) as connection:
        for number in range(CHECKS):
            row, sides, pieces = models[int(rng.integers(len(models)))]
            when = (START + timedelta(days=number // COOKS)).isoformat()
            mine = {
                "key": f"{number:032x}",
                "cook_id": cooks[number % COOKS].number,
                "sha256": f"{number:064x}",
                "practised": when,
                "kept": when,
                "program_version": "0.1.0",
                "cut": ("small-dice", "medium-dice", "large-dice", "macedoine")[(number // COOKS) % CUTS],
            }
            insert_check(connection, row | mine, sides, pieces, None)


if __name__ == "__main__":
    main()
