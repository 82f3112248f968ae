"""Sums over many sessions: slopes through a common line, scatter before and after, and drift.

All arrays are (people,); every p is one-sided as its name says, of normal scores.
"""

from __future__ import annotations

import numpy as np
from scipy.special import chdtri, fdtrc, fdtri, stdtr

from ..base.arrays import Bools, Floats, Ints


def summed(groups: Ints, values: Floats | Bools, many: int) -> Floats:
    """Sums of values by group.

    >>> summed(np.array([0, 1, 0]), np.array([1.0, 2.0, 3.0]), 3).tolist()
    [4.0, 2.0, 0.0]
    """
    return np.bincount(groups, np.asarray(values, float), many).astype(float)


def common_slope(
    sxx: Floats, sxy: Floats, syy: Floats, free: Floats
) -> tuple[Floats, Floats, Floats]:
    """One slope through several sessions, each with a level of its own.

    Parameters
    ----------
    sxx, sxy, syy : float array, (people,)
        Sums over the sessions of squares and products about the means of each.
    free : float array, (people,)
        Sum over the sessions of samples less 1.

    Returns
    -------
    slope, se, df : float array, (people,)
        NaN where nothing varies, or no degree of freedom is left.
    """
    df = free - 1
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = sxy / sxx
        rest = np.maximum(syy - slope * sxy, 0.0)
        se = np.sqrt(rest / df / sxx)
    known = (df >= 1) & (sxx > 0) & (se > 0)
    return np.where(known, slope, np.nan), np.where(known, se, np.nan), np.where(known, df, np.nan)


def below(estimate: Floats, se: Floats, df: Floats, limit: float) -> Floats:
    """p that the true value is `limit` or more.

    >>> below(np.array([0.0]), np.array([1.0]), np.array([5.0]), 0.0).tolist()
    [0.5]
    """
    return np.asarray(stdtr(df, (estimate - limit) / se))


def drift(estimate: Floats, se: Floats, df: Floats) -> Floats:
    """Two-sided p that there is no slope."""
    return np.asarray(2 * stdtr(df, -np.abs(estimate / se)))


def wider(sd: Floats, df: Floats, other_sd: Floats, other_df: Floats, ratio: float) -> Floats:
    """p that a standard deviation is at most `ratio` times the other."""
    with np.errstate(invalid="ignore", divide="ignore"):
        statistic = (sd / (ratio * other_sd)) ** 2
    known = np.isfinite(statistic) & (df > 0) & (other_df > 0)
    safe = np.where(known, statistic, 1.0)
    return np.where(known, fdtrc(np.maximum(df, 1), np.maximum(other_df, 1), safe), np.nan)


def ratio_limits(
    sd: Floats, df: Floats, other_sd: Floats, other_df: Floats, level: float
) -> tuple[Floats, Floats, Floats]:
    """Ratio of two independent standard deviations with its limits, exact for normal scores.

    >>> ten = np.array([10.0])
    >>> [end.round(2).tolist() for end in ratio_limits(np.ones(1), ten, np.ones(1), ten, 0.95)]
    [[1.0], [0.52], [1.93]]
    """
    known = (df > 0) & (other_df > 0) & np.isfinite(sd) & (other_sd > 0)
    free, other_free = np.where(known, df, 1.0), np.where(known, other_df, 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(known, sd / other_sd, np.nan)
    low, high = (
        ratio / np.sqrt(fdtri(free, other_free, tail))
        for tail in ((1 + level) / 2, (1 - level) / 2)
    )
    return ratio, low, high


def line_in_time(
    groups: Ints, many: int, time: Floats, value: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Least squares of values on time, a line a group.

    Returns
    -------
    slope, se, df, count : float array, (many,)
        NaN with fewer than three values.
    """
    count = summed(groups, np.ones(len(groups)), many)
    with np.errstate(invalid="ignore", divide="ignore"):
        t = time - (summed(groups, time, many) / count)[groups]
        y = value - (summed(groups, value, many) / count)[groups]
        sxx, sxy, syy = (summed(groups, part, many) for part in (t * t, t * y, y * y))
        slope = sxy / sxx
        df = count - 2
        se = np.sqrt(np.maximum(syy - slope * sxy, 0.0) / df / sxx)
    known = (df >= 1) & (sxx > 0) & (se > 0)
    slope, se, df = (np.where(known, part, np.nan) for part in (slope, se, df))
    return slope, se, df, count


def chi_limits(df: Floats, level: float | None = None) -> Floats:
    """A standard deviation in units of the true one: its upper limit at 99.73 %, as on a control
    chart, or its two limits at a level, (values, 2).

    >>> chi_limits(np.array([10.0])).round(3).tolist()
    [1.64]
    """
    if level is None:
        return np.asarray(np.sqrt(chdtri(df, 0.0027) / df))
    tails = np.array([(1 + level) / 2, (1 - level) / 2])
    return np.asarray(np.sqrt(chdtri(df[:, None], tails) / df[:, None]))
