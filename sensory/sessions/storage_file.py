"""A series over storage time from a file: which kind it is, and its columns by their headings.

Why so
------
The columns say what the data are: accept or reject, right answers of so many, or scores. So nobody
chooses a kind that the file does not hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import pandas as pd

from ..base.errors import ArgumentError
from .sheets import Source
from .study_file import StudyColumns, read_study


class SeriesKind(StrEnum):
    """What a series over storage time consists of."""

    SCORES = "Panel scores"
    CONSUMERS = "Consumers who accept or reject"
    CHOICES = "Choice tests"


STORAGE_COLUMNS = StudyColumns(
    words={
        "time": (
            "time",
            "days",
            "day",
            "storage time",
            "storage days",
            "days of storage",
            "storage time days",
            "age",
        ),
        "weeks": ("weeks", "week", "storage weeks", "weeks of storage", "storage time weeks"),
        "score": ("score", "scores", "distance", "difference", "rating", "mean", "mean score"),
        "reference": ("reference", "reference score", "fresh", "control"),
        "consumer": ("consumer", "consumers", "person", "respondent"),
        "accepts": ("accepts", "accept", "accepted", "acceptance", "acceptable"),
        "protocol": ("protocol", "test", "method"),
        "correct": ("correct", "right", "right answers", "correct answers"),
        "trials": ("trials", "answers", "ballots", "total"),
        "attribute": ("attribute",),
        "assessor": ("assessor", "assessors"),
        "session": ("session",),
        "batch": ("batch", "lot"),
    },
    needed=(),
)
_NEEDED = {
    SeriesKind.CONSUMERS: ("consumer", "time", "accepts"),
    SeriesKind.CHOICES: ("time", "protocol", "correct", "trials"),
    SeriesKind.SCORES: ("time", "score"),
}
WANTED = {
    SeriesKind.SCORES: "days and score, one score a row; also reference (score of the fresh or "
    "frozen reference), assessor, session",
    SeriesKind.CONSUMERS: "consumer, days and accepts (yes or no), one answer a row",
    SeriesKind.CHOICES: "days, test (as in triangle), correct and answers, one session a row; also "
    "attribute",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StorageSeries:
    """A series as it was read: its kind, and a table with the row of the file in `row`."""

    kind: SeriesKind
    rows: pd.DataFrame
    times_in_weeks: bool


def read_storage_series(
    source: Source, roles: Mapping[str, str] = MappingProxyType({})
) -> StorageSeries:
    """The series in a CSV or XLSX file, from the sheet with the most known headings.

    A column of weeks becomes days. Cells stay text; what counts a series checks them. `roles`: as
    of `read_study`.

    Raises ArgumentError for what cannot be read or lacks a column.
    """
    rows = read_study(source, STORAGE_COLUMNS, roles)
    weeks = "weeks" in rows and "time" not in rows
    rows = (
        rows.rename(columns={"weeks": "time"})
        if weeks
        else rows.drop(columns="weeks", errors="ignore")
    )
    kind = _kind(rows.columns.tolist())
    if weeks:
        rows["time"] = [_days(cell) for cell in rows["time"]]
    rows = rows.assign(row=rows.index).reset_index(drop=True)
    return StorageSeries(kind=kind, rows=rows, times_in_weeks=weeks)


def _kind(names: Sequence[str]) -> SeriesKind:
    for kind, needed in _NEEDED.items():
        if set(needed) <= set(names):
            return kind
    known = ", ".join(filter(None, names)) or "none that is known"
    raise _missing(f"The file has the columns {known}; one is missing.")


def _missing(problem: str) -> ArgumentError:
    needed = " ".join(f"{kind}: {columns}." for kind, columns in WANTED.items())
    return ArgumentError(f"{problem} Needed are, for {needed}")


def _days(cell: str) -> str:
    """Weeks as days; what is no number stays, and is named when it is checked."""
    try:
        return f"{7 * float(cell.replace(',', '.')):g}"
    except ValueError:
        return cell
