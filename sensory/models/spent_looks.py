"""Looks at a growing total that were planned beforehand, with exact error over all of them.

[1] Spending the error by the share of the planned answers that are there: Lan, K.K.G. and DeMets,
    D.L. (1983). Biometrika 70, 659-663. (From memory.)
[2] Limits that hold at every planned look, since each value is refused or kept by a test over all
    looks: Jennison, C. and Turnbull, B.W. (1989). Journal of the Royal Statistical Society B 51,
    305-361. (From memory.)

Why so
------
Each count of the total is a binomial step further, so the chance of having crossed by a look is a
convolution, not an approximation by a normal. The error is spent as the square of the share of
answers: little at first, when a count says little, and all of it at the last look.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln, xlog1py, xlogy

from ..base.arrays import Bools, Floats, Ints

_NOTHING = 1e-100
"""Chances below are left out: they add nothing and are slow to reckon with."""


def spent(trials: Floats, planned: float, error: float) -> Floats:
    """Error that may be spent by each look: total answers, share of `planned` squared.

    >>> spent(np.array([12.0, 24.0, 36.0]), 36, 0.09).round(3).tolist()
    [0.01, 0.04, 0.09]
    """
    return np.asarray(error * np.minimum(trials / planned, 1.0) ** 2, float)


def crossings(sizes: Ints, pc: Floats, allowed: Floats) -> tuple[Ints, Floats]:
    """Least total right at each look that crosses, and the chance of having crossed by then.

    Parameters
    ----------
    sizes : int array, (looks,)
        Answers that each look adds.
    pc : float array, (values,)
        Proportions correct, each with counts of its own.
    allowed : float array, (looks,)
        Error that may be spent by each look, rising.

    Returns
    -------
    counts : int array, (values, looks)
        One more than there are answers where no count crosses.
    chance : float array, (values, looks)
        Exact, at most `allowed`.
    """
    going = np.ones((len(pc), 1))
    crossed = np.zeros(len(pc))
    counts, chances = [], []
    for size, most in zip(map(int, sizes), allowed, strict=True):
        going = _further(going, size, pc)
        above = np.cumsum(going[:, ::-1], axis=1)[:, ::-1]
        above = np.concatenate([above, np.zeros((len(pc), 1))], axis=1)
        fits = above <= (most - crossed)[:, None] + 1e-15
        least = fits.argmax(axis=1)
        crossed = crossed + above[np.arange(len(pc)), least]
        going = np.where(np.arange(going.shape[1]) < least[:, None], going, 0.0)
        counts.append(least)
        chances.append(crossed)
    return np.array(counts).T, np.array(chances).T


def crossed_by(sizes: Ints, counts: Ints, pc: float) -> Floats:
    """Chance of having reached the count of a look by then, at one proportion correct."""
    going, crossed, chances = np.ones((1, 1)), 0.0, []
    for size, least in zip(map(int, sizes), counts, strict=True):
        going = _further(going, size, np.array([pc]))
        there = np.arange(going.shape[1]) < least
        crossed += float(going[0, ~there].sum())
        going = np.where(there, going, 0.0)
        chances.append(crossed)
    return np.array(chances)


def kept_values(sizes: Ints, totals: Ints, pc: Floats, allowed: Floats) -> Bools:
    """Which proportions correct no look has refused, upwards or downwards, by each look [2].

    Parameters
    ----------
    totals : int array, (looks so far,)
        Right answers in all at each look; the other arrays may hold looks to come.
    allowed : float array, (looks,)
        Of each side.

    Returns
    -------
    bool array, (looks so far, values)
        By the look itself; those before may have refused more.
    """
    so_far = len(totals)
    sizes, allowed = sizes[:so_far], allowed[:so_far]
    high, _ = crossings(sizes, pc, allowed)
    wrong, _ = crossings(sizes, 1 - pc, allowed)
    trials = np.cumsum(sizes)
    return np.asarray((totals < high).T & (trials - totals < wrong).T)


def _further(going: Floats, size: int, pc: Floats) -> Floats:
    """The distribution of the total with `size` more answers."""
    number = np.arange(size + 1)
    ways = gammaln(size + 1) - gammaln(number + 1) - gammaln(size - number + 1)
    steps = np.exp(ways + xlogy(number, pc[:, None]) + xlog1py(size - number, -pc[:, None]))
    steps = np.where(steps < _NOTHING, 0.0, steps)
    width = going.shape[1]
    after = np.zeros((len(pc), width + size))
    for at in number:
        after[:, at : at + width] += going * steps[:, [at]]
    return np.where(after < _NOTHING, 0.0, after)
