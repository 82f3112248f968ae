"""Many people measured unevenly: each estimate is drawn towards the mean of all, by what it knows.

[1] Morris, C.N. (1983). Journal of the American Statistical Association 78, 47-55: parametric
    empirical Bayes, and why limits need the uncertainty of the scatter. (From memory.)
[2] Gelman, A. (2006). Bayesian Analysis 1, 515-534: a flat density of the standard deviation
    between groups. (From memory.)

Why so
------
Limits that take the scatter between people as known shrink to a point where it is estimated as 0,
which is common with few sessions. So it is integrated over: each possible scatter counts by its
restricted likelihood under a flat density [2]. The estimate of the scatter itself is that of
restricted likelihood (`spread`), as a general mixed-model program gives it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize, minimize_scalar
from scipy.special import ndtri

from ..base.arrays import Floats

_STEPS, _NODES = 60, 31
_WIDEST = 3.0  # of the scatter between people, in units of that of the estimates


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pooled:
    """People's values, shrunken towards their mean.

    Attributes
    ----------
    mean, spread : float
        Of the people, by restricted likelihood; by likelihood for `pooled_slopes`.
    estimate, sd, low, high : float array, (people,)
        Of each person, over all scatters that the data leave possible.
    level : float
        Of the limits.
    """

    mean: float
    spread: float
    estimate: Floats
    sd: Floats
    low: Floats
    high: Floats
    level: float


def pooled(estimate: Floats, se: Floats, *, level: float = 0.95) -> Pooled:
    """Normal estimates with known standard errors, of people from one normal population.

    Parameters
    ----------
    estimate, se : float array, (people,)
        NaN where nothing is known of somebody, who then gets the mean with its scatter.

    Examples
    --------
    >>> result = pooled(np.array([1.0, 1.2, 0.8, 2.0]), np.array([0.1, 0.1, 0.1, 2.0]))
    >>> result.estimate.round(2).tolist()  # the last one knows little
    [1.0, 1.17, 0.83, 1.11]
    """
    known = np.isfinite(estimate) & np.isfinite(se) & (se > 0)
    y = np.where(known, estimate, 0.0)
    v = np.where(known, se, np.inf) ** 2
    if not known.any():
        nothing = np.full(len(estimate), np.nan)
        return Pooled(mean=np.nan, spread=np.nan, estimate=nothing, sd=nothing, low=nothing,
                      high=nothing, level=level)  # fmt: skip
    widest = _WIDEST * max(float(np.ptp(estimate[known])), float(np.sqrt(v[known].max())), 1e-9)
    at = np.linspace(0.0, 1.0, _STEPS) ** 2 * widest
    fits = [_at_spread(y, v, spread) for spread in at]
    weights = np.exp(np.array([fit[0] for fit in fits]) - max(fit[0] for fit in fits))
    weights *= np.gradient(at)
    weights /= weights.sum()
    means, variances = np.array([fit[2] for fit in fits]), np.array([fit[3] for fit in fits])
    value = weights @ means
    sd = np.sqrt(weights @ (variances + (means - value) ** 2))
    spread = _best_spread(y, v, widest)
    reach = float(ndtri((1 + level) / 2)) * sd
    return Pooled(
        mean=_at_spread(y, v, spread)[1],
        spread=spread,
        estimate=value,
        sd=sd,
        low=value - reach,
        high=value + reach,
        level=level,
    )


def _at_spread(y: Floats, v: Floats, spread: float) -> tuple[float, float, Floats, Floats]:
    """Restricted log-likelihood, mean, and each person's mean and variance at a scatter."""
    weight = 1 / (v + spread**2)
    mean = float(weight @ y / weight.sum())
    inside = np.isfinite(v)
    loss = np.log(v[inside] + spread**2).sum() + np.log(weight.sum())
    loss += float(weight @ (y - mean) ** 2)
    drawn = np.where(inside, v / (v + spread**2), 1.0) if spread > 0 else np.ones_like(v)
    value = np.where(inside, drawn * mean + (1 - drawn) * y, mean)
    own = np.where(inside, (1 - drawn) * np.where(inside, v, 0.0), spread**2)
    return -loss / 2, mean, value, own + drawn**2 / weight.sum()


def _best_spread(y: Floats, v: Floats, widest: float) -> float:
    grid = np.linspace(0.0, widest, _STEPS)
    losses = [-_at_spread(y, v, spread)[0] for spread in grid]
    best = int(np.argmin(losses))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    result = minimize_scalar(
        lambda spread: -_at_spread(y, v, spread)[0],
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-10 * widest},
    )
    return 0.0 if losses[0] <= result.fun else float(result.x)


SLOPES = np.linspace(-1.0, 4.0, 101)
"""At which slopes the log-likelihood of each person is given to `pooled_slopes`."""
_FINE = np.linspace(-1.0, 4.0, 1001)
_MEANS = np.linspace(0.0, 2.0, 41)
_SPREADS = np.geomspace(0.03, 1.5, 14)


def pooled_slopes(log_likelihood: Floats, *, level: float = 0.95) -> Pooled:
    """Slopes of people from one normal population, from any likelihood: a mixed model.

    Parameters
    ----------
    log_likelihood : float array, (people, len(SLOPES))
        Of each person's answers, at each of `SLOPES`; a row of zeros knows nothing.

    Notes
    -----
    The likelihood is integrated over the population by Gauss-Hermite quadrature. `mean` and
    `spread` maximise it; the people's values are integrated over both, under flat densities
    of the mean (0 to 2) and the standard deviation (up to 1.5).

    Examples
    --------
    >>> told = -((SLOPES - np.array([[0.8], [1.2], [1.0]])) ** 2) / (2 * 0.05**2)
    >>> pooled_slopes(told).estimate.round(2).tolist()
    [0.81, 1.19, 1.0]
    """
    offset = log_likelihood.max(1, keepdims=True)
    curves = CubicSpline(SLOPES, log_likelihood - offset, axis=1)
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    weights = weights / weights.sum()

    def parts(mean: Floats, spread: Floats) -> Floats:
        """Likelihood of each person, (settings, people)."""
        at = np.clip(mean[:, None] + spread[:, None] * nodes, SLOPES[0], SLOPES[-1])
        return np.maximum(np.exp(curves(at)) @ weights, 1e-300).T

    means, spreads = (grid.ravel() for grid in np.meshgrid(_MEANS, _SPREADS))
    each = parts(means, spreads)
    whole = np.log(each).sum(1)
    start = int(np.argmax(whole))

    def loss(x: Floats) -> float:
        return -float(np.log(parts(x[:1], np.exp(x[1:]))).sum())

    best = minimize(
        loss,
        np.array([means[start], np.log(spreads[start])]),
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 400},
    )
    counted = np.exp(whole - whole.max()) * spreads  # the grid of scatters is geometric
    counted /= counted.sum()
    density = np.exp(-(((_FINE - means[:, None]) / spreads[:, None]) ** 2) / 2) / spreads[:, None]
    prior = (counted[:, None] / each).T @ density
    own = prior * np.exp(curves(_FINE))
    own /= own.sum(1, keepdims=True)
    value = own @ _FINE
    tails = np.cumsum(own, 1)
    limits = [[np.interp(tail, row, _FINE) for row in tails] for tail in _tails(level)]
    return Pooled(
        mean=float(best.x[0]),
        spread=float(np.exp(best.x[1])),
        estimate=value,
        sd=np.sqrt(np.maximum(own @ _FINE**2 - value**2, 0)),
        low=np.array(limits[0]),
        high=np.array(limits[1]),
        level=level,
    )


def _tails(level: float) -> tuple[float, float]:
    return (1 - level) / 2, (1 + level) / 2


def counts_lower_tail(count: int, chances: Floats) -> float:
    """P(at most so many of independent events with these chances), exact by convolution.

    >>> counts_lower_tail(1, np.array([0.5, 0.5])), counts_lower_tail(0, np.array([0.2, 0.5]))
    (0.75, 0.4)
    """
    masses = np.zeros(count + 1)
    masses[0] = 1.0
    for chance in chances:
        masses[1:] = masses[1:] * (1 - chance) + masses[:-1] * chance
        masses[0] *= 1 - chance
    return float(masses.sum())
