"""Batches with what went into them, as a table that comes in and as arrays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Floats
from ..base.errors import ArgumentError
from ..ratings.frames import MOST, is_empty, rows_of_file, whole_frame

NEEDED = ("batch", "estimate", "se")
OPTIONAL = ("date", "drift")
LINE, REFERENCE = "line", "reference"
FEWEST = 8
"""Tasted batches from which causes are sought at all."""
_SHOWN = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CauseData:
    """Checked rows: the tasted ones first, those not tasted behind them.

    Attributes
    ----------
    batches : tuple of str
    days : tuple of date, or empty
    values, se : float array, (tasted,)
    drift : float array, (tasted,), or None
        How far the reference lay from the first one when the batch was tasted.
    factors : dict of str to tuple of str
        What each column names for each batch, tasted or not; empty where nothing is named.
    remarks : tuple of str
    """

    batches: tuple[str, ...]
    days: tuple[date, ...]
    values: Floats
    se: Floats
    drift: Floats | None
    factors: dict[str, tuple[str, ...]]
    remarks: tuple[str, ...]

    @property
    def tasted(self) -> int:
        """How many batches have an estimate."""
        return len(self.values)

    def members(self, factor: str, value: str) -> Bools:
        """Which batches, tasted or not, have this value."""
        return np.array([own == value for own in self.factors[factor]])

    def levels(self, factor: str) -> list[str]:
        """Values of a factor among the tasted batches, in the order in which they first came."""
        own = self.factors[factor][: self.tasted]
        return [value for value in dict.fromkeys(own) if value]


def cause_data(batches: pd.DataFrame, causes: Iterable[str] | None) -> CauseData:
    """The checked table.

    Raises ArgumentError: No table, a missing column, cells that cannot be used, a batch twice,
    fewer than eight tasted batches.
    """
    given = whole_frame("batches", batches, "batch", NEEDED, OPTIONAL)
    frame, rows = given.reset_index(drop=True), rows_of_file(given)
    named = _columns(frame, causes)
    estimate, blank = _numbers(frame, "estimate", may_be_empty=True)
    faults = list(_faults(frame, rows, blank))
    if faults:
        more = f"; and {len(faults) - _SHOWN} more" if len(faults) > _SHOWN else ""
        raise ArgumentError(f"batches: {'; '.join(faults[:_SHOWN])}{more}.")
    tasted = int((~blank).sum())
    if tasted < FEWEST:
        raise ArgumentError(
            f"batches hold {tasted} with an estimate; causes are sought among at least {FEWEST}."
        )
    days = _days(frame)
    when = np.array(days or [0] * len(frame))
    order = np.lexsort((np.arange(len(frame)), when, blank))
    kept = order[:tasted]
    se, _ = _numbers(frame, "se", may_be_empty=True)
    clean, remarks = _above_zero(se[kept])
    return CauseData(
        batches=tuple(str(frame["batch"][place]) for place in order),
        days=tuple(date.fromordinal(int(days[place])) for place in order) if days else (),
        values=estimate[kept],
        se=clean,
        drift=_numbers(frame, "drift")[0][kept] if "drift" in frame else None,
        factors={name: tuple(_text(frame[name][place]) for place in order) for name in named},
        remarks=remarks,
    )


def _columns(frame: pd.DataFrame, causes: Iterable[str] | None) -> list[str]:
    own = {*NEEDED, *OPTIONAL}
    if causes is None:
        return [str(name) for name in frame if name not in own]
    named = [causes] if isinstance(causes, str) else list(dict.fromkeys(causes))
    for name in named:
        if name not in frame or name in own:
            rest = ", ".join(str(other) for other in frame if other not in own) or "none"
            raise ArgumentError(f"causes must be among the columns {rest}; got {name!r}.")
    return named


def _numbers(frame: pd.DataFrame, column: str, may_be_empty: bool = False) -> tuple[Floats, Bools]:
    """The cells as numbers, and where they are empty; what is no number is NaN."""
    blank = np.array([is_empty(cell) for cell in frame[column]])
    numbers = np.array([_number(cell) for cell in frame[column]])
    return numbers, blank if may_be_empty else np.zeros(len(frame), bool)


def _number(cell: object) -> float:
    if isinstance(cell, bool) or not isinstance(cell, (int, float, np.integer, np.floating)):
        return float("nan")
    return float(cell)


def _faults(frame: pd.DataFrame, rows: list[int], blank: Bools) -> Iterator[str]:
    """Cells that cannot be used, named by the rows of their file."""
    empty = np.array([is_empty(cell) for cell in frame["batch"]])
    twice = frame["batch"].astype(str).duplicated() & ~empty
    for place in np.flatnonzero(empty).tolist():
        yield f"row {rows[place]}, column batch: is left empty, give a name"
    for place in np.flatnonzero(twice).tolist():
        yield f"row {rows[place]}: batch {frame['batch'][place]} stands twice, put it into one row"
    columns = ["estimate", "se", *(name for name in ("drift",) if name in frame)]
    for column in columns:
        low = 0.0 if column == "se" else -MOST
        for place, number in enumerate(_numbers(frame, column)[0]):
            if not blank[place] and not low <= number <= MOST:
                cell = frame[column].tolist()[place]
                allowed = "0 or more" if column == "se" else "a number"
                yield f"row {rows[place]}, column {column}: got {cell!r}, must be {allowed}"
    if "date" in frame:
        for place, cell in enumerate(frame["date"]):
            if _day(cell) is None:
                yield f"row {rows[place]}, column date: got {cell!r}, must be a date as 2026-03-31"


def _days(frame: pd.DataFrame) -> list[int]:
    """Each date as a count of days; empty without dates."""
    if "date" not in frame:
        return []
    days = (_day(cell) for cell in frame["date"])
    return [day.toordinal() for day in days if day is not None]


def _day(cell: object) -> date | None:
    if isinstance(cell, datetime):
        return None if pd.isna(cell) else cell.date()
    if isinstance(cell, date):
        return cell
    try:
        return date.fromisoformat(str(cell).strip()[:10])
    except ValueError:
        return None


def _above_zero(se: Floats) -> tuple[Floats, tuple[str, ...]]:
    """Standard errors above 0, and what was done about those that are 0."""
    zero = se <= 0
    if not zero.any():
        return se, ()
    if zero.all():
        raise ArgumentError("se must be above 0 for some batches; all are 0.")
    least = float(se[~zero].min())
    count = int(zero.sum())
    verb = "has" if count == 1 else "have"
    words = f"{count} {'batch' if count == 1 else 'batches'} {verb} a standard error of 0"
    return np.where(zero, least, se), (f"{words}; the smallest other one, {least:.3g}, is taken.",)


def _text(cell: object) -> str:
    return "" if is_empty(cell) else " ".join(str(cell).split())
