"""A line of d-prime through zero behind the counts of choice tests over storage time.

Likelihood of independent binomial counts; profile limits. (Common practice, no source.)

Why so
------
At time 0 the sample is the reference: the line has one parameter, its slope. A session at or below
guessing, or with right answers only, has no standard error but has its place in the likelihood.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import chdtri, xlog1py, xlogy

from ..base.arrays import Floats
from .joint_dprime import FARTHEST, Counts

_SHARES = np.linspace(0, 1, 1501) ** 2
_TIES = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class SlopeFit:
    """d-prime gained a unit of time, with profile limits, and the largest log-likelihood.

    `estimate` and `high` are infinite where every answer after time 0 is right.
    """

    estimate: float
    low: float
    high: float
    largest: float


def fit_slope(counts: Counts, times: Floats, level: float) -> SlopeFit:
    """The slope of d-prime over time, at least 0; a time above 0 is needed."""
    steepest = FARTHEST / float(times[times > 0].min())
    grid = _SHARES * steepest

    def height(slope: float) -> float:
        return float(_heights(counts, times, np.array([slope]))[0])

    curve = _heights(counts, times, grid)
    at = int(curve.argmax())
    drop = float(chdtri(1, 1 - level)) / 2
    if at == len(grid) - 1:
        mark = float(curve[at]) - drop
        low = _crossing(height, mark, 0.0, steepest)
        return SlopeFit(estimate=np.inf, low=low, high=np.inf, largest=float(curve[at]))
    best = minimize_scalar(
        lambda slope: -height(slope),
        bounds=(grid[max(at - 1, 0)], grid[at + 1]),
        method="bounded",
        options={"xatol": 1e-13 * steepest},
    )
    estimate, largest = float(best.x), -float(best.fun)
    if largest <= curve[at]:
        estimate, largest = float(grid[at]), float(curve[at])
    low = _crossing(height, largest - drop, 0.0, estimate)
    over = height(steepest) < largest - drop
    high = _crossing(height, largest - drop, steepest, estimate) if over else np.inf
    return SlopeFit(estimate=estimate, low=low, high=high, largest=largest)


def p_of_line(counts: Counts, times: Floats, fit: SlopeFit, *, draws: int, seed: int) -> float:
    """By chance counts of such a line fit it as badly: p by simulated counts.

    The statistic is twice the log-likelihood that a d-prime for each session adds.
    """
    steepest = FARTHEST / float(times[times > 0].min())
    grid = _SHARES * steepest
    slope = min(fit.estimate, steepest)
    pc = _proportions(counts, times, np.array([slope]))[:, 0]
    rng = np.random.default_rng(seed)
    drawn = rng.binomial(counts.trials.astype(np.int64), pc, (draws, len(counts))).astype(float)
    whole = np.vstack([counts.correct, drawn])
    free = np.maximum(whole / counts.trials, counts.guesses)
    own = (xlogy(whole, free) + xlog1py(counts.trials - whole, -free)).sum(1)
    table = np.clip(_proportions(counts, times, grid), 0, 1 - 1e-16)
    joint = (whole @ np.log(table) + (counts.trials - whole) @ np.log1p(-table)).max(1)
    gained = own - joint
    return float((1 + (gained[1:] >= gained[0] - _TIES).sum()) / (1 + draws))


def _proportions(counts: Counts, times: Floats, slopes: Floats) -> Floats:
    """Proportion correct of each session at each slope, (sessions, slopes)."""
    dprime = np.minimum(times[:, None] * slopes, FARTHEST)
    pairs = zip(counts.links, dprime, strict=True)
    return np.array([np.minimum(link(row), 1.0) for link, row in pairs])


def _heights(counts: Counts, times: Floats, slopes: Floats) -> Floats:
    pc = _proportions(counts, times, slopes)
    right, wrong = counts.correct[:, None], (counts.trials - counts.correct)[:, None]
    return np.asarray((xlogy(right, pc) + xlog1py(wrong, -pc)).sum(0))


def _crossing(height: Callable[[float], float], target: float, end: float, top: float) -> float:
    """Where the height falls to the target between an end and its top; the end if it does not."""
    if height(end) >= target:
        return end
    return float(brentq(lambda at: height(at) - target, min(end, top), max(end, top), xtol=1e-15))
