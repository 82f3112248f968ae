"""A series over storage time from a file: its kind by its columns, days or weeks, faults named."""

from __future__ import annotations

import io

import openpyxl
import pytest

from sensory.base.errors import ArgumentError
from sensory.sessions.storage_file import SeriesKind, read_storage_series


@pytest.mark.parametrize(
    ("text", "kind", "columns"),
    [
        ("Days of storage;Score;Fresh;Note\n0;2,5;2;a\n", SeriesKind.SCORES,
         ["time", "score", "reference"]),
        ("consumer,days,accepts\nc1,0,yes\n", SeriesKind.CONSUMERS,
         ["consumer", "time", "accepts"]),
        ("Series of May\nday\ttest\tcorrect\tanswers\n30\ttriangle\t9\t24\n", SeriesKind.CHOICES,
         ["time", "protocol", "correct", "trials"]),
    ],
)  # fmt: skip
def test_the_columns_say_what_a_series_is(text, kind, columns):
    series = read_storage_series(text.encode())
    assert series.kind is kind
    assert list(series.rows.columns) == [*columns, "row"]
    assert len(series.rows) == 1


def test_weeks_become_days_in_a_workbook():
    book = openpyxl.Workbook()
    for row in (["Storage time (weeks)", "score"], [2, 1.5], ["two", 1]):
        book.active.append(row)
    file = io.BytesIO()
    book.save(file)
    series = read_storage_series(file.getvalue())
    assert series.times_in_weeks
    assert series.rows["time"].tolist() == ["14", "two"]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("days,taste\n1,2\n", "one is missing"),
        ("days,score\n", "Nothing stands below"),
        ("days,storage time,score\n1,1,2\n", "Two columns are read as time"),
        (" ; \n", "no filled sheet|one is missing|Nothing stands"),
    ],
)
def test_a_file_that_holds_no_series_is_refused(text, problem):
    with pytest.raises(ArgumentError, match=problem):
        read_storage_series(text.encode())
