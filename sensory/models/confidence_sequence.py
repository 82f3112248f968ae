"""Limits of a proportion that hold at every look together.

[1] Robbins, H. (1970). Annals of Mathematical Statistics 41, 1397-1409: mixtures of
    likelihood ratios, and Ville's inequality. (From memory.)

Why so
------
Counts looked at after every batch have limits that hold at all looks (mixture of likelihood
ratios) beside the exact ones for a single look. Similarity is not concluded from a total: the
same assessors come back.
"""

from __future__ import annotations

import numpy as np
from scipy.special import betaln

from ..base.arrays import Floats
from .likelihood import log_likelihood

_A = 0.5  # Jeffreys' weights: the interval stays short over the whole range of proportions


def log_evidence(correct: Floats, trials: Floats, pc: Floats) -> Floats:
    """Log of the mixed likelihood over that of `pc`.

    With Beta(1/2, 1/2) weights the ratio is B(x + 1/2, n - x + 1/2) / B(1/2, 1/2) over
    pc^x (1 - pc)^(n - x). While pc is true it is a martingale that starts at 1, so it ever
    reaches 1 / alpha with chance alpha at most [1].
    """
    mixed = betaln(correct + _A, trials - correct + _A) - betaln(_A, _A)
    return np.asarray(mixed - log_likelihood(correct, trials, pc), float)


def always_limits(correct: Floats, trials: Floats, level: float) -> tuple[Floats, Floats]:
    """Limits of a proportion that all hold, whenever and however often one looks.

    Parameters
    ----------
    correct, trials : float array, shape (looks,)
        Counts so far.
    level : float
        Chance, at the least, that the limits of all looks hold the one true proportion.

    Notes
    -----
    All proportions whose `log_evidence` against them stays below -log(1 - level). Wider than
    the limits for a single look, which is the price of looking again and again.

    Examples
    --------
    >>> low, high = always_limits(np.array([14.0]), np.array([24.0]), 0.95)
    >>> low.round(3).tolist(), high.round(3).tolist()
    ([0.28], [0.847])
    """
    share = correct / trials
    most = -np.log(1 - level)
    low = _edge(correct, trials, most, np.zeros_like(share), share)
    high = _edge(correct, trials, most, np.ones_like(share), share)
    return low, high


def _edge(correct: Floats, trials: Floats, most: float, outer: Floats, inner: Floats) -> Floats:
    """Where the evidence reaches `most`, between `inner` (below it) and `outer`."""
    inside, outside = inner.copy(), outer.copy()
    reached = log_evidence(correct, trials, outer) < most
    for _ in range(60):
        middle = (inside + outside) / 2
        fits = log_evidence(correct, trials, middle) < most
        inside, outside = np.where(fits, middle, inside), np.where(fits, outside, middle)
    return np.where(reached, outer, (inside + outside) / 2)
