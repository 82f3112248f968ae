"""The file that people fill in."""

from __future__ import annotations

import csv
import io

from ..catalogue.columns import MOST_CODES, NOTES_SHEET, Column
from ..catalogue.kind import TestKind
from ..catalogue.tests import find_kind
from ..choices.protocols import Protocol


def template_columns(
    test: TestKind | Protocol, attributes: tuple[str, ...] = ()
) -> tuple[Column, ...]:
    """The columns that a ballot of this test needs; for a profile one more an attribute."""
    kind = find_kind(test)
    coded = kind.choice.coded if kind.choice else 0
    unused = {f"code_{number}" for number in range(coded + 1, MOST_CODES + 1)}
    return (
        *(c for c in kind.ballot.columns if c.in_template and c.name not in unused),
        *(Column(name=name, meaning="Score of this attribute.") for name in attributes),
    )


def template_csv(test: TestKind | Protocol, attributes: tuple[str, ...] = ()) -> bytes:
    """The heading row as CSV, UTF-8 with a byte order mark so that spreadsheets see it.

    >>> from sensory.choices.protocols import PAIRED
    >>> template_csv(PAIRED).decode("utf-8-sig").strip()
    'assessor,replicate,protocol,order,code_1,code_2,answer,guess,comment'
    """
    text = io.StringIO()
    csv.writer(text).writerow(column.name for column in template_columns(test, attributes))
    return text.getvalue().encode("utf-8-sig")


def template_xlsx(test: TestKind | Protocol, attributes: tuple[str, ...] = ()) -> bytes:
    """A workbook with a sheet to fill in and a sheet that explains each column."""
    import openpyxl
    from openpyxl.styles import Font

    kind, columns = find_kind(test), template_columns(test, attributes)
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "ballots"
    sheet.append([column.name for column in columns])
    notes = book.create_sheet(NOTES_SHEET)
    notes.append(["heading", "needed", "what goes in", "example"])
    for column in columns:
        needed = "yes" if column.required else ""
        notes.append([column.name, needed, column.meaning, _example(column, kind)])
    notes.append([])
    notes.append([kind.letters])
    notes.append([f"The ballot asks: {kind.asks}"])
    for page, widths in ((sheet, (12,) * len(columns)), (notes, (14, 8, 90, 12))):
        for cell in page[1]:
            cell.font = Font(bold=True)
        for letter, width in zip("ABCDEFGHIJKLMN", widths, strict=False):
            page.column_dimensions[letter].width = width
        page.freeze_panes = "A2"
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def _example(column: Column, kind: TestKind) -> str:
    if kind.protocol is None:
        return column.example
    special = {"protocol": kind.name, "order": kind.protocol.orders[0]}
    if column.name == "answer" and kind.picks == 2:
        return "412 837"
    return special.get(column.name, column.example)
