"""Agreement of two graders beyond chance, and votes of graders with rates of their own.

[1] Cohen, J. (1968). Psychological Bulletin 70, 213-220: weighted kappa.
[2] Fleiss, J.L., Cohen, J. and Everitt, B.S. (1969). Psychological Bulletin 72, 323-327: its
    standard error.
"""

from __future__ import annotations

import numpy as np

from ..base.arrays import Floats


def linear_weights(grades: int) -> Floats:
    """Agreement of two grades: 1 for the same, falling evenly to 0 for the ends of the scale.

    >>> linear_weights(3)[0]
    array([1. , 0.5, 0. ])
    """
    place = np.arange(grades)
    return np.asarray(1 - np.abs(place[:, None] - place) / max(grades - 1, 1))


def weighted_kappa(table: Floats, weights: Floats) -> tuple[float, float]:
    """Kappa [1] and its standard error [2] from counts, (grades, grades).

    Both NaN where chance alone would agree fully, as when both give one grade only.

    >>> kappa, se = weighted_kappa(np.array([[0.0, 4, 1], [0, 8, 0], [0, 1, 5]]), linear_weights(3))
    >>> round(kappa, 4), round(se, 4)
    (0.4701, 0.1457)
    """
    total = table.sum()
    share = table / total
    rows, columns = share.sum(1), share.sum(0)
    seen = float((weights * share).sum())
    chance = float(rows @ weights @ columns)
    if chance >= 1 - 1e-12:
        return np.nan, np.nan
    kappa = (seen - chance) / (1 - chance)
    marginal = (weights @ columns)[:, None] + (rows @ weights)[None, :]
    spread = share * (weights * (1 - chance) - marginal * (1 - seen)) ** 2
    inner = spread.sum() - (seen * chance - 2 * chance + seen) ** 2
    return kappa, float(np.sqrt(max(inner, 0.0) / total) / (1 - chance) ** 2)


def vote_masses(rates: Floats) -> Floats:
    """Chance of each number of votes where each grader votes at a rate of its own, (graders + 1,).

    >>> vote_masses(np.array([0.5, 0.5])).tolist()
    [0.25, 0.5, 0.25]
    """
    masses = np.ones(1)
    for rate in rates:
        masses = np.convolve(masses, [1 - rate, rate])
    return masses
