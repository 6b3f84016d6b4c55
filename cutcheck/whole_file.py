"""Files that are there whole or as they were before, also after a full disk, Ctrl-C or a power cut.

What is written goes into a file beside, is synced, and is renamed into its place.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path

from cutcheck.errors import CutcheckError

ENDING = ".new"  # of the file beside, which is left only where the program was killed
_REMEDY = "Make room on the disk, or name another file, or a folder that you may write to."


def write_whole(
    path: str | Path, data: bytes, *, over: bool = True, code: str = "bad-option", remedy: str = _REMEDY
) -> None:
    """Write a file whole or not at all. ``over``: whether one that is there may be replaced.

    Raises ``code`` with the place, the reason and the ``remedy``.
    """
    with writing_whole(path, over=over, code=code, remedy=remedy) as place:
        place.write_bytes(data)


@contextlib.contextmanager
def writing_whole(
    path: str | Path, *, over: bool = True, code: str = "bad-option", remedy: str = _REMEDY
) -> Iterator[Path]:
    """The place that the block writes to; it is renamed to ``path`` at the block's end, else taken away.

    Raises ``code`` for each error of the system, those of the block too.
    """
    try:
        with _beside(Path(path), over) as place:
            yield place
    except FileExistsError:
        problem = f"'{path}' is there already."
        raise CutcheckError(
            code, problem=problem, remedy="Name a new file; nothing was overwritten."
        ) from None
    except OSError as error:
        raise not_written(path, error, code=code, remedy=remedy) from None


def not_written(
    path: str | Path, error: Exception, *, code: str = "bad-option", remedy: str = _REMEDY
) -> CutcheckError:
    """The error for a place that can't be written to."""
    why = getattr(error, "strerror", None) or error
    return CutcheckError(code, problem=f"'{path}' can't be written ({why}).", remedy=remedy)


@contextlib.contextmanager
def _beside(path: Path, over: bool) -> Iterator[Path]:
    mode = _mode(path)
    if mode is not None:
        if not over:
            raise FileExistsError
        if not stat.S_ISREG(mode):  # a pipe, a terminal, a folder: nothing to lose, no renaming over it
            yield path
            return
        # Renaming would go past a file's write protection.
        if not mode & 0o222 or not os.access(path, os.W_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    target = Path(os.path.realpath(path))  # what a link points to is replaced, not the link
    # Short, since the file's own name may be as long as names can be.
    place = target.with_name(f"cutcheck-{secrets.token_hex(6)}{ENDING}")
    try:
        yield place
        with place.open("rb+") as written:
            os.fsync(written.fileno())
        if mode is not None:
            place.chmod(stat.S_IMODE(mode))
        if not over:
            target.touch(exist_ok=False)  # ours from here on, whoever else wants the name
        place.replace(target)
    finally:
        with contextlib.suppress(OSError):
            place.unlink(missing_ok=True)
    with contextlib.suppress(OSError):  # some file systems on a network can't; the file is there all the same
        _sync_folder(target.parent)


def _mode(path: Path) -> int | None:
    """What kind of file is there, and who may do what with it; None where there is none."""
    try:
        return path.stat().st_mode
    except FileNotFoundError:
        return None


def _sync_folder(folder: Path) -> None:
    """Make the renaming last, too; Windows can't, and needs not."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
