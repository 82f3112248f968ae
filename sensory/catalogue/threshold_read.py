"""Threshold by rising sets: from checked answers to best estimates and the fitted threshold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from ..base.findings import Finding
from ..base.results import Interval, Table, digits
from ..choices.protocols import THREE_AFC
from ..evidence.thresholds import DetectionThreshold, detection_threshold
from .kind import KINDS
from .outcome import Counts, Figure, Level, NamedTable, Outcome, Span
from .outcome_words import SCOPE
from .question import Question
from .rising import amount_of, concentrations

Row = dict[str, Any]


def threshold_rows(rows: Sequence[Row]) -> pd.DataFrame:
    """Checked answers as `detection_threshold` takes them: ``assessor concentration correct``."""
    return pd.DataFrame(
        {
            "assessor": str(row["assessor"]),
            "concentration": amount_of(str(row["sample"])),
            "correct": float(_right(row)),
        }
        for row in rows
    )


def read_threshold(rows: Sequence[Row], question: Question) -> Outcome:
    """Where half of the tastings are noticed: likelihood with guessing, best estimates beside it.

    A threshold that is found is a difference that is noticed; where none can be placed the session
    cannot tell. Raises ArgumentError for answers to one concentration only.
    """
    kind, settings = KINDS[question.protocol], question.settings
    unit = str(kind.setting(settings, "unit") or "").strip()
    result = detection_threshold(
        threshold_rows(rows), unit=unit, noticed_at=concentrations(kind, settings, "noticed_at")
    )
    says = result.says()
    finding = Finding.UNDECIDED if result.curve is None else Finding.DIFFERENT
    return Outcome(
        test=question.protocol,
        finding=finding,
        sentence=says[0],
        because=" ".join(says[1:]),
        counts=Counts(answers=len(rows), assessors=len(result.assessors)),
        alpha=question.alpha,
        tables=tuple(_tables(result)),
        figure=_figure(result),
        cannot_tell=(*result.cannot_tell, SCOPE),
        notes=(
            "Threshold: maximum likelihood with the probability of guessing and assessors who "
            "differ. Best estimate: geometric mean of the last concentration missed and the next "
            "one tasted; where somebody missed none or the last, a step is invented.",
        ),
        panel_says=tuple(_each(result, unit)),
        panel_tables=(
            NamedTable("Best estimates", _plain(result, "assessor best_estimate end")),
            NamedTable("Thresholds of assessors", _plain(result, "assessor threshold low high")),
        ),
    )


def _right(row: Row) -> bool:
    named = frozenset(row["codes"].index(code) for code in row["answer"])
    return named in THREE_AFC.right_answers(row["order"], "B")


def _tables(result: DetectionThreshold) -> Iterator[NamedTable]:
    yield NamedTable("Thresholds", _table(result.groups))
    yield NamedTable("Right answers at each concentration", _table(result.steps))
    if len(result.noticed):
        yield NamedTable("Noticed at", _table(result.noticed))


def _table(frame: pd.DataFrame) -> Table:
    rows = (
        tuple(None if cell != cell else cell for cell in row)
        for row in frame.itertuples(index=False, name=None)
    )
    return Table(columns=tuple(frame.columns), rows=tuple(rows))


def _plain(result: DetectionThreshold, columns: str) -> Table:
    return _table(result.assessors[columns.split()])


def _figure(result: DetectionThreshold) -> Figure:
    guess = float(THREE_AFC.guess)
    return Figure(
        axis="share of right answers",
        origin=None,
        shares=True,
        levels=(
            Level(at=(guess,), says="guessing", agreed=False),
            Level(at=((1 + guess) / 2,), says="half noticed", agreed=False),
        ),
        spans=tuple(
            Span(
                label=f"{row['concentration']:g} {result.unit}".strip(),
                estimate=float(row["share"]),
                limits=Interval(low=float(row["low"]), high=float(row["high"]), level=result.level),
            )
            for row in result.steps.to_dict("records")
        ),
    )


def _each(result: DetectionThreshold, unit: str) -> Iterator[str]:
    for row in result.assessors.to_dict("records"):
        amount = f"{digits(row['best_estimate'], 2)} {unit}".strip()
        end = f", {row['end']}: a step is invented" if row["end"] else ""
        yield f"{row['assessor']}: best estimate {amount}{end}."
