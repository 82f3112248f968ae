"""Answers of consumers as they come in: a table, one consumer and sample a row.

Why so
------
What is wrong with a cell is an error; what is wrong with a design is a result without a number,
with a sentence that says why. Ten consumers are the fewest of whom a spread is estimated at all
(common practice, no source); how sure the limit is, its own limits say.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.errors import ArgumentError
from ..base.results import digits, several
from ..ratings.frames import MOST, is_empty, whole_frame

NEEDED = ("consumer", "sample", "distance")
ANSWER, LIKING = "answer", "liking"
FEWEST_CONSUMERS, FEWEST_DISTANCES = 10, 3
_ANSWERS = {"accept": 0.0, "accepted": 0.0, "reject": 1.0, "rejected": 1.0}
_SHOWN = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ConsumerData:
    """Checked answers; samples in the order of their distance.

    Attributes
    ----------
    asked : str
        ``answer`` or ``liking``.
    samples : tuple of str
    distances, se : float array, (samples,)
    values : float array, (consumers, samples)
        1 for rejected and 0 for accepted, or liking; NaN where a consumer did not have it.
    exact : bool
        Whether no distance has a standard error.
    """

    asked: str
    samples: tuple[str, ...]
    distances: Floats
    se: Floats
    values: Floats
    exact: bool

    @property
    def farthest(self) -> float:
        """The largest distance that was tasted."""
        return float(self.distances[-1])

    def why_none(self) -> str:
        """Why these answers give no limit at all, in a sentence; empty where they may."""
        consumers = len(self.values)
        if consumers == 1:
            return "One consumer cannot speak for others: no limit can be set."
        if consumers < FEWEST_CONSUMERS:
            return (
                f"{consumers} consumers are too few to speak for others: ask at least "
                f"{FEWEST_CONSUMERS}."
            )
        if (steps := len(np.unique(self.distances))) < FEWEST_DISTANCES:
            return (
                f"The samples have {several(steps, 'distance')}: between fewer than "
                f"{FEWEST_DISTANCES} nobody can see how answers follow the distance."
            )
        return self._of_answers() if self.asked == ANSWER else self._of_liking()

    def _of_answers(self) -> str:
        rejected = np.nansum(self.values, axis=0)
        had = (~np.isnan(self.values)).sum(0)
        if not rejected.any():
            return (
                "Nobody rejected any sample: where rejection begins lies beyond "
                f"{digits(self.farthest, 3)}, the farthest that was tasted."
            )
        if (rejected == had).all():
            return "Everybody rejected every sample: these answers hold no acceptance to lose."
        first = float(self.distances[rejected > 0].min())
        last = float(self.distances[rejected < had].max())
        if last < first:
            return (
                f"Up to {digits(last, 3)} everybody accepted and from {digits(first, 3)} on "
                "everybody rejected: the limit lies between them, and these answers cannot say "
                "where. Taste samples in between."
            )
        if last == first:
            return (
                f"Only at {digits(first, 3)} did consumers differ: everybody accepted what is "
                "nearer and rejected what is farther, so how fast rejection rises cannot be seen. "
                "Taste samples on both sides of it."
            )
        return ""

    def _of_liking(self) -> str:
        spread = self.values - np.nanmean(self.values, axis=1, keepdims=True)
        if not np.nanmax(np.abs(spread)) > 0:
            return "Every consumer liked all samples alike: liking does not fall here."
        return ""


def consumer_data(table: pd.DataFrame) -> ConsumerData:
    """The checked table.

    Raises ArgumentError: No table, a missing column, cells that cannot be used, all of them at
    once; a consumer twice on one sample; a sample with two distances.
    """
    kinds = [name for name in (ANSWER, LIKING) if isinstance(table, pd.DataFrame) and name in table]
    if isinstance(table, pd.DataFrame) and len(kinds) != 1:
        raise ArgumentError(
            f"table needs one of the columns {ANSWER} (accept or reject) and {LIKING}; got "
            f"{' and '.join(kinds) or 'neither'}."
        )
    asked = kinds[0] if kinds else ANSWER
    frame = whole_frame("table", table, "answer", (*NEEDED, asked), ("se",)).reset_index(drop=True)
    read = frame[[not is_empty(cell) for cell in frame[asked]]]
    faults = list(_faults(read, asked))
    if faults:
        more = f"; and {len(faults) - _SHOWN} more" if len(faults) > _SHOWN else ""
        raise ArgumentError(f"table: {'; '.join(faults[:_SHOWN])}{more}.")
    if read.empty:
        raise ArgumentError(f"table: the column {asked} is empty; give at least one answer.")
    return _arranged(read, asked)


def _arranged(read: pd.DataFrame, asked: str) -> ConsumerData:
    rows = pd.DataFrame(
        {
            "consumer": [_text(cell) for cell in read["consumer"]],
            "sample": [_text(cell) for cell in read["sample"]],
            "distance": [_number(cell) for cell in read["distance"]],
            "se": _errors(read),
            "value": [_value(cell, asked) for cell in read[asked]],
        }
    )
    samples = rows.groupby("sample", sort=False)[["distance", "se"]].first()
    samples = samples.sort_values("distance", kind="stable")
    wide = rows.pivot(index="consumer", columns="sample", values="value")[list(samples.index)]
    return ConsumerData(
        asked=asked,
        samples=tuple(map(str, samples.index)),
        distances=samples["distance"].to_numpy(float),
        se=samples["se"].to_numpy(float),
        values=wide.to_numpy(float),
        exact=not (samples["se"] > 0).any(),
    )


def _faults(read: pd.DataFrame, asked: str) -> Iterator[str]:
    """Cells that cannot be used; rows count as in a file with the header as row 1."""
    seen: set[tuple[str, str]] = set()
    known: dict[str, tuple[float, float, int]] = {}
    allowed = "accept or reject" if asked == ANSWER else "a number"
    for row, consumer, sample, at, se, cell in zip(
        (read.index + 2).tolist(),
        *(read[name].tolist() for name in NEEDED),
        _errors(read),
        read[asked].tolist(),
        strict=True,
    ):
        for name, text in (("consumer", consumer), ("sample", sample)):
            if is_empty(text):
                yield f"row {row}, column {name}: is left empty, give a name"
        distance = _number(at)
        if not 0 <= distance <= MOST:
            yield f"row {row}, column distance: got {at!r}, must be 0 or more"
        if not 0 <= se <= MOST:
            yield f"row {row}, column se: must be 0 or more"
        if np.isnan(_value(cell, asked)):
            yield f"row {row}, column {asked}: got {cell!r}, must be {allowed}"
        pair = _text(consumer), _text(sample)
        if pair in seen:
            yield f"row {row}: {pair[0]} answered on {pair[1]} twice, give one answer a sample"
        seen.add(pair)
        before = known.setdefault(pair[1], (distance, se, row))
        if before[:2] != (distance, se) and not np.isnan([distance, se, *before[:2]]).any():
            yield (
                f"row {row}: {pair[1]} has another distance or standard error than in row "
                f"{before[2]}"
            )


def _errors(read: pd.DataFrame) -> list[float]:
    """Standard errors; an empty cell is 0, the distance taken as exact."""
    if "se" not in read:
        return [0.0] * len(read)
    return [0.0 if is_empty(cell) else _number(cell) for cell in read["se"]]


def _value(cell: object, asked: str) -> float:
    if asked == ANSWER:
        return _ANSWERS.get(_text(cell).casefold(), float("nan"))
    number = _number(cell)
    return number if abs(number) <= MOST else float("nan")


def _number(cell: object) -> float:
    """A number, also written with a decimal comma; NaN where it is none."""
    if isinstance(cell, bool):
        return float("nan")
    try:
        number = float(cell.strip().replace(",", ".") if isinstance(cell, str) else cell)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return float("nan")
    return number if np.isfinite(number) else float("nan")


def _text(cell: object) -> str:
    return "" if is_empty(cell) else " ".join(str(cell).split())
