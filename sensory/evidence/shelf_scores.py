"""Shelf life by panel scores: a line over storage time, up to the agreed limit."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.checks import one_number, probability
from ..base.errors import ArgumentError
from ..base.results import digits, p_digits, several
from ..models.line_crossing import Crossing, LineFit, crossing, fit_line, p_bent, student
from ..ratings.frames import MOST
from .shelf_life import ADVICE, BATCH, ShelfLife, row_of, storage_of
from .shelf_rows import days, number, of_one, series_rows, text

FEWEST = 3
"""Storage times from which a line has a scatter."""
_BENDS = 0.05
LINE = (
    "It takes the change for a straight line and the means of different days for independent. A "
    "product that keeps well and then changes fast meets the limit later or earlier than a line "
    "says."
)
PANEL = (
    "It is about the mean of this panel, not about each assessor or a consumer; and it rests on "
    "the agreed limit, which it takes as given."
)


def shelf_life_from_scores(
    scores: pd.DataFrame,
    *,
    safety_date: object,
    start: object,
    limit: float,
    worse: str = "higher",
    level: float = 0.90,
) -> ShelfLife:
    """After which storage time does the panel's mean score reach the agreed limit?

    Parameters
    ----------
    scores : DataFrame
        ``time score``, days of storage and a score or a distance from the reference; where there
        are any ``reference`` (score of the fresh or frozen reference tasted beside it, which is
        taken off), ``assessor``, ``session``, ``batch``.
    safety_date : date or text
        Until when food safety allows the product to be eaten; no date is later.
    start : date or text
        When storage began.
    limit : float
        Agreed limit, on the scale of the score, or of the distance where there is a reference.
    worse : {"higher", "lower"}
        On which side of the limit the product is no longer accepted.
    level : float
        Of two-sided limits; at 0.90 the lower limit alone holds at 95 %.

    Raises
    ------
    ArgumentError
        Cells that cannot be used; fewer than three storage times; several batches; means that
        do not scatter at all; food safety's date before the start.

    Notes
    -----
    Scores of one storage time (and session) become one mean, since whatever a day does to the
    panel it does to all of them; a line goes through these means, all of the same weight. The
    limits are where the confidence band of the line meets the limit (Fieller, see
    `models/line_crossing.py`); with a slope that is not clear the upper end is open. In
    1,000 simulated series of 7 means each (`tests/calibration/test_shelf_life.py`) the lower limit
    at 95 % was not later than the true end in 94 to 95 % of them, with the end inside the series,
    after it, and with a slope that is barely clear. Six storage times or more are common practice,
    no source.

    Examples
    --------
    >>> series = pd.DataFrame({
    ...     "time": [0, 14, 28, 42, 56, 70, 84],
    ...     "score": [0.21, 0.62, 0.55, 1.38, 1.49, 2.31, 2.47]})
    >>> result = shelf_life_from_scores(
    ...     series, safety_date="2027-06-30", start="2026-11-28", limit=2.0)
    >>> result
    <ShelfLife: shown until 2027-01-27, best estimate 2027-02-03>
    >>> print(result.says()[1])
    By the best estimate the mean score reaches 2 after 67.1 days of storage (60 days to 76.5 \
days, 90 %), on 3 February 2027.
    """
    if worse not in ("higher", "lower"):
        raise ArgumentError(f"worse must be 'higher' or 'lower'; got {worse!r}.")
    level, at = probability("level", level), one_number("limit", limit, -MOST, MOST)
    rows, distance = _rows(scores)
    storage = storage_of(start, safety_date, rows["time"])
    means = _means(rows)
    side = 1.0 if worse == "higher" else -1.0
    x, y = means["time"].to_numpy(float), side * means["estimate"].to_numpy(float)
    line = _line(x, y)
    meets = crossing(line, side * at, level)
    what = "mean distance from the reference" if distance else "mean score"
    return ShelfLife(
        start=storage.start,
        safety_date=storage.safety_date,
        last=storage.last,
        event=f"the {what} reaches {digits(at)}",
        estimate=meets.estimate,
        low=meets.low,
        high=meets.high,
        level=level,
        at=at,
        axis=what,
        seen=f"{what} at each storage time",
        basis=tuple(_basis(line, means, what, side)),
        remarks=tuple(_remarks(rows, x, y, line, level)),
        cannot_tell=(LINE, PANEL, BATCH, ADVICE),
        _tables=MappingProxyType(
            {
                "points": means,
                "curve": _curve(line, storage.last, meets, side, level),
                "fits": _fits(line, meets, side, level, p_bent(x, y)),
            }
        ),
    )


def _rows(scores: pd.DataFrame) -> tuple[pd.DataFrame, bool]:
    """Checked rows, and whether a reference was taken off."""
    named = dict.fromkeys(("assessor", "session", "batch"), text)
    needed = {"time": days, "score": number}
    rows = series_rows("scores", scores, "score", needed, {"reference": number, **named})
    of_one("scores", rows, "batch", "give one at a time; the shortest shelf life counts for all.")
    if "reference" not in rows:
        return rows, False
    blank = rows["reference"].eq("")
    if blank.all():
        return rows.drop(columns="reference"), False
    if blank.any():
        raise ArgumentError(
            f"scores: row {rows.loc[blank, 'row'].iloc[0]}, reference: it is empty; give the "
            "reference's score in every row or in none."
        )
    return rows.assign(score=rows["score"] - rows["reference"].astype(float)), True


def _means(rows: pd.DataFrame) -> pd.DataFrame:
    """One mean for each storage time and session."""
    by = ["time", *(["session"] if "session" in rows else [])]
    grouped = rows.groupby(by, sort=True)["score"]
    means = grouped.agg(["mean", "count"]).reset_index()
    return pd.DataFrame(
        {
            "time": means["time"].astype(float),
            "estimate": means["mean"].astype(float),
            "low": np.nan,
            "high": np.nan,
            "answers": means["count"].astype(int),
            "label": means.get("session", "mean"),
        }
    )


def _line(x: Floats, y: Floats) -> LineFit:
    if len(np.unique(x)) < FEWEST:
        raise ArgumentError(
            f"There are two storage times only ({digits(x.min())} and {digits(x.max())} days): a "
            "line fits them whatever happened between; taste the product at three times or more."
        )
    line = fit_line(x, y)
    if line.variance <= 1e-18 * max(1.0, float(np.abs(y).max()) ** 2):
        raise ArgumentError(
            "The means do not scatter round a line at all, as measured ones do: check whether "
            "these are scores as they were given."
        )
    return line


def _basis(line: LineFit, means: pd.DataFrame, what: str, side: float) -> list[str]:
    times = several(means["time"].nunique(), "storage time")
    slope = side * line.slope
    moves = f"{'rises' if slope > 0 else 'falls'} by {digits(30 * abs(slope), 3)}"
    p = p_digits(line.p_rising)
    return [
        f"The {what} {moves} in 30 days, by {several(len(means), 'mean')} at {times} "
        f"(p {p} for no change towards the limit)."
    ]


def _remarks(
    rows: pd.DataFrame,
    x: Floats,
    y: Floats,
    line: LineFit,
    level: float,
) -> list[str]:
    remarks = []
    if line.slope <= student(line.df, level) * line.slope_se:
        remarks.append(
            "The slope is not clear: the product may never reach the limit, so the upper end is "
            "open."
        )
    bent = p_bent(x, y)
    if bent <= _BENDS:
        remarks.append(
            f"The means bend away from a line (p {p_digits(bent)}): do not rely on the line "
            "between or beyond the times tasted."
        )
    if "assessor" in rows and rows["assessor"].ne("").all():
        sets = rows.groupby("time")["assessor"].agg(frozenset)
        if sets.nunique() > 1:
            remarks.append(
                "Not the same assessors tasted at every time: differences between people are part "
                "of the scatter."
            )
    return remarks


def _curve(line: LineFit, last: float, meets: Crossing, side: float, level: float) -> pd.DataFrame:
    end = max(last, min(meets.estimate, 1.5 * last) if meets.estimate > 0 else last)
    time = np.linspace(0, end, 61)
    mean, half = line.mean(time), line.half_width(time, level)
    ends = side * (mean - half), side * (mean + half)
    return pd.DataFrame(
        {
            "time": time,
            "estimate": side * mean,
            "low": np.minimum(*ends),
            "high": np.maximum(*ends),
        }
    )


def _fits(line: LineFit, meets: Crossing, side: float, level: float, bent: float) -> pd.DataFrame:
    half = student(line.df, level) * line.slope_se
    slopes = sorted((side * (line.slope - half), side * (line.slope + half)))
    return pd.DataFrame(
        [
            row_of("days to the limit", meets.estimate, meets.low, meets.high),
            row_of("change a day", side * line.slope, slopes[0], slopes[1], p=line.p_rising),
            row_of("line at time 0", side * line.intercept),
            row_of("scatter of means (sd)", float(np.sqrt(line.variance))),
            row_of("p of a bend", bent, p=bent),
        ]
    )
