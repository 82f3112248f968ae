"""Liking by consumers who differ: a line over distance, of each consumer their own.

liking = (intercept + own intercept) + (slope + own slope) * distance + error: the own parts are
normal and go together, by restricted likelihood. The distances may have known errors.

[1] Bates, D., Maechler, M., Bolker, B. and Walker, S. (2015). J. Stat. Softw. 67(1): the profiled
    criterion. (From memory; checked against R's lme4.)
[2] Fieller, E.C. (1954). J. R. Stat. Soc. B 16, 175-185: limits of a ratio by inverting a test;
    here with errors of the distances, and of one slope. (From memory.)

Why so
------
Consumers lose liking at different rates. One slope for all would take these rates for noise within
a consumer and its limits would be too narrow. Degrees of freedom are consumers less one, which is
exact where each had all samples.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize, minimize_scalar
from scipy.special import chdtrc, stdtr, stdtrit

from ..base.arrays import Floats

_STEEPEST = 1e4  # of the slope, in units of its standard error


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineFit:
    """Restricted maximum likelihood.

    Attributes
    ----------
    coefficients, se : float array, (2,)
        Intercept and slope for one unit of distance.
    variances : float array, (4,)
        Of own intercepts, own slopes, their covariance, errors.
    deviance : float
        -2 log restricted likelihood, all constants included.
    means, covariance : float arrays, (samples,) and (samples, samples)
        Mean liking of each sample by generalised least squares, and how sure these are.
    consumers : int
    """

    coefficients: Floats
    se: Floats
    variances: Floats
    deviance: float
    means: Floats
    covariance: Floats
    consumers: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Fall:
    """How much liking falls for one unit of distance, with limits.

    Attributes
    ----------
    estimate, low, high : float
        `low` may be minus infinity and `high` infinite.
    intercept : float
        Liking at distance 0.
    p : float
        One-sided, for a liking that does not fall.
    p_fit : float
        Against a mean of its own for each sample; 1 with two samples.
    """

    estimate: float
    low: float
    high: float
    intercept: float
    p: float
    p_fit: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sums:
    """Sums over consumers in units of the error variance."""

    information: Floats  # of the means of the samples
    right: Floats
    squares: float
    log_determinant: float
    count: int


def line_fit(liking: Floats, distances: Floats) -> LineFit:
    """Fit lines to liking, (consumers, samples), NaN where a sample was not had."""
    unit = float(np.ptp(distances)) or 1.0
    x = np.column_stack([np.ones(len(distances)), distances / unit])

    def criterion(theta: Floats) -> float:
        return _profiled(_sums(liking, x, theta), x)[0]

    start = np.array([1.0, 0.0, 0.5])
    for _ in range(2):  # the second begins where the first may have stuck
        best = minimize(
            criterion,
            start,
            method="Nelder-Mead",
            options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 4000, "maxfev": 4000},
        )
        start = best.x
    sums = _sums(liking, x, start)
    deviance, coefficients, inverse, error = _profiled(sums, x)
    factor = _factor(start)
    own = error * factor @ factor.T
    scale = np.array([1.0, 1 / unit])
    information = np.asarray(np.linalg.inv(sums.information), np.float64)
    return LineFit(
        coefficients=coefficients * scale,
        se=np.sqrt(error * np.diag(inverse)) * scale,
        variances=np.array([own[0, 0], own[1, 1] / unit**2, own[0, 1] / unit, error]),
        deviance=deviance + 2 * float(np.log(unit)),
        means=information @ sums.right,
        covariance=error * information,
        consumers=len(liking),
    )


def fall_of(fit: LineFit, distances: Floats, se: Floats, level: float) -> Fall:
    """Fall of liking over distances with known errors.

    Weighted squares of the means from the line, each with the error of its distance times the
    slope, are least at the estimate; the limits are where they rise by a quantile of t, squared.
    """
    df = fit.consumers - 1

    def squares(fall: float) -> tuple[float, float]:
        weight = np.linalg.inv(fit.covariance + fall**2 * np.diag(se**2))
        level_of = fit.means + fall * distances
        intercept = float(weight.sum(0) @ level_of / weight.sum())
        rest = level_of - intercept
        return float(rest @ weight @ rest), intercept

    unit = float(fit.se[1])
    near = -float(fit.coefficients[1])
    bracket = (near - 10 * unit, near + 10 * unit)
    best = minimize_scalar(
        lambda at: squares(at)[0],
        bounds=bracket,
        method="bounded",
        options={"xatol": 1e-10 * unit},
    )
    estimate, least = float(best.x), float(best.fun)
    rise = float(stdtrit(df, (1 + level) / 2)) ** 2

    def excess(at: float) -> float:
        return squares(at)[0] - least - rise

    t = float(np.sqrt(max(0.0, squares(0.0)[0] - least)))
    samples = len(distances)
    return Fall(
        estimate=estimate,
        low=_crossing(excess, estimate, -unit),
        high=_crossing(excess, estimate, unit),
        intercept=squares(estimate)[1],
        p=float(stdtr(df, -t)) if estimate > 0 else float(stdtr(df, t)),
        p_fit=float(chdtrc(samples - 2, least)) if samples > 2 else 1.0,
    )


def _crossing(excess: Callable[[float], float], start: float, step: float) -> float:
    inner, outer = start, start + step
    while excess(outer) < 0:
        inner, outer = outer, start + 2 * (outer - start)
        if abs(outer - start) > _STEEPEST * abs(step):
            return float(np.copysign(np.inf, step))
    return float(brentq(excess, inner, outer, xtol=1e-9 * abs(step), rtol=1e-12))


def _factor(theta: Floats) -> Floats:
    return np.array([[theta[0], 0.0], [theta[1], theta[2]]])


def _sums(liking: Floats, x: Floats, theta: Floats) -> _Sums:
    """Consumers who had the same samples go together."""
    had, whose = np.unique(~np.isnan(liking), axis=0, return_inverse=True)
    samples, factor = len(x), _factor(theta)
    information, right = np.zeros((samples, samples)), np.zeros(samples)
    squares, determinant, count = 0.0, 0.0, 0
    for group, mask in enumerate(had):
        own = liking[whose.ravel() == group][:, mask]
        spread = x[mask] @ factor
        total = np.eye(int(mask.sum())) + spread @ spread.T
        weight = np.linalg.inv(total)
        information[np.ix_(mask, mask)] += len(own) * weight
        right[mask] += weight @ own.sum(0)
        squares += float(np.einsum("ij,jk,ik->", own, weight, own))
        determinant += len(own) * float(np.linalg.slogdet(total)[1])
        count += own.size
    return _Sums(
        information=information,
        right=right,
        squares=squares,
        log_determinant=determinant,
        count=count,
    )


def _profiled(sums: _Sums, x: Floats) -> tuple[float, Floats, Floats, float]:
    """Deviance with coefficients and error variance at their best, and these."""
    cross = x.T @ sums.information @ x
    inverse = np.asarray(np.linalg.inv(cross), np.float64)
    coefficients = inverse @ (x.T @ sums.right)
    rest = sums.squares - float(coefficients @ (x.T @ sums.right))
    free = sums.count - x.shape[1]
    error = float(rest / free)
    logs = sums.log_determinant + float(np.linalg.slogdet(cross)[1])
    deviance = logs + free * (1 + float(np.log(2 * np.pi * error)))
    return deviance, coefficients, inverse, error
