"""Results as a workbook: a sheet a table, headings once, numbers as numbers."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterable, Sequence

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from ..base.results import Cell, cell_text
from ..catalogue.outcome import NamedTable
from .sheets import harmless

_LONGEST = 31
"""Letters that the title of a sheet may have."""
_WIDEST = 48


def workbook(tables: Sequence[NamedTable]) -> bytes:
    """The tables as XLSX, in their order; text that a spreadsheet would run is quoted.

    Numbers keep sixteen digits; what is not finite is written as a word, which no spreadsheet
    has a number for.
    """
    book = Workbook()
    book.remove(book.active)
    taken: set[str] = set()
    for heading, table in tables:
        title = _title(heading, taken)
        taken.add(title.casefold())
        sheet = book.create_sheet(title)
        sheet.append([harmless(name) for name in table.columns])
        for row in table.rows:
            sheet.append([_cell(cell) for cell in row])
        _dress(sheet)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _title(heading: str, taken: Iterable[str]) -> str:
    """A title that no other sheet has, in letters and a length that every spreadsheet takes."""
    letters = " ".join(re.sub(r"[\\/*?:\[\]]+", " ", heading).split())
    plain = letters.strip("'")[:_LONGEST].rstrip() or "Table"
    title, number = plain, 1
    while title.casefold() in taken:
        number += 1
        title = f"{plain[: _LONGEST - len(str(number)) - 1]} {number}"
    return title


def _cell(cell: Cell) -> str | float | int | None:
    if cell is None or isinstance(cell, bool):
        return None if cell is None else str(cell)
    if isinstance(cell, str):
        return harmless(cell)
    number = float(cell)
    if not math.isfinite(number):
        return cell_text(number) or None
    return int(number) if isinstance(cell, int) else number


def _dress(sheet: Worksheet) -> None:
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    for number, column in enumerate(sheet.columns, start=1):
        longest = max(len(cell_text(cell.value)) for cell in column)
        sheet.column_dimensions[get_column_letter(number)].width = min(longest + 2, _WIDEST)
