"""Likelihood intervals for one proportion, on arrays.

They take the values whose log-likelihood lies within half a chi-square quantile of the
maximum, and stay sensible where a standard error does not exist: at guessing and at
100 % correct.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from ..base.arrays import Floats


def log_likelihood(correct: Floats, trials: Floats, pc: Floats) -> Floats:
    """Binomial log-likelihood of `pc`, without the binomial coefficient."""
    return np.asarray(special.xlogy(correct, pc) + special.xlog1py(trials - correct, -pc), float)


def proportion_limits(
    correct: Floats, trials: Floats, level: float, floor: float
) -> tuple[Floats, Floats]:
    """Profile-likelihood limits of a proportion that cannot lie below `floor`.

    Parameters
    ----------
    correct, trials : float array
        Of one shape.
    level : float
        Two-sided confidence level.
    floor : float
        The guess probability; the maximum is taken over [floor, 1].

    Returns
    -------
    low, high : float array
        `floor` and 1 where the interval reaches them.
    """
    best = np.maximum(correct / trials, floor)
    drop = special.chdtri(1, 1 - level) / 2
    target = log_likelihood(correct, trials, best) - drop
    low = _crossing(correct, trials, target, np.full_like(best, floor), best)
    high = _crossing(correct, trials, target, np.ones_like(best), best)
    return low, high


def _crossing(
    correct: Floats, trials: Floats, target: Floats, outer: Floats, inner: Floats
) -> Floats:
    """Where the log-likelihood falls to `target` between `inner` (above it) and `outer`."""
    reaches = log_likelihood(correct, trials, outer) >= target
    outside, inside = outer.copy(), inner.copy()
    for _ in range(60):
        middle = (outside + inside) / 2
        above = log_likelihood(correct, trials, middle) >= target
        inside = np.where(above, middle, inside)
        outside = np.where(above, outside, middle)
    return np.where(reaches, outer, (outside + inside) / 2)
