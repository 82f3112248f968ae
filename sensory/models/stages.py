"""Exact outcomes of tests in stages, by convolution over all paths.

A path is a number of correct answers so far; what stops leaves the walk, what goes on is
carried to the next stage. No approximation enters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from ..base.arrays import Floats


def binomial_masses(trials: int, p: float) -> Floats:
    """P(X = x) for x = 0 .. trials."""
    x = np.arange(trials + 1)
    ways = (
        scipy.special.gammaln(trials + 1)
        - scipy.special.gammaln(x + 1)
        - scipy.special.gammaln(trials - x + 1)
    )
    masses: Floats = np.exp(
        ways + scipy.special.xlogy(x, p) + scipy.special.xlog1py(trials - x, -p)
    )
    return masses


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcomes:
    """Chances of a staged test at one truth.

    Attributes
    ----------
    different, similar, undecided : float
        How it ends; they add up to 1.
    beyond : float
        Part of `different`: ended with so many correct that more is said, see `walk`.
    expected : float
        Expected number of answers.
    """

    different: float
    similar: float
    undecided: float
    expected: float
    beyond: float = 0.0


def walk(
    sizes: Sequence[int],
    similar_to: Sequence[int],
    different_from: Sequence[int],
    p: float,
    beyond_from: Sequence[int] | None = None,
) -> Outcomes:
    """Outcomes of a test that adds `sizes[k]` answers at stage k and then looks.

    Parameters
    ----------
    sizes : sequence of int
        Answers added at each stage.
    similar_to, different_from : sequence of int
        After stage k it stops with up to `similar_to[k]` or from `different_from[k]`
        correct answers in all; use -1 and a number above the total for 'never'.
    p : float
        Probability of a correct answer.
    beyond_from : sequence of int, optional
        Of those that stop at `different_from[k]` or above, from where they count as `beyond`.
    """
    going = np.ones(1)
    different = similar = expected = beyond = 0.0
    far = [sum(sizes) + 1] * len(sizes) if beyond_from is None else beyond_from
    for size, low, high, top in zip(sizes, similar_to, different_from, far, strict=True):
        expected += size * going.sum()
        going = np.convolve(going, binomial_masses(size, p)) if going.size else going
        count = np.arange(going.size)
        similar += going[count <= low].sum()
        different += going[(count >= high) & (count > low)].sum()
        beyond += going[(count >= max(high, top)) & (count > low)].sum()
        going = np.where((count > low) & (count < high), going, 0.0)
    return Outcomes(
        different=float(different),
        similar=float(similar),
        undecided=float(going.sum()),
        expected=float(expected),
        beyond=float(beyond),
    )
