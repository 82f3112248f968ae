"""From a file to numbered lines of text, sheet by sheet; nothing is known of headings here.

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
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import islice
from pathlib import Path
from typing import IO, Any

from ..base.errors import BallotError, Fault
from ..catalogue.columns import NOTES_SHEET

Source = str | os.PathLike[str] | bytes | IO[bytes]
Line = tuple[int, list[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How many bytes a file may have, and how many filled rows a sheet of it."""

    most_bytes: int
    most_rows: int


USUAL = Limits(most_bytes=20 * 2**20, most_rows=50_000)
LARGE = Limits(most_bytes=100 * 2**20, most_rows=1_000_000)
"""For tables that are judged by column, where a row costs microseconds."""
MOST_UNPACKED = 100 * 2**20
MOST_COLUMNS = 200
# Of a whole workbook: a few hundred KiB packed can hold millions, at 500 bytes and 10 µs each.
MOST_CELLS = 500_000
HEADER_WITHIN = 20
_LAST_ROW = 4 * USUAL.most_rows
"""Empty rows cost time too: a sheet may have some that were formatted, not a million."""
_ROW = re.compile(rb"<(?:\w+:)?row(?=[\s/>])(?:[^>]{0,400}?\sr\s*=\s*[\"'](\d{1,20}))?")
_VALUE = re.compile(rb"<(?:\w+:)?(?:v|is)[\s>]")
_MOST_STRINGS = 250_000
_STRING = re.compile(rb"<(?:\w+:)?si[\s/>]")


def is_workbook(content: bytes) -> bool:
    """Whether bytes are a workbook; BallotError for an old or a locked one."""
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise unreadable("an old workbook (.xls) or a locked one", "Save it as .xlsx or CSV.")
    return content.startswith(b"PK\x03\x04")


def content_of(source: Source, limits: Limits = USUAL) -> bytes:
    """The bytes of a source; BallotError where there are none, or too many."""
    if isinstance(source, (bytes, bytearray)):
        content = bytes(source)
    elif isinstance(source, (str, os.PathLike)):
        path = Path(source)
        try:
            if not path.is_file():
                raise unreadable(f"no file at {path}", "Check the name and the folder.")
            if path.stat().st_size > limits.most_bytes:
                raise too_large(limits)
            content = path.read_bytes()
        except OSError as error:
            raise unreadable(f"{error.strerror}", "Check the name and the folder.") from error
    elif hasattr(source, "read"):
        content = source.read()
        if not isinstance(content, bytes):
            raise unreadable("a file opened as text", "Open it in binary mode ('rb').")
    else:
        raise unreadable(f"a {type(source).__name__}", "Give a path, bytes or a binary file.")
    if len(content) > limits.most_bytes:
        raise too_large(limits)
    if not content.strip():
        raise unreadable("an empty file", "Check that it was saved.")
    return content


def numbered(reader: Any, limits: Limits) -> Iterator[Line]:
    """Filled lines with the number of the line each starts on; a cell may hold line breaks."""
    start, filled = 1, 0
    for line in reader:
        if any(line):
            filled += 1
            if filled > limits.most_rows + HEADER_WITHIN:
                raise too_large(limits)
            if len(max(line, key=len)) > 2**17:  # csv's own limit, which other libraries change
                raise csv.Error("a cell of more than 131,072 letters")
            yield start, line
        start = reader.line_num + 1


def decoded(content: bytes) -> str:
    """The text of a CSV file; BallotError for anything else."""
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
            raise unreadable("text with broken characters", "Save it as CSV UTF-8.") from None
        text = content.decode("cp1252", errors="replace")
    if "\0" in text:
        raise unreadable("no text but binary data", "Give CSV or XLSX.")
    return text


def read_sheets(source: Source, weight: Callable[[Sequence[Line]], int]) -> dict[str, list[Line]]:
    """Filled lines of every sheet by its title, that of CSV empty.

    `weight`: how much a table looks like what is wanted; tried for each separator of a CSV file.

    Raises BallotError when the source cannot be read as a table at all.
    """
    content = content_of(source)
    if is_workbook(content):
        return {title: lines for title, lines in book_sheets(content) if lines}
    text = decoded(content)
    tables: list[list[Line]] = []
    for delimiter in (";", "\t", ","):
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        try:
            tables.append(list(numbered(reader, USUAL)))
        except csv.Error as error:
            if delimiter == "," and not tables:
                where = f"a CSV file that breaks at line {reader.line_num} ({error})"
                raise unreadable(where, "Open it in a spreadsheet and save it again.") from error
    return {"": max(tables, key=weight)}


def book_sheets(content: bytes) -> list[tuple[str, list[Line]]]:
    """Title and filled lines of every sheet of a workbook."""
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            _check_size(packed)
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=False)
        return _sheets(book)
    except BallotError:
        raise
    except Exception as error:  # a damaged workbook raises a dozen kinds
        raise unreadable(
            f"a workbook that cannot be opened ({type(error).__name__})",
            "Open it in a spreadsheet and save it again as .xlsx, or as CSV.",
        ) from error


def _check_size(packed: zipfile.ZipFile) -> None:
    """Refuse what unpacks to more than anybody tastes, before it is unpacked or kept."""
    if sum(entry.file_size for entry in packed.infolist()) > MOST_UNPACKED:
        raise too_large()
    for name in packed.namelist():
        if "sheet" in name.lower() and name.lower().endswith(".xml"):
            part = packed.read(name)
            for count, row in enumerate(_ROW.finditer(part), start=1):
                if max(count, int(row.group(1) or 0)) > _LAST_ROW:
                    raise too_large()
            if next(islice(_VALUE.finditer(part), MOST_CELLS, None), None):
                raise too_large()
        if "sharedstrings" in name.lower():
            strings = sum(1 for _ in _STRING.finditer(packed.read(name)))
            if strings > _MOST_STRINGS:
                raise too_large()


def _sheets(book: Any) -> list[tuple[str, list[Line]]]:
    """Title and filled lines of every sheet."""
    sheets, cells = [], 0
    for sheet in book.worksheets:
        if sheet.title == NOTES_SHEET:
            continue
        lines = []
        for number, line in _sheet_lines(sheet):
            cells += len(line)
            if cells > MOST_CELLS:
                raise too_large()
            lines.append((number, line))
        sheets.append((sheet.title, lines))
    return sheets


def _sheet_lines(sheet: Any) -> Iterator[Line]:
    sheet.reset_dimensions()
    filled = 0
    for number, line in enumerate(
        sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS + 1), start=1
    ):
        if number > _LAST_ROW:
            raise too_large()
        width = len(line)
        while width and line[width - 1] is None:  # a row is as wide as `max_col`, its cells are not
            width -= 1
        texts = [_as_text(value) for value in line[:width]]
        while texts and not texts[-1]:
            texts.pop()
        filled += bool(texts)
        if filled > USUAL.most_rows + HEADER_WITHIN:
            raise too_large()
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


def unreadable(what: str, advice: str) -> BallotError:
    """What is said of a source that is no table."""
    return BallotError(
        [
            Fault(
                rule="unreadable",
                value=what,
                problem=f"This cannot be read as ballots: {what}.",
                advice=advice,
            )
        ]
    )


def too_large(limits: Limits = USUAL) -> BallotError:
    """What is said of a source beyond the limits."""
    return unreadable(
        "it is too large",
        f"At most {limits.most_bytes // 2**20} MiB, {limits.most_rows:,} rows, "
        f"{MOST_COLUMNS} columns and {MOST_CELLS:,} cells; "
        "split the file, and delete empty rows below the table.",
    )


def short(text: str) -> str:
    """A text in quotes, on one line, cut where it is long."""
    text = " ".join(text.split())
    return repr(text if len(text) <= 40 else text[:37] + "...")
