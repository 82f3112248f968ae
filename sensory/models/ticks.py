"""Ticked words: does their number differ between samples, within assessors?

[1] Cochran's Q (1950), as in Conover, Practical Nonparametric Statistics: chi-square with samples
    less 1 degrees of freedom.
[2] Sign test of the discordant pairs, two-sided and exact: McNemar's for one tick each.
"""

from __future__ import annotations

import numpy as np
from scipy.special import chdtrc

from ..base.arrays import Floats
from .binomial import upper_tail


def cochran_q(ticks: Floats) -> tuple[float, float, int]:
    """Q of [1], its p, and how many assessors it rests on: those who tick samples differently.

    Parameters
    ----------
    ticks : float array, (assessors, samples)
        Ticks of one word: 0 or 1, or their number over several sessions; then the scatter within
        an assessor stands where [1] has that of zeros and ones, and for these it is [1] exactly.

    Returns NaN, NaN and 0 where nobody ticks samples differently: Q does not exist then.

    Examples
    --------
    >>> table = np.array([[1, 1, 1], [1, 1, 1], [0, 1, 0], [1, 1, 0], [0, 0, 0], [1, 1, 1],
    ...                   [1, 1, 1], [1, 1, 0], [0, 0, 1], [0, 1, 0], [1, 1, 1], [1, 1, 1]])
    >>> q, p, many = cochran_q(table)
    >>> round(q, 6), round(p, 6), many
    (2.8, 0.246597, 5)
    """
    ticks = np.asarray(ticks, float)
    samples = ticks.shape[1]
    within = ((ticks - ticks.mean(1, keepdims=True)) ** 2).sum(1)
    many = int((within > 0).sum())
    if not many:
        return float("nan"), float("nan"), 0
    totals = ticks.sum(0)
    between = ((totals - totals.mean()) ** 2).sum()
    q = float((samples - 1) * between / within.sum())
    return q, float(chdtrc(samples - 1, q)), many


def pair_p(first: Floats, second: Floats) -> tuple[int, int, float]:
    """How many tick the first more often, how many the second, and p of [2]; 1 without either.

    >>> pair_p(np.repeat([1, 0], [30, 60]), np.repeat([0, 1], [30, 60]))[2].__round__(5)
    0.00206
    """
    difference = np.asarray(first, float) - np.asarray(second, float)
    more, fewer = int((difference > 0).sum()), int((difference < 0).sum())
    tail = float(upper_tail(max(more, fewer), more + fewer, 0.5)) if more + fewer else 1.0
    return more, fewer, min(1.0, 2 * tail)
