"""Mixed models for a panel: restricted likelihood, Satterthwaite degrees of freedom.

One fixed factor (sample) and crossed random factors (assessor, assessor x sample,
session), all responses (attributes) at once, with scores missing anywhere.

[1] Bates, D. et al. (2015). Journal of Statistical Software 67(1): relative standard
    deviations, so that a variance of zero is an ordinary point.
[2] Kuznetsova, A., Brockhoff, P.B. and Christensen, R.H.B. (2017). Journal of Statistical
    Software 82(13), section 2: Satterthwaite degrees of freedom for one and for several
    contrasts.
[3] Satterthwaite, F.E. (1946). Biometrics Bulletin 2, 110-114: mean squares.
[4] Marquardt, D.W. (1963). Journal of the Society for Industrial and Applied Mathematics
    11, 431-441.

Why so
------
The mixed model sees counts, not rows. Cross-products of factors are tables of counts; assessors and
their interaction with samples are eliminated by divisions, so a step is linear in assessors and
costs the same however many scores there are, and all attributes take it together.

Degrees of freedom by relative standard deviations. A variance at zero adds nothing to
Satterthwaite's degrees of freedom. F takes the eigencontrasts of an orthonormal basis, the only
choice that renaming the samples cannot change; other bases differ in the third decimal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..base.arrays import Bools, Floats, Ints
from .crossed import ProfiledDeviance, cross_products, profile_deviance
from .eliminated import CrossProducts

ERROR = "error"
MOST_STEPS = 200
_START = 0.5
_LARGEST = 1e12  # ratio; more, and the error variance is nothing but rounding
_SMALLEST_LOSS = 1e-9  # of deviance; less is rounding
_LEAST_DF, _MOST_DF = 0.5, 1e8
_MOST_DAMPING = 1e10
_ROUNDING = 1e-13
_LEAST_KNOWN = 1e-8  # eigenvalue of the scaled information
_SMALLEST_STEP = 1e-9  # relative; Newton steps square it, so the last one taken is exact


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedFit:
    """Estimated means and how well they are known, for each response.

    The covariance of the means is a function of a few scatter parameters (variances or
    mean squares), known with their own covariance; that is all that Satterthwaite's
    degrees of freedom need.

    Attributes
    ----------
    terms : tuple of str
        Random terms, then ``error``.
    variances : float array, (responses, terms)
        Variance components; never below 0.
    slopes : float array, (responses, parameters, levels, levels)
        Derivative of the covariance by each scatter parameter.
    spread : float array, (responses, parameters, parameters)
        Covariance of the scatter parameters.
    deviance : float array, (responses,)
        -2 log restricted likelihood up to a constant; NaN where mean squares were used.
    """

    terms: tuple[str, ...]
    variances: Floats
    means: Floats
    covariance: Floats
    slopes: Floats
    spread: Floats
    deviance: Floats

    def contrasts(self, weights: Floats) -> tuple[Floats, Floats, Floats]:
        """Estimate, standard error and degrees of freedom of combinations of the means."""
        estimate = self.means @ weights.T
        variance = _forms(weights, self.covariance)
        slope = _forms(weights, self.slopes).swapaxes(1, 2)
        return estimate, np.sqrt(variance), self._df(variance, slope)

    def covariance_of(self, weights: Floats) -> Floats:
        """Covariance of combinations of the means, (responses, contrasts, contrasts)."""
        return np.asarray(weights @ self.covariance @ weights.T)

    def equality(self) -> tuple[Floats, float, Floats]:
        """F for equal means, with its degrees of freedom.

        The denominator's degrees of freedom come from the uncorrelated contrasts within an
        orthonormal basis [2, eq. 9]. Every orthonormal basis gives the same, so neither the
        order nor the names of the levels matter; bases that are not orthonormal differ
        in the third decimal on unbalanced data.

        Returns
        -------
        statistic : float array, (responses,)
        df : float
            Levels less one.
        df_error : float array, (responses,)
        """
        levels = self.means.shape[1]
        basis = orthonormal_contrasts(levels)
        values, vectors = np.linalg.eigh(basis @ self.covariance @ basis.T)
        turned = vectors.swapaxes(1, 2) @ basis  # (responses, contrasts, levels)
        estimate = (turned @ self.means[:, :, None])[:, :, 0]
        statistic = (estimate**2 / values).mean(1)
        slope = _dense_forms(turned[:, None], self.slopes).swapaxes(1, 2)
        df = self._df(values, slope)
        return statistic, float(levels - 1), _joint_df(df)

    def _df(self, variance: Floats, slope: Floats) -> Floats:
        """2 variance^2 / its own variance, kept where a t distribution can be computed."""
        noise = ((slope @ self.spread) * slope).sum(2)
        least = np.maximum(noise, 2 * variance**2 / _MOST_DF)
        return np.maximum(2 * variance**2 / np.maximum(least, 1e-300), _LEAST_DF)


def _forms(weights: Floats, matrices: Floats) -> Floats:
    """w' M w for each row of weights, (..., rows): means and differences pick from M."""
    if weights.shape[1] < 2 or (np.count_nonzero(weights, axis=1) > 2).any():
        return _dense_forms(weights, matrices)
    first, other = np.argsort(weights == 0, axis=1, kind="stable")[:, :2].T
    each = np.arange(len(weights))
    here, there = weights[each, first], weights[each, other]
    both = matrices[..., first, other] + matrices[..., other, first]
    alone = here**2 * matrices[..., first, first] + there**2 * matrices[..., other, other]
    return np.asarray(alone + here * there * both)


def _dense_forms(rows: Floats, matrices: Floats) -> Floats:
    return np.asarray(((rows @ matrices) * rows).sum(-1))


def orthonormal_contrasts(levels: int) -> Floats:
    """Rows that are orthonormal and sum to zero, (levels - 1, levels).

    >>> orthonormal_contrasts(2).round(3)
    array([[ 0.707, -0.707]])
    """
    rows = np.arange(1, levels)[:, None]
    columns = np.arange(levels)[None, :]
    plain = np.where(columns < rows, 1.0, np.where(columns == rows, -rows, 0.0))
    return np.asarray(plain / np.sqrt(rows * (rows + 1)))


def _joint_df(df: Floats) -> Floats:
    """Degrees of freedom whose F has the mean of the sum of squared t's [2, eq. 9]."""
    count = df.shape[1]
    alike = np.ptp(df, axis=1) <= 1e-8 * df[:, 0]
    usable = df > 2
    total = np.where(usable, df / np.where(usable, df - 2, 1.0), 0.0).sum(1)
    excess = total - count
    joint = np.where(excess > 0, 2 * total / np.where(excess > 0, excess, 1.0), 2.0)
    return np.where(alike, df.mean(1), joint)


def restricted_likelihood(scores: Floats, fixed: Ints, random: Mapping[str, Ints]) -> MixedFit:
    """Fit by restricted maximum likelihood, all responses at once.

    Parameters
    ----------
    scores : float array, (rows, responses)
        NaN where missing. Every level of `fixed` must be scored in each response.
    random : mapping of str to int array, (rows,)
        Levels of each random factor.

    Notes
    -----
    Variances are sought as ratios to the error variance, which are the squares of the
    relative standard deviations of [1]. At a ratio of zero the deviance is even in the
    relative standard deviation, hence this component neither adds to the uncertainty of
    the others nor to any degrees of freedom: the covariance of the variances is taken
    over the positive ones. Each step is a Newton step of the deviance (by its
    expectation where that is not convex), kept at ratios >= 0 and damped [4] until the
    deviance falls. A term that no score can tell from error is put at zero.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> assessor, sample = np.repeat(np.arange(8), 6), np.tile(np.arange(3), 16)
    >>> scores = (rng.normal(size=8)[assessor] + sample + rng.normal(size=48) / 2)[:, None]
    >>> scores[5] = np.nan
    >>> fit = restricted_likelihood(scores, sample, {"assessor": assessor})
    >>> fit.terms, fit.means.round(1)
    (('assessor', 'error'), array([[0.2, 1.2, 2.1]]))
    """
    products, centre, scale = _prepared(scores, fixed, random)
    ratios = _best_ratios(products, np.full((scores.shape[1], len(random)), _START))
    at = profile_deviance(products, ratios)
    spread = _spread(at, ratios)
    variances = np.column_stack([ratios * at.error[:, None], at.error])
    residual = at.inverse - np.einsum("ak,akij->aij", ratios, at.slopes)
    slopes = np.concatenate([at.slopes, residual[:, None]], 1)
    unit = scale**2
    return MixedFit(
        terms=(*random, ERROR),
        variances=variances * unit[:, None],
        means=at.means * scale[:, None] + centre[:, None],
        covariance=at.inverse * (at.error * unit)[:, None, None],
        slopes=slopes,
        spread=spread * (unit**2)[:, None, None],
        deviance=at.deviance + at.free * np.log(unit),
    )


def likelihood_ratios(
    scores: Floats, fixed: Ints, random: Mapping[str, Ints], fit: MixedFit
) -> Floats:
    """What the restricted deviance loses when one random term is left out.

    Under a variance of zero, which is on the boundary, half of the time exactly 0 and half
    of the time chi-square with 1 degree of freedom.

    Returns
    -------
    statistic : float array, (responses, random terms)
        In the order of `random`.
    """
    products, _, scale = _prepared(scores, fixed, random)
    ratios = fit.variances[:, :-1] / fit.variances[:, -1:]
    lost = np.empty_like(ratios)
    for place in range(len(random)):
        start = np.clip(ratios, 1e-3, _LARGEST)  # the fit is close to what is looked for
        start[:, place] = 0.0
        at = profile_deviance(products, _best_ratios(products, start, without=place))
        lost[:, place] = at.deviance + at.free * 2 * np.log(scale) - fit.deviance
    there = (fit.variances[:, :-1] > 0) & (lost > _SMALLEST_LOSS)
    return np.where(there, lost, 0.0)


def _prepared(
    scores: Floats, fixed: Ints, random: Mapping[str, Ints]
) -> tuple[CrossProducts, Floats, Floats]:
    """Cross-products of centred and scaled scores."""
    centre, scale = np.nanmean(scores, axis=0), np.nanstd(scores, axis=0)
    products = cross_products((scores - centre) / scale, fixed, list(random.values()))
    return products, centre, scale


def _best_ratios(products: CrossProducts, start: Floats, without: int | None = None) -> Floats:
    """Ratios >= 0 at which the restricted deviance is lowest, one of them held at its start."""
    flat = _flat(profile_deviance(products, np.zeros_like(start)))  # these stay at zero
    ratios = np.where(flat, 0.0, start)
    now = profile_deviance(products, ratios)
    if without is not None:
        flat[:, without] = True
    left, damping = np.arange(len(start)), np.zeros(len(start))
    for _ in range(MOST_STEPS):
        gradient, curvature = _derivatives(now)
        here = ratios[left]
        held = ((here <= 0) & (gradient >= 0)) | flat[left]
        step = _newton_step(held, gradient, curvature, damping)
        target = np.clip(here + step, 0.0, np.minimum(10 * here + 10, _LARGEST))
        small = (np.abs(target - here) <= _SMALLEST_STEP * (1e-3 + here)).all(1)
        done = (small & (damping == 0)) | (damping > _MOST_DAMPING)
        ratios[left[done & small]] = target[done & small]
        left, damping, target = left[~done], damping[~done], target[~done]
        if not left.size:
            break
        now = now.only(~done)
        trial = profile_deviance(products.only(left), target)
        better = trial.deviance <= now.deviance + 1e-10 * (1 + np.abs(now.deviance))
        ratios[left[better]] = target[better]
        now = trial.where(better, now)
        less = np.where(damping > 1e-3, damping / 10, 0.0)
        damping = np.where(better, less, np.maximum(10 * damping, 1e-2))
    return ratios


def _flat(at: ProfiledDeviance) -> Bools:
    """Terms that no score tells from error, seen at ratios of zero."""
    _, (_, expected) = _derivatives(at)
    own = np.einsum("akk->ak", at.traces)
    return np.asarray(np.einsum("akk->ak", expected) <= 1e-9 * own)


def _derivatives(at: ProfiledDeviance) -> tuple[Floats, tuple[Floats, Floats]]:
    """Gradient of the deviance by the ratios; its second derivatives and their expectation."""
    square = at.square / at.error[:, None]
    gradient = at.trace - square
    free = at.free[:, None, None]
    squares = at.squares / at.error[:, None, None]
    true = -at.traces + 2 * squares - square[:, :, None] * square[:, None, :] / free
    expected = at.traces - at.trace[:, :, None] * at.trace[:, None, :] / free
    return gradient, (true, expected)


def _newton_step(
    held: Bools, gradient: Floats, curvature: tuple[Floats, Floats], damping: Floats
) -> Floats:
    """Newton's step; by the expected curvature where the true one is not convex."""
    pair = held[:, :, None] | held[:, None, :]
    eye = np.eye(held.shape[1])
    true, expected = (np.where(pair, eye, matrix) for matrix in curvature)
    least = _ROUNDING * np.abs(np.einsum("akk->ak", true)) + 1e-300
    scale = np.sqrt(np.maximum(np.einsum("akk->ak", expected), least))
    outer = scale[:, :, None] * scale[:, None, :]
    convex = np.linalg.eigvalsh(true / outer)[:, 0] > 1e-3
    matrix = np.where(convex[:, None, None], true / outer, expected / outer + 1e-10 * eye)
    slope = np.where(held, 0.0, gradient) / scale
    damped = matrix + damping[:, None, None] * eye
    return -np.linalg.solve(damped, slope[:, :, None])[:, :, 0] / scale


def _spread(at: ProfiledDeviance, ratios: Floats) -> Floats:
    """Covariance of the variances from the observed information; zero for those at zero.

    The terms of the error variance follow from P V P = P.
    """
    terms = ratios.shape[1]
    trace = np.einsum("ak,akl->al", ratios, at.traces)
    trace_e = at.trace - trace
    whole = at.free - (ratios * at.trace).sum(1)
    square_e = at.square - np.einsum("ak,akl->al", ratios, at.squares)
    left = at.error * at.free - (ratios * at.square).sum(1)
    error = at.error[:, None, None]
    information = np.empty((len(ratios), terms + 1, terms + 1))
    information[:, :terms, :terms] = -at.traces + 2 * at.squares / error
    edge = -trace_e + 2 * square_e / at.error[:, None]
    information[:, :terms, terms] = information[:, terms, :terms] = edge
    information[:, terms, terms] = -(whole - (ratios * trace_e).sum(1)) + 2 / at.error * (
        left - (ratios * square_e).sum(1)
    )
    there = np.column_stack([ratios > 0, np.ones(len(ratios), bool)])
    both = there[:, :, None] & there[:, None, :]
    information = np.where(both, information / error**2, np.eye(terms + 1))
    size = np.sqrt(np.maximum(np.abs(np.einsum("akk->ak", information)), 1e-300))
    outer = size[:, :, None] * size[:, None, :]
    values, vectors = np.linalg.eigh(information / outer)
    known = values > _LEAST_KNOWN  # a direction that the scores say nothing about is left out
    turned = vectors * np.where(known, 1 / np.where(known, values, 1.0), 0.0)[:, None, :]
    return np.where(both, 2 * (turned @ vectors.swapaxes(1, 2)) / outer, 0.0)
