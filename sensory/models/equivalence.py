"""The chance that two one-sided t-tests both show a difference to lie within its margin.

[1] Schuirmann, D.J. (1987). Journal of Pharmacokinetics and Biopharmaceutics 15, 657-680: the two
    tests.
[2] Owen, D.B. (1965). Biometrika 52, 437-446: the bivariate noncentral t, which gives the same
    chance as a difference of two of its integrals. (From memory.)
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import gammainc, stdtrit

from ..base.arrays import Floats

_REACH = 9.0  # standard deviations beyond which the normal density is nothing
_NODES = 64


def chance_within(margin: float, sd: float, df: float, level: float, shift: float = 0.0) -> float:
    """Chance that both tests reject at `level`, exact.

    Parameters
    ----------
    margin : float
        The difference lies between -margin and margin where it is small enough.
    sd : float
        True standard deviation of the estimated difference; it is estimated on `df` degrees of
        freedom.
    df : float
    level : float
        Of each one-sided test, below one half.
    shift : float
        The true difference.

    Notes
    -----
    Both reject where |x| + t s <= margin, with x ~ N(shift, sd), s^2 ~ sd^2 chi2(df) / df and t the
    critical value. Given x this is a chi-square tail, so that one integral over x gives the
    joint chance; the two noncentral t's by themselves, P1 + P2 - 1, go below 0 where t s may
    exceed the margin. Gauss-Legendre between the points where the integrand bends; absolute error
    below 1e-10 against Owen's integrals [2] (`tests/models/test_equivalence.py`).

    Examples
    --------
    >>> round(chance_within(1.0, 0.3, 10, 0.05), 4)
    0.8533
    """
    scaled, off, t = margin / sd, shift / sd, -float(stdtrit(df, level))
    bend, width = scaled - t, 8 * t / np.sqrt(2 * df)
    ends = np.array([bend - width, bend, bend + width])
    low, high = max(-scaled, off - _REACH), min(scaled, off + _REACH)
    if low >= high:
        return 0.0
    marks = np.clip([low, *-ends, off - 3, 0.0, off, off + 3, *ends, high], low, high)
    edges = np.unique(marks)
    node, weight = _legendre()
    half = np.diff(edges)[:, None] / 2
    x = edges[:-1, None] + half * (1 + node)
    room = np.maximum(scaled - np.abs(x), 0.0) / t
    density = np.exp(-((x - off) ** 2) / 2) / np.sqrt(2 * np.pi)
    inside = gammainc(df / 2, df * room**2 / 2)
    return float(min((density * inside * half * weight).sum(), 1.0))


@lru_cache(maxsize=1)
def _legendre() -> tuple[Floats, Floats]:
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    return node, weight
