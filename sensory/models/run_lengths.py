"""How long a chart runs before it signals: exact chains and an integral equation.

The average run length is the mean number of points up to and including the first signal,
with centre and standard deviation known: the longest possible where nothing changed, the
shortest after a shift.

[1] Champ, C.W. and Woodall, W.H. (1987). Technometrics 29, 393-399: rules as a chain.
[2] Crowder, S.V. (1987). Technometrics 29, 401-407: integral equation of the EWMA.
[3] Lucas, J.M. and Saccucci, M.S. (1990). Technometrics 32, 1-12. (All from memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.sparse import coo_array, eye_array
from scipy.sparse.linalg import spsolve
from scipy.special import ndtr, ndtri

from ..base.arrays import Bools, Floats
from .charts import INSIDE, OUTSIDE, SAME_SIDE, RunRule

State = tuple[int, ...]

COUNTABLE = (SAME_SIDE, INSIDE, OUTSIDE)
"""Kinds of rules that a chain of zones can follow."""


class _Watch:
    """One side of one rule: which zones count, and the points that still matter."""

    def __init__(self, count: int, window: int, counts: Bools):
        self.count, self.window, self.counts = count, window, counts

    def step(self, past: int, zone: int) -> int | None:
        """The past as bits, latest lowest, after one more point; None at the signal."""
        now = past << 1 | int(self.counts[zone])
        if now & 1 and now.bit_count() >= self.count:
            return None
        kept = now & ((1 << (self.window - 1)) - 1)
        for age in range(self.window - 2, -1, -1):  # forget what can complete no pattern
            if (kept & ((2 << age) - 1)).bit_count() + self.window - 1 - age < self.count:
                kept &= (1 << age) - 1
            else:
                break
        return kept


def rules_run_length(rules: Sequence[RunRule], *, width: float = 3.0, shift: float = 0.0) -> float:
    """Average run length of Shewhart limits with run rules, exact [1].

    Parameters
    ----------
    rules : sequence of RunRule
        Of the kinds in `COUNTABLE`; what compares neighbours is no chain of zones.
    width : float
        Limits of the chart in standard deviations.
    shift : float
        True distance from the centre line, in standard deviations.

    Examples
    --------
    >>> from sensory.models.charts import RUN_RULES
    >>> round(rules_run_length([RUN_RULES["limit"]]), 1)
    370.4
    """
    edges, watches = _watches(rules, width)
    chance = np.diff(ndtr(np.concatenate([[-np.inf], edges, [np.inf]]) - shift))
    places: dict[State, int] = {(0,) * len(watches): 0}
    waiting, moves = list(places), []
    while waiting:
        state = waiting.pop()
        for zone, mass in enumerate(chance):
            after = [watch.step(past, zone) for watch, past in zip(watches, state, strict=True)]
            if None in after:
                continue
            new: State = tuple(past for past in after if past is not None)
            if new not in places:
                places[new] = len(places)
                waiting.append(new)
            moves.append((places[state], places[new], mass))
    size = len(places)
    if not moves:
        return 1.0
    rows, columns, masses = zip(*moves, strict=True)
    chain = coo_array((masses, (rows, columns)), shape=(size, size)).tocsc()
    return float(np.atleast_1d(spsolve((eye_array(size) - chain).tocsc(), np.ones(size)))[0])


def _watches(rules: Sequence[RunRule], width: float) -> tuple[Floats, list[_Watch]]:
    zones = [width if rule.zone is None else rule.zone for rule in rules]
    edges = np.unique(np.concatenate([zones, -np.array(zones)]) + 0.0)
    ends = np.concatenate([[edges[0] - 2], edges, [edges[-1] + 2]])
    middle = (ends[1:] + ends[:-1]) / 2
    watches = []
    for rule, zone in zip(rules, zones, strict=True):
        sides = {
            SAME_SIDE: [middle > zone, middle < -zone],
            INSIDE: [np.abs(middle) < zone],
            OUTSIDE: [np.abs(middle) > zone],
        }[rule.kind]
        watches += [_Watch(rule.count, rule.window, side) for side in sides]
    return edges, watches


def ewma_run_length(
    weight: float, width: float, *, shift: float = 0.0, widening: bool = True
) -> float:
    """Average run length of an exponentially weighted mean.

    Parameters
    ----------
    weight : float
        Of the latest point, in (0, 1].
    width : float
        Limits in standard deviations of the mean.
    shift : float
        True distance from the centre line, in standard deviations of a point, from the first
        point on.
    widening : bool
        Limits that widen with time; otherwise those of the long run from the start on, as
        the published tables have them.

    Notes
    -----
    L(x) = 1 + integral over the next means y within the limits of
    L(y) phi((y - (1 - w) x) / w - shift) / w [2], on Gauss-Legendre nodes; before that, one
    step back for each point until the limits stand still.

    Examples
    --------
    >>> round(ewma_run_length(0.1, 2.814, widening=False))
    500
    """
    end = width * np.sqrt(weight / (2 - weight))
    nodes, mass = np.polynomial.legendre.leggauss(int(np.clip(12 / np.sqrt(weight), 32, 200)))

    def kernel(start: Floats, half: float) -> Floats:
        z = (half * nodes[None, :] - (1 - weight) * start[:, None]) / weight - shift
        return half * mass * np.exp(-z * z / 2) / (weight * np.sqrt(2 * np.pi))

    left = np.linalg.solve(np.eye(len(nodes)) - kernel(end * nodes, end), np.ones(len(nodes)))
    steps = int(np.ceil(np.log(1e-9) / np.log1p(-weight) / 2)) if widening and weight < 1 else 0
    halves = end * np.sqrt(1 - (1 - weight) ** (2.0 * np.arange(1, steps + 1)))
    half = end
    for before in halves[::-1]:
        left, half = 1 + kernel(before * nodes, half) @ left, float(before)
    return float(1 + (kernel(np.zeros(1), half) @ left)[0])


@lru_cache(maxsize=64)
def ewma_width(weight: float, run_length: float) -> float:
    """Limits of the mean for an average run length of `run_length` where nothing changes.

    >>> round(ewma_width(1.0, 370.398), 3)
    3.0
    """
    most = 0.1 - float(ndtri(0.5 / run_length))  # means go together, so points need the widest

    def missing(width: float) -> float:
        return float(np.log(ewma_run_length(weight, width) / run_length))

    return float(brentq(missing, 0.05, most, xtol=1e-9))
