"""Check thousands of hostile photo files: each ends in a result or a coded error, in time and in memory.

    python tests/nightly/fuzz_photos.py --inputs 10000

Prints how the inputs of each kind ended. A worker process checks them; where it crashes or hangs another
takes over. What is finished is kept in ``--log``: the same command goes on where it was stopped. ``--only N``
checks one input again and writes its bytes to a file. Exit status 1 on a fault.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import Counter, defaultdict
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from fuzzing import MOST_MB, MOST_SECONDS, Outcome, asked, outcome, worker
from hostile_photos import NAMES, hostile


def run(numbers: list[int], log: IO[str]) -> None:
    """Check these inputs and write each outcome down at once."""
    process = worker()
    for number in numbers:
        if process.poll() is not None:
            process = worker()
        line = {"number": number, "kind": NAMES[number % len(NAMES)], **asdict(asked(process, number))}
        log.write(json.dumps(line) + "\n")
        log.flush()
    assert process.stdin is not None
    process.stdin.close()
    process.wait()


def table(lines: list[dict[str, Any]]) -> tuple[str, bool]:
    """The outcomes of each kind as text, and whether all are good."""
    kinds: dict[str, list[Outcome]] = defaultdict(list)
    wrong = []
    for line in lines:
        one = Outcome(line["end"], line["seconds"], line["work"], line["peak_mb"])
        kinds[line["kind"]].append(one)
        if not one.good:
            wrong.append(f"input {line['number']} ({line['kind']}): {one}")
    out = [f"{'kind':20} {'inputs':>6} {'most s':>7} {'of work':>7} {'MB':>5}  ends"]
    for kind, those in kinds.items():
        ends = ", ".join(f"{end.split(':')[0]} {n}" for end, n in Counter(o.end for o in those).most_common())
        most = [max(getattr(o, field) for o in those) for field in ("seconds", "work", "peak_mb")]
        out.append(f"{kind:20} {len(those):6} {most[0]:7.1f} {most[1]:7.1f} {most[2]:5.0f}  {ends}")
    limits = f"within {MOST_SECONDS:g} s of work and {MOST_MB:g} MB"
    out += wrong or [f"{len(lines)} inputs: each ended in a result or a coded error, {limits}"]
    return "\n".join(out), not wrong


def main() -> int:
    """Run what is missing and print the table; 1 where anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=10_000)
    parser.add_argument("--log", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-photos.jsonl")
    parser.add_argument("--only", type=int, help="check this input alone, and keep its bytes")
    options = parser.parse_args()
    if options.only is not None:
        kind, data = hostile(options.only)
        place = Path(f"hostile-{options.only}.bin")
        place.write_bytes(data)
        print(kind, place, outcome(data))
        return 0
    kept = options.log.read_text().splitlines() if options.log.exists() else []
    lines = [json.loads(line) for line in kept if line.endswith("}")]
    done = {line["number"] for line in lines}
    with options.log.open("a") as log:
        run([number for number in range(options.inputs) if number not in done], log)
    lines = [json.loads(line) for line in options.log.read_text().splitlines() if line.endswith("}")]
    text, good = table([line for line in lines if line["number"] < options.inputs])
    print(text)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
