"""Roots of many functions of one number at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..base.arrays import Floats

_NEAR = 1e-12  # of the function, which is a logarithm or a normal quantile of a chance
_MOST_STEPS = 60


def falling_roots(excess: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """Where functions that fall from `low` to `high` are 0, each in its own bracket.

    Regula falsi (Illinois): the end that stays a second time counts half. A function that is not
    above 0 at `low` gives `low`, and one that is not below at `high` gives `high`.

    >>> falling_roots(lambda x: np.array([1.0, 9.0]) - x**2, np.zeros(2), np.full(2, 5.0))
    array([1., 3.])
    """
    at_low, at_high = excess(low), excess(high)
    outside = (at_low <= 0) | (at_high >= 0)
    ends = np.where(at_low <= 0, low, high)
    at_low, at_high = np.where(outside, 1.0, at_low), np.where(outside, -1.0, at_high)
    middle: Floats = low
    moved = np.zeros(low.shape)  # 1: low was moved by the step before, -1: high
    for _ in range(_MOST_STEPS):
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at_middle = np.where(outside, 0.0, excess(middle))
        if np.abs(at_middle).max(initial=0.0) < _NEAR:
            break
        right = at_middle > 0
        at_high = np.where(right, at_high / np.where(moved > 0, 2, 1), at_middle)
        at_low = np.where(right, at_middle, at_low / np.where(moved < 0, 2, 1))
        moved = np.where(right, 1.0, -1.0)
        low, high = np.where(right, middle, low), np.where(right, high, middle)
    return np.where(outside, ends, middle)
