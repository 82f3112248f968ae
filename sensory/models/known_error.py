"""Mixed models for values whose own errors are known, by restricted likelihood.

Each value has a standard error of its own that counts as known; on top come random groups, whose
variances are estimated, and fixed columns.

[1] Raudenbush, S.W. (1985), pp. 83-92, and van Houwelingen, H.C., Arends, L.R. and Stijnen, T.
    (2002), Statistics in Medicine 21, 589-624: one random term, and columns. (Printed examples in
    `tests/references`.)
[2] Harville, D.A. (1977). Journal of the American Statistical Association 72, 320-338: scoring
    for restricted likelihood. (From memory.)

Why so
------
Known errors are no weights of least squares: those would be scaled by a common factor, which the
panel's own noise forbids. Scoring steps by the expected information, with a variance held at 0
while its score points below, reach the maximum in a few steps from any start; a step that loses
likelihood is halved. Terms are given as indicators, so that a group of lots and the batches
themselves are treated alike; values that scatter each for itself only widen the diagonal, and what
is inverted is as large as the other groups have levels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from ..base.arrays import Floats

_MOST_STEPS = 200
_HALVINGS = 40
_NEAR = 1e-10  # of the step, in units of the variance of the values
_LOSS = 1e-11  # of the deviance, relative; less is rounding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownErrorFit:
    """Variances of the groups, and the coefficients with what is known of them.

    Attributes
    ----------
    variances : float array, (terms,)
        Never below 0.
    coefficients : float array, (columns,)
    covariance : float array, (columns, columns)
        With the variances taken as known.
    total : float array, (values, values)
        Covariance of the values: known errors and groups.
    projection : float array, (values, values)
        Inverse of `total` with the columns projected out; it maps values to weighted residuals.
    deviance : float
        -2 log restricted likelihood, the constant (values - columns) log 2 pi included and
        half the log determinant of X'X left out.
    """

    variances: Floats
    coefficients: Floats
    covariance: Floats
    total: Floats
    projection: Floats
    deviance: float


def known_error_fit(
    values: Floats, se: Floats, design: Floats, groups: Sequence[Floats] = ()
) -> KnownErrorFit:
    """Restricted maximum likelihood with known errors.

    Parameters
    ----------
    values, se : float array, (values,)
        Estimates and their standard errors, above 0.
    design : float array, (values, columns)
        Columns of full rank, fewer than values.
    groups : sequence of float array, (values, levels)
        Indicators of each random term; the identity for values that scatter each for itself.

    Examples
    --------
    >>> values, se = np.array([0.1, 0.9, 0.4, 1.2]), np.full(4, 0.1)
    >>> fit = known_error_fit(values, se, np.ones((4, 1)), [np.eye(4)])
    >>> round(float(fit.variances[0] + 0.01), 6), round(float(values.var(ddof=1)), 6)
    (0.243333, 0.243333)
    """
    unit = float(values.var()) or 1.0
    own = [_is_identity(group) for group in groups]
    variances = np.full(len(groups), unit / max(1, len(groups)))
    fit = _at(values, se, design, groups, own, variances)
    if not groups:
        return fit
    for _ in range(_MOST_STEPS):
        step = _step(values, fit, groups, own)
        after = _better(values, se, design, groups, own, fit, step)
        if after is None:
            break
        moved = np.abs(after.variances - fit.variances).max(initial=0.0)
        fit = after
        if moved <= _NEAR * unit:
            break
    return fit


def _is_identity(group: Floats) -> bool:
    rows, levels = group.shape
    return rows == levels and bool((group == np.eye(rows)).all())


def _at(
    values: Floats,
    se: Floats,
    design: Floats,
    groups: Sequence[Floats],
    own: Sequence[bool],
    variances: Floats,
) -> KnownErrorFit:
    diagonal, wide = se**2, []
    for variance, group, alone in zip(variances, groups, own, strict=True):
        if alone:
            diagonal = diagonal + variance
        elif variance > 0:
            wide.append(np.sqrt(variance) * group)
    inverse, total = np.diag(1 / diagonal), np.diag(diagonal)
    log_total = float(np.log(diagonal).sum())
    if wide:
        columns = np.hstack(wide)
        over = columns / diagonal[:, None]
        inner = np.linalg.cholesky(np.eye(columns.shape[1]) + columns.T @ over)
        half = solve_triangular(inner, over.T, lower=True, check_finite=False)
        inverse = inverse - half.T @ half
        total = total + columns @ columns.T
        log_total += 2 * float(np.log(np.diag(inner)).sum())
    weighted = inverse @ design
    information = design.T @ weighted
    covariance = np.asarray(np.linalg.inv(information), np.float64)
    projection = inverse - weighted @ covariance @ weighted.T
    squares = float(values @ projection @ values)
    constant = (len(values) - design.shape[1]) * np.log(2 * np.pi)
    logs = log_total + np.linalg.slogdet(information)[1]
    return KnownErrorFit(
        variances=variances,
        coefficients=covariance @ (weighted.T @ values),
        covariance=covariance,
        total=total,
        projection=projection,
        deviance=float(logs + squares + constant),
    )


def _step(
    values: Floats, fit: KnownErrorFit, groups: Sequence[Floats], own: Sequence[bool]
) -> Floats:
    """One scoring step; variances at 0 whose score points below stay there."""
    across = fit.projection
    residuals = across @ values
    score, projected = np.zeros(len(groups)), []
    for at, (group, alone) in enumerate(zip(groups, own, strict=True)):
        near = across if alone else across @ group
        seen = residuals if alone else group.T @ residuals
        score[at] = (seen**2).sum() - (np.trace(near) if alone else (near * group).sum())
        projected.append(near)
    known = np.zeros((len(groups), len(groups)))
    for at, (group, alone) in enumerate(zip(groups, own, strict=True)):
        for to in range(at, len(groups)):
            both = projected[to] if alone else group.T @ projected[to]
            known[at, to] = known[to, at] = (both**2).sum()
    free = (fit.variances > 0) | (score > 0)
    step = np.zeros(len(groups))
    step[free] = np.linalg.lstsq(known[np.ix_(free, free)], score[free], rcond=None)[0]
    return step


def _better(
    values: Floats,
    se: Floats,
    design: Floats,
    groups: Sequence[Floats],
    own: Sequence[bool],
    fit: KnownErrorFit,
    step: Floats,
) -> KnownErrorFit | None:
    """The fit after the step, halved until nothing is lost; None where no step helps."""
    for _ in range(_HALVINGS):
        variances = np.maximum(fit.variances + step, 0.0)
        after = _at(values, se, design, groups, own, variances)
        if after.deviance <= fit.deviance + _LOSS * abs(fit.deviance):
            return after
        step = step / 2
    return None
