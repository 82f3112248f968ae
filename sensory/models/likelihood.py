"""Likelihood intervals for one proportion, on arrays.

They take the values whose log-likelihood lies within half a chi-square quantile of the
maximum, and stay sensible where a standard error does not exist: at guessing and at
100 % correct.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from ..base.arrays import Floats

_MOST_STEPS = 60
_NEAR = 1e-9  # relative, of the last step; Newton's steps square it


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
    """Where the log-likelihood falls to `target` between `inner` (above it) and `outer`.

    Newton's steps of the root of twice the fall, nearly straight in the proportion, from where it
    would be if straight in the angle whose sine is the root of the proportion; a step that leaves
    the bracket is replaced by its middle.
    """
    reaches = log_likelihood(correct, trials, outer) >= target
    top = log_likelihood(correct, trials, inner)
    wanted = np.sqrt(2 * (top - target))
    outside, inside = outer.copy(), inner.copy()
    turned = np.arcsin(np.sqrt(inner)) + np.sign(outer - inner) * wanted / (2 * np.sqrt(trials))
    at = np.sin(np.clip(turned, 0.0, np.pi / 2)) ** 2
    at = np.where((at - outer) * (at - inner) < 0, at, (outside + inside) / 2)
    for _ in range(_MOST_STEPS):
        value = log_likelihood(correct, trials, at)
        inside = np.where(value >= target, at, inside)
        outside = np.where(value >= target, outside, at)
        with np.errstate(divide="ignore", invalid="ignore"):
            fallen = np.sqrt(np.maximum(2 * (top - value), 0.0))
            slope = (correct - trials * at) / (at * (1 - at))
            to = at + (fallen - wanted) * fallen / slope
            still = np.abs(to - at) <= _NEAR * at
            sound = still | ((to - inside) * (to - outside) <= 0)
        at = np.where(sound, to, (inside + outside) / 2)
        if (still | reaches).all():
            break
    return np.where(reaches, outer, at)
