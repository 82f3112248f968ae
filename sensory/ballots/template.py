"""The file that people fill in."""

from __future__ import annotations

import csv
import io

from ..protocols import Protocol
from .columns import CHOICE_COLUMNS, NOTES_SHEET, Column

_LEFT_OUT = ("session", "codes", "correct")


def template_columns(protocol: Protocol) -> tuple[Column, ...]:
    """The columns that a ballot of this protocol needs, one column a code."""
    unused = {f"code_{number}" for number in range(protocol.coded + 1, 6)}
    return tuple(
        column
        for column in CHOICE_COLUMNS
        if column.name not in unused and column.name not in _LEFT_OUT
    )


def template_csv(protocol: Protocol) -> bytes:
    """The heading row as CSV, UTF-8 with a byte order mark so that spreadsheets see it.

    >>> from sensory.protocols import PAIRED
    >>> template_csv(PAIRED).decode("utf-8-sig").strip()
    'assessor,replicate,protocol,order,code_1,code_2,answer,guess,comment'
    """
    text = io.StringIO()
    csv.writer(text).writerow(column.name for column in template_columns(protocol))
    return text.getvalue().encode("utf-8-sig")


def template_xlsx(protocol: Protocol) -> bytes:
    """A workbook with a sheet to fill in and a sheet that explains each column."""
    import openpyxl
    from openpyxl.styles import Font

    columns = template_columns(protocol)
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "ballots"
    sheet.append([column.name for column in columns])
    notes = book.create_sheet(NOTES_SHEET)
    notes.append(["heading", "needed", "what goes in", "example"])
    for column in columns:
        example = _example(column, protocol)
        notes.append([column.name, "yes" if column.required else "", column.meaning, example])
    notes.append([])
    notes.append([f"Orders of a {protocol.name} test: {', '.join(protocol.orders)}"])
    notes.append([f"The ballot asks: {protocol.asks}"])
    for page, widths in ((sheet, (12,) * len(columns)), (notes, (14, 8, 90, 12))):
        for cell in page[1]:
            cell.font = Font(bold=True)
        for letter, width in zip("ABCDEFGHIJKLMN", widths, strict=False):
            page.column_dimensions[letter].width = width
        page.freeze_panes = "A2"
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def _example(column: Column, protocol: Protocol) -> str:
    special = {"protocol": protocol.name, "order": protocol.orders[0]}
    if column.name == "answer" and protocol.picks == 2:
        return "412 837"
    return special.get(column.name, column.example)
