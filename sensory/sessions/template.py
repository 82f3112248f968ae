"""The file that people fill in."""

from __future__ import annotations

import csv
import io

from ..catalogue.columns import CHOICE_COLUMNS, NOTES_SHEET, Column
from ..catalogue.method_columns import columns_for
from ..catalogue.methods import Method
from ..choices.protocols import Protocol

_LEFT_OUT = ("session", "codes", "correct")


def template_columns(
    test: Protocol | Method, attributes: tuple[str, ...] = ()
) -> tuple[Column, ...]:
    """The columns that a ballot of this test needs; for a profile one more an attribute."""
    if isinstance(test, Method):
        ballot = columns_for(test.key)
        meaning = "Score of this attribute."
        return (*ballot.columns, *(Column(name=one, meaning=meaning) for one in attributes))
    unused = {f"code_{number}" for number in range(test.coded + 1, 6)}
    return tuple(
        column
        for column in CHOICE_COLUMNS
        if column.name not in unused and column.name not in _LEFT_OUT
    )


def template_csv(test: Protocol | Method, attributes: tuple[str, ...] = ()) -> bytes:
    """The heading row as CSV, UTF-8 with a byte order mark so that spreadsheets see it.

    >>> from sensory.choices.protocols import PAIRED
    >>> template_csv(PAIRED).decode("utf-8-sig").strip()
    'assessor,replicate,protocol,order,code_1,code_2,answer,guess,comment'
    """
    text = io.StringIO()
    csv.writer(text).writerow(column.name for column in template_columns(test, attributes))
    return text.getvalue().encode("utf-8-sig")


def template_xlsx(test: Protocol | Method, attributes: tuple[str, ...] = ()) -> bytes:
    """A workbook with a sheet to fill in and a sheet that explains each column."""
    import openpyxl
    from openpyxl.styles import Font

    columns = template_columns(test, attributes)
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "ballots"
    sheet.append([column.name for column in columns])
    notes = book.create_sheet(NOTES_SHEET)
    notes.append(["heading", "needed", "what goes in", "example"])
    for column in columns:
        needed = "yes" if column.required else ""
        notes.append([column.name, needed, column.meaning, _example(column, test)])
    notes.append([])
    notes.append([_served(test)])
    notes.append([f"The ballot asks: {test.asks}"])
    for page, widths in ((sheet, (12,) * len(columns)), (notes, (14, 8, 90, 12))):
        for cell in page[1]:
            cell.font = Font(bold=True)
        for letter, width in zip("ABCDEFGHIJKLMN", widths, strict=False):
            page.column_dimensions[letter].width = width
        page.freeze_panes = "A2"
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def _served(test: Protocol | Method) -> str:
    if isinstance(test, Method):
        return test.letters
    return f"Orders of a {test.name} test: {', '.join(test.orders)}"


def _example(column: Column, test: Protocol | Method) -> str:
    if isinstance(test, Method):
        return column.example
    special = {"protocol": test.name, "order": test.orders[0]}
    if column.name == "answer" and test.picks == 2:
        return "412 837"
    return special.get(column.name, column.example)
