"""Shelf life by forced choices over storage time: a line of d-prime through zero."""

from __future__ import annotations

import math
from types import MappingProxyType

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.checks import one_count, one_number, probability
from ..base.errors import ArgumentError
from ..base.results import digits, p_digits, several
from ..models.dprime_line import SlopeFit, fit_slope, p_of_line
from ..models.joint_dprime import Counts, limits_of_sessions
from .combined_words import DISTANCE
from .session_rows import counts_of, session_rows
from .shelf_life import ADVICE, BATCH, ShelfLife, row_of, storage_of
from .shelf_rows import days, number, series_rows, text

_DRAWS = 2000
_LACK = 0.05
THROUGH_ZERO = (
    "It takes d-prime to grow in a straight line from 0 at the start of storage, where the sample "
    "is the reference, and a reference that does not change."
)
PEOPLE = (
    "It takes the answers of all sessions for those of different people; where the same assessors "
    "come back, or a day's serving was off, the limits are too narrow."
)


def shelf_life_from_choices(
    sessions: pd.DataFrame,
    *,
    safety_date: object,
    start: object,
    dprime_limit: float,
    level: float = 0.90,
    seed: int = 1,
) -> ShelfLife:
    """After which storage time does the difference from the reference reach the agreed d-prime?

    Parameters
    ----------
    sessions : DataFrame
        ``time protocol correct trials``, one session a row, days of storage; ``attribute`` for
        tests that ask for one. Stored against fresh or frozen reference each time.
    safety_date : date or text
        Until when food safety allows the product to be eaten; no date is later.
    start : date or text
        When storage began.
    dprime_limit : float
        Agreed limit, above 0.
    level : float
        Of two-sided limits; at 0.90 the lower limit alone holds at 95 %.
    seed : int
        Of the simulated counts behind the p of the line.

    Raises
    ------
    ArgumentError
        Cells that cannot be used; one storage time only; several attributes; right answers only.

    Notes
    -----
    One likelihood over the exact binomial counts of all sessions, whatever their protocols, of
    d-prime = slope x time; the time is limit / slope, its limits are those of the slope by the
    profile of the likelihood. A slope of 0 within its limits leaves the upper end open. In 500
    simulated series (`tests/calibration/test_shelf_life.py`) the lower limit at 95 % was not later
    than the true end in 95 % of them or more; in 92 % where the d-prime of each session was off by
    40 %, which nothing in the likelihood knows of.

    Examples
    --------
    >>> rows = pd.DataFrame({
    ...     "time": [30, 60, 90, 120], "protocol": ["triangle", "triangle", "tetrad", "triangle"],
    ...     "correct": [9, 13, 14, 18], "trials": 24})
    >>> shelf_life_from_choices(
    ...     rows, safety_date="2027-12-31", start="2026-11-28", dprime_limit=1.5)
    <ShelfLife: shown until 2027-01-31, best estimate 2027-02-15>
    """
    level, seed = probability("level", level), one_count("seed", seed)
    at = one_number("dprime_limit", dprime_limit, 0.05, 6.0)
    times, counts, names = _sessions(sessions)
    storage = storage_of(start, safety_date, pd.Series(times))
    if (counts.correct == counts.trials)[times > 0].all():
        raise ArgumentError(
            "Every answer after the start of storage is right: how d-prime grows cannot be told; "
            "taste earlier storage times."
        )
    fit = fit_slope(counts, times, level)
    p = p_of_line(counts, times, fit, draws=_DRAWS, seed=seed)
    estimate, low, high = (
        at / slope if slope > 1e-9 else math.inf for slope in (fit.estimate, fit.high, fit.low)
    )
    return ShelfLife(
        start=storage.start,
        safety_date=storage.safety_date,
        last=storage.last,
        event=f"d-prime reaches {digits(at)}",
        estimate=estimate,
        low=low,
        high=high,
        level=level,
        at=at,
        axis="d-prime from the reference",
        seen="d-prime of each session by itself, with its limits",
        basis=(_basis(fit, counts),),
        remarks=tuple(_remarks(fit, p)),
        cannot_tell=(THROUGH_ZERO, PEOPLE, DISTANCE, BATCH, ADVICE),
        _tables=MappingProxyType(
            {
                "points": _points(counts, times, names, level),
                "curve": _curve(fit, storage.last, estimate),
                "fits": pd.DataFrame(
                    [
                        row_of("days to the limit", estimate, low, high),
                        row_of("d-prime in 30 days", *(30 * s for s in _three(fit))),
                        row_of("p of the line", p, p=p),
                    ]
                ),
            }
        ),
    )


def _three(fit: SlopeFit) -> tuple[float, float, float]:
    return fit.estimate, fit.low, fit.high


def _sessions(sessions: pd.DataFrame) -> tuple[Floats, Counts, list[str]]:
    """Days, counts and protocols, in the order of the days."""
    needed = {"time": days, "protocol": text, "correct": number, "trials": number}
    rows = series_rows("sessions", sessions, "session", needed, {"attribute": text})
    rows = rows.sort_values("time", kind="stable").drop(columns="row")
    read = session_rows(rows.drop(columns="time"), scores=False)
    asked = {row.attribute for row in read}
    if len(asked) > 1:
        named = ", ".join(sorted(name or "any difference" for name in asked))
        raise ArgumentError(
            f"sessions ask for different things ({named}): each has a shelf life of its own; "
            "give one at a time."
        )
    return rows["time"].to_numpy(float), counts_of(read), [row.protocol.name for row in read]


def _basis(fit: SlopeFit, counts: Counts) -> str:
    slope, low, high = (digits(30 * each, 3) for each in _three(fit))
    return (
        f"d-prime grows by {slope} in 30 days ({low} to {high}), by "
        f"{several(int(counts.trials.sum()), 'answer')} in {several(len(counts), 'session')}."
    )


def _remarks(fit: SlopeFit, p: float) -> list[str]:
    remarks = []
    if fit.low <= 1e-9:
        remarks.append("Growth of d-prime is not clear, so the upper end is open.")
    if p <= _LACK:
        remarks.append(
            f"The sessions do not follow a line through zero (p {p_digits(p)}): do not rely on "
            "the dates, and look for the session that stands apart."
        )
    return remarks


def _points(counts: Counts, times: Floats, names: list[str], level: float) -> pd.DataFrame:
    own = limits_of_sessions(counts, level)
    return pd.DataFrame(
        {
            "time": times,
            "estimate": [fit.estimate for fit in own],
            "low": [fit.low for fit in own],
            "high": [fit.high for fit in own],
            "answers": counts.trials.astype(int),
            "label": names,
        }
    )


def _curve(fit: SlopeFit, last: float, estimate: float) -> pd.DataFrame:
    time = np.linspace(0, max(last, min(estimate, 1.5 * last)), 31)
    estimates, low, high = (slope * time for slope in _three(fit))
    return pd.DataFrame({"time": time, "estimate": estimates, "low": low, "high": high})
