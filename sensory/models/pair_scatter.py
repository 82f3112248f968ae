"""The scatter of two samples: their own within assessors, and as much of the panel's as agrees.

Why so
------
One scatter for all comparisons makes those of the sample that scatters most too sure: with 2.4
times the scatter of its neighbours, 8 assessors and 4 samples, t says 'different' in 0.12 and
'equivalent' at the margin in 0.096 for 0.05. A paired t-test of the two samples always keeps its
risk, and throws away what the other samples say about a scatter that they share. So the rest of
the interaction counts by a weight, the square of the p of 'the own scatter is no larger'. Chosen by
simulation (`tests/calibration/test_own_scatter.py`): weights 2 p and p leave risks of 0.08 and 0.07
for 0.05, the square 0.057 at most; all or nothing at p = 0.5 finds less.
"""

from __future__ import annotations

import numpy as np
from scipy.special import fdtrc

from ..base.arrays import Floats, Ints
from .mean_squares import BOTH, MeanSquares
from .mixed import ERROR


def pair_scatter(squares: MeanSquares, first: Ints, other: Ints) -> tuple[Floats, Floats]:
    """Mean square and degrees of freedom for comparing samples, each (responses, pairs).

    The differences within assessors who scored both take from the interaction a sum of squares
    with their number less 1 degrees of freedom; the rest is independent of it. With w = p^2, p of F
    that the own is larger than the rest, the mean square is (own + w rest) / (df + w df of rest),
    on df + w df of rest. At w = 0 this is the paired t-test, at w = 1 the model's.

    Examples
    --------
    >>> from sensory.models.mean_squares import mean_squares
    >>> rng = np.random.default_rng(2)
    >>> scores = rng.normal(size=(9, 4, 1)) * np.array([[3.0], [1.0], [1.0], [1.0]])
    >>> squares = mean_squares(scores[:, :, None, None, :])
    >>> ms, df = pair_scatter(squares, np.array([1, 1]), np.array([2, 0]))
    >>> df.round(1)  # 24 of the interaction, 8 of a pair alone
    array([[23.8,  8.8]])
    """
    at = squares.sources.index(BOTH if BOTH in squares.sources else ERROR)
    whole, free = squares.ss[:, at, None], np.atleast_2d(squares.df)[:, at, None]
    own, df = _own(squares.cells, first, other)
    own = np.minimum(own * np.reshape(squares.each, (-1, 1)), whole)
    rest, rest_df = whole - own, free - df
    compared = (df > 0) & (rest_df > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        larger = (own / df) / (rest / rest_df)
        p = np.where(compared, fdtrc(df, np.maximum(rest_df, 1), larger), 1.0)
    weight = np.where(np.isfinite(p), p, 1.0) ** 2
    freedom = df + weight * rest_df
    return (own + weight * rest) / freedom, freedom


def _own(cells: Floats, first: Ints, other: Ints) -> tuple[Floats, Floats]:
    """Half the sum of squares of the differences within assessors, and its df; 0 without any."""
    there = np.isfinite(cells)
    level = np.where(there, cells, 0.0).sum(2) / np.maximum(there.sum(2), 1)
    value = np.where(there, cells - level[:, :, None], 0.0)
    filled = there.astype(float)

    def sums(left: Floats, right: Floats) -> Floats:
        return (left.swapaxes(1, 2) @ right)[:, first, other]

    number = sums(filled, filled)
    total = sums(value, filled) - sums(filled, value)
    square = sums(value**2, filled) + sums(filled, value**2) - 2 * sums(value, value)
    own = np.maximum(square - total**2 / np.maximum(number, 1), 0.0) / 2
    return np.where(number > 1, own, 0.0), np.maximum(number - 1, 0.0)
