"""The report of a shelf life: the finding with what was asked, of which product, by whom."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..base.results import Cell, Table
from ..catalogue.outcome import NamedTable
from ..evidence.shelf_life import ShelfLife, in_words
from ..evidence.shelf_plan import StoragePlan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShelfReport:
    """What is printed of a shelf life.

    Attributes
    ----------
    product, data, agreed_by, storage_conditions : str
        As typed; empty where nobody said.
    kind : str
        What the data are, as in 'Panel scores'.
    """

    result: ShelfLife
    product: str
    kind: str
    data: str
    limit: str
    agreed_by: str
    storage_conditions: str
    printed_at: str
    version: str

    def asked(self) -> tuple[tuple[str, str], ...]:
        """What was asked and given, in words."""
        result = self.result
        rows = (
            ("Product", self.product),
            ("Stored from", in_words(result.start)),
            ("Storage conditions", self.storage_conditions),
            ("Food safety's date", in_words(result.safety_date)),
            ("Data", f"{self.kind}, {self.data}"),
            ("Agreed limit", self.limit),
            ("Agreed by (as typed)", self.agreed_by or "not stated"),
        )
        return tuple((name, words) for name, words in rows if words)

    def tables(self) -> tuple[NamedTable, ...]:
        """Finding, numbers and series, for a workbook."""
        result = self.result
        asked = Table(columns=("item", "value"), rows=self.asked())
        sentences = Table(
            columns=("sentence",), rows=tuple((line,) for line in (*result.says(),
                                                                   *result.cannot_tell))
        )  # fmt: skip
        return (
            NamedTable("What was asked", asked),
            NamedTable("Finding", sentences),
            NamedTable("Dates", result.summary()),
            NamedTable("Numbers", _table(result.fits)),
            NamedTable("Storage times", _table(result.points)),
            NamedTable("Fitted", _table(result.curve)),
        )


def plan_tables(plan: StoragePlan) -> tuple[NamedTable, ...]:
    """A storage trial for a workbook: its days, and what was said of it."""
    sentences = Table(columns=("sentence",), rows=tuple((line,) for line in plan.says()))
    return NamedTable("Days", plan.summary()), NamedTable("Plan", sentences)


def _table(frame: pd.DataFrame) -> Table:
    rows = tuple(
        tuple(_cell(row[name]) for name in frame.columns) for row in frame.to_dict("records")
    )
    return Table(columns=tuple(map(str, frame.columns)), rows=rows)


def _cell(value: object) -> Cell:
    if isinstance(value, str):
        return value
    return None if pd.isna(value) else float(value)  # type: ignore[call-overload, arg-type]
