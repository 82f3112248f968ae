"""Many comparisons at once: Dunnett, Tukey, Holm, Benjamini-Hochberg.

Tails are integrated by fixed quadrature and keep their digits when small: none is one
less a number close to one. Degrees of freedom need not be whole.

[1] Dunnett, C.W. (1955). Journal of the American Statistical Association 50, 1096-1121.
[2] Plackett, R.L. (1954). Biometrika 41, 351-360: derivative of a normal integral by a
    correlation.
[3] Kramer, C.Y. (1956). Biometrics 12, 307-310: Tukey's limits for unequal numbers.
[4] Holm, S. (1979). Scandinavian Journal of Statistics 6, 65-70.
[5] Benjamini, Y. and Hochberg, Y. (1995). Journal of the Royal Statistical Society B 57,
    289-300.

Why so
------
Dunnett without random numbers. One common factor gives the correlations l_i l_j of independent
means exactly; what a mixed model with gaps departs from that enters to second order. Where all
correlations are nearly the same, as with few gaps, one comparison stands for all. Each comparison
has its own degrees of freedom, whole or not.
"""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri, stdtr, stdtrit

from ..base.arrays import Floats
from ..base.errors import ArgumentError
from .studentized import StudentizedTail

_REACH = 9.0  # standard deviations beyond which the normal density is nothing
_STEP = 0.4  # of the trapezoid sum over the common factor, in units of the narrowest change
_LITTLE = 0.01  # spread of correlations that are taken as one and their departures from it
_STEEPEST = 0.999  # loadings on the common factor are kept below this


def dunnett_p(
    statistic: ArrayLike, df: ArrayLike, correlation: ArrayLike, *, two_sided: bool = True
) -> Floats:
    """P that the largest of correlated t's exceeds each statistic.

    Parameters
    ----------
    statistic : float array, (values,)
        t of each comparison; its size counts when `two_sided`.
    df : float or float array, (values,)
        Degrees of freedom, inf for known scatter; each p is taken at its own.
    correlation : float array, (comparisons, comparisons)
        Of the estimated differences. Against one reference with independent means of
        n_i and n_0 scores it is l_i l_j with l_i = sqrt(n_i / (n_i + n_0)).

    Notes
    -----
    Correlations l_i l_j come from one common factor, and given it the differences are
    independent: one integral [1], exact for equal and unequal numbers. Estimates of a mixed
    model with gaps depart a little from this; the departure enters to second order by the
    derivatives of [2] at the closest l_i l_j (least squares). Relative error of p below
    1e-5 for a `departure` of 0.02.

    Examples
    --------
    >>> half = np.full((2, 2), 0.5) + np.eye(2) / 2
    >>> dunnett_p([2.38], 20, half).round(3)
    array([0.05])
    """
    t = np.atleast_1d(np.asarray(statistic, float))
    free = np.broadcast_to(np.asarray(df, float), t.shape)
    t = np.abs(t) if two_sided else t
    if np.shape(correlation) == (1, 1):
        return np.minimum((1 + two_sided) * _student_tail(t, free), 1.0)
    return _largest(correlation, two_sided).p(t, free)


def dunnett_quantile(
    alpha: float, df: ArrayLike, correlation: ArrayLike, *, two_sided: bool = True
) -> Floats:
    """Critical value of `dunnett_p` at each df.

    >>> half = np.full((4, 4), 0.5) + np.eye(4) / 2
    >>> dunnett_quantile(0.05, 20, half).round(2)
    array([2.65])
    """
    free = np.atleast_1d(np.asarray(df, float))
    if np.shape(correlation) == (1, 1):
        return _student_critical(alpha / (1 + two_sided), free)
    return _largest(correlation, two_sided).quantile(alpha, free, len(np.asarray(correlation)))


def _student_tail(t: Floats, df: Floats) -> Floats:
    """P(T > t): one comparison is Student's t, without an integral."""
    known = np.isinf(df)
    return np.where(known, ndtr(-t), stdtr(np.where(known, 1.0, df), -t))


def _student_critical(alpha: float, df: Floats) -> Floats:
    known = np.isinf(df)
    return np.where(known, -ndtri(alpha), -stdtrit(np.where(known, 1.0, df), alpha))


class Dunnett:
    """`dunnett_p`, two-sided, and its critical values, from one integral for all calls.

    Parameters
    ----------
    correlation : float array, (comparisons, comparisons)
        As in `dunnett_p`.

    Examples
    --------
    >>> half = np.full((2, 2), 0.5) + np.eye(2) / 2
    >>> p, critical = Dunnett(half).limits(0.05, np.array([2.38, 9.0]), np.array([20.0, 20.0]))
    >>> p.round(3), critical.round(2)
    (array([0.05, 0.  ]), array([2.38, 2.38]))
    """

    def __init__(self, correlation: Floats):
        self._comparisons = len(correlation)
        alone = self._comparisons == 1
        self._tail = None if alone else _largest(correlation, two_sided=True)

    def p(self, statistic: Floats, df: Floats) -> Floats:
        """P that the largest of the correlated t's exceeds the size of each, (values,)."""
        if self._tail is None:
            return np.minimum(2 * _student_tail(np.abs(statistic), df), 1.0)
        return self._tail.p(np.abs(statistic), df)

    def limits(self, alpha: float, statistic: Floats, df: Floats) -> tuple[Floats, Floats]:
        """The same, and the critical value of each, (values,)."""
        if self._tail is None:
            return self.p(statistic, df), _student_critical(alpha / 2, df)
        self._tail.reach(alpha, np.abs(statistic), df, self._comparisons)
        return self.p(statistic, df), self._tail.quantile(alpha, df, self._comparisons)


def tukey_p(statistic: ArrayLike, df: ArrayLike, means: int) -> Floats:
    """P that some pair among so many equal means exceeds each |t|.

    The studentized range at |t| sqrt 2, with each comparison at its own standard error
    [3] and degrees of freedom.

    >>> tukey_p([3.96 / 2**0.5], 20, 4).round(3)
    array([0.05])
    """
    t = np.abs(np.atleast_1d(np.asarray(statistic, float)))
    free = np.broadcast_to(np.asarray(df, float), t.shape)
    return StudentizedTail(partial(_range_tail, means=means)).p(t, free)


def tukey_quantile(alpha: float, df: ArrayLike, means: int) -> Floats:
    """Critical |t| of `tukey_p` at each df.

    >>> (tukey_quantile(0.05, 20, 4) * 2**0.5).round(2)
    array([3.96])
    """
    free = np.atleast_1d(np.asarray(df, float))
    tail = StudentizedTail(partial(_range_tail, means=means))
    return tail.quantile(alpha, free, means * (means - 1) // 2)


def tukey_limits(alpha: float, statistic: Floats, df: Floats, means: int) -> tuple[Floats, Floats]:
    """`tukey_p` and `tukey_quantile` of each pair, (values,), from one integral of the range.

    >>> p, critical = tukey_limits(0.05, np.array([3.96 / 2**0.5]), np.array([20.0]), 4)
    >>> p.round(3), (critical * 2**0.5).round(2)
    (array([0.05]), array([3.96]))
    """
    tail = StudentizedTail(partial(_range_tail, means=means))
    comparisons = means * (means - 1) // 2
    tail.reach(alpha, np.abs(statistic), df, comparisons)
    return tail.p(np.abs(statistic), df), tail.quantile(alpha, df, comparisons)


def holm(p: ArrayLike) -> Floats:
    """Holm's adjusted p [4], along the first axis.

    >>> holm([0.01, 0.04, 0.03])
    array([0.03, 0.06, 0.06])
    """
    return _stepped(p, down=True)


def benjamini_hochberg(p: ArrayLike) -> Floats:
    """Adjusted p for the false discovery rate [5], along the first axis.

    >>> benjamini_hochberg([0.01, 0.04, 0.03])
    array([0.03, 0.04, 0.04])
    """
    return _stepped(p, down=False)


def _stepped(p: ArrayLike, *, down: bool) -> Floats:
    given = np.asarray(p, float)
    order = np.argsort(given, axis=0, kind="stable")
    count = len(given)
    rank = np.arange(count).reshape(-1, *[1] * (given.ndim - 1))
    scale = count - rank if down else count / (rank + 1)
    raised = np.take_along_axis(given, order, 0) * scale
    if down:
        raised = np.maximum.accumulate(raised, axis=0)
    else:
        raised = np.minimum.accumulate(raised[::-1], axis=0)[::-1]
    adjusted = np.empty_like(given)
    np.put_along_axis(adjusted, order, np.minimum(raised, 1.0), 0)
    return adjusted


def loadings(correlation: ArrayLike) -> Floats:
    """The l_i whose products l_i l_j lie closest to the correlations (least squares)."""
    matrix = np.array(correlation, float)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1]:
        raise ArgumentError(f"correlation must be a square matrix; got shape {matrix.shape}.")
    np.fill_diagonal(matrix, 0.0)
    if not matrix.any():
        return np.zeros(len(matrix))
    values, vectors = np.linalg.eigh(matrix + np.eye(len(matrix)) / 2)
    factor = vectors[:, -1] * np.sqrt(values[-1]) * np.sign(vectors[:, -1].sum() or 1.0)
    for _ in range(500):
        before = factor
        factor = matrix @ factor / ((factor**2).sum() - factor**2)
        factor = np.clip((factor + before) / 2, -_STEEPEST, _STEEPEST)
        if np.abs(factor - before).max() < 1e-15:
            break
    return factor


def departure(correlation: ArrayLike) -> float:
    """Largest difference between a correlation and its l_i l_j; 0 for one common factor."""
    factor = loadings(correlation)
    left = np.asarray(correlation, float) - np.outer(factor, factor)
    np.fill_diagonal(left, 0.0)
    return float(np.abs(left).max())


def _largest(correlation: ArrayLike, two_sided: bool) -> StudentizedTail:
    matrix = np.array(correlation, float)
    uniform = _uniform(matrix)
    if uniform is not None:
        left = matrix - uniform
        np.fill_diagonal(left, 0.0)
        factor = np.full(len(matrix), np.sqrt(uniform))
    else:
        factor = loadings(matrix)
        left = matrix - np.outer(factor, factor)
        np.fill_diagonal(left, 0.0)
    left[np.abs(left) < 1e-13] = 0.0
    if uniform is not None:
        tail = partial(_alike_tail, factor=factor[0], left=left, two_sided=two_sided)
    else:
        tail = partial(_largest_tail, loading=factor, left=left, two_sided=two_sided)
    return StudentizedTail(tail, two_sided=two_sided)


def _uniform(matrix: Floats) -> float | None:
    """The correlation that all pairs have, up to little; None where they differ more.

    Three comparisons or fewer have a common factor, which is exact.
    """
    count = len(matrix)
    if matrix.ndim != 2 or matrix.shape != (count, count) or count < 2:
        return None
    every = matrix[~np.eye(count, dtype=bool)]
    apart, middle = np.ptp(every), float(every.mean())
    near = apart < 1e-13 or (count > 3 and apart < _LITTLE)
    return middle if near and 0 <= middle < _STEEPEST**2 else None


def _largest_tail(h: Floats, loading: Floats, left: Floats, two_sided: bool) -> Floats:
    """P(max X_i > h), or of |X_i|, for standard normals with correlations l_i l_j + left."""
    density, above, below, outside, own = _given_factor(h, loading, two_sided)
    with np.errstate(divide="ignore"):
        logs = np.log1p(-outside).sum(2)
    tail = -np.expm1(logs) @ density
    if left.any():
        first, second = _derivatives(above, below, outside, own, two_sided)
        tail = tail - (_change(first, second, left) * np.exp(logs)) @ density
    return np.asarray(np.maximum(tail, 1e-320))


def _alike_tail(h: Floats, factor: float, left: Floats, two_sided: bool) -> Floats:
    """The same where all loadings are alike: one comparison stands for all.

    `_change` then holds its function of one comparison times sums over `left`.
    """
    given = _given_factor(h, np.array([factor]), two_sided)
    density, above, below, outside, own = (part.squeeze() for part in given)
    above, below, outside = (np.reshape(part, (len(h), -1)) for part in (above, below, outside))
    with np.errstate(divide="ignore"):
        logs = len(left) * np.log1p(-outside)
    tail = -np.expm1(logs) @ density
    if left.any():
        first, second = _derivatives(above, below, outside, own, two_sided)
        pulled, squared = left.sum(1), (left**2).sum()
        once = first**2 * pulled.sum() / 2
        twice = (second - first**2) * first**2 * ((pulled**2).sum() - squared)
        twice += (second**2 - first**4) * squared / 2
        tail = tail - ((once + (once**2 + twice) / 2) * np.exp(logs)) @ density
    return np.asarray(np.maximum(tail, 1e-320))


def _given_factor(
    h: Floats, loading: Floats, two_sided: bool
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Weights of the common factor, limits of each comparison given it, chance outside, own sd.

    Two-sided, what follows is the same at z and at -z: half of the nodes stand for all.
    """
    own = np.sqrt(1 - loading**2)
    steepest = np.abs(loading).max()
    reach = _REACH + steepest * np.abs(h).max()
    step = _STEP * min(1.0, own.min() / max(steepest, 1e-3))
    z = np.linspace(-reach, reach, 2 * int(np.ceil(reach / step)) + 1)
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) * (z[1] - z[0])
    if two_sided:
        middle = len(z) // 2
        z, density = z[middle:], np.append(density[middle], 2 * density[middle + 1 :])
    above = (loading * z[:, None] - h[:, None, None]) / own  # (h, z, comparisons)
    below = (-loading * z[:, None] - h[:, None, None]) / own
    outside = np.minimum(ndtr(above) + ndtr(below), 1.0) if two_sided else ndtr(above)
    return density, above, below, outside, own


def _derivatives(
    above: Floats, below: Floats, outside: Floats, own: Floats, two_sided: bool
) -> tuple[Floats, Floats]:
    """First and second derivative of the chance inside by a shift, over itself."""
    first = _density(above) - (_density(below) if two_sided else 0.0)
    second = above * _density(above) + (below * _density(below) if two_sided else 0.0)
    inside = np.where(outside < 1 - 1e-9, 1 - outside, np.inf)
    return first / own / inside, second / own**2 / inside


def _change(first: Floats, second: Floats, left: Floats) -> Floats:
    """Relative change of a product of functions by correlations `left` between their shifts.

    By [2] the correlations act as exp(sum_{i<j} left_ij d_i d_j) on the product; here to
    second order, with the first and second derivative of each function over itself.
    """
    pulled = first @ left
    once = (pulled * first).sum(-1) / 2
    squared, bent = left**2, second - first**2
    twice = (bent * (pulled**2 - first**2 @ squared)).sum(-1)
    twice += ((second @ squared) * second - (first**2 @ squared) * first**2).sum(-1) / 2
    return np.asarray(once + (once**2 + twice) / 2)


def _range_tail(t: Floats, means: int) -> Floats:
    """P(range of so many standard normals > t sqrt 2)."""
    width = t[:, None] * np.sqrt(2)
    reach = _REACH + width.max()
    z = np.linspace(-_REACH, reach, int(np.ceil((reach + _REACH) / (_STEP / 2))) + 1)
    highest = means * _density(z) * ndtr(z) ** (means - 1) * (z[1] - z[0])
    inside = ndtr(z - width) / ndtr(z)  # chance that another mean lies too far below
    with np.errstate(divide="ignore"):
        missed = -np.expm1((means - 1) * np.log1p(-inside))
    return np.asarray(np.maximum(missed @ highest, 1e-320))


def _density(x: Floats) -> Floats:
    return np.asarray(np.exp(-(x**2) / 2) / np.sqrt(2 * np.pi))
