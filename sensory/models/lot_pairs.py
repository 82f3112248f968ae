"""Two recipes by choice tests over pairs of lots: their shift, and how far lots scatter.

Lot of the new recipe against lot of the present one: d-prime = |shift + e|, e normal with mean 0
and standard deviation `scatter`, each pair with lots of its own; two lots of one recipe: |e|. A
test that names an attribute has no absolute value, its d-prime may be negative: the share of right
answers lies below guessing then.

Why so
------
Both parameters lie on a grid, where the likelihood of every possible count is known once; a fit is
a sum of rows, so that a plan can be tried out on thousands of simulated trials. With few pairs a
chi-square limit is far too narrow: the drop of the log-likelihood is that at which the t interval
of as many normal values ends, K/2 log(1 + t^2 / (K - 1)), to which it comes where answers are many.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import minimize, minimize_scalar
from scipy.special import stdtrit

from ..base.arrays import Floats, Ints

Link = Callable[[Floats], Floats]
SHIFTS = np.arange(0.0, 5.0 + 0.01, 0.05)
SCATTERS = np.arange(0.0, 3.0 + 0.01, 0.1)
_NODES = np.linspace(-6.0, 6.0, 161)
"""Even nodes: a sum over them is all but exact for smooth curves, and many answers make narrow ones
that fall between the wide nodes of a Gauss rule."""
_LOG_WEIGHTS = -(_NODES**2) / 2 - np.log(np.exp(-(_NODES**2) / 2).sum())
_LEAST, _NOTHING = 1e-12, 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """How a pair was asked: link, whether its d-prime has a sign, answers, whether a control."""

    link: Link
    signed: bool
    trials: int
    control: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LotFit:
    """Shift of the recipe with its limits, scatter of pairs, and what the shift adds to the
    log-likelihood."""

    shift: float
    low: float
    high: float
    scatter: float
    gained: float


def height(asked: Asked, correct: int, shift: float, scatter: float) -> float:
    """Log-likelihood of one pair, binomial coefficients left out.

    >>> from sensory.choices.protocols import PAIRED
    >>> asked = Asked(link=PAIRED.proportion_correct, signed=True, trials=4)
    >>> round(height(asked, 4, 0.0, 0.0), 4)
    -2.7726
    """
    logs = _logs(asked, np.array([shift]), np.array([scatter]))
    return float(_summed(asked, correct, *logs)[0, 0])


@lru_cache(maxsize=64)
def table(asked: Asked) -> Floats:
    """Log-likelihood of each count from 0 on: (counts, shifts, scatters).

    A test with a sign has shifts below 0 as well, first.
    """
    logs = _grid_logs(asked.link, asked.signed, asked.control)
    return np.array([_summed(asked, right, *logs) for right in range(asked.trials + 1)])


def shifts(signed: bool) -> Floats:
    """The shifts of the grid."""
    return np.concatenate([-SHIFTS[:0:-1], SHIFTS]) if signed else SHIFTS


def drop_of(pairs: int, level: float) -> float:
    """How far the log-likelihood falls at the limits of the shift."""
    t = float(stdtrit(pairs - 1, (1 + level) / 2))
    return pairs / 2 * float(np.log1p(t * t / (pairs - 1)))


def lot_limits(curves: Floats, signed: bool, drop: float) -> tuple[Floats, Floats, Floats]:
    """Best shift and its limits for log-likelihoods (trials, shifts), scatter taken out.

    Limits are interpolated between points of the grid; the upper one is infinite where the grid
    ends before.
    """
    at = shifts(signed)
    best = curves.argmax(axis=1)
    fall = curves.max(axis=1)[:, None] - curves - drop  # below 0 inside
    inside = fall < 0
    first, last = inside.argmax(axis=1), at.size - 1 - inside[:, ::-1].argmax(axis=1)
    rows = np.arange(len(curves))

    def between(inner: Ints, outer: Ints) -> Floats:
        near, far = fall[rows, inner], fall[rows, outer]
        share = np.where(far > near, -near / np.maximum(far - near, 1e-300), 0.0)
        return np.asarray(at[inner] + share * (at[outer] - at[inner]))

    low = between(first, np.maximum(first - 1, 0))
    high = between(last, np.minimum(last + 1, at.size - 1))
    high = np.where(last == at.size - 1, np.inf, high)
    if signed:
        low = np.where(first == 0, -np.inf, low)
    return at[best], low, high


def fit_lots(asked: Sequence[Asked], correct: Sequence[int], level: float) -> LotFit:
    """The shift with its limits; two pairs or more, all with a sign or none."""
    signed = asked[0].signed
    surface = np.sum(
        [
            _summed(each, right, *_grid_logs(each.link, each.signed, each.control))
            for each, right in zip(asked, correct, strict=True)
        ],
        axis=0,
    )
    curve = surface.max(axis=1)
    drop = drop_of(len(asked), level)
    start, low, high = (float(each[0]) for each in lot_limits(curve[None], signed, drop))

    def loss(at: Floats) -> float:
        pairs = zip(asked, correct, strict=True)
        return -sum(height(each, right, float(at[0]), float(at[1])) for each, right in pairs)

    first = np.array([start, float(SCATTERS[surface.max(axis=0).argmax()])])
    bounds = [(-SHIFTS[-1] if signed else 0.0, SHIFTS[-1]), (0.0, SCATTERS[-1])]
    best = minimize(loss, first, method="L-BFGS-B", bounds=bounds, tol=1e-12)
    none = minimize_scalar(
        lambda scatter: loss(np.array([0.0, scatter])), bounds=(0.0, SCATTERS[-1]), method="bounded"
    )
    gained = max(0.0, min(float(none.fun), loss(np.zeros(2))) - float(best.fun))
    if gained < drop:  # the grid of scatters may miss this by a hair
        low, high = min(low, 0.0), max(high, 0.0)
    return LotFit(
        shift=_settled(float(best.x[0])),
        low=low,
        high=high,
        scatter=_settled(float(best.x[1])),
        gained=gained,
    )


def _settled(value: float) -> float:
    """A value that the search has left just beside 0 is 0."""
    return value if abs(value) > _NOTHING else 0.0


def chance_within(
    asked: Asked, pairs: int, *, limit: float, shift: float, scatter: float, level: float,
    draws: int, seed: int,
) -> float:  # fmt: skip
    """Chance that both limits of the shift lie within the agreed one, by simulated trials."""
    rng = np.random.default_rng(seed)
    true = shift + scatter * rng.normal(size=(draws, pairs))
    right = rng.binomial(asked.trials, _pc(asked, true))
    surface = table(asked)
    curves = np.empty((draws, surface.shape[1]))
    for start in range(0, draws, 100):
        some = right[start : start + 100]
        curves[start : start + 100] = surface[some].sum(axis=1).max(axis=2)
    _, low, high = lot_limits(curves, asked.signed, drop_of(pairs, level))
    return float(((high < limit) & (low > -limit)).mean())


def _pc(asked: Asked, true: Floats) -> Floats:
    pc = np.asarray(asked.link(np.abs(true).ravel()), float).reshape(true.shape)
    pc = np.where(true < 0, 1 - pc, pc) if asked.signed else pc
    return np.clip(pc, _LEAST, 1 - _LEAST)


@lru_cache(maxsize=4)
def _grid_logs(link: Link, signed: bool, control: bool) -> tuple[Floats, Floats]:
    """The logarithms on the whole grid, which no number of answers changes."""
    asked = Asked(link=link, signed=signed, trials=1, control=control)
    return _logs(asked, shifts(signed), SCATTERS)


def _logs(asked: Asked, shift: Floats, scatter: Floats) -> tuple[Floats, Floats]:
    """Logarithms of right and wrong at each shift, scatter and node."""
    centre = np.zeros_like(shift) if asked.control else shift
    pc = _pc(asked, centre[:, None, None] + scatter[None, :, None] * _NODES)
    return np.log(pc), np.log1p(-pc)


def _summed(asked: Asked, correct: int, right: Floats, wrong: Floats) -> Floats:
    """The integral over the scatter, by its logarithm."""
    each = correct * right + (asked.trials - correct) * wrong + _LOG_WEIGHTS
    most = each.max(axis=2)
    return np.asarray(most + np.log(np.exp(each - most[:, :, None]).sum(axis=2)))
