"""Data frames that come in, looked at as a whole, and those that a result hands out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Protocol

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ..base.arrays import Floats
from ..base.checks import within
from ..base.errors import ArgumentError, Fault

MOST = 1e9
"""Largest score, either way: beyond, squares of scores lose the digits that tests rest on."""


class _Tables(Protocol):
    @property
    def _tables(self) -> Mapping[str, pd.DataFrame]: ...


class KeptTable:
    """A table of a result, handed out as a copy: ``points = KeptTable()`` in its class."""

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    def __get__(self, result: _Tables | None, owner: type) -> pd.DataFrame:
        if result is None:
            raise AttributeError(f"{self._name} is a table of a result of {owner.__name__}.")
        return result._tables[self._name].copy()


class TablesWhenAsked(Mapping[str, pd.DataFrame]):
    """Tables of a result, each made when it is first asked for."""

    def __init__(self, ways: Mapping[str, Callable[[], pd.DataFrame]]) -> None:
        self._ways = dict(ways)
        self._made: dict[str, pd.DataFrame] = {}

    def __getitem__(self, name: str) -> pd.DataFrame:
        if name not in self._made:
            self._made[name] = self._ways[name]()
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._ways)

    def __len__(self) -> int:
        return len(self._ways)


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows by column name: what `to_dict` gives for records, in a fraction of its time.

    >>> records(pd.DataFrame({"sample": ["lime", "plum"], "score": [7, 2]}))
    [{'sample': 'lime', 'score': 7}, {'sample': 'plum', 'score': 2}]
    """
    names = list(map(str, frame.columns))
    columns = [plain_cells(column) for _, column in frame.items()]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def plain_cells(column: pd.Series) -> list[Any]:
    """The cells of a column as Python has them; `tolist` takes texts out by one."""
    if isinstance(column.dtype, pd.StringDtype):
        return column.to_numpy(dtype=object).tolist()
    return column.tolist()


def whole_frame(
    name: str, frame: object, noun: str, needed: Sequence[str], optional: Sequence[str] = ()
) -> pd.DataFrame:
    """The argument `name` as a frame with one `noun` a row and all columns that are needed.

    Raises ArgumentError: No frame, a column twice or missing, no row.
    """
    if not isinstance(frame, pd.DataFrame):
        raise ArgumentError(
            f"{name} must be a pandas DataFrame with one {noun} a row; got {type(frame).__name__}."
        )
    doubled = frame.columns[frame.columns.duplicated()]
    if len(doubled):
        raise ArgumentError(f"{name} have the column {doubled[0]} more than once.")
    absent = [column for column in needed if column not in frame]
    if absent:
        where = f", and {' and '.join(optional)} where there are any" if optional else ""
        raise ArgumentError(
            f"{name} lack the column{'s' * (len(absent) > 1)} {', '.join(absent)}; needed are "
            f"{', '.join(needed)}{where}; got {', '.join(map(str, frame.columns)) or 'none'}."
        )
    if frame.empty:
        raise ArgumentError(f"{name} are empty; give at least one row.")
    return frame


def rows_of_file(frame: pd.DataFrame) -> list[int]:
    """The row of its file that each row is: as the index 'row' says, else below a header in row 1.

    >>> rows_of_file(pd.DataFrame({"grade": ["in", "out"]}))
    [2, 3]
    """
    if frame.index.name == "row":
        return [int(row) for row in frame.index]
    return list(range(2, len(frame) + 2))


def is_empty(cell: object) -> bool:
    """Whether a cell holds nothing: missing, or blank text."""
    return bool(pd.isna(cell)) or not str(cell).strip()  # type: ignore[call-overload]


def fault(
    row: int, column: str, value: object, rule: str, problem: str, advice: str = "Fill it in."
) -> Fault:
    """What is wrong with a cell; rows count as in a file with the header as row 1."""
    return Fault(
        sheet="",
        row=row,
        column=column,
        value=str(value),
        rule=rule,
        problem=problem,
        advice=advice,
    )


def scale_ends(scale: ArrayLike | None) -> tuple[float, float] | None:
    """Lowest and highest mark of a scale.

    Raises ArgumentError where they are not two numbers in order.
    """
    if scale is None:
        return None
    ends = within("scale", scale, -MOST, MOST)
    if ends.shape != (2,) or not ends[0] < ends[1]:
        raise ArgumentError(f"scale must be its lowest and highest mark, in order; got {scale}.")
    return float(ends[0]), float(ends[1])


def out_of_range(
    score: Floats, scale: tuple[float, float] | None
) -> Iterator[tuple[int, str, str]]:
    """Place, problem and advice of each score off the scale, or too large to compute with."""
    low, high = scale or (-MOST, MOST)
    wrong = np.isfinite(score) & ~((score >= low) & (score <= high))
    for place in np.flatnonzero(wrong).tolist():
        if scale:
            problem = f"{score[place]:g} lies off the scale of {low:g} to {high:g}."
            yield place, problem, "Look at the ballot, or give another scale."
        else:
            problem = f"{score[place]:g} is too large to compute with."
            yield place, problem, "Scores lie between -1,000,000,000 and 1,000,000,000."
