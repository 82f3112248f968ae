"""Two coded samples scored for their distance from one labelled reference: d-prime by their order.

The reference, the blind control and the batch give normal percepts of sd 1, the batch shifted by
d-prime. An assessor scores the batch higher where it lies further from the reference than the
blind control does, by more than a band; within the band both scores are alike. With no band this is
the decision of a duo-trio test [1], with a band it has the closed form of `order_chances`.

[1] The link of the duo-trio test in `links`: U and V, the difference and the sum of both distances
    with their signs, are independent, with variances 2 and 6. (Own derivation, held against
    simulation and an integral in `tests/evidence/test_planned_looks.py`.)

Why so
------
Scores are points of a scale that each assessor uses as they like; how far two of them lie apart is
no distance on the axis of d-prime. Their order within an assessor is the same on every scale that
rises with the distance. Scores rounded to whole points, heaped at 0, or of assessors who use the
scale by factors of 0.4 to 2.5 gave 0.98 to 1.02 for a d-prime of 1 and 1.94 to 2.00 for 2 (400,000
simulated assessors each); a reference tasted anew for each sample 0.92 to 0.94 and 1.90 to 1.92.
How wide the band is follows from the equal scores, so the likelihood is
taken at the best band for each d-prime; where limits have to hold at every look it is mixed over
bands instead, since a largest value is no martingale.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp, ndtr, xlogy

from ..base.arrays import Floats

_WIDEST = 12.0
_GOLDEN = (np.sqrt(5.0) - 1) / 2
_STEPS = 45
_GRID = np.arange(0.0, 10.0 + 0.01, 0.02)
_BANDS = np.arange(0.025, 4.0, 0.05)
_ROOT2, _ROOT6 = np.sqrt(2.0), np.sqrt(6.0)


def order_chances(dprime: Floats, band: Floats) -> tuple[Floats, Floats, Floats]:
    """Chance that the batch is scored further away than the blind control, alike, and nearer.

    Parameters
    ----------
    dprime, band : float array
        Broadcast together; both 0 or more.

    Examples
    --------
    >>> up, alike, down = order_chances(np.array([0.0, 1.0]), np.array([0.0, 0.5]))
    >>> up.round(4).tolist(), alike.round(4).tolist(), down.round(4).tolist()
    ([0.5, 0.4097], [0.0, 0.334], [0.5, 0.2563])
    """
    ahead, behind = dprime - band, -dprime - band
    near, far = ndtr(ahead / _ROOT2), ndtr(behind / _ROOT2)
    near_sum, far_sum = ndtr(ahead / _ROOT6), ndtr(behind / _ROOT6)
    up = near * near_sum + far * far_sum
    down = far * near_sum + near * far_sum
    return up, np.maximum(1 - up - down, 0.0), down


def best_band(further: int, alike: int, nearer: int, dprime: Floats) -> Floats:
    """The band that explains the scores best at each d-prime."""
    low, high = np.zeros_like(dprime), np.full_like(dprime, _WIDEST)
    for _ in range(_STEPS):
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        up = _height(further, alike, nearer, dprime, left) < _height(
            further, alike, nearer, dprime, right
        )
        low, high = np.where(up, left, low), np.where(up, high, right)
    return (low + high) / 2


def order_likelihood(further: int, alike: int, nearer: int, dprime: Floats) -> Floats:
    """Log-likelihood at each d-prime from 0 to 10, the band chosen best for it."""
    return np.asarray(_curve(further, alike, nearer)(dprime), float)


def mixed_likelihood(further: int, alike: int, nearer: int, dprime: Floats) -> Floats:
    """The same, averaged over bands up to 4 with equal weights."""
    heights = _height(further, alike, nearer, dprime[:, None], _BANDS[None, :])
    return np.asarray(logsumexp(heights, axis=1) - np.log(len(_BANDS)), float)


@lru_cache(maxsize=256)
def _curve(further: int, alike: int, nearer: int) -> CubicSpline:
    band = best_band(further, alike, nearer, _GRID)
    return CubicSpline(_GRID, _height(further, alike, nearer, _GRID, band))


def _height(further: int, alike: int, nearer: int, dprime: Floats, band: Floats) -> Floats:
    up, same, down = order_chances(dprime, band)
    return np.asarray(xlogy(further, up) + xlogy(alike, same) + xlogy(nearer, down))
