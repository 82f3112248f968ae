"""Yes-no answers by assessors who answer more than once, each with a criterion of their own.

The criterion is normal between assessors. Given the counts of an assessor its logarithm of
density is concave, so that it has one top and falls on both sides at least as fast as the
normal density. It is integrated from the top to where it has fallen by exp(-38), on each
side by its own Gauss-Legendre rule: nodes that stand still would miss the narrow peak of
somebody with many answers.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy import optimize
from scipy.special import log_ndtr, ndtr, ndtri

from ..base.arrays import Floats

CLUSTERED_FAR = 60.0
_MOST_SD = 100.0
_DROP = 38.0
_T, _WEIGHT = np.polynomial.legendre.leggauss(32)
_T, _WEIGHT = (_T + 1) / 2, _WEIGHT / 2  # on [0, 1]
_LOG_ROOT = np.log(2 * np.pi) / 2


def _mills(x: Floats) -> Floats:
    """Derivative of log Phi."""
    return np.asarray(np.exp(-x * x / 2 - _LOG_ROOT - log_ndtr(x)))


class ClusteredYesNo:
    """Likelihood of yes-no answers with a random criterion for each assessor.

    Parameters
    ----------
    counts : float array, shape (assessors, 4)
        Hits, misses, false alarms, correct rejections of each.
    """

    def __init__(self, counts: Floats):
        rows, times = np.unique(counts, axis=0, return_counts=True)
        self.rows, self.times = rows, times.astype(float)
        self._hits, self._misses, self._alarms, self._rejections = rows.T[:, :, None]
        self._starts = _pooled_starts(rows.T @ times)

    def at(self, dprime: float, centre: float, sd: float) -> float:
        """Log-likelihood without binomial coefficients."""
        return self._with_slopes(dprime, centre, sd)[0]

    def best(self) -> tuple[float, float, float, float]:
        """d-prime, marginal d-prime, sd and log-likelihood at a finite maximum."""
        dprime, _, sd, top = self.fit()
        return dprime, dprime / float(np.sqrt(1 + sd * sd)), sd, top

    def fit(self) -> tuple[float, float, float, float]:
        """Maximum likelihood: d-prime, centre, sd, log-likelihood; see `infinite`."""

        def loss(theta: Floats) -> tuple[float, Floats]:
            value, slopes = self._marginal(*theta)
            return -value, -slopes

        top = _least(loss, [np.array(start) for start in self._starts])
        root = float(np.sqrt(1 + top.x[2] ** 2))
        dprime, centre, sd = (float(value) for value in top.x)
        return dprime * root, centre * root, sd, -float(top.fun)

    def covariance(self, dprime: float, centre: float, sd: float) -> Floats:
        """Inverse of the observed information in d-prime, centre and sd; nan where it has none.

        Where sd lies at 0 it is taken as fixed.
        """
        place, step = np.array([dprime, centre, sd]), 1e-4
        inner = 3 if sd > 10 * step else 2
        bend = np.array(
            [
                self._with_slopes(*(place + by))[1] - self._with_slopes(*(place - by))[1]
                for by in step * np.eye(3)[:inner]
            ]
        )[:, :inner] / (2 * step)
        covariance = np.zeros((3, 3))
        try:
            covariance[:inner, :inner] = np.linalg.inv(-(bend + bend.T) / 2)
        except np.linalg.LinAlgError:
            covariance[:inner, :inner] = np.nan
        return covariance

    def profile(self, dprime: float) -> float:
        """Log-likelihood at `dprime`, centre and sd chosen best for it."""

        def loss(theta: Floats) -> tuple[float, Floats]:
            root = np.sqrt(1 + theta[1] ** 2)
            value, slopes = self._with_slopes(dprime, theta[0] * root, theta[1])
            turned = slopes[2] + slopes[1] * theta[0] * theta[1] / root
            return -value, -np.array([slopes[1] * root, turned])

        top = _least(loss, [np.array(start[1:]) for start in self._starts])
        return -float(top.fun)

    def infinite(self) -> tuple[float, float, float, float] | None:
        """d-prime, marginal d-prime, sd and log-likelihood where the maximum lies at infinity.

        None where it is finite. Three cases have none: nothing but one answer to all
        samples of a kind; assessors who never contradict themselves and none of whom is
        the other way round, for whom a criterion that differs without bound explains
        every answer; and one answer to everything, which says nothing.
        """
        hits, misses, alarms, rejections = self.rows.T @ self.times
        if hits + alarms == 0 or misses + rejections == 0:
            return 0.0, 0.0, float("nan"), 0.0
        if min(hits, misses, alarms, rejections) == 0:
            side = np.inf if min(misses, alarms) == 0 else -np.inf
            top = self.profile(float(np.copysign(CLUSTERED_FAR, side)))
            return side, side, float("nan"), top
        return self._wide(1) or self._wide(-1)

    def _wide(self, side: int) -> tuple[float, float, float, float] | None:
        """The limit of an endless sd, in which each assessor has thresholds and no noise."""
        h, m, f, r = self.rows.T if side > 0 else self.rows.T[[2, 3, 0, 1]]
        if ((h > 0) & (m > 0) | (f > 0) & (r > 0) | (m > 0) & (f > 0)).any():
            return None

        def loss(theta: Floats) -> float:
            near, far = theta[0], theta[0] + theta[1] ** 2
            low = np.where(f > 0, far, np.where(h > 0, near, -np.inf))
            high = np.where(m > 0, near, np.where(r > 0, far, np.inf))
            with np.errstate(divide="ignore"):
                return -float(self.times @ np.log(np.maximum(ndtr(high) - ndtr(low), 1e-300)))

        least = _minimize(loss, np.array([-0.2, 0.6]), method="Nelder-Mead", options=_FINE)
        top, width = -float(least.fun), float(least.x[1] ** 2)
        if not ((h > 0) & (r > 0)).any():
            return 0.0, 0.0, np.inf, top
        return (side * np.inf, side * width, np.inf, top) if top > self.fit()[3] - 1e-4 else None

    def _marginal(self, dprime: float, centre: float, sd: float) -> tuple[float, Floats]:
        """`_with_slopes` for d-prime and centre divided by sqrt(1 + sd^2).

        These are what the pooled rates fix, whatever sd is: steps along them are short.
        """
        root = np.sqrt(1 + sd * sd)
        value, (up, side, wide) = self._with_slopes(dprime * root, centre * root, sd)
        wide = wide + (up * dprime + side * centre) * sd / root
        return value, np.array([up * root, side * root, wide])

    def _with_slopes(self, dprime: float, centre: float, sd: float) -> tuple[float, Floats]:
        """Log-likelihood and its slopes in d-prime, centre and sd."""
        top, left, right = self._span(dprime, centre, sd)
        z = np.concatenate([top - left * _T, top + right * _T], axis=1)
        weight = np.concatenate([left * _WEIGHT, right * _WEIGHT], axis=1)
        logs, own, other = self._under(z, dprime, centre, sd)
        most = logs.max(axis=1, keepdims=True)
        share = weight * np.exp(logs - most)
        total = share.sum(axis=1, keepdims=True)
        value = float(self.times @ (most + np.log(total))[:, 0]) - self.times.sum() * _LOG_ROOT
        means = (
            ((share / total) * pull).sum(axis=1)
            for pull in ((own - other) / 2, own + other, (own + other) * z)
        )
        return value, np.array([self.times @ mean for mean in means])

    def _span(self, dprime: float, centre: float, sd: float) -> tuple[Floats, Floats, Floats]:
        """Place of the top and how far to go on both sides of it."""
        top = self._top(dprime, centre, sd)
        floor = self._log_under(top, dprime, centre, sd) - _DROP
        side = np.array([-1.0, 1.0])  # the normal density alone falls so far in sqrt(2 drop)
        inner = np.full((top.size, 2), -np.log(20 * (1 + sd)))
        outer = np.full((top.size, 2), np.log(2 * _DROP) / 2)
        for _ in range(6):
            middle = (inner + outer) / 2
            under = self._log_under(top + side * np.exp(middle), dprime, centre, sd) < floor
            inner, outer = np.where(under, inner, middle), np.where(under, middle, outer)
        ends = np.exp(outer)
        return top, ends[:, :1], ends[:, 1:]

    def _top(self, dprime: float, centre: float, sd: float) -> Floats:
        """Where the logarithm is highest: Newton's steps, halving where one does not gain."""
        top = np.zeros((self.rows.shape[0], 1))
        start = sd * self._pull(top, dprime, centre, sd)[0]
        # the slope falls by 1 or more a unit, and the top lies not below the start
        far = np.sqrt(-2 * self._log_under(top, dprime, centre, sd))
        reach = np.clip(start, -far, far)
        low, high = np.minimum(reach, 0.0), np.maximum(reach, 0.0)
        last, near = high - low, 1e-3 / (1 + sd)
        for _ in range(60):
            pull, bend = self._pull(top, dprime, centre, sd)
            slope = sd * pull - top
            low, high = np.where(slope > 0, top, low), np.where(slope > 0, high, top)
            step = slope / (1 - sd * sd * bend)
            there = np.abs(step) < near
            gains = (top + step > low) & (top + step < high) & (np.abs(step) < last / 2)
            before, top = top, np.where(there | gains, top + step, (low + high) / 2)
            if there.all():
                break
            last = np.abs(top - before)
        return top

    def _log_under(self, z: Floats, dprime: float, centre: float, sd: float) -> Floats:
        logs = log_ndtr(_four(centre + sd * z + dprime / 2, dprime))
        return np.asarray((self.rows[:, None] * logs).sum(axis=2) - z * z / 2)

    def _under(
        self, z: Floats, dprime: float, centre: float, sd: float
    ) -> tuple[Floats, Floats, Floats]:
        """The logarithm, and its slopes in the shifts of A samples and of the others."""
        logs, slopes = -z * z / 2, []
        up = centre + sd * z + dprime / 2
        for yes, no, x in (
            (self._hits, self._misses, up),
            (self._alarms, self._rejections, up - dprime),
        ):
            above, below = log_ndtr(x), log_ndtr(-x)
            density = -x * x / 2 - _LOG_ROOT
            logs = logs + yes * above + no * below
            slopes.append(yes * np.exp(density - above) - no * np.exp(density - below))
        return logs, slopes[0], slopes[1]

    def _pull(self, z: Floats, dprime: float, centre: float, sd: float) -> tuple[Floats, Floats]:
        """Slope of the logarithm in the shift of all samples, and its own slope."""
        x = _four(centre + sd * z + dprime / 2, dprime)
        mills = _mills(x)
        answers = self.rows[:, None] * mills
        bend = -(answers * (x + mills)).sum(axis=2)
        return (answers * _SIGNS).sum(axis=2), bend


def _four(up: Floats, dprime: float) -> Floats:
    """Where hits, misses, false alarms and correct rejections lie, along a last axis."""
    return np.asarray(up[:, :, None] * _SIGNS + dprime * _OTHER)


_SIGNS, _OTHER = np.array([1.0, -1.0, 1.0, -1.0]), np.array([0.0, 0.0, -1.0, 1.0])
_FINE = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000, "maxfev": 4000}


def _pooled_starts(cells: Floats) -> list[tuple[float, float, float]]:
    hits, misses, alarms, rejections = cells + 0.5
    own, other = ndtri(hits / (hits + misses)), ndtri(alarms / (alarms + rejections))
    return [(own - other, (own + other) / 2, sd) for sd in (0.2, 1.0)]


_minimize: Any = optimize.minimize  # whose types know no loss that returns its slopes too


def _least(
    loss: Callable[[Floats], tuple[float, Floats]], starts: list[Floats]
) -> optimize.OptimizeResult:
    bounds = [(None, None)] * (starts[0].size - 1) + [(0.0, _MOST_SD)]
    tops = [
        _minimize(loss, start, jac=True, method="L-BFGS-B", bounds=bounds, options=_STEPS)
        for start in starts
    ]
    return min(tops, key=lambda top: float(top.fun))


_STEPS = {"ftol": 1e-13, "gtol": 1e-7, "maxiter": 500}
