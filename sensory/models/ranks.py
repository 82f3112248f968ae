"""Rank statistics of a panel and their exact distributions.

A panel is an array of ranks, one row a ballot and one column a sample, NaN where a sample
was not served. Where all samples are alike, each row is a random arrangement of its own
ranks; every distribution here is conditional on the ranks given, ties included.

[1] Friedman, M. (1937). J. Amer. Statist. Assoc. 32, 675-701.
[2] Durbin, J. (1951). Brit. J. Psychol. (Stat.) 4, 85-90: incomplete blocks.
[3] Page, E. B. (1963). J. Amer. Statist. Assoc. 58, 216-230: ordered alternatives.
[4] Conover, W. J. (1999). Practical Nonparametric Statistics, 3rd ed., 5.8 and 5.9: ties.
"""

from __future__ import annotations

from functools import cache, lru_cache
from itertools import permutations

import numpy as np

from ..base.arrays import Floats, Ints

MOST_ARRANGED = 8
"""Samples up to which all arrangements of a ballot are listed (8! = 40,320)."""

_MOST_WORK = 12_000_000
_MOST_KEY = 2**62


def midranks(values: Floats) -> Floats:
    """Ranks 1 .. k of the values of one ballot, equal values sharing the mean of theirs."""
    below = (values[:, None] > values[None, :]).sum(1)
    same = (values[:, None] == values[None, :]).sum(1)
    middle: Floats = below + (same + 1) / 2
    return middle


def rank_spread(ranks: Floats) -> Floats:
    """Variance of the ranks within each row, divisor size - 1; (k^2 + k) / 12 without ties."""
    size = (~np.isnan(ranks)).sum(1)
    centred = ranks - (size[:, None] + 1) / 2
    spread: Floats = np.nansum(centred**2, axis=1) / (size - 1)
    return spread


def block_statistic(ranks: Floats) -> float:
    """Friedman's statistic corrected for ties [1]; Durbin's in a balanced incomplete design [2].

    With t samples, k of them in each row, each sample served r times, A the sum of squared
    ranks and C = rows k (k+1)^2 / 4: (t-1) sum_j (R_j - r (k+1)/2)^2 / (A - C) [4].
    NaN where every row ties all its samples.
    """
    served = ~np.isnan(ranks)
    size, times = served.sum(1)[0], served.sum(0)[0]
    away = np.nansum(ranks, axis=0) - times * (size + 1) / 2
    within = rank_spread(ranks).sum() * (size - 1)
    return float((ranks.shape[1] - 1) * (away**2).sum() / within) if within > 0 else float("nan")


def block_tail(ranks: Floats) -> float | None:
    """Exact P(statistic >= the one seen) where all samples are alike; None where too long.

    Convolution over rows of the vectors of rank sums. In a complete design the order of the
    sums does not matter, so only sorted vectors are kept.
    """
    ballots, samples = ranks.shape
    untied = (np.sort(ranks, axis=1) == np.arange(1, samples + 1)).all()
    listed = _untied_sums(samples, ballots) if untied else _rank_sums(ranks)
    if listed is None:
        return None
    sums, chances = listed
    seen = np.nansum(_doubled(ranks), axis=0)
    centre = seen.sum() / seen.size
    distance = ((sums - centre) ** 2).sum(1)
    return min(float(chances[distance >= ((seen - centre) ** 2).sum() - 1e-6].sum()), 1.0)


def range_tail(samples: int, ballots: int) -> tuple[Ints, Floats] | None:
    """Exact P(largest - smallest rank sum >= d) for d = 0, 1, ...; None where too long.

    Complete ballots without ties.
    """
    listed = _untied_sums(samples, ballots)
    if listed is None:
        return None
    sums, chances = listed
    ranges = (sums.max(1) - sums.min(1)) // 2
    masses = np.asarray(np.bincount(ranges, weights=chances), dtype=np.float64)
    tails: Floats = np.cumsum(masses[::-1])[::-1]
    return np.arange(masses.size), tails


def shuffled_tail(ranks: Floats, draws: int, rng: np.random.Generator) -> float:
    """P of `block_tail` from `draws` random arrangements, (1 + as far) / (1 + draws)."""
    doubled = _doubled(ranks)
    seen = np.nansum(doubled, axis=0)
    sums = np.zeros((draws, ranks.shape[1]))
    for row in doubled:
        where = np.flatnonzero(~np.isnan(row))
        sums[:, where] += rng.permuted(np.tile(row[where], (draws, 1)), axis=1)
    centre = seen.mean()
    far = ((sums - centre) ** 2).sum(1) >= ((seen - centre) ** 2).sum() - 1e-6
    return float((1 + far.sum()) / (1 + draws))


def trend(ranks: Floats) -> tuple[float, float, float]:
    """Page's L with the columns in the expected order, its mean and its variance [3].

    L is the sum over rows and columns of place times rank. In row i the mean is
    k_i times the means of its places and ranks, the variance the product of their sums of
    squares over k_i - 1; ties enter through the ranks given.
    """
    places = np.where(np.isnan(ranks), np.nan, np.arange(1.0, ranks.shape[1] + 1))
    size = (~np.isnan(ranks)).sum(1)
    centred = places - np.nanmean(places, axis=1, keepdims=True)
    mean = (size * np.nanmean(places, axis=1) * (size + 1) / 2).sum()
    variance = (np.nansum(centred**2, axis=1) * rank_spread(ranks)).sum()
    return float(np.nansum(places * ranks)), float(mean), float(variance)


def trend_tail(ranks: Floats) -> float | None:
    """Exact P(L >= the one seen) by convolution over rows; None above 8 samples a row."""
    doubled = _doubled(ranks)
    total, low = np.ones(1), 0
    for row in doubled:
        where = np.flatnonzero(~np.isnan(row))
        if where.size > MOST_ARRANGED:
            return None
        start, masses = _place_sums(tuple(where + 1), tuple(sorted(row[where].astype(int))))
        total, low = np.convolve(total, masses), low + start
    seen = int(np.nansum(doubled * np.arange(1, ranks.shape[1] + 1)))
    return min(float(total[max(seen - low, 0) :].sum()), 1.0)


def pair_tail(ranks: Floats, first: int, second: int) -> float:
    """Exact two-sided p of a difference of two rank sums when these two samples are alike.

    Within each row that holds both, the two ranks may change places; whatever the other
    samples do does not matter.
    """
    gaps = _doubled(ranks)[:, first] - _doubled(ranks)[:, second]
    gaps = gaps[~np.isnan(gaps)]
    moves = [np.array([-abs(int(gap)), abs(int(gap))]) for gap in gaps if gap]
    return _two_sided(moves, int(gaps.sum()))


def pair_tail_all_alike(ranks: Floats, first: int, second: int) -> float:
    """Exact two-sided p of a difference of two rank sums when all samples are alike.

    For incomplete designs, where few rows hold both: a row that holds one of them moves the
    difference too, by its rank less the middle rank.
    """
    moves, seen = [], 0
    for row in _doubled(ranks):
        given = row[~np.isnan(row)].astype(int)
        middle = given.size + 1
        mine, other = (0 if np.isnan(row[j]) else int(row[j]) - middle for j in (first, second))
        seen += mine - other
        if not np.isnan(row[first]) and not np.isnan(row[second]):
            gaps = given[:, None] - given[None, :]
            moves.append(gaps[~np.eye(given.size, dtype=bool)])
        elif not np.isnan(row[first]) or not np.isnan(row[second]):
            side = 1 if np.isnan(row[second]) else -1
            moves.append(side * (given - middle))
    return _two_sided(moves, seen)


def _two_sided(moves: list[Ints], seen: int) -> float:
    """P(|sum of equally likely moves| >= |seen|)."""
    total, low = np.ones(1), 0
    for move in moves:
        start = int(move.min())
        masses = np.bincount(move - start) / move.size
        total, low = np.convolve(total, masses), low + start
    far = np.abs(np.arange(total.size) + low) >= abs(seen)
    return min(float(total[far].sum()), 1.0)


def _doubled(ranks: Floats) -> Floats:
    """Twice the ranks: whole numbers also with midranks, NaN where not served."""
    doubled: Floats = np.rint(2 * ranks)
    return doubled


@cache
def _arrangements(values: tuple[int, ...]) -> Ints:
    """Distinct orders of the values; all are equally likely."""
    return np.unique(np.array(list(permutations(values)), dtype=np.int64), axis=0)


@cache
def _place_sums(places: tuple[int, ...], values: tuple[int, ...]) -> tuple[int, Floats]:
    """Smallest sum of place times value over arrangements, and the chances from it on."""
    sums = _arrangements(values) @ np.array(places, dtype=np.int64)
    low = int(sums.min())
    return low, np.bincount(sums - low) / sums.size


@lru_cache(maxsize=16)
def _untied_sums(samples: int, ballots: int) -> tuple[Ints, Floats] | None:
    """`_rank_sums` of complete ballots without ties, which depend on their numbers only."""
    return _rank_sums(np.tile(np.arange(1.0, samples + 1), (ballots, 1)))


def _rank_sums(ranks: Floats) -> tuple[Ints, Floats] | None:
    """Vectors of doubled rank sums and their chances; sorted vectors in a complete design."""
    samples = ranks.shape[1]
    complete = not np.isnan(ranks).any()
    if (~np.isnan(ranks)).sum(1).max() > MOST_ARRANGED:
        return None
    base = 2 * ranks.shape[0] * samples + 1
    if float(base) ** (samples - 1) > _MOST_KEY:
        return None
    sums, chances, work = np.zeros((1, samples), np.int64), np.ones(1), 0
    for done, row in enumerate(_doubled(ranks)):
        where = np.flatnonzero(~np.isnan(row))
        orders = _arrangements(tuple(sorted(row[where].astype(int))))
        step = len(sums) * len(orders)
        if work + step * (len(ranks) - done) > _MOST_WORK:  # steps to come are hardly shorter
            return None
        work += step
        wide = np.zeros((len(orders), samples), np.int64)
        wide[:, where] = orders
        sums, chances = _add(sums, chances, wide, base, complete)
    return sums, chances


def _add(
    sums: Ints, chances: Floats, orders: Ints, base: int, complete: bool
) -> tuple[Ints, Floats]:
    """One more row: each vector of sums with each arrangement, equal vectors put together."""
    samples = sums.shape[1]
    onward = (sums[:, None, :] + orders[None, :, :]).reshape(-1, samples)
    if complete:
        onward.sort(axis=1)
    keys = onward[:, :-1] @ (base ** np.arange(samples - 1, dtype=np.int64))
    _, where, back = np.unique(keys, return_index=True, return_inverse=True)
    weights = np.repeat(chances / len(orders), len(orders))
    together = np.asarray(np.bincount(back.ravel(), weights=weights), dtype=np.float64)
    return onward[where], together
