"""Times that are known to lie between two looks only: three distributions, and none.

[1] Turnbull, B. W. (1976). The empirical distribution function with arbitrarily grouped, censored
    and truncated data. J. R. Stat. Soc. B 38: 290-295. (From memory.)

Why so
------
The limits of a quantile are profile limits: with few who changed, its standard error says less
than the shape of the likelihood does. Where one time lies in all intervals, a distribution without
spread fits at least as well as any: no spread can be estimated, which is a matter of counting and
is not left to the search.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq, minimize, minimize_scalar
from scipy.special import chdtri, log_expit, log_ndtr, logit, ndtri

from ..base.arrays import Floats

WEIBULL, LOGNORMAL, LOGLOGISTIC = "Weibull", "lognormal", "log-logistic"
WIDEST = 30.0
"""Spread of log times from which the share that changed no longer depends on the time."""
_SPREADS = np.linspace(np.log(1e-3), np.log(2 * WIDEST), 60)
_FARTHEST = 14.0
"""How far from the estimate limits are looked for, in log time: a factor of a million."""
_DONE = 1e-12
_FEW = 1e-9
_NOTHING = 1e-7
"""Mass that only has not yet gone."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Intervals:
    """Intervals (low, high] with how many share each; low 0 and high infinity are open ends."""

    low: Floats
    high: Floats
    count: Floats

    @classmethod
    def of(cls, low: Floats, high: Floats) -> Intervals:
        """Equal intervals together."""
        pairs, count = np.unique(np.column_stack([low, high]), axis=0, return_counts=True)
        return cls(low=pairs[:, 0], high=pairs[:, 1], count=count.astype(float))

    @property
    def without_spread(self) -> bool:
        """Whether one time lies in all of them, ends included."""
        return bool(self.low.max() <= self.high.min())


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A distribution of log times in its standard form: logs of both tails, and quantiles."""

    name: str
    log_below: Callable[[Floats], Floats]
    log_above: Callable[[Floats], Floats]
    quantile: Callable[[float], float]


def _log_below_extreme(z: Floats) -> Floats:
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(np.log(-np.expm1(-np.exp(z))))


def _log_above_extreme(z: Floats) -> Floats:
    with np.errstate(over="ignore"):
        return np.asarray(-np.exp(z))


SHAPES = (
    Shape(
        name=WEIBULL,
        log_below=_log_below_extreme,
        log_above=_log_above_extreme,
        quantile=lambda share: float(np.log(-np.log1p(-share))),
    ),
    Shape(
        name=LOGNORMAL,
        log_below=lambda z: np.asarray(log_ndtr(z)),
        log_above=lambda z: np.asarray(log_ndtr(-z)),
        quantile=lambda share: float(ndtri(share)),
    ),
    Shape(
        name=LOGLOGISTIC,
        log_below=lambda z: np.asarray(log_expit(z)),
        log_above=lambda z: np.asarray(log_expit(-z)),
        quantile=lambda share: float(logit(share)),
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimesFit:
    """A distribution of times: log time = centre + spread x standard form.

    `estimate`, `low`, `high`: the time by which the share has changed, with profile limits; a
    limit that is nowhere is 0 or infinite.
    """

    shape: Shape
    centre: float
    spread: float
    log_likelihood: float
    estimate: float
    low: float
    high: float

    def share(self, time: Floats) -> Floats:
        """Share that has changed by each time."""
        with np.errstate(divide="ignore"):
            z = (np.log(time) - self.centre) / self.spread
        return np.asarray(np.exp(self.shape.log_below(z)))


def fit_times(shape: Shape, seen: Intervals, share: float, level: float) -> TimesFit:
    """Maximum likelihood of one distribution, and the time by which the share has changed.

    For intervals that do not all hold one time.
    """
    z = shape.quantile(share)
    centre, spread, largest = _top(shape, seen)
    at = centre + spread * z
    drop = float(chdtri(1, 1 - level)) / 2

    def over(log_time: float) -> float:
        return _profile(shape, seen, log_time, z) - (largest - drop)

    return TimesFit(
        shape=shape,
        centre=centre,
        spread=spread,
        log_likelihood=largest,
        estimate=float(np.exp(at)),
        low=float(np.exp(_end(over, at, -1))),
        high=float(np.exp(_end(over, at, +1))),
    )


def log_likelihood(shape: Shape, seen: Intervals, centre: Floats, spread: Floats) -> Floats:
    """Of each pair of centre and spread, without constants: chances of the intervals."""
    with np.errstate(divide="ignore"):
        ends = np.log(seen.low), np.log(seen.high)
    low, high = ((end - centre[:, None]) / spread[:, None] for end in ends)
    left = _difference(shape.log_below(high), shape.log_below(low))
    right = _difference(shape.log_above(low), shape.log_above(high))
    # the tail on whose side the interval lies loses no digits
    logs = np.where(shape.log_below(low) < shape.log_above(high), left, right)
    return np.asarray(logs @ seen.count)


def _difference(more: Floats, less: Floats) -> Floats:
    """log(exp(more) - exp(less))."""
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = np.where(np.isneginf(less), -np.inf, less - more)
        return np.asarray(np.maximum(more + np.log1p(-np.exp(gap)), -1e300))


def _top(shape: Shape, seen: Intervals) -> tuple[float, float, float]:
    """Centre, spread and log-likelihood at the maximum."""

    def loss(at: Floats) -> float:
        spread = np.exp(np.clip(at[1], _SPREADS[0], _SPREADS[-1]))
        return -float(log_likelihood(shape, seen, at[:1], np.array([spread]))[0])

    finite = np.where(np.isfinite(seen.high), seen.high, 2 * seen.low)
    middles = np.log(np.maximum((seen.low + finite) / 2, 1e-12))
    centre = float(np.average(middles, weights=seen.count))
    begin = min((np.array([centre, np.log(spread)]) for spread in (0.1, 0.3, 1.0, 3.0)), key=loss)
    at: Floats = begin
    for _ in range(2):  # again from a fresh simplex
        at = np.array(minimize(loss, at, method="Nelder-Mead", tol=1e-12).x)
    spread = float(np.exp(np.clip(at[1], _SPREADS[0], _SPREADS[-1])))
    return float(at[0]), spread, -loss(at)


def _profile(shape: Shape, seen: Intervals, log_time: float, z: float) -> float:
    """The largest log-likelihood of any spread where the share has changed by this time."""

    def height(log_spread: Floats) -> Floats:
        spread = np.exp(log_spread)
        return log_likelihood(shape, seen, log_time - spread * z, spread)

    heights = height(_SPREADS)
    at = int(heights.argmax())
    low, high = _SPREADS[max(at - 1, 0)], _SPREADS[min(at + 1, len(_SPREADS) - 1)]
    best = minimize_scalar(
        lambda log_spread: -float(height(np.array([log_spread]))[0]),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return max(-float(best.fun), float(heights[at]))


def _end(over: Callable[[float], float], at: float, side: int) -> float:
    """Where the profile falls below its mark, in log time; infinite where it does not."""
    inner, step = at, 0.05
    while step <= _FARTHEST:
        outer = at + side * step
        if over(outer) < 0:
            return float(brentq(over, min(inner, outer), max(inner, outer), xtol=1e-10))
        inner, step = outer, step * 1.7
    return side * np.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steps:
    """The estimate without a distribution: mass in each of the intervals that can hold some.

    Attributes
    ----------
    low, high, mass : float array, (intervals,)
        Where inside (low, high] the mass lies is not determined.
    """

    low: Floats
    high: Floats
    mass: Floats

    def quantile(self, share: float) -> tuple[float, float]:
        """Between which times the share is reached; the later end is infinite where it never is."""
        at = int(np.argmax(np.cumsum(self.mass) >= share - _FEW))
        return float(self.low[at]), float(self.high[at])


def steps_of(seen: Intervals) -> Steps:
    """Turnbull's estimate [1], by self-consistency."""
    low, high = _supports(seen)
    mass = _consistent(_holds(seen, low, high), seen.count[None, :], 20_000)[0]
    kept = mass > _NOTHING
    return Steps(low=low[kept], high=high[kept], mass=mass[kept] / mass[kept].sum())


def quantile_limits(
    seen: Intervals, share: float, level: float, *, draws: int, seed: int
) -> tuple[float, float]:
    """Limits of the time by which the share has changed: people drawn anew, percentiles.

    From the earlier ends below, from the later ends above.
    """
    low, high = _supports(seen)
    people = int(seen.count.sum())
    rng = np.random.default_rng(seed)
    counts = rng.multinomial(people, seen.count / people, draws).astype(float)
    mass = _consistent(_holds(seen, low, high), counts, 500)
    at = np.argmax(np.cumsum(mass, axis=1) >= share - 1e-6, axis=1)
    least = np.quantile(low[at], (1 - level) / 2, method="inverted_cdf")
    most = np.quantile(high[at], (1 + level) / 2, method="inverted_cdf")
    return float(least), float(most)


def _supports(seen: Intervals) -> tuple[Floats, Floats]:
    """Intervals from a left end to the next end of any kind, where that is a right end."""
    ends = sorted({(float(low), 1) for low in seen.low} | {(float(high), 0) for high in seen.high})
    pairs = [(begin, end) for (begin, opens), (end, more) in pairwise(ends) if opens and not more]
    low, high = np.array(pairs, float).T
    return low, high


def _holds(seen: Intervals, low: Floats, high: Floats) -> Floats:
    """Which interval holds which support, (intervals, supports)."""
    inside = (seen.low[:, None] <= low) & (high <= seen.high[:, None])
    return inside.astype(float)


def _consistent(holds: Floats, counts: Floats, most: int) -> Floats:
    """Masses at which each equals its expectation, (rows of counts, supports)."""
    total = counts.sum(1, keepdims=True)
    mass = np.full((len(counts), holds.shape[1]), 1 / holds.shape[1])
    for _ in range(most):
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(counts > 0, counts / (mass @ holds.T), 0.0)
        new = mass * (share @ holds) / total
        moved = float(np.abs(new - mass).max())
        mass = new
        if moved < _DONE:
            break
    return mass
