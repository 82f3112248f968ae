"""Builders of ballot files, shared by the tests of this folder."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import openpyxl
import pytest

Lines = Sequence[Sequence[Any]]


def csv_bytes(lines, *, delimiter=",", encoding="utf-8", terminator="\n") -> bytes:
    """The lines as a CSV file."""
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator=terminator).writerows(lines)
    return text.getvalue().encode(encoding)


def workbook(sheets: Mapping[str, Lines]) -> bytes:
    """Sheets by title, each a list of lines, as a workbook."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for title, lines in sheets.items():
        sheet = book.create_sheet(title)
        for line in lines:
            sheet.append(list(line))
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def repacked(content: bytes, changed: str, change: Callable[[bytes], bytes]) -> bytes:
    """A workbook with one of its parts changed."""
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        assert changed in old.namelist()
        for name in old.namelist():
            part = old.read(name)
            new.writestr(name, change(part) if name == changed else part)
    return packed.getvalue()


@pytest.fixture(scope="session", name="csv_bytes")
def _csv_bytes():
    return csv_bytes


@pytest.fixture(scope="session", name="workbook")
def _workbook():
    return workbook


@pytest.fixture(scope="session", name="repacked")
def _repacked():
    return repacked
