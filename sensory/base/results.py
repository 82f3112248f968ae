"""Forms in which results are handed out: intervals and small tables."""

from __future__ import annotations

import html
from dataclasses import dataclass

from .arrays import Numbers

Cell = str | float | int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Lower and upper limit at a confidence level.

    Attributes
    ----------
    low, high : float or ndarray
        The limits, in the unit of what they bound.
    level : float
        Two-sided confidence level, for example 0.95.

    Examples
    --------
    >>> print(Interval(low=0.1, high=0.4, level=0.95))
    0.1 to 0.4 (95 %)
    """

    low: Numbers
    high: Numbers
    level: float

    @property
    def cells(self) -> tuple[Cell, ...]:
        """Low, high and level, as three cells of a row."""
        return self.low, self.high, self.level

    def __str__(self) -> str:
        return f"{_plain(self.low)} to {_plain(self.high)} ({100 * self.level:g} %)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A small table that feeds the console, a notebook, a screen and a document alike.

    Attributes
    ----------
    rows : tuple of tuples
        Text, numbers, or None for an empty cell; numbers are not rounded here.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def records(self) -> list[dict[str, Cell]]:
        """One dictionary a row, ready for ``pandas.DataFrame``."""
        return [dict(zip(self.columns, row, strict=True)) for row in self.rows]

    def __str__(self) -> str:
        lines = [self.columns, *(tuple(_plain(cell) for cell in row) for row in self.rows)]
        widths = [max(len(line[i]) for line in lines) for i in range(len(self.columns))]
        return "\n".join(
            "  ".join(text.ljust(w) for text, w in zip(line, widths, strict=True)).rstrip()
            for line in lines
        )

    def _repr_html_(self) -> str:
        head = "".join(f"<th>{html.escape(name)}</th>" for name in self.columns)
        body = "".join(
            "<tr>" + "".join(f"<td>{html.escape(_plain(cell))}</td>" for cell in row) + "</tr>"
            for row in self.rows
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def several(count: int, noun: str) -> str:
    """A count with its noun.

    >>> several(1, "ballot"), several(0, "ballot")
    ('1 ballot', '0 ballots')
    """
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _plain(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float):
        return f"{cell:.4g}"
    return str(cell)
