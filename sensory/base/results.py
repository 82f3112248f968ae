"""Forms in which results are handed out: intervals and small tables."""

from __future__ import annotations

import html
import math
from dataclasses import dataclass
from typing import SupportsFloat

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

    def texts(self) -> list[list[str]]:
        """The cells as people read them, p-values by their column or the name of their row.

        >>> Table(columns=("p", "spread"), rows=((0.00001, 1.3e-19),)).texts()
        [['< 0.001', '0']]
        """
        return [
            [
                cell_text(cell, column, row[0])
                for column, cell in zip(self.columns, row, strict=True)
            ]
            for row in self.rows
        ]

    def __str__(self) -> str:
        lines = [self.columns, *map(tuple, self.texts())]
        widths = [max(len(line[i]) for line in lines) for i in range(len(self.columns))]
        return "\n".join(
            "  ".join(text.ljust(w) for text, w in zip(line, widths, strict=True)).rstrip()
            for line in lines
        )

    def _repr_html_(self) -> str:
        head = "".join(f"<th>{html.escape(name)}</th>" for name in self.columns)
        body = "".join(
            "<tr>" + "".join(f"<td>{html.escape(text)}</td>" for text in row) + "</tr>"
            for row in self.texts()
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


_NOISE = 1e-9


def digits(value: float, kept: int = 4) -> str:
    """A number as people read it: four digits, no exponent, rounding noise as 0.

    >>> digits(24.0), digits(1.63831), digits(123456.7), digits(0.000421)
    ('24', '1.638', '123457', '0.00042')
    >>> digits(1.306e-19), digits(-0.25), digits(float("inf"))
    ('0', '-0.25', 'infinite')
    """
    size = abs(value)
    if math.isnan(value):
        return ""
    if math.isinf(value):
        return "infinite" if value > 0 else "minus infinite"
    if size < _NOISE:
        return "0"
    if float(value).is_integer() or size >= 10 ** (kept - 1):
        return f"{value:.0f}"
    kept = kept if size >= 0.001 else min(kept, 2)
    text = f"{value:.{kept - 1 - math.floor(math.log10(size))}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def p_digits(p: float) -> str:
    """A p-value as people read it, to two significant digits.

    >>> p_digits(0.412), p_digits(0.03), p_digits(0.00123), p_digits(2e-19)
    ('0.41', '0.030', '0.0012', '< 0.001')
    """
    if math.isnan(p):
        return ""
    if p < 0.001:
        return "< 0.001"
    return f"{p:.{2 if p >= 0.0995 else 3 if p >= 0.00995 else 4}f}"


def is_p(column: str) -> bool:
    """Whether a column of a table holds p-values.

    >>> is_p("p"), is_p("p_holm"), is_p("p, smallest"), is_p("planned")
    (True, True, True, False)
    """
    return column == "p" or column.startswith(("p_", "p ", "p,", "p("))


def several(count: int, noun: str) -> str:
    """A count with its noun.

    >>> several(1, "ballot"), several(0, "ballot")
    ('1 ballot', '0 ballots')
    """
    return f"{count} {noun}{'' if count == 1 else 's'}"


def cell_text(cell: object, column: str = "", row: object = "") -> str:
    """A cell of a table as people read it.

    `column`, `row`: heading of its column and first cell of its row; they say what is a p-value.

    >>> cell_text(0.012345, "p"), cell_text(0.012345, "estimate"), cell_text(None)
    ('0.012', '0.01235', '')
    """
    if cell is None:
        return ""
    if isinstance(cell, bool | str) or not isinstance(cell, SupportsFloat):
        return str(cell)
    of_p = is_p(column) or (column == "estimate" and isinstance(row, str) and is_p(row))
    return p_digits(float(cell)) if of_p else digits(float(cell))


def _plain(cell: object) -> str:
    return cell_text(cell)
