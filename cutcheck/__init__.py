"""cutcheck: a knife-cut reference and practice trainer that measures cut vegetables from a photo.

    import cutcheck
    result = cutcheck.check("tray.jpg", cut="small-dice")
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cutcheck.errors import CutcheckError
    from cutcheck.pipeline import check
    from cutcheck.records import Piece, Result

__version__ = "0.1.0"
__all__ = ["CutcheckError", "Piece", "Result", "__version__", "check"]

_HOMES = {
    "check": "cutcheck.pipeline",
    "CutcheckError": "cutcheck.errors",
    "Piece": "cutcheck.records",
    "Result": "cutcheck.records",
}


def __getattr__(name: str) -> Any:
    # On first use: importing the package must not wait for the libraries that measuring needs.
    if name not in _HOMES:
        raise AttributeError(f"module 'cutcheck' has no attribute '{name}'")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
