"""A table by column: each distinct text of a column once, and for each row which of them it has."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from ..base.arrays import Ints
from .columns import RawRow


@dataclass(frozen=True, slots=True, kw_only=True)
class DistinctTexts:
    """One column.

    `texts`: each distinct text once, in the order in which it comes first.
    `which`: for each row the index of its text.

    >>> column = DistinctTexts.of([" a", "b", "a"], array("i", [0, 1, 2, 1]))
    >>> column.texts, list(column.which)
    (('a', 'b'), [0, 1, 0, 1])
    """

    texts: tuple[str, ...]
    which: array[int]

    @classmethod
    def of(cls, texts: list[str], which: array[int]) -> DistinctTexts:
        """A column of different texts, stripped of spaces; what is alike then is one."""
        stripped = [text.strip() for text in texts]
        if stripped == texts:
            return cls(texts=tuple(texts), which=which)
        index: dict[str, int] = {}
        places = [index.setdefault(text, len(index)) for text in stripped]
        if len(index) < len(texts):
            which = array("i", map(places.__getitem__, which))
        return cls(texts=tuple(index), which=which)

    def __getitem__(self, at: int) -> str:
        return self.texts[self.which[at]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnTable:
    """One table of a file, by column.

    `sheet`: sheet of the workbook; empty for CSV.
    `numbers`: row number of each row as the user sees it, the header counted.
    `headings`: column name to the heading as written in the file.
    `columns`: column name to its texts.
    """

    sheet: str
    numbers: array[int]
    headings: dict[str, str]
    columns: dict[str, DistinctTexts]

    def rows(self, places: Iterable[int] | None = None) -> Iterator[RawRow]:
        """All rows, or those at some places."""
        for at in range(len(self.numbers)) if places is None else places:
            cells = {name: column[at] for name, column in self.columns.items()}
            yield RawRow(
                sheet=self.sheet, row=self.numbers[at], cells=cells, headings=self.headings
            )

    def without_empty(self) -> ColumnTable:
        """The rows with any text in them."""
        columns = [column for column in self.columns.values() if "" in column.texts]
        if len(columns) < len(self.columns) or not columns:
            return self  # some column is filled in every row
        filled = [[bool(text) for text in column.texts] for column in columns]
        kept = [
            at
            for at, places in enumerate(zip(*(column.which for column in columns), strict=True))
            if any(has[place] for has, place in zip(filled, places, strict=True))
        ]
        if len(kept) == len(self.numbers):
            return self
        return ColumnTable(
            sheet=self.sheet,
            numbers=array("q", map(self.numbers.__getitem__, kept)),
            headings=self.headings,
            columns={
                name: DistinctTexts.of(
                    list(column.texts), array("i", map(column.which.__getitem__, kept))
                )
                for name, column in self.columns.items()
            },
        )


def distinct_rows(numbers: Ints) -> tuple[Ints, Ints]:
    """Place of the first of each distinct row of numbers, and which of them each row is.

    >>> first, which = distinct_rows(np.array([[4, 1], [2, 1], [4, 1]]))
    >>> first.tolist(), which.tolist()
    ([0, 1], [0, 1, 0])
    """
    import pandas as pd  # the first page is open before it is loaded

    first, *others = (np.ascontiguousarray(column) for column in numbers.T)
    which = pd.factorize(first)[0]
    for column in others:
        number, distinct = pd.factorize(column)
        if len(distinct) > 1:
            which = pd.factorize(which * len(distinct) + number)[0]
    highest = np.maximum.accumulate(which)
    return np.flatnonzero(np.diff(highest, prepend=-1)), which
