"""A tail of the normal distribution, divided by an estimated standard deviation.

Where X is a statistic of normal variables (a largest deviation, a range) with known
P(X > h), and s an independent root of chi-square(df)/df, P(X > t s) is a mean over s.
The inner tail enters as a Chebyshev series of its logarithm, the mean over s as a
trapezoid sum over log s, which converges geometrically; nothing is random.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.polynomial import chebyshev
from scipy.interpolate import CubicSpline
from scipy.special import gammaln, stdtrit

from ..base.arrays import Floats
from .roots import falling_roots

Tail = Callable[[Floats], Floats]

HUGE_DF = 1e8  # from here on s is 1
_FEW, _MANY, _FINE = 64, 128, 4096
_USUAL = 6.0  # statistics reach so far at least
_TOP = 37.0  # a normal tail further out is below 1e-300
_DROP = 60.0  # the density of log s is cut where it is exp(-60) of its peak
_WIDEST = 0.15  # step of the trapezoid sum
_MOST_SOLVED = 24  # more quantiles than this are interpolated in 1 / df


class StudentizedTail:
    """P(X > t s) for one X, at any t and degrees of freedom.

    Parameters
    ----------
    tail : function
        P(X > h) for an array of h.
    two_sided : bool
        Whether X is never negative.
    """

    def __init__(self, tail: Tail, *, two_sided: bool = True):
        self._tail = tail
        self._two_sided = two_sided
        self._logarithm: CubicSpline | None = None

    def p(self, statistic: Floats, df: Floats) -> Floats:
        """P(X > statistic * s) for each pair of statistic and degrees of freedom."""
        if not statistic.size:
            return np.empty(0)
        unique, back = np.unique(df, return_inverse=True)
        nodes, weights = _scale(unique)
        return self._mean(statistic[:, None] * nodes[back], weights[back])

    def quantile(self, alpha: float, df: Floats, comparisons: int) -> Floats:
        """The statistic whose tail is `alpha`, for each df.

        It lies between the quantile of one comparison and that of Bonferroni; regula falsi
        (Illinois) on the logarithm of the tail, at few of them (`along_df`).
        """
        return along_df(lambda some: self._solved(alpha, some, comparisons), df)

    def reach(self, alpha: float, statistic: Floats, df: Floats, comparisons: int) -> None:
        """Make the inner tail once, as far as p and quantile will both ask for it."""
        unique, back = np.unique(np.minimum(df, HUGE_DF), return_inverse=True)
        ends = unique[[0, -1]]
        widest = self._most(alpha, ends, comparisons).max() * _scale(ends)[0].max()
        furthest = np.max(statistic * _scale(unique)[0].max(1)[back], initial=0.0)
        self._over(0.0, float(max(widest, furthest)))

    def _most(self, alpha: float, df: Floats, comparisons: int) -> Floats:
        """Bonferroni's quantile, a little above."""
        sides = 2 if self._two_sided else 1
        return np.asarray(-stdtrit(df, alpha / sides / comparisons) + 1e-9, float)

    def _solved(self, alpha: float, df: Floats, comparisons: int) -> Floats:
        sides = 2 if self._two_sided else 1
        low: Floats = np.asarray(-stdtrit(df, alpha / sides) - 1e-9, float)
        high = self._most(alpha, df, comparisons)
        nodes, weights = _scale(df)

        def excess(value: Floats) -> Floats:
            return np.log(self._mean(value[:, None] * nodes, weights) / alpha)

        return falling_roots(excess, low, high)

    def _mean(self, points: Floats, weights: Floats) -> Floats:
        spline = self._over(float(points.min()), float(points.max()))
        low, high = spline.x[[0, -1]]
        inner = np.exp(spline(np.clip(points, low, high)))
        inner[points > _TOP] = 0.0
        return np.minimum((inner * weights).sum(1), 1.0)

    def _over(self, low: float, high: float) -> CubicSpline:
        """The logarithm of the tail from `low` to `high`: at Chebyshev points, then splined.

        It is kept, and made anew only where it does not reach far enough.
        """
        low, high = max(low, -_TOP), min(high, _TOP)
        kept = self._logarithm
        if kept is None or low < kept.x[0] or high > kept.x[-1]:
            low = 0.0 if self._two_sided else min(low, -_USUAL)
            high = max(high, _USUAL)
            terms = _FEW if high - low <= 2 * _USUAL else _MANY
            logs = np.log(self._tail(_stretched(chebyshev.chebpts1(terms), low, high)))
            kept = CubicSpline(np.linspace(low, high, _FINE), _refined(terms) @ logs)
            self._logarithm = kept
        return kept


def along_df(solved: Callable[[Floats], Floats], df: Floats) -> Floats:
    """A smooth positive function of degrees of freedom at each `df`, computed at few of them.

    Where there are more than 24 different ones its logarithm is interpolated in 1 / df between
    Chebyshev points.
    """
    unique, back = np.unique(np.minimum(df, HUGE_DF), return_inverse=True)
    if unique.size <= _MOST_SOLVED:
        return solved(unique)[back]
    spots = chebyshev.chebpts1(_MOST_SOLVED)
    ends = 1 / unique[[-1, 0]]
    some = solved(1 / _stretched(spots, *ends))
    series = chebyshev.chebfit(spots, np.log(some), _MOST_SOLVED - 1)
    return np.exp(chebyshev.chebval(_scaled(1 / unique, *ends), series))[back]


@cache
def _refined(terms: int) -> Floats:
    """Matrix from values at the Chebyshev points to values on the fine grid."""
    to_series = chebyshev.chebvander(chebyshev.chebpts1(terms), terms - 1).T * 2 / terms
    to_series[0] /= 2
    fine = chebyshev.chebvander(np.linspace(-1, 1, _FINE), terms - 1)
    return np.asarray(fine @ to_series)


def _stretched(spots: Floats, low: float, high: float) -> Floats:
    return low + (spots + 1) * (high - low) / 2


def _scaled(values: Floats, low: float, high: float) -> Floats:
    return (values - low) * 2 / (high - low) - 1


def _scale(df: Floats) -> tuple[Floats, Floats]:
    """Nodes for s and their weights, (values, nodes)."""
    finite = np.minimum(df, HUGE_DF)[:, None]
    c = _DROP / finite
    low = -(c + np.sqrt(c))
    high = np.log1p(2 * c + np.sqrt(4 * c**2 + 4 * c)) / 2
    step = np.minimum(_WIDEST, 0.7 / np.sqrt(2 * finite))
    count = int(np.ceil(((high - low) / step).max())) + 1
    u = low + (high - low) * np.linspace(0, 1, count)
    half = finite / 2
    peak = np.log(2) + half * np.log(half) - gammaln(half) - half
    weights = np.exp(peak + finite * (u - np.expm1(2 * u) / 2)) * (high - low) / (count - 1)
    known = df >= HUGE_DF
    u[known], weights[known] = 0.0, 1.0
    return np.exp(u), weights / weights.sum(1, keepdims=True)
