"""A class's tables as files: CSV for anything, one workbook for a spreadsheet.

Names stay text: in the workbook every text is written as text, in CSV what looks like a formula gets an
apostrophe. The same tables give the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from cutcheck.classroom.results import (
    ClassResults,
    Table,
    failed_table,
    marks_table,
    pieces_table,
    settle_table,
)
from cutcheck.classroom.run_store import not_written, write_whole
from cutcheck.csv_text import CsvText

WORKBOOK = "results.xlsx"
TO_SETTLE = "to-settle.csv"
_ALWAYS = datetime(2000, 1, 1, tzinfo=UTC)  # a workbook holds when it was made: not what ours is about
_WIDEST = 60  # of a column, letters


def write_results(out: str | Path, results: ClassResults) -> tuple[Path, ...]:
    """Write all tables into the out folder; the files written, each whole or as it was. Raises ``class``.

    What there is nothing of (nothing failed, nothing to settle) has no file, also none of an earlier run.
    """
    out = Path(out)
    marks, pieces = marks_table(results), pieces_table(results)
    files: dict[str, bytes | None] = {
        "marks.csv": _csv(marks),
        "pieces.csv": _csv(pieces),
        WORKBOOK: workbook([marks, pieces]),
        TO_SETTLE: _csv(settle_table(results)),
        "failed.csv": _csv(failed_table(results)),
    }
    for name, data in files.items():
        if data is not None:
            write_whole(out / name, data)
            continue
        try:
            (out / name).unlink(missing_ok=True)
        except OSError as error:
            raise not_written(out / name, error) from None
    return tuple(out / name for name, data in files.items() if data is not None)


def workbook(tables: Sequence[Table]) -> bytes:
    """A workbook (ISO/IEC 29500, XLSX) with one sheet a table, its head kept in sight."""
    import xlsxwriter

    out = io.BytesIO()
    texts = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, {"in_memory": True, **texts}) as book:
        book.set_properties({"created": _ALWAYS})
        bold = book.add_format({"bold": True})
        for table in tables:
            sheet = book.add_worksheet(table.name)
            sheet.freeze_panes(1, 0)
            sheet.set_landscape()
            sheet.fit_to_pages(1, 0)  # printed: all columns on a page, the head on each
            sheet.repeat_rows(0)
            for row, cells in enumerate((table.head, *table.rows)):
                for column, cell in enumerate(cells):
                    if isinstance(cell, str) and cell:
                        sheet.write_string(row, column, cell, None if row else bold)
                    elif isinstance(cell, int | float):
                        sheet.write_number(row, column, cell)
            for column, head in enumerate(table.head):
                longest = max(len(str(row[column] or "")) for row in (table.head, *table.rows))
                sheet.set_column(column, column, min(max(longest, len(head)) + 1, _WIDEST))
            sheet.autofilter(0, 0, max(len(table.rows), 1), len(table.head) - 1)
    return out.getvalue()


def _csv(table: Table | None) -> bytes | None:
    return None if table is None else csv_file(table)


def csv_file(table: Table) -> bytes:
    """A table as a CSV file."""
    text = CsvText(table.head)
    for row in table.rows:
        text.row(row)
    return text.text().encode()
