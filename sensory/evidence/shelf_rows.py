"""Tables of a series over storage time as they come in: checked cells, or one error with all."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import pandas as pd

from ..base.errors import ArgumentError
from ..ratings.frames import is_empty, whole_frame
from .shelf_life import MOST_DAYS

_SHOWN = 10
ROW = "row"
"""Column with the row of a file, if the table is of one; else rows count from the heading."""
ACCEPTED = {"yes", "y", "accept", "accepts", "accepted", "true", "1", "1.0"}
REJECTED = {"no", "n", "reject", "rejects", "rejected", "false", "0", "0.0"}

Read = Callable[[object], object]


def series_rows(
    name: str, frame: object, noun: str, needed: Mapping[str, Read], optional: Mapping[str, Read]
) -> pd.DataFrame:
    """The columns of a series, each cell read; rows in which every needed cell is empty left out.

    Raises ArgumentError: A column that is missing; every cell that cannot be used, by row.
    """
    whole = whole_frame(name, frame, noun, tuple(needed), tuple(optional))
    readers = {column: read for column, read in {**needed, **optional}.items() if column in whole}
    cells: dict[str, list[object]] = {column: [] for column in readers}
    faults, rows = [], []
    numbers = whole[ROW].tolist() if ROW in whole else range(2, len(whole) + 2)
    for number, row in zip(numbers, whole[list(readers)].itertuples(index=False), strict=True):
        given = dict(zip(readers, row, strict=True))
        if all(is_empty(given[column]) for column in needed):
            continue
        rows.append(number)
        for column, cell in given.items():
            try:
                cells[column].append(_cell(readers[column], cell, column in needed))
            except ArgumentError as error:
                cells[column].append(None)
                faults.append(f"row {number}, {column}: {error}")
    if faults:
        more = f" And {len(faults) - _SHOWN} more." if len(faults) > _SHOWN else ""
        raise ArgumentError(f"{name}: {' '.join(faults[:_SHOWN])}{more}")
    if not rows:
        raise ArgumentError(f"{name} are empty; give at least one row.")
    return pd.DataFrame({**cells, "row": rows})


def _cell(read: Read, cell: object, needed: bool) -> object:
    if is_empty(cell):
        if needed:
            raise ArgumentError("it is empty; fill it in or take the row out.")
        return ""
    return read(cell)


def days(cell: object) -> float:
    """Storage time in days."""
    value = number(cell)
    if not 0 <= value <= MOST_DAYS:
        raise ArgumentError(f"days of storage lie between 0 and {MOST_DAYS}; got {cell}.")
    return value


def number(cell: object) -> float:
    """A finite number, as a number or as text with a point or a comma.

    >>> number("2,5"), number(3)
    (2.5, 3.0)
    """
    try:
        value = float(str(cell).strip().replace(",", "."))
    except ValueError:
        raise ArgumentError(f"write a number; got {str(cell)[:40]!r}.") from None
    if not abs(value) < 1e9:
        raise ArgumentError(f"write a number below a thousand million; got {cell}.")
    return value


def text(cell: object) -> str:
    """A name, with single blanks."""
    return " ".join(str(cell).split())


def accepts(cell: object) -> bool:
    """Whether a sample was accepted."""
    word = str(cell).strip().casefold()
    if word not in ACCEPTED | REJECTED:
        raise ArgumentError(f"write yes (accepted) or no (rejected); got {str(cell)[:40]!r}.")
    return word in ACCEPTED


def of_one(name: str, rows: pd.DataFrame, column: str, advice: str) -> None:
    """Refuse rows that hold more than one of what a series has only one of."""
    if column not in rows:
        return
    names: Sequence[str] = [each for each in rows[column].unique() if each]
    if len(names) > 1:
        raise ArgumentError(
            f"{name} hold more than one {column} ({', '.join(names[:5])}): {advice}"
        )
