"""What a run over a folder has finished, one file a photo, so that the next run goes on from there.

    OUT/.cutcheck-run/lock            held while a run is at work; it falls with its process
    OUT/.cutcheck-run/SHA256.json     what one photo gave; the name is the hash of the photo's bytes

A file is there whole or not at all, also after a power cut (``whole_file.py``).
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from cutcheck import whole_file
from cutcheck.errors import CutcheckError

FOLDER = ".cutcheck-run"
FORM = 1
_REMEDY = (
    "Close it where it is open in a spreadsheet, make room on the disk, or name another folder with --out; "
    "what was measured is kept."
)


class RunStore:
    """The finished photos of one out folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def get(self, sha256: str) -> dict[str, Any] | None:
        """What is kept of a photo; None where nothing is, or nothing that this version understands."""
        try:
            kept = json.loads((self._folder / f"{sha256}.json").read_bytes())
        except (OSError, ValueError):
            return None
        good = isinstance(kept, dict) and kept.get("form") == FORM and isinstance(kept.get("asked"), dict)
        whole = good and ("error" in kept or {"result", "look", "scale_u"} <= kept.keys())
        return kept if whole else None

    def put(self, sha256: str, kept: dict[str, Any]) -> None:
        """Keep what a photo gave, in the place of what was kept of it before."""
        text = json.dumps({"form": FORM, **kept}, allow_nan=False, sort_keys=True)
        write_whole(self._folder / f"{sha256}.json", text.encode())


@contextlib.contextmanager
def run_store(out: Path) -> Iterator[RunStore]:
    """The store of an out folder, which is made if need be; ours alone until the end of the block.

    Raises ``class`` where another run is at work there, or the folder can't be written to.
    """
    folder = out / FOLDER
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / "lock")
        lock.acquire(blocking=False)
    except Timeout:
        raise CutcheckError(
            "class",
            problem=f"Another run is at work in '{out}'.",
            remedy="Wait until it is done, or name another folder with --out.",
        ) from None
    except (OSError, NotImplementedError) as error:  # filelock's word for a disk that knows no locks
        raise not_written(out, error) from None
    try:
        for left in folder.glob(f"*{whole_file.ENDING}"):  # of a run that was killed while it wrote
            left.unlink(missing_ok=True)
        yield RunStore(folder)
    finally:
        lock.release()


def write_whole(path: Path, data: bytes) -> None:
    """Write a file of the class so that it is there whole or as it was before. Raises ``class``."""
    whole_file.write_whole(path, data, code="class", remedy=_REMEDY)


def not_written(path: Path, error: Exception) -> CutcheckError:
    """The error for a place that can't be written to."""
    return whole_file.not_written(path, error, code="class", remedy=_REMEDY)
