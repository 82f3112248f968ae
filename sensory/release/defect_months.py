"""Defects that graders named in the batches of a product, month by month.

Why so
------
A month is that of grading, not of making: what graders see hangs on their day. A batch counts for
a defect where one grader at the least named it; how many did stands beside each batch, since one
name of three may be a slip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..models.binomial import clopper_pearson
from .batch_records import BatchRecord, Tasting

LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class DefectBatch:
    """A batch in which a defect was named: by how many graders of how many, and on which day."""

    batch: str
    defect: str
    held_on: str
    by: int
    graders: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DefectMonth:
    """A defect in one month: batches in which it was named, of those graded; exact limits, 95 %."""

    defect: str
    month: str
    batches: int
    graded: int
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DefectMonths:
    """Result of `defect_months`: the batches, the newest first, and each defect by month."""

    batches: tuple[DefectBatch, ...]
    months: tuple[DefectMonth, ...]


def defect_months(records: Sequence[BatchRecord]) -> DefectMonths:
    """Which defects graders named in these batches, in the latest grading of each.

    >>> defect_months([]).batches
    ()
    """
    graded = latest_gradings(records)
    named = [
        DefectBatch(
            batch=record.name, defect=defect, held_on=tasting.held_on, by=by, graders=graders
        )
        for record, tasting in graded
        for defect, (by, graders) in tasting.defects.items()
    ]
    months = sorted({tasting.held_on[:7] for _, tasting in graded})
    whole = {month: sum(t.held_on[:7] == month for _, t in graded) for month in months}
    rows = []
    for defect in dict.fromkeys(each.defect for each in named):
        for month in months:
            count = sum(each.defect == defect and each.held_on[:7] == month for each in named)
            low, high = (float(end) for end in clopper_pearson(count, whole[month], LEVEL))
            rows.append(
                DefectMonth(
                    defect=defect, month=month, batches=count, graded=whole[month], low=low,
                    high=high,
                )
            )  # fmt: skip
    newest = sorted(named, key=lambda each: (each.held_on, each.batch), reverse=True)
    return DefectMonths(batches=tuple(newest), months=tuple(rows))


def latest_gradings(records: Sequence[BatchRecord]) -> list[tuple[BatchRecord, Tasting]]:
    """The batches that were graded, each with its latest tasting that votes decided."""
    latest = ((each, _latest(each)) for each in records)
    return [(record, tasting) for record, tasting in latest if tasting is not None]


def _latest(record: BatchRecord) -> Tasting | None:
    graded = (each for each in reversed(record.tastings) if each.finding and each.graded)
    return next(graded, None)
