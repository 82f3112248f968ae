"""What chance alone gives when things are put into an order or matched: exact distributions.

[1] Kendall, M. G. (1938). Biometrika 30, 81-93: inversions of two rankings.
[2] Spearman, C. (1904). Amer. J. Psychol. 15, 72-101: squared differences of ranks.
[3] Feller, W. (1968). An Introduction to Probability Theory 1, 3rd ed., IV.4: matches.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from math import comb, factorial

import numpy as np

MOST_ORDERED = 12
"""Things up to which the squared differences of ranks are listed."""


@cache
def inversion_counts(things: int) -> tuple[int, ...]:
    """How many orders of so many things have 0, 1, 2 ... pairs the wrong way round.

    >>> inversion_counts(4)
    (1, 3, 5, 6, 5, 3, 1)
    """
    counts = [1]
    for size in range(2, things + 1):
        longer = [0] * (len(counts) + size - 1)
        for place, count in enumerate(counts):
            for step in range(size):
                longer[place + step] += count
        counts = longer
    return tuple(counts)


@cache
def difference_counts(things: int) -> tuple[int, ...]:
    """How many orders have the sum of squared differences of ranks 0, 1, 2 ...

    Built place by place over the sets of things used so far.

    >>> difference_counts(3)
    (1, 0, 2, 0, 0, 0, 2, 0, 1)
    """
    most = things * (things**2 - 1) // 3
    ways = {0: np.eye(1, most + 1, dtype=np.int64)[0]}
    for place in range(things):
        onward: dict[int, np.ndarray] = {}
        for used, counts in ways.items():
            for thing in range(things):
                if used >> thing & 1:
                    continue
                far = (thing - place) ** 2
                longer = onward.setdefault(used | 1 << thing, np.zeros(most + 1, dtype=np.int64))
                longer[far:] += counts[: most + 1 - far]
        ways = onward
    return tuple(int(count) for count in ways[(1 << things) - 1])


@cache
def match_masses(labels: int, offered: int) -> tuple[Fraction, ...]:
    """P(0, 1, ... labels right) when each label gets another of the things offered by chance.

    With m labels and n things, by inclusion and exclusion [3]:
    P(x) = C(m, x) sum_j (-1)^j C(m-x, j) (n-x-j)! / n!.

    >>> match_masses(3, 3)
    (Fraction(1, 3), Fraction(1, 2), Fraction(0, 1), Fraction(1, 6))
    """
    every = factorial(offered)
    masses = []
    for right in range(labels + 1):
        ways = sum(
            (-1) ** wrong * comb(labels - right, wrong) * factorial(offered - right - wrong)
            for wrong in range(labels - right + 1)
        )
        masses.append(Fraction(comb(labels, right) * ways, every))
    return tuple(masses)
