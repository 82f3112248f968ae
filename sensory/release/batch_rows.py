"""Batches over time as rows: checked, put in the order of time, parted by line."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from datetime import date, datetime
from typing import TypeGuard

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..ratings.frames import whole_frame

Check = tuple[str, Callable[[object], bool], str]

ONE_LINE = "all"
"""Name of the line where no column says which."""

_SHOWN = 10


def is_number(cell: object) -> TypeGuard[float]:
    """A finite number that is no truth value."""
    if isinstance(cell, bool) or not isinstance(cell, (int, float, np.integer, np.floating)):
        return False
    return bool(np.isfinite(cell))


def is_count(cell: object) -> TypeGuard[float]:
    """A whole number, zero or more."""
    return is_number(cell) and cell >= 0 and cell == int(cell)


def batch_rows(batches: pd.DataFrame, checks: Sequence[Check]) -> pd.DataFrame:
    """Rows with ``line batch date`` and the checked columns, in the order of time in each line.

    `line` is optional; without `date` the rows are taken to be in the order of time and numbered.

    Raises ArgumentError: No table, no row, a missing column; cells that cannot be used, all of them
    at once, counted as in a file with the header as row 1; a batch twice in one line.
    """
    needed = ["batch", *(column for column, _, _ in checks)]
    frame = whole_frame("batches", batches, "batch", needed, ("date", "line"))
    frame = frame.reset_index(drop=True)
    line = frame.get("line", pd.Series(ONE_LINE, index=frame.index))
    rows = pd.DataFrame({"line": line.astype(object), "batch": frame["batch"].astype(object)})
    faults = [*_named(rows), *_cells(frame, checks)]
    when = _dates(frame, faults)
    if not faults:
        faults = list(_twice(rows))
    if faults:
        more = f"; and {len(faults) - _SHOWN} more" if len(faults) > _SHOWN else ""
        raise ArgumentError(f"batches: {'; '.join(faults[:_SHOWN])}{more}.")
    rows["date"] = when if "date" in frame else rows.groupby("line", sort=False).cumcount() + 1
    for column, _, _ in checks:
        rows[column] = frame[column].astype(float)
    in_time = [part.sort_values("date", kind="stable") for _, part in each_line(rows)]
    return pd.concat(in_time, ignore_index=True)


def each_line(rows: pd.DataFrame) -> Iterator[tuple[Hashable, pd.DataFrame]]:
    """Name and rows of each line, in the order in which the lines first came."""
    for line, part in rows.groupby("line", sort=False):
        yield line, part.reset_index(drop=True)


def _named(rows: pd.DataFrame) -> Iterator[str]:
    for column in ("line", "batch"):
        empty = rows[column].isna() | (rows[column].astype(str).str.strip() == "")
        for place in np.flatnonzero(empty):
            yield f"row {place + 2}, column {column}: is left empty, give a name"


def _cells(frame: pd.DataFrame, checks: Sequence[Check]) -> Iterator[str]:
    for column, passes, allowed in checks:
        for place, cell in enumerate(frame[column]):
            if not passes(cell):
                yield f"row {place + 2}, column {column}: got {cell!r}, must be {allowed}"


def _twice(rows: pd.DataFrame) -> Iterator[str]:
    for place in np.flatnonzero(rows.duplicated(["line", "batch"])):
        yield (
            f"row {place + 2}: batch {rows['batch'][place]} stands twice in line "
            f"{rows['line'][place]}, put its sessions together into one row"
        )


def _dates(frame: pd.DataFrame, faults: list[str]) -> pd.Series | None:
    """Numbers or moments; what cannot be read is added to the faults."""
    if "date" not in frame:
        return None
    column = frame["date"]
    if not pd.api.types.is_datetime64_any_dtype(column):
        if all(map(is_number, column)):
            return column.astype(float)
        column = pd.Series([_moment(cell) for cell in column], index=column.index, dtype=object)
    for place in np.flatnonzero(column.isna()):
        cell = frame["date"][place]
        faults.append(
            f"row {place + 2}, column date: got {cell!r}, must be a date as 2026-03-31, "
            "or numbers throughout"
        )
    if column.isna().any():
        return None
    try:
        return pd.to_datetime(column)
    except (ValueError, TypeError):
        faults.append("column date: some have a time zone and some not, give all or none")
        return None


def _moment(cell: object) -> datetime | None:
    if isinstance(cell, datetime) and not pd.isna(cell):
        return cell
    if isinstance(cell, date) and not pd.isna(cell):
        return datetime(cell.year, cell.month, cell.day)
    if not isinstance(cell, str):
        return None
    try:
        return datetime.fromisoformat(cell.strip())
    except ValueError:
        return None
