"""One d-prime behind the counts of several sessions, whatever their protocols.

[1] Likelihood of independent binomial counts; profile limits. (Common practice, no source.)
[2] Robbins, H. (1970), as in `confidence_sequence`.

Why so
------
An estimate of 0 or of infinity has no standard error, so estimates are never averaged: the counts
of all sessions enter one likelihood. Where sessions differ, each has a d-prime of its own from a
gamma distribution: a distance is never below 0, and its mean stays a mean (a normal one folded at 0
has a centre of 0 and a wide scatter that fit as well).
Limits of the mean, by the chi-square, held it in 56 to 60 of 60 simulated rows of three and of five
sessions (`tests/calibration/test_evidence.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq, minimize, minimize_scalar
from scipy.special import chdtri, gammaincinv, logsumexp, xlog1py, xlogy

from ..base.arrays import Floats
from .distance_order import best_band, mixed_likelihood, order_chances, order_likelihood

Link = Callable[[Floats], Floats]
FARTHEST = 10.0
"""Largest d-prime that is looked at; beyond it every answer is right."""
_STEP = 0.02
_GRID = np.arange(0.0, FARTHEST + _STEP / 2, _STEP)
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(60)
_QUANTILES, _LOG_WEIGHTS = (_NODES + 1) / 2, np.log(_WEIGHTS / 2)
_LEAST_SHARE = 1e-3  # of the mean; less scatter is none
_PRIOR_SD = 2.0
"""Of the half-normal weights of `always_dprime`: most differences that are tested lie below 2."""
_LARGEST_SPREAD = 6.0
_TIES = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Counts:
    """Counts of sessions.

    Attributes
    ----------
    links : tuple of functions
        Proportion correct at a d-prime of 0 or more, for each session.
    guesses, correct, trials : float array, (sessions,)
    equal : float array, (sessions,)
        Answers that say neither: assessors who scored batch and blind control alike, see
        `distance_order`. None in forced choices; with some, the link is that of the duo-trio.
    """

    links: tuple[Link, ...]
    guesses: Floats
    correct: Floats
    trials: Floats
    equal: Floats = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if not self.equal.size:
            object.__setattr__(self, "equal", np.zeros(len(self.trials)))

    def __len__(self) -> int:
        return len(self.correct)

    def first(self, count: int) -> Counts:
        """The first sessions only."""
        return Counts(
            links=self.links[:count],
            guesses=self.guesses[:count],
            correct=self.correct[:count],
            trials=self.trials[:count],
            equal=self.equal[:count],
        )

    @property
    def all_right(self) -> bool:
        """Whether no answer is wrong: d-prime is infinite then."""
        return bool((self.correct + self.equal == self.trials).all())

    @property
    def scored(self) -> list[tuple[int, tuple[int, int, int]]]:
        """Place of each session with equal scores, and who scored further, alike and nearer."""
        wrong = self.trials - self.correct - self.equal
        return [
            (at, (int(self.correct[at]), int(self.equal[at]), int(wrong[at])))
            for at in map(int, np.flatnonzero(self.equal))
        ]

    def by_session(self, dprime: Floats) -> Floats:
        """Log-likelihood of each session at each d-prime, (sessions, d-primes)."""
        known: dict[Link, Floats] = {}
        for link in self.links:
            if link not in known:
                known[link] = np.minimum(link(dprime), 1.0)
        pc = np.array([known[link] for link in self.links])
        right, wrong = self.correct[:, None], (self.trials - self.correct)[:, None]
        heights = np.asarray(xlogy(right, pc) + xlog1py(wrong, -pc))
        for at, scores in self.scored:
            heights[at] = order_likelihood(*scores, dprime)
        return heights

    def mixed_by_session(self, dprime: Floats) -> Floats:
        """The same with bands of equal scores averaged, not chosen."""
        heights = self.by_session(dprime)
        for at, scores in self.scored:
            heights[at] = mixed_likelihood(*scores, dprime)
        return heights


@dataclass(frozen=True, slots=True, kw_only=True)
class DprimeFit:
    """A d-prime with profile limits, and its largest log-likelihood."""

    estimate: float
    low: float
    high: float
    largest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SpreadFit:
    """Mean d-prime over sessions and its standard deviation between them, with profile limits."""

    mean: DprimeFit
    spread: float
    spread_low: float
    spread_high: float


def common_dprime(counts: Counts, level: float) -> DprimeFit:
    """The d-prime of all sessions, taken to be the same in each.

    Infinite where every answer is right.
    """

    def height(dprime: float) -> float:
        return float(counts.by_session(np.array([dprime])).sum())

    drop = float(chdtri(1, 1 - level)) / 2
    curve = counts.by_session(_GRID).sum(0)
    if counts.all_right:
        largest = float(curve[-1])
        low = _crossing(height, largest - drop, FARTHEST, 0.0)
        return DprimeFit(estimate=np.inf, low=low, high=np.inf, largest=largest)
    at = _GRID[int(curve.argmax())]
    estimate, largest = _top(height, at)
    low = _crossing(height, largest - drop, estimate, 0.0)
    high = _crossing(height, largest - drop, estimate, FARTHEST)
    return DprimeFit(estimate=estimate, low=low, high=high, largest=largest)


def spread_dprime(counts: Counts, level: float) -> SpreadFit:
    """Mean d-prime and standard deviation between sessions, by maximum likelihood.

    For three sessions or more that do not hold right answers only.
    """

    def height(mean: float, spread: float) -> float:
        points = scattered(mean, spread)
        return float(logsumexp(counts.by_session(points) + _LOG_WEIGHTS, axis=1).sum())

    def loss(at: Floats) -> float:
        return -height(float(at[0]), float(at[1]))

    start = min(common_dprime(counts, level).estimate, 4.0)
    bounds = [(0.0, FARTHEST), (0.0, _LARGEST_SPREAD)]
    tries = [
        minimize(loss, np.array([start, spread]), method="L-BFGS-B", bounds=bounds, tol=1e-13)
        for spread in (0.05, 0.5)
    ]
    best = min(tries, key=lambda each: float(each.fun))
    mean, spread = map(float, best.x)
    largest = -float(best.fun)
    drop = float(chdtri(1, 1 - level)) / 2

    def of_mean(at: float) -> float:
        return _inner(lambda other: height(at, other), _LARGEST_SPREAD)

    def of_spread(at: float) -> float:
        return _inner(lambda other: height(other, at), FARTHEST)

    return SpreadFit(
        mean=DprimeFit(
            estimate=mean,
            low=_crossing(of_mean, largest - drop, mean, 0.0),
            high=_crossing(of_mean, largest - drop, mean, FARTHEST),
            largest=largest,
        ),
        spread=spread,
        spread_low=_crossing(of_spread, largest - drop, spread, 0.0),
        spread_high=_crossing(of_spread, largest - drop, spread, _LARGEST_SPREAD),
    )


def scattered(mean: float, spread: float) -> Floats:
    """d-primes of a gamma distribution at the quantiles of the quadrature."""
    if spread <= _LEAST_SHARE * mean or mean == 0:
        return np.full(len(_QUANTILES), mean)
    shape = (mean / spread) ** 2
    return np.minimum(gammaincinv(shape, _QUANTILES) * (mean / shape), FARTHEST)


def heterogeneity(counts: Counts, common: DprimeFit, *, draws: int, seed: int) -> float:
    """By chance sessions of one d-prime differ as much: p by simulated counts.

    The statistic is twice the log-likelihood that a d-prime for each session adds. Bands of equal
    scores stay as the common d-prime has them.
    """
    at = np.array([min(common.estimate, FARTHEST)])
    pc = np.array([float(np.minimum(link(at), 1.0)[0]) for link in counts.links])
    rng = np.random.default_rng(seed)
    drawn = rng.binomial(counts.trials.astype(np.int64), pc, (draws, len(counts))).astype(float)
    whole = np.vstack([counts.correct, drawn])
    scored = counts.scored
    places = [place for place, _ in scored]
    free = np.maximum(whole / counts.trials, counts.guesses)
    own = xlogy(whole, free) + xlog1py(counts.trials - whole, -free)
    own[:, places] = 0.0
    whole_choices, wrong = whole.copy(), counts.trials - whole
    whole_choices[:, places], wrong[:, places] = 0.0, 0.0
    table = np.clip(np.array([link(_GRID) for link in counts.links]), 0, 1 - 1e-16)
    joint = whole_choices @ np.log(table) + wrong @ np.log1p(-table)
    best = own.sum(1)
    for _, scores in scored:
        heights = _drawn_orders(scores, at, draws, rng)
        best, joint = best + heights.max(1), joint + heights
    gained = best - joint.max(1)
    return float((1 + (gained[1:] >= gained[0] - _TIES).sum()) / (1 + draws))


def _drawn_orders(
    scores: tuple[int, int, int], at: Floats, draws: int, rng: np.random.Generator
) -> Floats:
    """Log-likelihood along the grid of the scores themselves, then of drawn ones."""
    band = best_band(*scores, at)
    shares = np.array(order_chances(at, band))[:, 0]
    drawn = rng.multinomial(sum(scores), shares / shares.sum(), draws)
    table = np.array(order_chances(_GRID, band))
    whole = np.vstack([scores, drawn]).astype(float)
    return np.asarray(whole @ np.log(np.maximum(table, 1e-300)), float)


def difference_p(counts: Counts) -> float:
    """Chance of counts that speak as much for a difference where everybody guesses; exact.

    What speaks is the likelihood ratio of d-prime 1 against 0, a weighted sum of right answers.
    """
    at = np.array([1.0])
    totals: dict[Link, tuple[float, float, float]] = {}
    decided = counts.trials - counts.equal  # equal scores say nothing where there is no difference
    for link, guess, right, trials in zip(
        counts.links, counts.guesses, counts.correct, decided, strict=True
    ):
        _, before, of = totals.get(link, (guess, 0.0, 0.0))
        totals[link] = (float(guess), before + float(right), of + float(trials))
    values, chances, observed = np.zeros(1), np.ones(1), 0.0
    for link, (guess, right, trials) in totals.items():
        pc = float(link(at)[0])
        weight = np.log(pc / (1 - pc)) - np.log(guess / (1 - guess))
        number = np.arange(trials + 1)
        of_number = np.exp(_log_binomial(number, int(trials), guess))
        observed += weight * right
        values = (values[:, None] + weight * number).ravel()
        chances = (chances[:, None] * of_number).ravel()
        values, chances = _together(values, chances)
    return float(min(1.0, chances[values >= observed - _TIES].sum()))


def always_dprime(counts: Counts, level: float) -> tuple[float, float]:
    """Limits that hold at every look together, if all sessions share one d-prime.

    All d-primes that the likelihood, mixed over half-normal weights, beats by less than
    1 / (1 - level) [2].
    """
    weights = -((_GRID / _PRIOR_SD) ** 2) / 2
    weights = weights - logsumexp(weights)
    curve = counts.by_session(_GRID).sum(0)
    mixed = float(logsumexp(counts.mixed_by_session(_GRID).sum(0) + weights))
    kept = np.flatnonzero(mixed - curve < -np.log1p(-level))
    if not len(kept):  # the best d-prime itself, to the grid
        kept = np.array([int(curve.argmax())])
    low, high = float(_GRID[kept[0]]), float(_GRID[kept[-1]])
    least = max(0.0, low - _STEP) if low > 0 else 0.0
    return least, min(high + _STEP, FARTHEST) if high < FARTHEST else np.inf


def _top(height: Callable[[float], float], near: float) -> tuple[float, float]:
    """The maximum near a point of the grid; 0 where it lies at guessing."""
    low, high = max(0.0, near - _STEP), min(FARTHEST, near + _STEP)
    best = minimize_scalar(
        lambda at: -height(at), bounds=(low, high), method="bounded", options={"xatol": 1e-10}
    )
    if low == 0.0 and height(0.0) >= -float(best.fun):
        return 0.0, height(0.0)
    return float(best.x), -float(best.fun)


def _inner(height: Callable[[float], float], most: float) -> float:
    """The largest height over the other parameter."""
    best = minimize_scalar(
        lambda at: -height(at), bounds=(0, most), method="bounded", options={"xatol": 1e-7}
    )
    return max(-float(best.fun), height(0.0))


def _crossing(height: Callable[[float], float], target: float, top: float, end: float) -> float:
    """Where the height falls to the target between its top and an end; the end if it does not."""
    if height(end) >= target:
        return np.inf if end == FARTHEST else end
    return float(brentq(lambda at: height(at) - target, end, top, xtol=1e-9))


def _log_binomial(number: Floats, trials: int, chance: float) -> Floats:
    from_end = np.cumsum(np.concatenate([[0.0], np.log(np.arange(1, trials + 1))]))
    of = number.astype(int)
    ways = from_end[trials] - from_end[of] - from_end[trials - of]
    return np.asarray(ways + number * np.log(chance) + (trials - number) * np.log1p(-chance))


def _together(values: Floats, chances: Floats) -> tuple[Floats, Floats]:
    """Equal sums as one."""
    order = np.argsort(values)
    values, chances = values[order], chances[order]
    begins = np.concatenate([[True], np.diff(values) > _TIES])
    return values[begins], np.add.reduceat(chances, np.flatnonzero(begins))


def limits_of_sessions(counts: Counts, level: float) -> Sequence[DprimeFit]:
    """d-prime of each session by itself."""
    return [
        common_dprime(
            Counts(
                links=counts.links[at : at + 1],
                guesses=counts.guesses[at : at + 1],
                correct=counts.correct[at : at + 1],
                trials=counts.trials[at : at + 1],
                equal=counts.equal[at : at + 1],
            ),
            level,
        )
        for at in range(len(counts))
    ]
