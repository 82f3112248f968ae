"""Binomial tails, their inverses and Clopper-Pearson limits, on arrays.

Tails are incomplete beta functions, so no difference ``1 - cdf`` is ever taken and
a tail of 1e-200 keeps its digits. Where a tail comes so close to the level asked
for that rounding could decide, rational arithmetic decides instead.

Why so
------
Ties are settled exactly. alpha is taken as the decimal written (0.05 is 1/20); where a tail comes
within 1e-10 of it, fractions decide.
"""

from __future__ import annotations

from fractions import Fraction
from math import comb

import numpy as np
import scipy
from numpy.typing import ArrayLike

from ..base.arrays import Bools, Floats, Ints
from ..base.checks import as_fraction

# Worst relative error measured for tails above 1e-250 up to n = 1000: 4e-13. Ties are looked
# for in a wider band, and settled exactly.
_TIE = 1e-10
_MOST_STEPS = 60  # of Newton's search for a bound
_NEAR = 1e-9  # relative, of its last step; the next would be its square
_FAR = 1e-250  # further out the incomplete beta function drops to zero too early


def upper_tail(count: ArrayLike, trials: ArrayLike, p: ArrayLike) -> Floats:
    """P(X >= count) for X ~ binomial(trials, p); arrays broadcast.

    Source: the identity with the regularised incomplete beta function,
    DLMF 8.17.5.

    >>> round(float(upper_tail(25, 50, 1 / 3)), 12)
    0.010826684449
    """
    x, n, p = np.broadcast_arrays(
        np.asarray(count, float), np.asarray(trials, float), np.asarray(p, float)
    )
    with np.errstate(all="ignore"):
        tail = scipy.special.betainc(np.maximum(x, 1), np.maximum(n - x + 1, 1), p)
    tail = np.where(x <= 0, 1.0, np.where(x > n, 0.0, tail))
    far = (tail < _FAR) & (x <= n)
    if far.any():
        tail[far] = np.exp(_log_far_tail(x[far], n[far], p[far]))
    return tail


def lower_tail(count: ArrayLike, trials: ArrayLike, p: ArrayLike) -> Floats:
    """P(X <= count) for X ~ binomial(trials, p); arrays broadcast."""
    x, n, p = np.broadcast_arrays(
        np.asarray(count, float), np.asarray(trials, float), np.asarray(p, float)
    )
    return upper_tail(n - x, n, 1.0 - p)


def log_upper_tail(count: ArrayLike, trials: ArrayLike, p: ArrayLike) -> Floats:
    """Natural logarithm of `upper_tail`, finite where the tail itself underflows.

    Below 1e-250 the tail is its first term times a geometric-like series,
    ``sum_j prod_i (n-x-i)/(x+1+i) * p/(1-p)``, whose terms fall from the start because
    so small a tail lies far above n p.
    """
    x, n, p = np.broadcast_arrays(
        np.asarray(count, float), np.asarray(trials, float), np.asarray(p, float)
    )
    return log_of_tail(upper_tail(x, n, p), x, n, p)


def log_of_tail(tail: Floats, count: ArrayLike, trials: ArrayLike, p: ArrayLike) -> Floats:
    """`log_upper_tail` where the tail itself is known already, an array."""
    with np.errstate(divide="ignore"):
        result = np.array(np.log(tail))
    far = (tail < _FAR) & (np.asarray(count) <= np.asarray(trials))
    if far.any():
        x, n, p = (
            np.broadcast_to(np.asarray(part, float), tail.shape) for part in (count, trials, p)
        )
        result[far] = _log_far_tail(x[far], n[far], p[far])
    return result


def _log_far_tail(x: Floats, n: Floats, p: Floats) -> Floats:
    first = _log_ways(x, n) + scipy.special.xlogy(x, p) + scipy.special.xlog1py(n - x, -p)
    term, total, step = np.ones_like(x), np.ones_like(x), 0
    while (term > 1e-17 * total).any():
        term = term * np.maximum(n - x - step, 0) / (x + 1 + step) * p / (1 - p)
        total, step = total + term, step + 1
    return first + np.log(total)


def clopper_pearson(correct: ArrayLike, trials: ArrayLike, level: float) -> tuple[Floats, Floats]:
    """Exact two-sided limits for a proportion (Clopper and Pearson 1934, Biometrika 26)."""
    tail = (1.0 - level) / 2.0
    return lower_limit(correct, trials, tail), upper_limit(correct, trials, tail)


def mid_p_limits(correct: ArrayLike, trials: ArrayLike, level: float) -> tuple[Floats, Floats]:
    """Two-sided limits from half the chance of the count seen and all of those beyond it.

    Shorter than Clopper-Pearson limits; coverage is near the level on average, not at least it.
    Source: Lancaster, H.O. (1961). J. Amer. Statist. Assoc. 56, 223-234 (from memory).

    >>> low, high = mid_p_limits(18, 24, 0.95)
    >>> round(float(low), 4), round(float(high), 4)
    (0.5508, 0.8919)
    """
    x, n = np.broadcast_arrays(np.asarray(correct, float), np.asarray(trials, float))
    tail = (1 - level) / 2
    low = _mid_p_bound(x, n, tail)
    return low, np.asarray(1 - _mid_p_bound(n - x, n, tail))


def _mid_p_bound(x: Floats, n: Floats, tail: float) -> Floats:
    """Where half of P(X = x) and all of P(X > x) together come to `tail`.

    The bound lies between the exact ones of x and of x + 1. Newton's steps of the normal quantile
    of the chance, nearly straight in p; one that leaves the bracket is replaced by its middle.
    """
    below, above = lower_limit(x, n, tail), lower_limit(np.minimum(x + 1, n), n, tail)
    above = np.where(x < n, above, 1.0)
    p, wanted = (below + above) / 2, scipy.special.ndtri(tail)
    for _ in range(_MOST_STEPS):
        further = upper_tail(x + 1, n, p)
        with np.errstate(divide="ignore", invalid="ignore"):
            own = np.exp(
                _log_ways(x, n) + scipy.special.xlogy(x, p) + scipy.special.xlog1py(n - x, -p)
            )
            chance = further + own / 2
            place = scipy.special.ndtri(chance)
            # d P(X >= k) / dp = k / p P(X = k)
            slope = own * (x / p + (n - x) / (1 - p)) / 2
            to = p + (wanted - place) * np.exp(-(place**2) / 2) / np.sqrt(2 * np.pi) / slope
        above, below = np.where(chance >= tail, p, above), np.where(chance >= tail, below, p)
        still = np.abs(to - p) <= _NEAR * p
        p = np.where(still | ((to >= below) & (to <= above)), to, (below + above) / 2)
        if (still | (x == 0)).all():
            break
    return np.where(x == 0, 0.0, p)


def _log_ways(x: Floats, n: Floats) -> Floats:
    """Logarithm of the binomial coefficient."""
    return np.asarray(
        scipy.special.gammaln(n + 1)
        - scipy.special.gammaln(x + 1)
        - scipy.special.gammaln(n - x + 1)
    )


def hypergeometric_tail(
    hits: ArrayLike, drawn: ArrayLike, marked: ArrayLike, total: ArrayLike
) -> Floats:
    """P(as many of the marked or more among those drawn without replacement), array in, array out.

    >>> round(float(hypergeometric_tail(3, 3, 3, 6)), 6)  # one of the 20 ways to draw three
    0.05
    """
    x, n, k, m = np.broadcast_arrays(
        *(np.asarray(each, float) for each in (hits, drawn, marked, total))
    )
    most = int(np.max(np.minimum(n, k) - x, initial=0.0))
    chance = np.zeros(x.shape)
    for more in range(most + 1):
        at = np.minimum(x + more, np.minimum(n, k))
        log = _log_ways(at, k) + _log_ways(n - at, m - k) - _log_ways(n, m)
        there = (x + more <= np.minimum(n, k)) & (n - at <= m - k)
        chance += np.where(there, np.exp(np.where(there, log, 0.0)), 0.0)
    return np.minimum(chance, 1.0)


def lower_limit(correct: ArrayLike, trials: ArrayLike, tail: float) -> Floats:
    """The p at which P(X >= correct) equals `tail`; 0 when nobody was correct."""
    x, n = np.broadcast_arrays(np.asarray(correct, float), np.asarray(trials, float))
    return np.where(x > 0, scipy.special.betaincinv(np.maximum(x, 1), n - x + 1, tail), 0.0)


def upper_limit(correct: ArrayLike, trials: ArrayLike, tail: float) -> Floats:
    """The p at which P(X <= correct) equals `tail`; 1 when everybody was correct."""
    x, n = np.broadcast_arrays(np.asarray(correct, float), np.asarray(trials, float))
    return np.where(x < n, scipy.special.betainccinv(x + 1, np.maximum(n - x, 1), tail), 1.0)


def least_count(trials: Ints, p: Fraction, alpha: float | Fraction) -> Ints:
    """Smallest x with P(X >= x | trials, p) <= alpha; ``trials + 1`` where none exists.

    The comparison is exact: ties between a tail and alpha, taken as the decimal that
    was written, count as <=.
    """
    n, rate, z = trials.ravel(), float(p), -float(scipy.special.ndtri(float(alpha)))
    # normal approximation with its term for skewness: wrong by 1 at most, but for small n
    skew = (z * z - 1) * (1 - 2 * rate) / 6
    near = n * rate + z * np.sqrt(n * rate * (1 - rate)) + skew + 0.5
    x = np.clip(np.ceil(near), 0, n + 1)
    kept = (x > n) | _at_most(x, n, p, alpha)
    for wrong, step in ((np.flatnonzero(~kept), 1), (np.flatnonzero(kept), -1)):
        while wrong.size:  # up while the tail is too large; down while the next is small enough
            tried = x[wrong] + step
            small = (tried > n[wrong]) | _at_most(tried, n[wrong], p, alpha)
            moved = small if step < 0 else np.ones_like(small)
            moved &= tried >= 0
            x[wrong] = np.where(moved, tried, x[wrong])
            wrong = wrong[small & moved] if step < 0 else wrong[~small]
    return x.astype(np.int64).reshape(trials.shape)


def most_trials(counts: Ints, p: Fraction, alpha: float | Fraction) -> Ints:
    """Largest n with P(X >= count | n, p) <= alpha, for counts of 1 or more.

    `least_count` the other way round: sizes above that of count - 1 and up to that of count
    have the least count `count`. Ties as there.

    >>> most_trials(np.array([1, 2, 3]), Fraction(1, 3), 0.05).tolist()
    [0, 1, 3]
    """
    rate, z = float(p), -float(scipy.special.ndtri(float(alpha)))
    spread = z * np.sqrt(rate * (1 - rate))
    middle = np.maximum(counts - 0.5 - (z * z - 1) * (1 - 2 * rate) / 6, 0)
    root = (np.sqrt(spread * spread + 4 * rate * middle) - spread) / (2 * rate)
    n = np.maximum(np.floor(root * root), counts - 1)  # below count the tail is 0
    wanted = counts.astype(float)
    kept = _at_most(wanted, n, p, alpha)
    for wrong, step in ((np.flatnonzero(~kept), -1), (np.flatnonzero(kept), 1)):
        while wrong.size:
            small = _at_most(wanted[wrong], n[wrong] + step, p, alpha)
            n[wrong] += np.where(small, step, 0) if step > 0 else step
            wrong = wrong[small == (step > 0)]
    return n.astype(np.int64)


def most_count(trials: Ints, p: Fraction, beta: float | Fraction) -> Ints:
    """Largest x with P(X <= x | trials, p) <= beta; -1 where none exists."""
    return trials - least_count(trials, 1 - p, beta)


def _at_most(x: Floats, trials: Ints, p: Fraction, alpha: float | Fraction) -> Bools:
    """Whether P(X >= x) <= alpha, settled by rational arithmetic where rounding could decide."""
    tail, level = upper_tail(x, trials, float(p)), float(alpha)
    answer = tail <= level
    close = np.abs(tail - level) <= _TIE * level
    if close.any():
        exact = as_fraction(alpha)
        answer[close] = [
            exact_upper_tail(int(a), int(b), p) <= exact
            for a, b in zip(x[close], trials[close], strict=True)
        ]
    return answer


def exact_upper_tail(count: int, trials: int, p: Fraction) -> Fraction:
    """P(X >= count) in rational arithmetic, for one cell.

    >>> exact_upper_tail(1, 1, Fraction(1, 10))
    Fraction(1, 10)
    """
    a, b = p.numerator, p.denominator - p.numerator
    first = max(count, 0)
    if first > trials:
        return Fraction(0)
    # Horner's scheme from the far end: ways of k, over a^first b^(trials - k), one by one
    ways, total, power = comb(trials, first), 0, 1
    for k in range(first, trials + 1):
        total = total * b + ways * power
        ways, power = ways * (trials - k) // (k + 1), power * a
    return Fraction(total * a**first, p.denominator**trials)
