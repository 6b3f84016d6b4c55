"""Kill a program that writes to the journal, again and again: nothing finished is lost, nothing half kept.

    python tests/nightly/journal_kills.py --kills 1000

A child keeps checks, corrects and removes some, and reports each change once it is done; it is killed
(SIGKILL) at a random moment; then the journal is opened and held against what was reported. Every tenth
child starts with no journal, so that making the tables is hit, too. Exit status 1 on a fault.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import trays

from cutcheck import serialise
from cutcheck.journal import Extras, Journal
from cutcheck.journal.database import reading
from cutcheck.records import Result

PIECES = 30
LONGEST_S = 0.5  # from the child's start to its end


def result(number: int) -> Result:
    """The check of an invented photo: its hash tells its number."""
    base = trays.tray(PIECES)
    return replace(base, photo=replace(base.photo, sha256=f"{number:064x}", file=f"tray-{number}.jpg"))


def write_for_ever(path: Path, first: int, report: int) -> None:
    """The child: keep and change checks from ``first`` on, and report each change after it is done."""
    journal = Journal.open(path)
    cook = journal.cook_called("Ada Example") or journal.add_cook("Ada Example")
    number = first
    while True:
        kept = journal.keep(result(number), cook, extras=Extras(raw_g=100.0, note="first")).entry
        os.write(report, json.dumps(["kept", number, kept.number]).encode() + b"\n")
        if number % 3 == 1:
            journal.correct(kept.number, extras=Extras(raw_g=200.0, note="corrected"), result=result(number))
            os.write(report, json.dumps(["corrected", number, kept.number]).encode() + b"\n")
        if number % 3 == 2:
            journal.remove([kept.number])
            os.write(report, json.dumps(["removed", number, kept.number]).encode() + b"\n")
        number += 1


def killed_child(path: Path, first: int, after_s: float) -> list[tuple[str, int, int]]:
    """Run the child, kill it after a time, and give back what it reported."""
    ours, theirs = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(ours)
        try:
            write_for_ever(path, first, theirs)
        finally:
            os._exit(70)  # only on a fault: the child never ends by itself
    os.close(theirs)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    status = os.waitpid(child, 0)[1]
    assert os.WIFSIGNALED(status), f"the child ended by itself, status {status}"
    with os.fdopen(ours) as pipe:
        return [tuple(json.loads(line)) for line in pipe if line.endswith("\n")]


def faults(path: Path, reports: list[tuple[str, int, int]], first: int) -> list[str]:
    """What is wrong with the journal after a kill, held against the reports since ``first``."""
    found = []
    journal = Journal.open(path)
    with reading(journal.engine) as connection:
        for pragma, good in (("integrity_check", ["ok"]), ("foreign_key_check", [])):
            said = list(connection.exec_driver_sql(f"PRAGMA {pragma}").scalars())
            if said != good:
                found.append(f"{pragma}: {said}")
    there = {int(e.sha256, 16): e for e in journal.entries() if int(e.sha256, 16) >= first}
    if len(journal.cooks()) > 1:
        found.append("a cook is doubled")
    state = {number: what for what, number, _ in reports}
    last = max(state, default=first - 1)
    for number, what in state.items():
        # the last one may have been removed without that being reported
        being_removed = number == last and number % 3 == 2
        if number not in there and what != "removed" and not being_removed:
            found.append(f"check {number} is lost")
        if number in there and what == "removed":
            found.append(f"check {number} is back")
    for number, entry in there.items():
        if number > last + 1:
            found.append(f"check {number} was never begun")
        kept = journal.check(entry.number)
        want = serialise.to_dict(result(number), with_budget=True)
        if serialise.to_dict(kept.result, with_budget=True) != want or len(journal.sides(1)) % 2:
            found.append(f"check {number} is half kept")
        if (entry.extras.raw_g, entry.extras.note) not in ((100.0, "first"), (200.0, "corrected")):
            found.append(f"check {number} is half corrected")
        if state.get(number) == "corrected" and entry.extras.note != "corrected":
            found.append(f"the correction of check {number} is lost")
    return found


def main() -> int:
    """Run the kills; 1 where anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20_106)
    options = parser.parse_args()
    chance = random.Random(options.seed)
    wrong: list[str] = []
    changes = at_work = 0
    with tempfile.TemporaryDirectory() as folder:
        for kill in range(options.kills):
            path = Path(folder) / f"journal-{kill // 10}.sqlite"
            first = 1000 * kill
            reports = killed_child(path, first, chance.uniform(0.0, LONGEST_S))
            changes += len(reports)
            at_work += Path(f"{path}-journal").exists()
            wrong += [f"kill {kill}: {what}" for what in faults(path, reports, first)]
    print(f"{options.kills} kills, {at_work} of them in the middle of a write, {changes} changes reported")
    print("\n".join(wrong) or "nothing lost, nothing doubled, nothing half kept")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
