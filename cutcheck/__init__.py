"""cutcheck: a knife-cut reference and practice trainer that measures cut vegetables from a photo."""

from __future__ import annotations

__version__ = "0.1.0"
