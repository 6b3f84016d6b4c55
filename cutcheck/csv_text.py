"""Tables as text for a spreadsheet: RFC 4180, in UTF-8 with a mark that says so, and formulas disarmed."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

# What makes a cell a formula (OWASP, "CSV Injection"): signs, in their wide forms too, and at the very start
# white space that spreadsheets drop. Other countries' separators and line ends inside a text begin a new cell
# where the file is opened by a double click.
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_FORMULA = re.compile(rf"^(?=[{_SIGNS}\t\r\n])|(?<=[,;|\t\r\n])(?=[{_SIGNS}])")


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
    """Text with an apostrophe before all that a spreadsheet would take for a formula; numbers as they are."""
    return _FORMULA.sub("'", value) if isinstance(value, str) else value
