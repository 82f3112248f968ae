"""How true distances scatter behind estimates with the panel's noise: deconvolution.

[1] Normal: `known_error`. Gamma behind counts: as in `joint_dprime`, on a grid of distances.
[2] Limits from the likelihood of mean and standard deviation, with equal weights over both: all
    pairs as far as they fit. (Common practice, no source; coverage by simulation.)
[3] Laird, N. (1978). J. Amer. Stat. Assoc. 73, 805-811, and Kiefer, J. and Wolfowitz, J. (1956):
    maximum likelihood of a distribution without a form, by EM on a grid. (From memory.)

Why so
------
The scatter of estimates holds the noise of the panel; a limit read from it would be too wide. A
standard deviation of few batches is loose and cannot fall below 0, so its likelihood is weighed as
a whole; limits of the share beyond a limit follow from the same pairs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammainc, gammaincinv, ndtr, ndtri

from ..base.arrays import Floats
from .joint_dprime import FARTHEST, Counts
from .known_error import known_error_fit

NORMAL, GAMMA = "normal", "gamma"
_PAIRS, _STEP = 81, 0.05
_REACH = 6.0  # of the parameter grid, in standard errors
_ROUNDS = 1000
_SETTLED = 1e-8
_LEAST = 0.01  # of the mean; less scatter is none


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrueSpread:
    """Distribution of true distances.

    Attributes
    ----------
    form : str
        ``normal`` or ``gamma``.
    mean, spread : float
        At the largest (restricted) likelihood.
    means, spreads, weights : float array, (pairs,)
        Pairs that fit, with weights that add up to 1.
    grid, free : float array, (points,)
        Distances, and the share of batches at each without any form; adds up to 1.
    """

    form: str
    mean: float
    spread: float
    means: Floats
    spreads: Floats
    weights: Floats
    grid: Floats
    free: Floats

    def beyond(self, distance: float) -> float:
        """Share of batches beyond a distance."""
        return float(_beyond(self.form, distance, np.array(self.mean), np.array(self.spread)))

    def beyond_limits(self, distance: float, level: float) -> tuple[float, float]:
        """Limits of that share."""
        shares = _beyond(self.form, distance, self.means, self.spreads)
        return self._limits(shares, level)

    def beyond_free(self, distance: float) -> float:
        """That share without a form."""
        return float(self.free[self.grid > distance].sum())

    def quantile(self, share: float) -> float:
        """Distance that so large a share of batches does not exceed."""
        return float(_quantile(self.form, share, np.array(self.mean), np.array(self.spread)))

    def quantile_limits(self, share: float, level: float) -> tuple[float, float]:
        """Limits of that distance."""
        return self._limits(_quantile(self.form, share, self.means, self.spreads), level)

    def points(self, count: int = 99) -> Floats:
        """Distances of equal shares, so that a mean over them is one over batches."""
        shares = (np.arange(count) + 0.5) / count
        return np.asarray(
            _quantile(self.form, shares, np.array(self.mean), np.array(self.spread)), float
        )

    def _limits(self, values: Floats, level: float) -> tuple[float, float]:
        order = np.argsort(values, kind="stable")
        total = np.cumsum(self.weights[order])
        at = np.searchsorted(total, [(1 - level) / 2, (1 + level) / 2])
        low, high = values[order][np.minimum(at, len(values) - 1)]
        return float(low), float(high)


def of_estimates(values: Floats, se: Floats) -> TrueSpread:
    """Normal distances behind estimates with standard errors above 0, (batches,)."""
    fit = known_error_fit(values, se, np.ones((len(values), 1)), [np.eye(len(values))])
    mean, spread = float(fit.coefficients[0]), float(np.sqrt(fit.variances[0]))
    wide = float(np.sqrt(values.var(ddof=1) + (se**2).mean()))
    reach = _REACH * wide / np.sqrt(len(values))
    means = np.linspace(mean - reach, mean + reach, _PAIRS)
    spreads = np.linspace(0.0, wide * (1 + _REACH / np.sqrt(len(values))), _PAIRS)
    total = spreads[:, None] ** 2 + se**2  # spreads, batches
    squares = ((values - means[:, None, None]) ** 2 / total + np.log(total)).sum(-1)
    grid = np.linspace(values.min() - 2 * se.max(), values.max() + 2 * se.max(), 301)
    rest = (values[:, None] - grid) / se[:, None]
    return _weighed(NORMAL, (mean, spread), (means, spreads), -squares / 2, grid, -(rest**2) / 2)


def of_counts(counts: Counts) -> TrueSpread:
    """Gamma d-primes behind counts of choice tests; not all of them right throughout."""
    edges = np.concatenate([[0.0], np.arange(_STEP / 2, FARTHEST, _STEP)])
    grid = np.concatenate([[0.0], (edges[1:-1] + edges[2:]) / 2, [FARTHEST]])
    each = counts.by_session(grid)
    likely = np.exp(each - each.max(1, keepdims=True))

    def loss(at: Floats) -> float:
        mean, spread = np.exp(at)
        return -float(_of_mean(likely, edges, mean, np.array([spread]))[0])

    best = minimize(loss, np.log([0.7, 0.4]), method="Nelder-Mead", options={"xatol": 1e-6})
    mean, spread = (min(float(part), FARTHEST) for part in np.exp(best.x))
    top, widest = min(FARTHEST, 3 * mean + 1), min(FARTHEST, max(3 * spread, 1.5))
    means = np.linspace(top / _PAIRS, top, _PAIRS)
    spreads = np.linspace(0.0, widest, _PAIRS)
    logs = np.array([_of_mean(likely, edges, at, spreads) for at in means])
    return _weighed(GAMMA, (mean, spread), (means, spreads), logs, grid, each)


def _of_mean(likely: Floats, edges: Floats, mean: float, spreads: Floats) -> Floats:
    """Log-likelihood of one mean with each spread."""
    wide = np.maximum(spreads, _LEAST * mean)
    shape = (mean / wide) ** 2
    below = gammainc(shape[:, None], edges[1:] * (shape / mean)[:, None])
    mass = np.diff(below, prepend=0.0, append=1.0, axis=1)
    return np.asarray(np.log(np.maximum(mass @ likely.T, 1e-300)).sum(1))


def _weighed(
    form: str,
    best: tuple[float, float],
    pairs: tuple[Floats, Floats],
    logs: Floats,
    grid: Floats,
    each: Floats,
) -> TrueSpread:
    weights = np.exp(logs - logs.max())
    means, spreads = (part.ravel() for part in np.meshgrid(*pairs, indexing="ij"))
    return TrueSpread(
        form=form,
        mean=best[0],
        spread=best[1],
        means=means,
        spreads=spreads,
        weights=weights.ravel() / weights.sum(),
        grid=grid,
        free=without_form(each),
    )


def without_form(logs: Floats) -> Floats:
    """Shares of points that fit best, from log-likelihoods (batches, points), by EM [3].

    >>> shares = without_form(np.log(np.array([[0.9, 0.1], [0.1, 0.9], [0.1, 0.9]])))
    >>> shares.round(2).tolist()
    [0.29, 0.71]
    """
    likely = np.exp(logs - logs.max(1, keepdims=True))
    shares = np.full(likely.shape[1], 1 / likely.shape[1])
    for _ in range(_ROUNDS):
        after = shares * (likely / (likely @ shares)[:, None]).mean(0)
        if np.abs(after - shares).max() < _SETTLED:
            return np.asarray(after)
        shares = after
    return shares


def _beyond(form: str, distance: float, mean: Floats, spread: Floats) -> Floats:
    if form == NORMAL:
        wide = np.maximum(spread, 1e-12)
        return np.asarray(ndtr((mean - distance) / wide))
    wide = np.maximum(spread, _LEAST * np.maximum(mean, _LEAST))
    shape = (np.maximum(mean, 1e-12) / wide) ** 2
    return np.asarray(1 - gammainc(shape, distance * shape / np.maximum(mean, 1e-12)))


def _quantile(form: str, share: float | Floats, mean: Floats, spread: Floats) -> Floats:
    if form == NORMAL:
        return np.asarray(mean + ndtri(share) * spread)
    wide = np.maximum(spread, _LEAST * np.maximum(mean, _LEAST))
    shape = (np.maximum(mean, 1e-12) / wide) ** 2
    return np.asarray(gammaincinv(shape, share) * mean / shape)
