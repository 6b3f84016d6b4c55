"""Tables as text for a spreadsheet: RFC 4180, in UTF-8 with a mark that says so, and formulas disarmed."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


class CsvText:
    """A table that grows by rows. A name may begin with '=': a spreadsheet must not run it."""

    def __init__(self, head: Iterable[str]) -> None:
        self._out = io.StringIO()
        self._writer = csv.writer(self._out)
        self._writer.writerow(head)

    def row(self, values: Iterable[object]) -> None:
        """Add a row; None is an empty cell."""
        self._writer.writerow([disarmed(value) for value in values])

    def text(self) -> str:
        """All of it. The mark at the start lets spreadsheets know that it is UTF-8."""
        return "\ufeff" + self._out.getvalue()


def disarmed(value: object) -> object:
    """Text that a spreadsheet would take for a formula with an apostrophe before it; numbers as they are."""
    if isinstance(value, str) and value[:1] in FORMULA_STARTS:
        return f"'{value}"
    return value
