"""From a file to text cells with their place; no judgement about what they say.

Why so
------
A workbook is measured before and while it is read: 143 KiB held five million empty rows (100 s),
610 KiB four million cells (2 GiB), and a row number alone a thousand million rows.
"""

from __future__ import annotations

import csv
import io
import os
import re
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import islice
from pathlib import Path
from typing import IO, Any

from ..base.errors import BallotError, Fault
from ..catalogue.choice_ballot import CHOICE
from ..catalogue.columns import NOTES_SHEET, BallotColumns, RawRow

MOST_BYTES = 20 * 2**20
MOST_UNPACKED = 100 * 2**20
MOST_ROWS = 50_000
MOST_COLUMNS = 200
# Of a whole workbook: a few hundred KiB packed can hold millions, at 500 bytes and 10 µs each.
MOST_CELLS = 500_000
_LAST_ROW = 4 * MOST_ROWS
"""Empty rows cost time too: a sheet may have some that were formatted, not a million."""
_ROW = re.compile(rb"<(?:\w+:)?row(?=[\s/>])(?:[^>]{0,400}?\sr\s*=\s*[\"'](\d{1,20}))?")
_MOST_STRINGS = 250_000
_STRING = re.compile(rb"<(?:\w+:)?si[\s/>]")
_HEADER_WITHIN = 20

Source = str | os.PathLike[str] | bytes | IO[bytes]


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
    content = _content(source)
    if content.startswith(b"PK\x03\x04"):
        return _workbook(content, headings)
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise _unreadable("an old workbook (.xls) or a locked one", "Save it as .xlsx or CSV.")
    return _text_table(content, headings)


def _content(source: Source) -> bytes:
    if isinstance(source, (bytes, bytearray)):
        content = bytes(source)
    elif isinstance(source, (str, os.PathLike)):
        path = Path(source)
        try:
            if not path.is_file():
                raise _unreadable(f"no file at {path}", "Check the name and the folder.")
            if path.stat().st_size > MOST_BYTES:
                raise _too_large()
            content = path.read_bytes()
        except OSError as error:
            raise _unreadable(f"{error.strerror}", "Check the name and the folder.") from error
    elif hasattr(source, "read"):
        content = source.read()
        if not isinstance(content, bytes):
            raise _unreadable("a file opened as text", "Open it in binary mode ('rb').")
    else:
        raise _unreadable(f"a {type(source).__name__}", "Give a path, bytes or a binary file.")
    if len(content) > MOST_BYTES:
        raise _too_large()
    if not content.strip():
        raise _unreadable("an empty file", "Check that it was saved.")
    return content


def _text_table(content: bytes, headings: BallotColumns) -> RawTable:
    text = _decoded(content)
    lines = list(islice(io.StringIO(text, newline=""), _HEADER_WITHIN))
    best: tuple[int, str] = (0, ",")
    for delimiter in (",", ";", "\t"):
        head = csv.reader(lines, delimiter=delimiter)
        try:
            known = max((len(_known(line, headings)) for line in head), default=0)
        except csv.Error:
            known = 0
        best = max(best, (known, delimiter), key=lambda entry: entry[0])
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=best[1], strict=True)
    try:
        numbered = list(_numbered(reader))
    except csv.Error as error:
        where = f"a CSV file that breaks at line {reader.line_num} ({error})"
        raise _unreadable(where, "Open it in a spreadsheet and save it again.") from error
    return _table("", numbered, headings, required=True)


def _numbered(reader: Any) -> Iterator[tuple[int, list[str]]]:
    """Filled lines with the number of the line each starts on; a cell may hold line breaks."""
    start, filled = 1, 0
    for line in reader:
        if any(line):
            filled += 1
            if filled > MOST_ROWS + _HEADER_WITHIN:
                raise _too_large()
            if max(map(len, line)) > 2**17:  # csv's own limit, which other libraries change
                raise csv.Error("a cell of more than 131,072 letters")
            yield start, line
        start = reader.line_num + 1


def _decoded(content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        codec = "utf-16"
    elif content[:200].count(b"\0") > len(content[:200]) // 4:
        codec = "utf-16-le" if content[1:2] == b"\0" else "utf-16-be"
    else:
        codec = "utf-8-sig"
    try:
        text = content.decode(codec)
    except UnicodeDecodeError:
        if codec != "utf-8-sig":
            raise _unreadable("text with broken characters", "Save it as CSV UTF-8.") from None
        text = content.decode("cp1252", errors="replace")
    if "\0" in text:
        raise _unreadable("no text but binary data", "Give CSV or XLSX.")
    return text


def _workbook(content: bytes, headings: BallotColumns) -> RawTable:
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            _check_size(packed)
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=False)
        sheets = _sheets(book)
    except BallotError:
        raise
    except Exception as error:  # a damaged workbook raises a dozen kinds
        raise _unreadable(
            f"a workbook that cannot be opened ({type(error).__name__})",
            "Open it in a spreadsheet and save it again as .xlsx, or as CSV.",
        ) from error
    with_heading = [name for name, lines in sheets if _heading_at(lines, headings) is not None]
    tables = [
        _table(name, lines, headings, required=name in with_heading or not with_heading)
        for name, lines in sheets
        if any(any(line) for _, line in lines)
    ]
    rows = tuple(row for table in tables for row in table.rows)
    return RawTable(rows=rows, faults=tuple(fault for table in tables for fault in table.faults))


def _check_size(packed: zipfile.ZipFile) -> None:
    """Refuse what unpacks to more than anybody tastes, before it is unpacked or kept."""
    if sum(entry.file_size for entry in packed.infolist()) > MOST_UNPACKED:
        raise _too_large()
    for name in packed.namelist():
        if "sheet" in name.lower() and name.lower().endswith(".xml"):
            for count, row in enumerate(_ROW.finditer(packed.read(name)), start=1):
                if max(count, int(row.group(1) or 0)) > _LAST_ROW:
                    raise _too_large()
        if "sharedstrings" in name.lower():
            strings = sum(1 for _ in _STRING.finditer(packed.read(name)))
            if strings > _MOST_STRINGS:
                raise _too_large()


def _sheets(book: Any) -> list[tuple[str, list[tuple[int, list[str]]]]]:
    """Title and filled lines of every sheet."""
    sheets, cells = [], 0
    for sheet in book.worksheets:
        if sheet.title == NOTES_SHEET:
            continue
        lines = []
        for number, line in _sheet_lines(sheet):
            cells += len(line)
            if cells > MOST_CELLS:
                raise _too_large()
            lines.append((number, line))
        sheets.append((sheet.title, lines))
    return sheets


def _sheet_lines(sheet: Any) -> Iterator[tuple[int, list[str]]]:
    sheet.reset_dimensions()
    filled = 0
    for number, line in enumerate(
        sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS + 1), start=1
    ):
        if number > _LAST_ROW:
            raise _too_large()
        if line.count(None) == len(line):
            continue
        texts = [_as_text(value) for value in line]
        while texts and not texts[-1]:
            texts.pop()
        filled += bool(texts)
        if filled > MOST_ROWS + _HEADER_WITHIN:
            raise _too_large()
        if texts:
            yield number, texts


def _as_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, (datetime, date, time)):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _known(line: Iterable[str], headings: BallotColumns) -> set[str]:
    cells = islice(line, MOST_COLUMNS + 1)
    return {name for cell in cells if (name := headings.known(cell))}


def _heading_at(lines: list[tuple[int, list[str]]], headings: BallotColumns) -> int | None:
    """Index of the first line, among the first twenty, with two known headings."""
    for index, (_, line) in enumerate(lines[:_HEADER_WITHIN]):
        if len(_known(line, headings)) >= 2:
            return index
    return None


def _table(
    sheet: str, lines: list[tuple[int, list[str]]], known: BallotColumns, *, required: bool
) -> RawTable:
    at = _heading_at(lines, known)
    if at is None:
        return RawTable(rows=(), faults=(_no_heading(sheet, known, blocking=required),))
    number, heading = lines[at]
    if len(heading) > MOST_COLUMNS:
        raise _too_large()
    places, faults = _places(sheet, number, heading, known)
    headings = {name: heading[index].strip() for index, name in places.items()}
    rows = []
    below = lines[at + 1 :]
    for row, line in below:
        cells = {name: line[i].strip() if i < len(line) else "" for i, name in places.items()}
        if any(cells.values()):
            rows.append(RawRow(sheet=sheet, row=row, cells=cells, headings=headings))
    faults += _outside(sheet, heading, below)
    if len(rows) > MOST_ROWS:
        raise _too_large()
    return RawTable(rows=tuple(rows), faults=tuple(faults))


def _outside(sheet: str, heading: list[str], below: list[tuple[int, list[str]]]) -> list[Fault]:
    """Cells beyond the last heading, and a remark for columns without one."""
    faults = []
    nameless = {i for i, text in enumerate(heading) if not text.strip()}
    for row, line in below:
        beyond = [text for text in line[len(heading) :] if text.strip()]
        if beyond:
            faults.append(
                Fault(
                    sheet=sheet,
                    row=row,
                    value=beyond[0],
                    rule="beyond heading",
                    problem=f"The row goes on beyond the last heading, with {_short(beyond[0])}.",
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
                    f"it holds {_short(line[index])}.",
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
                        problem=f"The column {_short(text)} is not known and was not read.",
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


def _unreadable(what: str, advice: str) -> BallotError:
    return BallotError(
        [
            Fault(
                rule="unreadable",
                problem=f"This cannot be read as ballots: {what}.",
                advice=advice,
            )
        ]
    )


def _too_large() -> BallotError:
    return _unreadable(
        "it is too large",
        f"At most {MOST_BYTES // 2**20} MiB, {MOST_ROWS:,} rows, {MOST_COLUMNS} columns and "
        f"{MOST_CELLS:,} cells; split the file, and delete empty rows below the ballots.",
    )


def _short(text: str) -> str:
    text = " ".join(text.split())
    return repr(text if len(text) <= 40 else text[:37] + "...")
