"""Tables as CSV that any spreadsheet opens, and that runs nothing when it is opened."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

import numpy as np

from ..base.results import Cell, Table, is_p
from ..catalogue.choice_ballot import CHOICE

_NOISE = 1e-9


def table_csv(table: Table) -> bytes:
    """A result table as CSV in UTF-8, with six digits a number; the archive keeps all of them."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(table.columns)
    for row in table.rows:
        writer.writerow(
            [_digits(cell, column) for column, cell in zip(table.columns, row, strict=True)]
        )
    return out.getvalue().encode("utf-8-sig")


def tables_csv(tables: Sequence[tuple[str, Table]]) -> bytes:
    """Several tables in one CSV: a line with the heading, the table, an empty line."""
    parts = []
    for heading, table in tables:
        text = table_csv(table).decode("utf-8-sig")
        parts.append(f"{harmless(heading)}\r\n{text}")
    return "\r\n".join(parts).encode("utf-8-sig")


def _digits(cell: Cell, column: str) -> str:
    """A number with six digits; rounding noise is 0, but a p-value may be as small as it is.

    >>> _digits(0.4626262626262626, "estimate"), _digits(1.306e-19, "sd"), _digits(1.3e-19, "p")
    ('0.462626', '0', '1.3e-19')
    """
    if cell is None or isinstance(cell, str):
        return harmless(cell or "")
    if isinstance(cell, (int, np.integer)):
        return str(cell)
    noise = abs(cell) < _NOISE and not is_p(column)
    return "0" if noise else f"{float(cell):.6g}"


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
