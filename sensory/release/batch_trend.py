"""The trend of a product: its batches as rows, in the chart that fits the release rule."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..base.spelling import key_of
from ..choices.protocols import Protocol
from .batch_records import BatchRecord, Tasting
from .choice_trend import ChoiceTrend, trend_of_choices
from .known_shifts import KnownShift, changes_of, known_shifts, within_references
from .plant import Plant
from .rule import ReleaseRule
from .trend import Trend, trend
from .trend_marks import Mark, marks_of
from .trend_words import batch_count, signal_rows

FEWEST = 3
TAKEN_OUT = "taken out before single batches are judged"
NO_LINE = "no line named"
_KEPT = 32
NO_CHART_OF_VOTES = (
    "Votes of graders have no chart of levels: the defects that they named stand here by month."
)
DIFFERENCE = "difference"
"""Name of what is scored where a method asks for one difference only."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProductTrend:
    """Batches of a product over time, see `trend_of_batches`."""

    result: Trend | ChoiceTrend | None  # None where there are too few batches; `remarks` say so
    less_known: Trend | None = None  # its signals with known shifts taken out, if there are any
    attribute: str  # which one, for a rated test
    remarks: tuple[str, ...]  # which batches and lines are left out, and why
    marks: tuple[Mark, ...] = ()  # where the reference or a lot changed
    shifts: tuple[KnownShift, ...] = ()  # what a lot or a reference explains

    def says(self) -> tuple[str, ...]:
        """What the chart shows, a sentence each, with what was left out."""
        sentences = () if self.shown is None else self.shown.says()
        return (*map(_called, sentences), *self.explained, *self.remarks)

    @property
    def shown(self) -> Trend | ChoiceTrend | None:
        """The result with the signals that known shifts leave."""
        return self.result if self.less_known is None else self.less_known

    @property
    def explained(self) -> tuple[str, ...]:
        """The known shifts, a sentence each."""
        return tuple(
            f"{each.words[0].upper()}{each.words[1:]}: {each.numbers}; {TAKEN_OUT}."
            for each in self.shifts
        )


def line_title(line: object) -> str:
    """What a line is called at the head of a chart or of a sentence.

    >>> line_title("B"), line_title("line 2"), line_title("sweetener SW-1")
    ('Line B', 'Line 2', 'Sweetener SW-1')
    """
    name = str(line)
    own = name == NO_LINE or " " in name
    return f"{name[:1].upper()}{name[1:]}" if own else f"Line {name}"


def _called(sentence: str) -> str:
    """The sentence with its line called by `line_title`."""
    name, colon, rest = sentence.partition(": ")
    if colon and name.startswith("Line "):
        return f"{line_title(name.removeprefix('Line '))}: {rest}"
    return sentence


def attributes_of(records: Iterable[BatchRecord], rule: ReleaseRule) -> list[str]:
    """Attributes that tastings of the rule's test have numbers of, the commonest first."""
    counts = Counter(
        name
        for record in records
        for tasting in _of_rule(record, rule)
        for name in tasting.differences
    )
    return [name for name, _ in counts.most_common()]


def trend_of_batches(
    records: Sequence[BatchRecord],
    rule: ReleaseRule,
    *,
    attribute: str = "",
    beside: str = "",
    base: int | None = None,
    weight: float = 0.2,
    plant: Plant | None = None,
    references: Mapping[str, Sequence[str]] | None = None,
) -> ProductTrend:
    """How do the batches of a product run against the reference?

    `records` are those of one product; those without a finding of the rule's test are left out.
    `attribute` is for a rated test, the commonest where it is not named. What stands side by side
    are the lines, or the suppliers of the raw material named in `beside` (its lots, where no
    supplier is stated), under whichever of its names in the list of the `plant`. `base` and
    `weight` are those of `trend`. `references` are those that took over without a tasting on
    record that showed similarity, with how they did; the remarks name their batches.

    Rated tests take the latest tasting of each batch and `trend`, forced choices the counts of
    all its tastings and `trend_of_choices`. A line with fewer than three batches has no chart.
    The date is that of making, so that a cause in the plant lies where it happened.
    """
    if rule.by == "votes":
        return ProductTrend(result=None, attribute="", remarks=(NO_CHART_OF_VOTES,))
    names = attributes_of(records, rule)
    chosen = attribute or (names[0] if names else "")
    rows = choice_rows(records, rule) if rule.protocol else rated_rows(records, rule, chosen)
    remarks = []
    without = len(records) - len(rows)
    if beside:
        places = {record.name: _source(record, beside, plant or Plant()) for record in records}
        rows = [{**row, "line": places[str(row["batch"])]} for row in rows]
    if without:
        remarks.append(f"{batch_count(without)} without a finding of this test.")
    remarks += _took_over(records, {str(row["batch"]) for row in rows}, references or {})
    counts = Counter(str(row["line"]) for row in rows)
    short = sorted(line for line, count in counts.items() if count < FEWEST)
    if short:
        rows = [row for row in rows if str(row["line"]) not in short]
        remarks.append(f"Fewer than {FEWEST} batches, so no chart: {', '.join(short)}.")
    if not rows:
        return ProductTrend(result=None, attribute=chosen, remarks=tuple(remarks))
    limit = rule.margins.get(chosen) if rule.margins else rule.limit
    try:
        result = _chart(
            tuple(tuple(row.items()) for row in rows), rule.protocol, limit, base, weight
        )
    except ArgumentError as error:
        remarks.append(str(error))
        result = None
    shifts: tuple[KnownShift, ...] = ()
    left = None
    if isinstance(result, Trend) and not beside:
        charted = [
            record for record in records if record.name in {str(row["batch"]) for row in rows}
        ]
        shifts, left = _less_known(result, charted, plant or Plant())
    return ProductTrend(
        result=result,
        less_known=left,
        attribute=chosen,
        remarks=tuple(remarks),
        marks=marks_of(records),
        shifts=shifts,
    )


def _less_known(
    result: Trend, records: Sequence[BatchRecord], plant: Plant
) -> tuple[tuple[KnownShift, ...], Trend]:
    """The known shifts, and the result with the signals that are left without them."""
    points = result.points
    shifts, taken = known_shifts(points, changes_of(records, plant), result.base)
    against = {record.name: record.reference for record in records}
    signals = _signals_without(result, tuple(taken)) if shifts else points["signals"]
    left = within_references(points.assign(signals=signals), against)
    if left["signals"].equals(points["signals"]):
        return shifts, result
    tables = {**result._tables, "points": left, "signals": signal_rows(left)}
    return shifts, replace(result, _tables=MappingProxyType(tables))


@lru_cache(maxsize=_KEPT)
def _signals_without(result: Trend, taken: tuple[float, ...]) -> pd.Series[str]:
    """The signals of each point where the shifts are taken out of the estimates."""
    points = result.points
    rows = points[["batch", "date", "line", "se"]].assign(
        estimate=points["estimate"] - np.array(taken)
    )
    return trend(rows, limit=result.limit, base=result.base, weight=result.weight).points["signals"]


@lru_cache(maxsize=_KEPT)
def _chart(
    rows: tuple[tuple[tuple[str, object], ...], ...],
    protocol: Protocol | None,
    limit: float | None,
    base: int | None,
    weight: float,
) -> Trend | ChoiceTrend:
    """The chart of these rows, computed once; its tables are handed out as copies."""
    frame = pd.DataFrame(map(dict, rows))
    if protocol is not None:
        return trend_of_choices(frame, protocol=protocol, pd_limit=limit, base=base)
    return trend(frame, limit=limit, base=base, weight=weight)


def _of_rule(record: BatchRecord, rule: ReleaseRule) -> list[Tasting]:
    return [
        tasting
        for tasting in record.tastings
        if tasting.test == rule.test and tasting.finding is not None
    ]


def _took_over(
    records: Sequence[BatchRecord], shown: set[str], references: Mapping[str, Sequence[str]]
) -> Iterator[str]:
    """How the references of the batches in the chart took over, where no tasting says it."""
    for name, sentences in references.items():
        count = sum(
            key_of(record.reference) == key_of(name) for record in records if record.name in shown
        )
        if count:
            verb = "was" if count == 1 else "were"
            yield f"{batch_count(count)} {verb} tasted against {name}. {' '.join(sentences)}"


def materials_of(records: Iterable[BatchRecord], plant: Plant | None = None) -> list[str]:
    """Raw materials whose suppliers or lots can be put side by side, each once, by its own name."""
    own = plant or Plant()
    lots = (lot.material for record in records for lot in record.batch.raw_lots)
    names = (own.names_of(material)[0] for material in lots)
    return sorted({key_of(name): name for name in names}.values())


def _source(record: BatchRecord, material: str, plant: Plant) -> str:
    """Supplier of a material, else its lot."""
    names = {key_of(name) for name in plant.names_of(material)}
    for lot in record.batch.raw_lots:
        if key_of(lot.material) in names:
            return f"from {lot.supplier}" if lot.supplier else f"{material} {lot.lot}"
    return f"without {material}"


def _head(record: BatchRecord) -> dict[str, object]:
    batch = record.batch
    return {"batch": batch.number, "date": batch.made_on, "line": batch.line or NO_LINE}


def choice_rows(records: Sequence[BatchRecord], rule: ReleaseRule) -> list[dict[str, Any]]:
    """``batch date line correct trials`` of each batch, all its tastings of the rule's test."""
    rows = []
    for record in records:
        tastings = _of_rule(record, rule)
        trials = sum(tasting.trials or 0 for tasting in tastings)
        if trials:
            correct = sum(tasting.correct or 0 for tasting in tastings)
            rows.append({**_head(record), "correct": correct, "trials": trials})
    return rows


def rated_rows(
    records: Sequence[BatchRecord], rule: ReleaseRule, attribute: str
) -> list[dict[str, Any]]:
    """``batch date line estimate se`` of each batch, from its latest tasting of the rule's test."""
    rows = []
    for record in records:
        pairs = [tasting.differences.get(attribute) for tasting in _of_rule(record, rule)]
        if latest := [pair for pair in pairs if pair is not None][-1:]:
            estimate, se = latest[0]
            rows.append({**_head(record), "estimate": estimate, "se": se})
    return rows
