"""The curve of right answers over the logarithm of a concentration, with guessing and assessors
who differ.

An assessor whose threshold is t answers right at log10 concentration x with probability
``g + (1 - g) Phi((x - t) / w)``; thresholds are normal over assessors, with mean m and standard
deviation b. A tasting by an assessor drawn from them is noticed with probability
``Phi((x - m) / s)``, ``s^2 = w^2 + b^2``: m is where half of the tastings are noticed.

[1] Abbott's formula for guessing. (Common practice, no source.)
[2] Marginal likelihood over normal random effects and profile limits. (Common practice, no source.)

Why so
------
The likelihood is a function of m, s and the share of s^2 that lies between assessors, since s is
known much better than its two parts. The sum over thresholds is the trapezoidal rule on 131 points:
with at most 0.98 of the variance between assessors each factor of the sum is wider than a step.
By the chi-square, limits of 10 assessors held the threshold in 91 of 100 simulated series; so they
take the quantile of F, as for a mean of so many assessors.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.optimize import brentq, minimize
from scipy.special import fdtri, log_ndtr, logsumexp, ndtr

from ..base.arrays import Floats

MOST_BETWEEN = 0.98
"""Largest share of the variance that lies between assessors."""
_NODES = np.linspace(-6.5, 6.5, 131)
_LOG_WEIGHTS = -0.5 * _NODES**2 - logsumexp(-0.5 * _NODES**2)
_LEAST, _WIDEST = 0.1, 4.0
"""Bounds of s: in smallest steps, and in lengths of the series."""
_REACH = 1.5
"""How far beyond the series, in its lengths, a concentration is looked for."""
_MIDDLES, _BEST = 7, 2
_WIDTH_STARTS, _BETWEEN_STARTS = (0.05, 0.1, 0.2, 0.4, 1.0), (0.05, 0.4, 0.8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A curve: its middle and width in log10, and the share of the variance between assessors."""

    middle: float
    width: float
    between: float
    log_likelihood: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answers:
    """Right and wrong answers.

    Attributes
    ----------
    at : float array, (steps,)
        log10 concentrations, rising.
    right, wrong : float array, (assessors, steps)
        Counts; both 0 where an assessor did not taste a step.
    guess : float
        Probability of a right answer by guessing.
    """

    at: Floats
    right: Floats
    wrong: Floats
    guess: float

    @property
    def length(self) -> float:
        """From the first step to the last, in log10."""
        return float(self.at[-1] - self.at[0])

    @property
    def widths(self) -> tuple[float, float]:
        """Least and largest width that is looked at."""
        return _LEAST * float(np.diff(self.at).min()), _WIDEST * self.length

    @property
    def ends(self) -> tuple[float, float]:
        """Least and largest concentration that is looked at, in log10."""
        beyond = _REACH * self.length
        return float(self.at[0]) - beyond, float(self.at[-1]) + beyond

    def by_threshold(self, middle: float, width: float, between: float) -> Floats:
        """Log-likelihood of each assessor at each threshold, with its weight, (assessors, 131)."""
        own = width * math.sqrt(1 - between)
        z = (self.at[:, None] - middle - width * math.sqrt(between) * _NODES) / own
        missed = math.log1p(-self.guess) + log_ndtr(-z)
        caught = np.log(self.guess + (1 - self.guess) * ndtr(z))
        return np.asarray(self.right @ caught + self.wrong @ missed + _LOG_WEIGHTS)

    def log_likelihood(self, middle: float, width: float, between: float) -> float:
        """Summed over assessors."""
        logs = self.by_threshold(middle, width, between)
        top = logs.max(axis=1)
        return float((top + np.log(np.exp(logs - top[:, None]).sum(axis=1))).sum())

    def thresholds(self, curve: Curve, level: float) -> Floats:
        """Each assessor's threshold given the answers: mean and limits, (assessors, 3)."""
        logs = self.by_threshold(curve.middle, curve.width, curve.between)
        weights = np.exp(logs - logsumexp(logs, axis=1, keepdims=True))
        at = curve.middle + curve.width * math.sqrt(curve.between) * _NODES
        sums = np.cumsum(weights, axis=1) - weights / 2
        limits = [
            [np.interp(share, own, at) for share in ((1 - level) / 2, (1 + level) / 2)]
            for own in sums
        ]
        return np.column_stack([weights @ at, limits])


def best_curve(answers: Answers) -> Curve:
    """The curve of the largest likelihood; at a bound where the answers fix none."""
    middles = np.linspace(answers.at[0], answers.at[-1], _MIDDLES)
    fits = _maxima(
        answers.log_likelihood,
        [answers.ends, *_bounds(answers)],
        list(product(middles, _widths(answers), _betweens(answers))),
        _BEST,
    )
    value, (middle, log_width, between) = max(fits, key=lambda fit: fit[0])
    return Curve(middle=middle, width=math.exp(log_width), between=between, log_likelihood=value)


def concentration_limits(
    answers: Answers, curve: Curve, z: float, level: float
) -> tuple[float | None, float | None]:
    """Profile limits of the log10 concentration at normal quantile z; None is an open end."""
    low, high = answers.ends

    def short(at: float) -> float:
        return profile_at(answers, curve, at, z)

    middle = curve.middle + z * curve.width
    floor = curve.log_likelihood - fall_of(answers, level)
    return _ends(short, floor, middle, (min(low, middle), max(high, middle)))


def quantile_limits(
    answers: Answers, curve: Curve, at: float, level: float
) -> tuple[float | None, float | None]:
    """Profile limits of the normal quantile that is noticed at a log10 concentration."""

    def short(z: float) -> float:
        return profile_at(answers, curve, at, z)

    middle = (at - curve.middle) / curve.width
    floor = curve.log_likelihood - fall_of(answers, level)
    return _ends(short, floor, middle, (min(-8.0, middle), max(8.0, middle)))


def fall_of(answers: Answers, level: float) -> float:
    """By how much the log-likelihood may fall within limits: half a quantile of F.

    Its second degrees of freedom are those of the assessors; one alone has those of the steps.
    """
    people, steps = answers.right.shape
    return float(fdtri(1, people - 1 if people > 1 else max(steps - 2, 1), level)) / 2


def profile_at(answers: Answers, curve: Curve, at: float, z: float) -> float:
    """Largest log-likelihood where log10 concentration `at` lies at normal quantile z."""
    return _profile(answers, curve, lambda width: at - z * width)


def _bounds(answers: Answers) -> list[tuple[float, float]]:
    least, widest = answers.widths
    return [(math.log(least), math.log(widest)), (0.0, _most_between(answers))]


def _most_between(answers: Answers) -> float:
    return MOST_BETWEEN if len(answers.right) > 1 else 0.0


def _profile(answers: Answers, curve: Curve, middle: Callable[[float], float]) -> float:
    """Largest log-likelihood where the middle follows from the width."""

    def value(width: float, between: float) -> float:
        return answers.log_likelihood(middle(width), width, between)

    starts = [*product(_widths(answers), _betweens(answers)), (curve.width, curve.between)]
    return _maxima(value, _bounds(answers), starts, 1)[0][0]


def _widths(answers: Answers) -> list[float]:
    return [share * answers.length for share in _WIDTH_STARTS]


def _betweens(answers: Answers) -> tuple[float, ...]:
    return _BETWEEN_STARTS if _most_between(answers) else (0.0,)


def _maxima(
    function: Callable[..., float],
    bounds: list[tuple[float, float]],
    starts: Sequence[tuple[float, ...]],
    best: int,
) -> list[tuple[float, list[float]]]:
    """Largest values from the best starts, and where they are; the last but one is a width."""

    def loss(values: Floats) -> float:
        *first, log_width, between = map(float, values)
        return -function(*first, math.exp(log_width), between)

    starts = sorted(starts, key=lambda start: -function(*start))[:best]
    low, high = np.transpose(bounds)
    fits = []
    for *first, width, between in starts:
        start = np.clip([*first, math.log(width), between], low, high)
        fit = minimize(loss, start, method="L-BFGS-B", bounds=bounds)
        fits.append((-float(fit.fun), [float(value) for value in fit.x]))
    return fits


def _ends(
    profile: Callable[[float], float], floor: float, middle: float, span: tuple[float, float]
) -> tuple[float | None, float | None]:
    """Where the profile has fallen to its floor, on either side."""

    def above(at: float) -> float:
        return profile(at) - floor

    ends: list[float | None] = []
    for end in span:
        if end == middle or above(end) > 0:
            ends.append(None)
        else:
            ends.append(float(brentq(above, middle, end, xtol=1e-6)))
    return ends[0], ends[1]
