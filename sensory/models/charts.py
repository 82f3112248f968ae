"""Control charts: limits, the exponentially weighted mean, and runs that are not chance.

Arrays in and out. Points may have unequal standard deviations; with equal ones all reduce to
the printed formulas.

[1] After ISO 7870-2 (and ISO 8258 before it): Shewhart charts, moving range, tests for patterns.
    (From memory, no edition looked up: 7870-2 names runs and trends of seven, 8258 eight tests.)
[2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2: Shewhart charts 6.3.2.1,
    individuals 6.3.2.2, EWMA 6.3.2.4. (From memory.)
[3] Roberts, S.W. (1959). Technometrics 1, 239-250: the exponentially weighted mean.
[4] Lucas, J.M. and Saccucci, M.S. (1990). Technometrics 32, 1-12: its limits in time.

Why so
------
Run rules are data (`RUN_RULES`); which edition holds which is recalled, not read. Default: limits
and nine on one side, once in 217 batches by chance (seven on one side: once in 96), and a
weighted mean with the run length of the limits alone. Run lengths take centre and scatter as
known; with limits from 8, 12, 20, 40 batches 0.53, 0.49, 0.42, 0.34 of unchanged lines signal
within the next 40, for at most 0.25 if both were known; a shift of one standard deviation takes 8
batches (`tests/calibration/test_trend_signals.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from ..base.arrays import Bools, Floats, Ints
from ..base.standards import STANDARDS

D2 = float(2 / np.sqrt(np.pi))
"""Mean range of two standard normal values; printed as 1.128 [1]."""

THREE_SIGMA = float(2 * ndtr(-3.0))
"""Chance that a standard normal value lies beyond 3 on either side, 0.0027."""

SAME_SIDE, INSIDE, OUTSIDE = "same side", "inside", "outside"
RISING, ALTERNATING = "rising or falling", "alternating"


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRule:
    """A pattern that chance alone seldom gives; its last point raises the signal.

    Attributes
    ----------
    key, words : str
        How it is called, and what is seen on the chart.
    kind : str
        ``same side``: `count` of the last `window` points beyond `zone` on one side, the
        last among them; ``inside`` or ``outside``: all of `window` points nearer than `zone`,
        or further away on whichever side; ``rising or falling``: `window` points, each beyond
        the one before in one direction; ``alternating``: `window` points up and down by turns.
    zone : float or None
        In standard deviations from the centre line; None means the limits of the chart, and
        kinds that only compare neighbours have none.
    """

    key: str
    words: str
    kind: str
    count: int
    window: int
    zone: float | None = None
    source: str

    def hits(self, z: Floats, width: float = 3.0) -> Bools:
        """Where the pattern is complete.

        Parameters
        ----------
        z : float array, shape (..., points)
            Standardised: distance from the centre line over the point's own standard
            deviation, in the order of time along the last axis.
        width : float
            Limits of the chart in standard deviations.

        Notes
        -----
        A point exactly on a line lies neither beyond nor nearer, and equal neighbours neither
        rise nor fall. z is rounded to 10 decimals, so that rounding breaks no tie.
        """
        z = np.round(np.asarray(z, float), 10)
        if self.kind in (RISING, ALTERNATING):
            return self._between_neighbours(z)
        zone = width if self.zone is None else self.zone
        sides = {
            SAME_SIDE: [z > zone, z < -zone],
            INSIDE: [np.abs(z) < zone],
            OUTSIDE: [np.abs(z) > zone],
        }[self.kind]
        hits = [side & (_last(side, self.window) >= self.count) for side in sides]
        return np.logical_or.reduce(hits)

    def _between_neighbours(self, z: Floats) -> Bools:
        step = np.sign(np.diff(z, axis=-1, prepend=z[..., :1]))
        if self.kind == RISING:
            needed = self.window - 1
            up, down = (_last(step == way, needed) == needed for way in (1, -1))
            return np.asarray(up | down)
        turns = np.zeros(z.shape, bool)
        turns[..., 1:] = step[..., 1:] * step[..., :-1] < 0
        return np.asarray(_last(turns, self.window - 2) == self.window - 2)


def _last(there: Bools, window: int) -> Ints:
    """How many of the last `window` entries are true, at each place of the last axis."""
    total = np.cumsum(there, axis=-1)
    before = np.zeros_like(total)
    before[..., window:] = total[..., :-window]
    return total - before


def _rule(
    key: str, words: str, kind: str, count: int, window: int, zone: float | None, source: str
) -> RunRule:
    return RunRule(
        key=key, words=words, kind=kind, count=count, window=window, zone=zone, source=source
    )


_NEW, _OLD = (f"{STANDARDS[number]}, from memory" for number in ("ISO 7870-2", "ISO 8258"))
RUN_RULES = {
    rule.key: rule
    for rule in (
        _rule("limit", "beyond the limits of the chart", SAME_SIDE, 1, 1, None, _NEW),
        _rule("seven on one side", "seven in a row on one side", SAME_SIDE, 7, 7, 0.0, _NEW),
        _rule("seven rising", "seven in a row, rising or falling", RISING, 7, 7, None, _NEW),
        _rule("nine on one side", "nine in a row on one side", SAME_SIDE, 9, 9, 0.0, _OLD),
        _rule("six rising", "six in a row, rising or falling", RISING, 6, 6, None, _OLD),
        _rule("alternating", "fourteen up and down by turns", ALTERNATING, 14, 14, None, _OLD),
        _rule("two of three", "two of three beyond 2 sigma", SAME_SIDE, 2, 3, 2.0, _OLD),
        _rule("four of five", "four of five beyond 1 sigma", SAME_SIDE, 4, 5, 1.0, _OLD),
        _rule("too even", "fifteen in a row within 1 sigma", INSIDE, 15, 15, 1.0, _OLD),
        _rule("two heaps", "eight in a row, none within 1 sigma", OUTSIDE, 8, 8, 1.0, _OLD),
    )
}
"""The rules as data: what a chart looks for is a choice of keys."""


def moving_range_sigma(values: Floats) -> float:
    """Standard deviation from the mean moving range, ``mean |x_i - x_(i-1)| / d2`` [2].

    One step or a slow drift hardly enters, unlike in the standard deviation of all values.

    >>> round(moving_range_sigma(np.array([1.0, 2.0, 1.0, 3.0])), 4)
    1.1816
    """
    return float(np.abs(np.diff(values)).mean() / D2)


def batch_scatter(values: Floats, se: Floats) -> float:
    """Standard deviation of the batches themselves, what is measured taken off.

    Parameters
    ----------
    values, se : float array, shape (points,)
        Estimates in the order of time, and the standard error of each.

    Returns
    -------
    float
        The tau for which the moving ranges add up to their expectation,
        ``sum d2 sqrt(tau^2 + (se_i^2 + se_(i-1)^2) / 2)``; 0 where the standard errors alone
        give as much. With equal standard errors ``tau^2 + se^2`` is the square of
        `moving_range_sigma`.
    """
    usual = moving_range_sigma(values)
    if usual == 0:
        return 0.0
    with np.errstate(over="ignore"):  # far below its noise the scatter is 0, whatever the noise
        noise = (se / usual) ** 2
    shared = (noise[1:] + noise[:-1]) / 2
    if np.sqrt(shared).mean() >= 1:
        return 0.0
    if np.ptp(shared) == 0:
        return usual * float(np.sqrt(1 - shared[0]))

    def excess(square: float) -> float:
        return float(np.sqrt(square + shared).mean() - 1)

    return usual * float(np.sqrt(brentq(excess, 0.0, 2.0, xtol=1e-15, rtol=1e-14)))


def weighted_mean(values: Floats, sigma: Floats) -> tuple[float, float]:
    """Mean with weights 1 / sigma^2, and its standard error."""
    weight = (sigma.min() / sigma) ** 2
    return float(weight @ values / weight.sum()), float(sigma.min() / np.sqrt(weight.sum()))


def ewma(values: Floats, sigma: Floats, *, centre: float, weight: float) -> tuple[Floats, Floats]:
    """Exponentially weighted mean and its standard deviation, point by point.

    Parameters
    ----------
    values, sigma : float array, shape (points,)
        Points in the order of time, and the standard deviation of each.
    centre : float
        Where the mean starts.
    weight : float
        Of the latest point, in (0, 1]; 1 gives the points themselves.

    Notes
    -----
    e_i = w x_i + (1 - w) e_(i-1) and v_i = w^2 sigma_i^2 + (1 - w)^2 v_(i-1), v_0 = 0: limits
    widen with time. For equal sigma v_i = sigma^2 w / (2 - w) [1 - (1 - w)^(2 i)] [4], whose
    end the printed charts take from the first point on.

    Examples
    --------
    >>> mean, sd = ewma(np.array([52.0, 47.0]), np.full(2, 2.0), centre=50.0, weight=0.3)
    >>> mean.round(2).tolist(), sd.round(4).tolist()
    ([50.6, 49.52], [0.6, 0.7324])
    """
    mean, variance = np.empty_like(values), np.empty_like(values)
    last, spread = centre, 0.0
    for i, (value, own) in enumerate(zip(values, sigma, strict=True)):
        last = weight * value + (1 - weight) * last
        spread = (weight * own) ** 2 + (1 - weight) ** 2 * spread
        mean[i], variance[i] = last, spread
    return mean, np.sqrt(variance)
