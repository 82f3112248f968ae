"""From a file to columns of text cells with their place; no judgement about what they say.

Why so
------
A column keeps each distinct text once, and for each row which of them stands there: a million
rows of some hundred names and codes are judged by judging some hundred texts, and take a tenth of
the memory of a million rows.
"""

from __future__ import annotations

import csv
import io
from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice

from ..base.errors import Fault
from ..catalogue.choice_ballot import CHOICE
from ..catalogue.column_table import ColumnTable, DistinctTexts
from ..catalogue.columns import BallotColumns, RawRow
from .plain_columns import TextColumns, plain_columns
from .sheets import (
    HEADER_WITHIN,
    MOST_COLUMNS,
    USUAL,
    Limits,
    Line,
    Source,
    book_sheets,
    content_of,
    decoded,
    is_workbook,
    numbered,
    short,
    too_large,
    unreadable,
)

_AT_ONCE = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """All rows of a source, and the remarks and faults about its form."""

    rows: tuple[RawRow, ...]
    faults: tuple[Fault, ...] = ()


def read_cells(source: Source, headings: BallotColumns = CHOICE) -> RawTable:
    """Text cells of a CSV file or an XLSX workbook.

    `source`: CSV in UTF-8, UTF-16 or Windows-1252 with comma, semicolon or tab; or XLSX, of which
        every sheet with a heading row is read. The heading row may stand below a few lines of other
        text.
    `headings`: the columns looked for; those of a forced choice unless said otherwise.

    Raises BallotError when the source cannot be read as a table at all.
    """
    tables, faults = read_columns(source, headings)
    rows = tuple(row for table in tables for row in table.rows())
    return RawTable(rows=rows, faults=tuple(faults))


def read_columns(
    source: Source, headings: BallotColumns = CHOICE, limits: Limits = USUAL
) -> tuple[list[ColumnTable], list[Fault]]:
    """As `read_cells`, a table a sheet, by column; `limits` may be larger than the usual ones."""
    content = content_of(source, limits)
    if is_workbook(content):
        read = _workbook(content, headings)
    else:
        read = [_text_table(decoded(content), headings, limits)]
    return [table for table, _ in read if table], [fault for _, faults in read for fault in faults]


_Read = tuple[ColumnTable | None, list[Fault]]


def _text_table(text: str, headings: BallotColumns, limits: Limits) -> _Read:
    first = list(islice(io.StringIO(text, newline=""), HEADER_WITHIN))
    best: tuple[int, str] = (0, ",")
    for delimiter in (",", ";", "\t"):
        head = csv.reader(first, delimiter=delimiter)
        try:
            known = max((len(_known(line, headings)) for line in head), default=0)
        except csv.Error:
            known = 0
        best = max(best, (known, delimiter), key=lambda entry: entry[0])
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=best[1], strict=True)
    try:
        lines = numbered(reader, limits)
        return _table("", lines, headings, limits, required=True, text=(text, best[1]))
    except csv.Error as error:
        where = f"a CSV file that breaks at line {reader.line_num} ({error})"
        raise unreadable(where, "Open it in a spreadsheet and save it again.") from error


def _workbook(content: bytes, headings: BallotColumns) -> list[_Read]:
    sheets = book_sheets(content)
    with_heading = [name for name, lines in sheets if _heading_at(lines, headings) is not None]
    return [
        _table(name, lines, headings, USUAL, required=name in with_heading or not with_heading)
        for name, lines in sheets
        if any(any(line) for _, line in lines)
    ]


def _known(line: Iterable[str], headings: BallotColumns) -> set[str]:
    cells = islice(line, MOST_COLUMNS + 1)
    return {name for cell in cells if (name := headings.known(cell))}


def _heading_at(lines: Sequence[Line], headings: BallotColumns) -> int | None:
    """Index of the first line, among the first twenty, with two known headings."""
    for index, (_, line) in enumerate(lines[:HEADER_WITHIN]):
        if len(_known(line, headings)) >= 2:
            return index
    return None


def _table(
    sheet: str,
    lines: Iterable[Line],
    known: BallotColumns,
    limits: Limits,
    *,
    required: bool,
    text: tuple[str, str] | None = None,
) -> _Read:
    """`text`: of a CSV file its text and separator, so that plain lines need not be cut up."""
    remaining = iter(lines)
    first = list(islice(remaining, HEADER_WITHIN))
    at = _heading_at(first, known)
    if at is None:
        for _ in remaining:  # what is broken further down is said first
            continue
        return None, [_no_heading(sheet, known, blocking=required)]
    number, heading = first[at]
    if len(heading) > MOST_COLUMNS:
        raise too_large(limits)
    places, faults = _places(sheet, number, heading, known)
    outside = list[Fault]()
    below = _plain_below(text, number, heading, places, limits)
    if below is None:
        below, outside = _columns(sheet, heading, places, chain(first[at + 1 :], remaining))
    table = ColumnTable(
        sheet=sheet,
        numbers=below.numbers,
        headings={name: heading[index].strip() for index, name in places.items()},
        columns={places[index]: column for index, column in below.columns.items()},
    ).without_empty()
    if len(table.numbers) > limits.most_rows:
        raise too_large(limits)
    return table, faults + outside


def _plain_below(
    text: tuple[str, str] | None,
    number: int,
    heading: list[str],
    places: dict[int, str],
    limits: Limits,
) -> TextColumns | None:
    if text is None or not all(name.strip() for name in heading):
        return None  # what stands in a column without a name is remarked upon
    content, delimiter = text
    return plain_columns(
        content, delimiter, heading=number, width=len(heading), places=places, limits=limits
    )


def _columns(
    sheet: str, heading: list[str], places: Iterable[int], below: Iterator[Line]
) -> tuple[TextColumns, list[Fault]]:
    """The columns below a heading, and what stands outside them."""
    numbers = array("q")
    kept = {index: (dict[str, int](), array("i")) for index in places}
    nameless = {index for index, text in enumerate(heading) if not text.strip()}
    outside: list[Fault] = []
    width = len(heading)
    while some := list(islice(below, _AT_ONCE)):
        numbers.extend([row for row, _ in some])
        lengths = {len(line) for _, line in some}
        if nameless or max(lengths) > width:
            outside += _outside(sheet, width, nameless, some)
        if lengths != {width}:
            some = [(row, (line + [""] * width)[:width]) for row, line in some]
        by_column = list(zip(*(line for _, line in some), strict=True))
        for index, (texts, which) in kept.items():
            for text in dict.fromkeys(by_column[index]):
                texts.setdefault(text, len(texts))
            which.extend(map(texts.__getitem__, by_column[index]))
    columns = {
        index: DistinctTexts.of(list(texts), which) for index, (texts, which) in kept.items()
    }
    return TextColumns(numbers=numbers, columns=columns), outside


def _outside(sheet: str, width: int, nameless: set[int], below: Sequence[Line]) -> list[Fault]:
    """Cells beyond the last heading, and a remark for columns without one."""
    faults = []
    for row, line in below:
        beyond = [text for text in line[width:] if text.strip()]
        if beyond:
            faults.append(
                Fault(
                    sheet=sheet,
                    row=row,
                    value=beyond[0],
                    rule="beyond heading",
                    problem=f"The row goes on beyond the last heading, with {short(beyond[0])}.",
                    advice="Perhaps a separator stands inside a cell: put that cell in quotes.",
                )
            )
        for index in sorted(i for i in nameless if i < len(line) and line[i].strip()):
            nameless.discard(index)
            faults.append(
                Fault(
                    sheet=sheet,
                    row=row,
                    value=line[index],
                    rule="no column name",
                    blocking=False,
                    problem=f"Column {index + 1} has no heading and was not read; "
                    f"it holds {short(line[index])}.",
                    advice="Give it a heading if it matters.",
                )
            )
    return faults


def _places(
    sheet: str, row: int, heading: list[str], known: BallotColumns
) -> tuple[dict[int, str], list[Fault]]:
    """Which column stands where; a remark for unknown headings, a fault for a second one."""
    places: dict[int, str] = {}
    faults = []
    for index, text in enumerate(heading):
        name = known.column_of(text)
        if name is None:
            if text.strip():
                faults.append(
                    Fault(
                        sheet=sheet,
                        row=row,
                        column=text.strip(),
                        value=text.strip(),
                        rule="unknown column",
                        blocking=False,
                        problem=f"The column {short(text)} is not known and was not read.",
                        advice="Known are: " + ", ".join(c.name for c in known.columns) + ".",
                    )
                )
        elif name in places.values():
            faults.append(
                Fault(
                    sheet=sheet,
                    row=row,
                    column=text.strip(),
                    value=text.strip(),
                    rule="column twice",
                    problem=f"There are two columns for {name}.",
                    advice="Keep one of them.",
                )
            )
        else:
            places[index] = name
    return places, faults


def _no_heading(sheet: str, known: BallotColumns, *, blocking: bool) -> Fault:
    needed = ", ".join(column.name for column in known.columns if column.required)
    return Fault(
        sheet=sheet,
        rule="no heading",
        blocking=blocking,
        problem="No heading row was found" + ("." if blocking else "; the sheet was not read."),
        advice=f"The first row names the columns, at least {needed}.",
    )
