"""Masses of the chance-corrected beta-binomial, and their derivatives.

Assessor i notices with probability pi_i, drawn from a beta distribution with mean `mean`
and spread `spread`, and answers rightly with probability guess + (1 - guess) pi_i. The
parameters live on the scale of distinguishers, not of correct answers.

`spread` is 1 / (a + b + 1) for the usual beta parameters: 0 when all notice equally
often, 1 when some always notice and the others never do. With s = spread the beta moments
are products, so that neither end is a special case:

    E[pi^j (1 - pi)^k] = mean^[j > 0] (1 - mean)^[k > 0] (1 - s)^[j > 0 and k > 0]
                         prod_{0<i<j} (mean (1 - s) + i s) prod_{0<i<k} ((1 - mean) (1 - s) + i s)
                         / prod_{0<i<j+k} (1 - s + i s)

[1] Brockhoff, P.B. (2003). The statistical power of replications in difference tests.
    Food Quality and Preference 14, 405-417. (From memory.)
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import comb

from ..base.arrays import Floats, Ints


def masses(replicates: int, guess: float, mean: ArrayLike, spread: ArrayLike) -> Floats:
    """P(x correct of `replicates`) for x = 0 .. replicates, on the last axis.

    Every term is positive, so nothing cancels. `mean` and `spread` broadcast.
    """
    mu, gamma = np.broadcast_arrays(np.asarray(mean, float), np.asarray(spread, float))
    steps = np.arange(replicates).reshape(-1, *(1,) * mu.ndim)
    rising, falling, both = (_products(_factors(share, gamma, steps)) for share in (mu, 1 - mu, 1))
    weight, noticed, missed = _weights(replicates, guess)
    mixed = ((noticed > 0) & (missed > 0)).reshape(*noticed.shape, *(1,) * mu.ndim)
    weight = weight.reshape(*weight.shape, *(1,) * mu.ndim) * np.where(mixed, 1 - gamma, 1.0)
    # axis 0 the count x, axis 1 how many of the x were noticed
    terms = weight * rising[noticed] * falling[missed] / both[noticed + missed]
    return np.moveaxis(terms.sum(axis=1), 0, -1)


def correlation_of_answers(guess: float, mean: ArrayLike, spread: ArrayLike) -> Floats:
    """Correlation of two answers by the same person; 0 where everybody always notices.

    >>> correlation_of_answers(0.0, [0.5, 1.0], 0.3).tolist()
    [0.3, 0.0]
    """
    share, differ = np.asarray(mean, float), np.asarray(spread, float)
    pc = guess + (1 - guess) * share
    left = np.where(share < 1, pc * (1 - pc), 1.0)
    return np.asarray((1 - guess) ** 2 * share * (1 - share) * differ / left)


def _factors(share: ArrayLike, spread: Floats, steps: Ints) -> Floats:
    """Factors of the moments, the first one free of the spread."""
    return np.where(steps == 0, share, np.asarray(share) * (1 - spread) + steps * spread)


def _products(factors: Floats) -> Floats:
    """Products of the first 0, 1 ... factors along the first axis."""
    return np.concatenate([np.ones_like(factors[:1]), np.cumprod(factors, axis=0)])


@lru_cache(maxsize=64)
def _weights(replicates: int, guess: float) -> tuple[Floats, Ints, Ints]:
    """Weight of each way to x correct: j noticed, x - j guessed, the others missed."""
    x, j = np.arange(replicates + 1)[:, None], np.arange(replicates + 1)[None, :]
    possible = j <= x
    ways = comb(replicates, x) * comb(x, j) * possible
    weight = ways * guess ** np.where(possible, x - j, 0) * (1 - guess) ** (replicates - x + j)
    noticed = np.where(possible, j, 0)
    return weight, noticed, np.broadcast_to(replicates - x, noticed.shape)


def mass_jets(replicates: int, guess: float, mean: Floats, spread: Floats) -> Floats:
    """`masses` with first and second derivatives by mean and spread, (6, points, counts).

    In the order value, mean, spread, mean twice, both, spread twice.
    """
    zero, free = np.zeros_like(mean), 1 - spread
    sign = np.array([1.0, -1.0, 0.0])[:, None]
    share = np.array([mean, 1 - mean, zero + 1])  # of what is noticed, missed, and both
    slope = np.broadcast_to(sign, share.shape)
    none = np.zeros_like(share)
    jet = np.array([none + 1, none, none, none, none, none])
    kept = [jet]
    for step in range(replicates):
        if step:
            factor = (share * free + step * spread, slope * free, step - share, -slope)
        else:
            factor = (share, slope, none, none)
        jet = _by_factor(jet, *factor)
        kept.append(jet)
    rising, falling, both = np.stack(kept, 1).transpose(2, 0, 1, 3)  # (6, steps, points) each
    weight, noticed, missed = _weights(replicates, guess)
    some = ((noticed > 0) & (missed > 0))[:, :, None]
    terms = _product(rising[:, noticed], falling[:, missed])
    over = _inverse(both, free)[:, some[:, :, 0].astype(int), noticed + missed]
    return np.asarray((_by_spread(terms, over) * weight[:, :, None]).sum(2).swapaxes(1, 2))


def _by_factor(jet: Floats, value: Floats, mean: Floats, spread: Floats, mixed: Floats) -> Floats:
    """A jet times a factor that is straight in mean and in spread."""
    whole, m, s, mm, ms, ss = jet
    return np.array(
        [
            whole * value,
            m * value + whole * mean,
            s * value + whole * spread,
            mm * value + 2 * m * mean,
            ms * value + m * spread + s * mean + whole * mixed,
            ss * value + 2 * s * spread,
        ]
    )


def _product(left: Floats, right: Floats) -> Floats:
    a, am, a_s, amm, ams, ass = left
    b, bm, bs, bmm, bms, bss = right
    return np.array(
        [
            a * b,
            am * b + a * bm,
            a_s * b + a * bs,
            amm * b + 2 * am * bm + a * bmm,
            ams * b + am * bs + a_s * bm + a * bms,
            ass * b + 2 * a_s * bs + a * bss,
        ]
    )


def _inverse(both: Floats, free: Floats) -> Floats:
    """1 / both with two derivatives by spread; and (1 - spread) / both, (3, 2, steps, points)."""
    value = 1 / both[0]
    slope = -both[2] * value**2
    bend = (2 * both[2] ** 2 * value - both[5]) * value**2
    mixed = (free * value, free * slope - value, free * bend - 2 * slope)
    return np.stack([np.array([value, slope, bend]), np.array(mixed)], 1)


def _by_spread(jet: Floats, over: Floats) -> Floats:
    """A jet times a function of the spread alone, given with two derivatives."""
    whole, m, s, mm, ms, ss = jet
    value, slope, bend = over
    return np.array(
        [
            whole * value,
            m * value,
            s * value + whole * slope,
            mm * value,
            ms * value + m * slope,
            ss * value + 2 * s * slope + whole * bend,
        ]
    )
