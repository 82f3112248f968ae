"""Bounds of a month, and what is noteworthy in it."""

from __future__ import annotations

import calendar
from datetime import date

import pytest

from sensory.base.errors import ArgumentError
from sensory.release.month import month_bounds


@pytest.mark.parametrize("month", ["2026-01", "2026-02", "2024-02", "2026-12", "2026-07"])
def test_bounds_are_those_of_the_calendar(month: str):
    year, number = map(int, month.split("-"))
    earlier, first, last = month_bounds(month)
    assert first == f"{month}-01"
    assert last == f"{month}-{calendar.monthrange(year, number)[1]}"
    start = date.fromisoformat(earlier)
    assert (year * 12 + number) - (start.year * 12 + start.month) == 11
    assert start.day == 1


@pytest.mark.parametrize("month", ["2026-13", "2026", "May", "", "2026-05-01", None])
def test_what_is_no_month_is_refused(month):
    with pytest.raises(ArgumentError, match="month must be written as 2026-05"):
        month_bounds(month)
