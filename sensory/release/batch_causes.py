"""Causes of the deviations of a product's batches, from what is on record of each.

Why so
------
The record says line, lots, suppliers, reference and date of each batch, and how far the reference
lay from the first one whenever it was compared again; between two comparisons the drift is taken
as a straight line. Its scale may be another than that of the batches: what a point of drift moves
is estimated. A batch that is cleared and not tasted can be proposed for tasting, one that food
safety refused cannot.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

import numpy as np
import pandas as pd

from ..base.errors import SensoryError
from ..base.spelling import key_of
from ..choices.protocols import Protocol
from ..evidence.cause_columns import FEWEST
from ..evidence.causes import BatchCauses, explain_batches
from .batch_records import BatchRecord
from .batch_trend import attributes_of, choice_rows, rated_rows
from .plant import Plant
from .reference_state import reference_state
from .references import Reference
from .rule import ReleaseRule

_KEPT = 16
_QUARTERS = ("December to February", "March to May", "June to August", "September to November")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProductCauses:
    """What explains the batches of a product, see `causes_of_batches`."""

    result: BatchCauses | None  # None where it cannot be sought; `remarks` say why
    attribute: str
    remarks: tuple[str, ...]

    def says(self) -> tuple[str, ...]:
        """A sentence each; empty where nothing can be said."""
        return () if self.result is None else self.result.says()

    @property
    def headlines(self) -> tuple[str, ...]:
        """Causes named, with batches, size and limits."""
        return () if self.result is None else self.result.headlines

    def of_batch(self, number: str) -> tuple[str, ...]:
        """Causes named that a batch has."""
        return () if self.result is None else self.result.of_batch(number)


def causes_of_batches(
    records: Sequence[BatchRecord],
    rule: ReleaseRule,
    *,
    attribute: str = "",
    plant: Plant | None = None,
    references: Sequence[Reference] = (),
) -> ProductCauses:
    """Which lot, supplier, line, reference, season or time goes with the deviations?

    `records` are those of one product; the estimates are those of its trend: of rated tests batch
    less reference in the `attribute`, of forced choices the share that notices, not floored at
    0, with its error by the normal approximation. `references` are all of the product; their
    comparisons with the first give the drift.
    """
    names = attributes_of(records, rule)
    chosen = attribute or (names[0] if names else "")
    shown = _estimates(records, rule, chosen)
    if len(shown) < FEWEST:
        few = f"Causes are sought from {FEWEST} tasted batches on; {len(shown)} so far."
        return ProductCauses(result=None, attribute=chosen, remarks=(few,))
    rows, remarks = [], []
    drift = _Drifts(references)
    known = {record.name: drift.of(record) for record in records if record.name in shown}
    with_drift = bool(known) and None not in known.values()
    if known and not with_drift:
        remarks.append(
            "The drift of a reference is not known for all batches, so it is not taken out."
        )
    for record in records:
        numbers = shown.get(record.name)
        if numbers is None and not _may_be_tasted(record):
            continue
        estimate, se = numbers or (None, None)
        row: dict[str, object] = {"batch": record.name, "date": record.batch.made_on}
        row |= {"estimate": estimate, "se": se}
        row |= {"drift": known.get(record.name) or 0.0} if with_drift else {}
        rows.append(row | dict(_sources(record, plant or Plant())))
    columns = tuple(dict.fromkeys(column for row in rows for column in row))
    try:
        result = _explained(columns, tuple(tuple(map(row.get, columns)) for row in rows))
    except SensoryError as error:
        return ProductCauses(result=None, attribute=chosen, remarks=(*remarks, str(error)))
    return ProductCauses(result=result, attribute=chosen, remarks=tuple(remarks))


@lru_cache(maxsize=_KEPT)
def _explained(columns: tuple[str, ...], rows: tuple[tuple[object, ...], ...]) -> BatchCauses:
    """The causes in these rows, computed once; tables are handed out as copies."""
    needed = ("batch", "estimate", "se")
    frame = pd.DataFrame(rows, columns=list(columns or needed))
    return explain_batches(frame)


def _estimates(
    records: Sequence[BatchRecord], rule: ReleaseRule, attribute: str
) -> dict[str, tuple[float, float]]:
    """Estimate and standard error of each batch that has a finding of the rule's test."""
    if rule.protocol is None:
        rows = rated_rows(records, rule, attribute)
        return {str(row["batch"]): (float(row["estimate"]), float(row["se"])) for row in rows}
    return {
        str(row["batch"]): noticing(rule.protocol, int(row["correct"]), int(row["trials"]))
        for row in choice_rows(records, rule)
    }


def noticing(protocol: Protocol, correct: int, trials: int) -> tuple[float, float]:
    """Share that notices, not floored at 0, and its standard error.

    Half a right and half a wrong answer are added, so that the error is above 0 at both ends.

    >>> from ..choices.protocols import TRIANGLE
    >>> tuple(round(number, 3) for number in noticing(TRIANGLE, 12, 24))
    (0.25, 0.15)
    """
    right, guess = (correct + 0.5) / (trials + 1), float(protocol.guess)
    error = np.sqrt(right * (1 - right) / (trials + 1))
    return (right - guess) / (1 - guess), float(error) / (1 - guess)


def _may_be_tasted(record: BatchRecord) -> bool:
    clearance = record.clearance
    return clearance is not None and clearance.complete and not clearance.suspected


def _sources(record: BatchRecord, plant: Plant) -> Iterator[tuple[str, str]]:
    """Name and value of each thing on record that may be a cause."""
    made = date.fromisoformat(record.batch.made_on)
    yield "line", record.batch.line
    yield "reference", record.reference
    yield "season", f"season {_QUARTERS[made.month % 12 // 3]}"
    for raw in record.batch.raw_lots:
        name = plant.names_of(raw.material)[0]
        yield f"{name} lot", raw.lot
        if raw.supplier:
            yield f"{name} supplier", raw.supplier


class _Drifts:
    """How far each reference lay from the first one, day by day."""

    def __init__(self, references: Sequence[Reference]) -> None:
        self._lines = {key_of(each.name): _line(each, references) for each in references}

    def of(self, record: BatchRecord) -> float | None:
        """Drift of the reference on the day of the latest tasting; None where it is not known."""
        line = self._lines.get(key_of(record.reference))
        held = record.latest.held_on if record.latest else ""
        if line is None or not held:
            return None
        days, distances = line
        return float(np.interp(date.fromisoformat(held).toordinal(), days, distances))


def _line(
    reference: Reference, references: Sequence[Reference]
) -> tuple[list[int], list[float]] | None:
    """Days on which the distance from the first is known, and the distances."""
    if not reference.bridges:  # the first itself
        return [0], [0.0]
    others = [bridge for other in references for bridge in other.bridges]
    own = replace(reference, stock=None)
    days, distances = [], []
    for day in sorted({bridge.held_on for bridge in reference.bridges}):
        if day >= reference.made_on:
            drift = reference_state(own, day, others).drift
            if drift is not None:
                days.append(date.fromisoformat(day).toordinal())
                distances.append(drift.estimate)
    return (days, distances) if days else None
