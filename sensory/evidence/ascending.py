"""An ascending series as it comes in: who was right at which concentration; and the rule of the
best estimate.

[1] After ASTM E679 (from memory): best-estimate threshold.

Why so
------
The best estimate counts from the last miss, not from the first run of right answers. For an
assessor who never misses, or misses the last step, the rule invents a step beyond the series;
so who these are is said beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Floats, Name
from ..base.errors import ArgumentError, Fault
from ..models.threshold import Answers
from ..ratings.frames import fault, is_empty, rows_of_file, whole_frame
from ..ratings.names import one_spelling

NEEDED, OPTIONAL = ("assessor", "concentration", "correct"), ("trials",)
BELOW, ABOVE = "below the series", "above the series"
_SHOWN = 10
_MOST = 1000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """Names, concentrations in rising order, and what was answered."""

    assessors: tuple[Name, ...]
    concentrations: Floats
    answers: Answers


def series_of(answers: object, guess: float) -> Series:
    """The answers by assessor and concentration; answers to one concentration are added up.

    Raises ArgumentError: No table, cells that cannot be used, fewer than two concentrations.
    """
    frame = whole_frame("answers", answers, "answer", NEEDED, OPTIONAL)
    at, right, trials = (
        _numbers(frame[name]) if name in frame else np.ones(len(frame))
        for name in ("concentration", "correct", "trials")
    )
    faults = list(_faults(frame, at, right, trials))
    if faults:
        rest = f" And {len(faults) - _SHOWN} more." if len(faults) > _SHOWN else ""
        shown = " ".join(
            f"row {each.row}, {each.column}: {each.problem} {each.advice}"
            for each in faults[:_SHOWN]
        )
        raise ArgumentError(f"answers: {shown}{rest}")
    people = one_spelling(frame["assessor"])
    names, steps = tuple(dict.fromkeys(people)), np.unique(at)
    if len(steps) < 2:
        raise ArgumentError(
            f"answers hold one concentration, {steps[0]:g}; a threshold needs two or more."
        )
    rows, columns = [names.index(name) for name in people], np.searchsorted(steps, at)
    shape = (len(names), len(steps))
    cells = np.ravel_multi_index((np.array(rows), columns), shape)
    size = shape[0] * shape[1]
    hits = np.asarray(np.bincount(cells, right, size), float).reshape(shape)
    misses = np.asarray(np.bincount(cells, trials - right, size), float).reshape(shape)
    return Series(
        assessors=names,
        concentrations=steps,
        answers=Answers(at=np.log10(steps), right=hits, wrong=misses, guess=guess),
    )


def best_estimates(series: Series) -> list[tuple[float, str]]:
    """Each assessor's best estimate [1], and at which end of the series it was invented, if any.

    The geometric mean of the last concentration missed and the next one that was tasted.

    >>> frame = pd.DataFrame({"assessor": ["A"] * 5, "concentration": [1, 2, 4, 8, 16],
    ...     "correct": [0, 1, 0, 1, 1]})
    >>> [(round(value, 4), end) for value, end in best_estimates(series_of(frame, 1 / 3))]
    [(5.6569, '')]
    """
    return [
        _best_estimate(series.concentrations, right + wrong > 0, wrong > 0)
        for right, wrong in zip(series.answers.right, series.answers.wrong, strict=True)
    ]


def _best_estimate(at: Floats, tasted: np.ndarray, missed: np.ndarray) -> tuple[float, str]:
    steps, wrong = at[tasted], missed[tasted]
    if len(steps) == 1:  # the step between concentrations is that of the series
        ratio = float(at[1] / at[0])
        return (float(steps[0]) * math.sqrt(ratio ** (1 if wrong[0] else -1))), (
            ABOVE if wrong[0] else BELOW
        )
    if not wrong.any():
        return float(steps[0] / math.sqrt(steps[1] / steps[0])), BELOW
    last = int(np.flatnonzero(wrong)[-1])
    if last == len(steps) - 1:
        return float(steps[-1] * math.sqrt(steps[-1] / steps[-2])), ABOVE
    return math.sqrt(float(steps[last] * steps[last + 1])), ""


def _numbers(column: pd.Series) -> Floats:
    return np.array(pd.to_numeric(column, errors="coerce"), float)


def _faults(frame: pd.DataFrame, at: Floats, right: Floats, trials: Floats) -> Iterator[Fault]:
    rows = rows_of_file(frame)
    for place, name in enumerate(frame["assessor"]):
        row = rows[place]
        if is_empty(name):
            yield fault(row, "assessor", name, "name", "is empty.")
        if not 0 < at[place] < math.inf:
            given = frame["concentration"].iloc[place]
            advice = "Give a number above 0; a blank sample is what the others are compared with."
            yield fault(row, "concentration", given, "positive", f"{given} cannot be.", advice)
        if not (1 <= trials[place] <= _MOST and trials[place] % 1 == 0):
            given = frame["trials"].iloc[place]
            yield fault(row, "trials", given, "count", f"{given} cannot be.", "Give a count.")
        elif not (0 <= right[place] <= trials[place] and right[place] % 1 == 0):
            given = frame["correct"].iloc[place]
            advice = f"Give how many of {trials[place]:g} were right, from 0 on."
            yield fault(row, "correct", given, "count", f"{given} cannot be.", advice)
