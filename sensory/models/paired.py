"""Chances of the findings of a paired t-test with a limit, by quadrature over the scatter.

Differences of n assessors are normal with mean `shift` and standard deviation `scatter`.
A difference is found where mean / se >= t(1 - alpha), one beyond the limit where
mean - t(1 - alpha) se > limit, similarity where mean + t(1 - beta) se < limit. Given the
estimated scatter all are events of one normal mean, so that one integral over the chi
distribution gives each chance and their joint ones.
Each alone is a noncentral t, which the tests use as the second route.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.special import (
    gammainccinv,
    gammaincinv,
    gammaln,
    nctdtr,
    ndtr,
    roots_legendre,
    stdtrit,
)

from ..base.arrays import Floats

_TAIL = 1e-17
_NODES = 160


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PairedChances:
    """Chances at each shift: only different, only similar, both, beyond, neither; they add up to 1.

    `different`: without those that are beyond the limit.
    """

    different: Floats
    similar: Floats
    both: Floats
    beyond: Floats
    neither: Floats


def paired_chances(
    shift: Floats, *, scatter: float, assessors: int, limit: float, alpha: float, beta: float
) -> PairedChances:
    """Chances of the five findings at each true shift, risks below one half.

    Parameters
    ----------
    shift : array of float
        True mean difference.
    scatter : float
        True standard deviation of the differences of assessors.
    assessors : int
        At least 2.
    limit : float
        Above 0.
    """
    df = assessors - 1
    se = scatter / np.sqrt(assessors)
    t_alpha, t_beta = float(stdtrit(df, 1 - alpha)), float(stdtrit(df, 1 - beta))
    # Up to this scatter a mean can be significant and below the limit.
    edge = limit / (se * (t_alpha + t_beta))
    u, weight = _scatter_nodes(df, float(edge))
    z = np.asarray(shift, float)[..., None] / se
    significant = ndtr(z - t_alpha * u)
    below = ndtr(limit / se - z - t_beta * u)
    beyond = ndtr(z - limit / se - t_alpha * u) @ weight
    both = np.where(u < edge, np.maximum(significant + below - 1, 0.0), 0.0) @ weight
    different, similar = significant @ weight, below @ weight
    return PairedChances(
        different=np.clip(different - both - beyond, 0.0, 1.0),
        similar=np.clip(similar - both, 0.0, 1.0),
        both=both,
        beyond=beyond,
        neither=np.clip(1 - different - similar + both, 0.0, 1.0),
    )


@lru_cache(maxsize=64)
def _scatter_nodes(df: int, edge: float) -> tuple[Floats, Floats]:
    """Nodes and weights for estimated over true scatter, split where the integrand has a kink."""
    low = np.sqrt(2 * gammaincinv(df / 2, _TAIL) / df)
    high = np.sqrt(2 * gammainccinv(df / 2, _TAIL) / df)
    ends = [low, edge, high] if low < edge < high else [low, high]
    x, w = roots_legendre(_NODES)
    u = np.concatenate([(a + b) / 2 + (b - a) / 2 * x for a, b in pairwise(ends)])
    step = np.concatenate([(b - a) / 2 * w for a, b in pairwise(ends)])
    constant = np.log(2) + df / 2 * np.log(df / 2) - gammaln(df / 2)
    density = np.exp(constant + (df - 1) * np.log(u) - df * u**2 / 2)
    weights = density * step
    return u, weights / weights.sum()


def fewest_similar(limit: float, beta: float, chance: float, most: int) -> int | None:
    """The fewest assessors with whom an unchanged sample is shown as similar with such a chance.

    `limit`: in standard deviations of the differences. None where `most` are not enough. Few
    are tried first, since few are the answer as a rule.

    >>> fewest_similar(1.0, 0.05, 0.8, 2000), fewest_similar(0.01, 0.05, 0.8, 2000)
    (8, None)
    """
    start = 2
    while start <= most:
        size = np.arange(start, min(2 * start + 30, most + 1))
        t = stdtrit(size - 1, 1 - beta)
        reached = 1 - nctdtr(size - 1, limit * np.sqrt(size), t) >= chance
        if reached.any():
            return int(size[reached.argmax()])
        start = int(size[-1]) + 1
    return None
