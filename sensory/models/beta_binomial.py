"""Chance-corrected beta-binomial: assessors who answer more than once differ.

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
[2] Self, S.G. and Liang, K.-Y. (1987). J. Amer. Stat. Assoc. 82, 605-610: the mixture of
    chi-squares on the boundary. (From memory.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, comb

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


@dataclass(frozen=True, kw_only=True, eq=False)
class ReplicateLikelihood:
    """Log-likelihood of the counts of a panel.

    Attributes
    ----------
    tables : dict of int to float array
        For each number of replicates the number of assessors with 0, 1 ... correct.
    The log-likelihood holds no binomial coefficient of who gave which answer beyond
    """

    guess: float
    tables: dict[int, Floats]

    def at(self, mean: ArrayLike, spread: ArrayLike) -> Floats:
        """Log-likelihood on arrays that broadcast."""
        total: Floats = np.zeros(np.broadcast_shapes(np.shape(mean), np.shape(spread)))
        with np.errstate(divide="ignore", invalid="ignore"):
            for replicates, table in self.tables.items():
                seen = np.flatnonzero(table)
                logs = np.log(masses(replicates, self.guess, mean, spread)[..., seen])
                total = total + logs @ table[seen]
        return total

    @cached_property
    def best(self) -> tuple[float, float, float]:
        """Maximum likelihood: mean, spread and the log-likelihood there."""
        mean, spread = np.linspace(0, 1, 26), np.linspace(0, 1, 26)
        width = np.array([0.08, 0.08])
        at = np.array([0.0, 0.0])
        for step in range(20):
            if step:
                mean = np.clip(at[0] + width[0] * _STEPS, 0, 1)
                spread = np.clip(at[1] + width[1] * _STEPS, 0, 1)
                width = width * 0.5
            values = self.at(mean[:, None], spread[None, :])
            i, j = np.unravel_index(int(np.argmax(values)), values.shape)
            at = np.array([mean[i], spread[j]])
        return float(at[0]), float(at[1]), float(values[i, j])

    @cached_property
    def spread_silent(self) -> bool:
        """Whether no spread below 1 fits best: all fit alike, or the likelihood rises up to 1."""
        mean, spread, top = self.best
        flat = np.ptp(self.at(mean, np.linspace(0, 1, 11))) <= 1e-9 * max(1.0, abs(top))
        return bool(flat or spread > 1 - 1e-6)

    @cached_property
    def best_equal(self) -> tuple[float, float]:
        """Maximum when all assessors are alike (spread 0): mean and log-likelihood."""
        mean, width, at = np.linspace(0, 1, 41), 0.05, 0.0
        for step in range(28):
            if step:
                mean, width = np.clip(at + width * _STEPS, 0, 1), width * 0.5
            values = self.at(mean, 0.0)
            at = float(mean[int(np.argmax(values))])
        return at, float(values.max())

    def profile_mean(self, mean: Floats) -> Floats:
        """Log-likelihood at each `mean`, the spread chosen best for it."""
        return self._profile(mean, lambda m, s: self.at(m[:, None], s))

    def profile_spread(self, spread: Floats) -> Floats:
        """Log-likelihood at each `spread`, the mean chosen best for it."""
        return self._profile(spread, lambda s, m: self.at(m, s[:, None]))

    def _profile(self, fixed: Floats, value: Callable[[Floats, Floats], Floats]) -> Floats:
        free = np.broadcast_to(np.linspace(0, 1, 26), (fixed.size, 26))
        width = 0.08
        rows, at = np.arange(fixed.size), np.zeros(fixed.size)
        for step in range(20):
            if step:
                free = np.clip(at[:, None] + width * _STEPS, 0, 1)
                width *= 0.5
            values = value(fixed, free)
            place = np.argmax(values, axis=1)
            at = free[rows, place]
        return values[rows, place]

    def limits(self, name: str, level: float) -> tuple[float, float]:
        """Profile-likelihood limits of `mean` or `spread`."""
        drop = float(chdtri(1, 1 - level)) / 2
        return self.limit(name, drop, -1), self.limit(name, drop, 1)

    def limit(self, name: str, drop: float, side: int) -> float:
        """Where the profile lies `drop` below its top: below with side -1, above with 1."""
        best = self.best[0] if name == "mean" else self.best[1]
        profile = self.profile_mean if name == "mean" else self.profile_spread
        outer = 1.0 if side > 0 else 0.0
        target = self.best[2] - drop
        if profile(np.array([outer]))[0] >= target:
            return outer
        inside, outside = best, outer
        for _ in range(5):  # each look divides the bracket by 16
            points = np.linspace(inside, outside, 17)
            above = profile(points) >= target
            last = int(np.flatnonzero(above).max()) if above.any() else 0
            inside, outside = points[last], points[min(last + 1, 16)]
        return float((inside + outside) / 2)


_STEPS = np.linspace(-1, 1, 7)


def tabulated(correct: Ints, replicates: Ints) -> dict[int, Floats]:
    """Number of assessors by replicates and by correct answers."""
    return {
        int(m): np.bincount(correct[replicates == m], minlength=int(m) + 1).astype(float)
        for m in np.unique(replicates)
    }
