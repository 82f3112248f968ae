"""Which pairs of ranked samples differ, all pairs together: closed tests over sets of samples.

A pair differs where every set of samples that holds both is refused to be alike. A set is
compared by the ranks that its own samples hold within each ballot, so its p is exact whatever
the samples outside it do. Where several sets, apart from each other, are alike at once, their
arrangements are independent, so a set of s of k samples may spend 1 - (1 - alpha)^(s/k), sets
of k and of k - 1 samples alpha: the chance of any false pair stays at alpha [1, 2, 3].

Beside a reference every set holds the reference, no two are apart, and each spends alpha.

[1] Marcus, R., Peritz, E. and Gabriel, K.R. (1976). Biometrika 63, 655-660: closed tests.
    (From memory.)
[2] Begun, J.M. and Gabriel, K.R. (1981). J. Amer. Statist. Assoc. 76, 241-245: closure over sets
    of means with these levels. (From memory.)
[3] Phipson, B. and Smyth, G.K. (2010). Stat. Appl. Genet. Mol. Biol. 9, 39: a p from random
    arrangements is (1 + as far) / (1 + draws), and then a valid one. (From memory.)

Why so
------
Holm over exact exchanges cannot fall below 2 / 2^ballots times the number of pairs: 8 assessors
who all agree on 5 samples would tell no pair apart. Here a pair spends more than its share,
since pairs hang together: where one is refused others are refused as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from itertools import combinations

import numpy as np
from scipy.special import chdtrc

from ..base.arrays import Floats
from .ranks import block_statistic, block_tail, midranks

MOST_SAMPLES = 8
"""Samples up to which all sets are gone through; 219 sets of three or more."""

_DRAWS, _DRAWS_TIED = 19_999, 1_999
_MANY = 60  # ballots from which the chi-square of a set stands in for random arrangements

Pair = tuple[int, int]


def closed_pairs(
    ranks: Floats, raw: Mapping[Pair, float], *, reference: int | None, seed: int
) -> dict[Pair, float]:
    """p of each pair for all of them together.

    Parameters
    ----------
    ranks : float array, shape (ballots, samples)
        Complete ballots, ties as midranks, at most `MOST_SAMPLES` samples.
    raw : mapping of (int, int) to float
        Exact p of each pair alone, by its two columns: every pair, or each with the reference.
    reference : int or None
        Column of the reference that all others are compared with.
    seed : int
        For random arrangements, where they are used.

    Returns
    -------
    dict of (int, int) to float
        Largest of the p of all sets that hold the pair, each put to the level of the whole.
    """
    samples = ranks.shape[1]
    adjusted = {
        pair: p if reference is not None else _whole(p, 2, samples) for pair, p in raw.items()
    }
    others = [column for column in range(samples) if column != reference]
    fixed = () if reference is None else (reference,)
    for size in range(3, samples + 1):
        for chosen in combinations(others, size - len(fixed)):
            held = np.array([midranks(row) for row in ranks[:, (*fixed, *chosen)]])
            if reference is None:
                p = _whole(_alike(held, seed), size, samples)
            else:
                p = _none_beside_first(held, seed)
            for pair in combinations((*fixed, *chosen), 2):
                known = pair if pair in adjusted else pair[::-1]
                if known in adjusted:
                    adjusted[known] = max(adjusted[known], p)
    return adjusted


def fewest_ballots(samples: int, alpha: float, *, beside_reference: bool) -> int:
    """Ballots without which no pair can be told apart, however well the assessors agree.

    2 / 2^ballots is the smallest p of one pair.

    >>> fewest_ballots(5, 0.05, beside_reference=False), fewest_ballots(5, 0.05,
    ...     beside_reference=True)
    (7, 6)
    """
    ballots = 2
    while (p := 2.0 ** (1 - ballots)) > alpha or (
        not beside_reference and _whole(p, 2, samples) > alpha
    ):
        ballots += 1
    return ballots


def _whole(p: float, size: int, samples: int) -> float:
    """The level of all pairs together at which a set of this size is refused."""
    if size >= samples - 1 or p >= 1:
        return p
    return float(-np.expm1(np.log1p(-p) * samples / size))


def _alike(held: Floats, seed: int) -> float:
    """p of Friedman's statistic where all samples of the set are alike."""
    statistic = block_statistic(held)
    if np.isnan(statistic):
        return 1.0
    ballots, size = held.shape
    untied = _untied(held)
    p = block_tail(held) if untied or size == 3 else None
    if p is not None:
        return p
    if ballots > _MANY:
        return float(chdtrc(size - 1, statistic))
    return _share(_friedman_sums(held.sum(0)[None])[0], held, untied, seed, beside=False)


def _none_beside_first(held: Floats, seed: int) -> float:
    """p of the largest difference of a rank sum from that of the first column."""
    return _share(_beside(held.sum(0)[None])[0], held, _untied(held), seed, beside=True)


def _share(seen: float, held: Floats, untied: bool, seed: int, *, beside: bool) -> float:
    if untied:
        far = _drawn_untied(held.shape[1], len(held), seed, beside)
    else:
        far = _drawn(held, _DRAWS_TIED, seed, beside)
    reached = far >= seen - 1e-6
    return float((1 + reached.sum()) / (1 + far.size))


@lru_cache(maxsize=64)
def _drawn_untied(samples: int, ballots: int, seed: int, beside: bool) -> Floats:
    """Complete ballots without ties hang on their numbers only."""
    rows = np.tile(np.arange(1.0, samples + 1), (ballots, 1))
    return _drawn(rows, _DRAWS, seed, beside)


def _drawn(held: Floats, draws: int, seed: int, beside: bool) -> Floats:
    rng = np.random.default_rng(seed)
    sums = np.zeros((draws, held.shape[1]))
    for row in held:
        sums += rng.permuted(np.broadcast_to(row, sums.shape), axis=1)
    return _beside(sums) if beside else _friedman_sums(sums)


def _friedman_sums(sums: Floats) -> Floats:
    """Squares of the rank sums about their mean, which order arrangements as the statistic."""
    return np.asarray(((sums - sums.mean(1, keepdims=True)) ** 2).sum(1))


def _beside(sums: Floats) -> Floats:
    return np.asarray(np.abs(sums[:, 1:] - sums[:, :1]).max(1))


def _untied(held: Floats) -> bool:
    return bool((np.sort(held, axis=1) == np.arange(1, held.shape[1] + 1)).all())
