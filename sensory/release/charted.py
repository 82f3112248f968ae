"""What a trend of batches holds and says, whether of scores or of choices."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

import pandas as pd

from ..base.arrays import Name, Row
from ..base.results import Table, several
from ..base.shown import Told
from ..ratings.frames import KeptTable
from .trend_words import (
    batch_count,
    change_sentence,
    common_change,
    limit_sentence,
    named,
    signal_sentences,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Charted(Told):
    """Batches line by line with what is unusual about them; see `Trend` and `ChoiceTrend`."""

    alpha: float
    rules: tuple[str, ...]
    base: int | None
    level: float
    seed: int
    _tables: Mapping[str, pd.DataFrame]

    stepping: ClassVar[str]  # what steps where the batches change
    shown: ClassVar[tuple[str, ...]]  # columns of the points that the table shows

    points = KeptTable()
    signals = KeptTable()
    change = KeptTable()
    lines = KeptTable()

    @property
    @abstractmethod
    def agreed(self) -> float | None:
        """The agreed limit, on the scale of the test."""

    @abstractmethod
    def _whole_line(self, name: str, row: Row) -> str: ...

    def says(self) -> tuple[str, ...]:
        """Line by line: where it lies, what is unusual, whether it stepped, the limit."""
        return (*self._of_lines(), *common_change(self.change, self._tables["points"]))

    def _of_lines(self) -> Iterator[str]:
        changes = {row["line"]: row for row in self.change.to_dict("records")}
        lines = self.lines.to_dict("records")
        for row in lines:
            name = named(row["line"], len(lines))
            yield self._whole_line(name, row)
            yield from signal_sentences(name, self._of("signals", row["line"]))
            yield change_sentence(name, changes.get(row["line"]), self.level, self.stepping)
            if self.agreed is not None:
                against = self._of("points", row["line"])["against_limit"]
                yield limit_sentence(name, against, self.agreed, self.level)

    def _of(self, which: str, line: Name) -> pd.DataFrame:
        table = self._tables[which]
        return table[table["line"] == line]

    def summary(self) -> Table:
        """One row a batch: what it gave, what is usual, its signals."""
        rows = [
            (str(row["line"]), str(row["batch"]), *(row[name] for name in self.shown))
            for row in self._tables["points"].to_dict("records")
        ]
        return Table(columns=("line", "batch", *self.shown), rows=tuple(rows))

    def _counted(self) -> str:
        count = {name: len(table) for name, table in self._tables.items()}
        return (
            f"{batch_count(count['points'])}, {several(count['lines'], 'line')}; "
            f"{several(count['signals'], 'signal')}"
        )
