"""Tables as CSV that any spreadsheet opens, and that runs nothing when it is opened."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from ..base.results import Table


def table_csv(table: Table) -> bytes:
    """A result table as CSV in UTF-8; numbers with all their digits, empty cells empty."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(table.columns)
    for row in table.rows:
        writer.writerow(
            [
                harmless(cell) if isinstance(cell, str) else "" if cell is None else repr(cell)
                for cell in row
            ]
        )
    return out.getvalue().encode("utf-8-sig")


def ballots_csv(cells: Mapping[int, Mapping[str, str]]) -> bytes:
    """The lines as typed, as CSV; text that a spreadsheet would run is quoted."""
    filled = {line: texts for line, texts in cells.items() if any(texts.values())}
    names = list(dict.fromkeys(name for line in filled.values() for name in line))
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["row", *names])
    for number in sorted(filled):
        writer.writerow([number, *(harmless(filled[number].get(name, "")) for name in names)])
    return out.getvalue().encode("utf-8-sig")


def harmless(text: str) -> str:
    """Text that no spreadsheet takes for a formula.

    >>> harmless("=1+1"), harmless("sweet")
    ("'=1+1", 'sweet')
    """
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
