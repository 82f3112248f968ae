"""Tables as CSV that any spreadsheet opens, and that runs nothing when it is opened."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

import numpy as np

from ..base.results import Cell, Table
from ..catalogue.choice_ballot import CHOICE


def table_csv(table: Table) -> bytes:
    """A result table as CSV in UTF-8; numbers with all their digits, empty cells empty."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(table.columns)
    for row in table.rows:
        writer.writerow([_digits(cell) for cell in row])
    return out.getvalue().encode("utf-8-sig")


def tables_csv(tables: Sequence[tuple[str, Table]]) -> bytes:
    """Several tables in one CSV: a line with the heading, the table, an empty line."""
    parts = []
    for heading, table in tables:
        text = table_csv(table).decode("utf-8-sig")
        parts.append(f"{harmless(heading)}\r\n{text}")
    return "\r\n".join(parts).encode("utf-8-sig")


def _digits(cell: Cell) -> str:
    if cell is None or isinstance(cell, str):
        return harmless(cell or "")
    return str(cell) if isinstance(cell, (int, np.integer)) else repr(float(cell))


def ballots_csv(cells: Mapping[int, Mapping[str, str]]) -> bytes:
    """The lines as typed, as CSV; text that a spreadsheet would run is quoted."""
    filled = {line: texts for line, texts in cells.items() if any(texts.values())}
    present = {name for line in filled.values() for name in line}
    known = [column.name for column in CHOICE.columns if column.name in present]
    names = [*known, *sorted(present - set(known))]
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
    bare = text.strip()
    return f"'{text}" if len(bare) > 1 and bare[0] in "=+-@＝＋－＠" else text
