"""Which samples of a ranking differ: least differences of rank sums, and pairs with p.

[1] After ISO 8587:2006, ranking: least significant difference of rank sums.
[2] Holm, S. (1979). Scand. J. Statist. 6, 65-70: in incomplete designs.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import sqrt

import numpy as np
from scipy.special import ndtri

from ..base.results import Table
from ..models.multiplicity import holm
from ..models.rank_closure import MOST_SAMPLES, closed_pairs, fewest_ballots
from ..models.ranks import pair_tail, pair_tail_all_alike, range_tail, rank_spread
from .rank_ballots import RankBallots


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastDifferences:
    """Differences of two rank sums from which on they count as significant at `alpha`.

    Attributes
    ----------
    one_pair : float
        alpha for each pair alone [1]: z sqrt((k+1) (r k - r + l) / 6) for k samples a
        ballot, r ballots a sample and l a pair, z sqrt(n k (k+1) / 6) when complete.
    all_pairs : float
        alpha for all comparisons together, by Bonferroni.
    by_range : float or None
        alpha for all pairs together, by the range of the rank sums: the smallest whole
        number when exact, else by the studentized range. None beside a reference, in an
        incomplete design, or where no difference would be significant.
    range_method : str
        'exact', 'studentized range', or empty.
    comparisons : int
        Number of pairs compared.
    """

    alpha: float
    one_pair: float
    all_pairs: float
    by_range: float | None
    range_method: str
    comparisons: int


def least_differences(
    read: RankBallots, alpha: float, comparisons: int, every_pair: bool
) -> LeastDifferences:
    """From the variance of a difference of two rank sums where all samples are alike.

    A ballot of k samples adds 2 s^2 when it holds both and s^2 (k-1)/k when it holds one,
    s^2 the variance of its ranks; over ballots the mean of s^2 is taken.
    """
    served = ~np.isnan(read.ranks)
    size, times = int(served.sum(1)[0]), int(served.sum(0)[0])
    both = times * (size - 1) / (len(read.samples) - 1)
    spread = rank_spread(read.ranks).mean()
    error = sqrt(spread * (2 * both + 2 * (times - both) * (size - 1) / size))
    by_range, method = (None, "")
    if every_pair and read.complete:
        by_range, method = _by_range(read, alpha, error)
    return LeastDifferences(
        alpha=alpha,
        one_pair=float(-ndtri(alpha / 2)) * error,
        all_pairs=float(-ndtri(alpha / (2 * comparisons))) * error,
        by_range=by_range,
        range_method=method,
        comparisons=comparisons,
    )


def _by_range(read: RankBallots, alpha: float, error: float) -> tuple[float | None, str]:
    exact = None if read.tied else range_tail(len(read.samples), len(read.ranks))
    if exact is not None:
        differences, tails = exact
        enough = differences[tails <= alpha + 1e-12]
        return (float(enough[0]) if enough.size else None), "exact"
    from scipy.stats import studentized_range

    quantile = studentized_range.ppf(1 - alpha, len(read.samples), np.inf)
    return float(quantile) / sqrt(2) * error, "studentized range"


def pair_table(
    read: RankBallots,
    pairs: list[tuple[str, str]],
    least: LeastDifferences,
    *,
    reference: str | None,
    seed: int,
) -> Table:
    tail = pair_tail if read.complete else pair_tail_all_alike
    sums = np.nansum(read.ranks, axis=0)
    places = [(read.samples.index(first), read.samples.index(other)) for first, other in pairs]
    gaps = [float(sums[i] - sums[j]) for i, j in places]
    raw = [tail(read.ranks, i, j) for i, j in places]
    if closed(read):
        base = None if reference is None else read.samples.index(reference)
        alone = dict(zip(places, raw, strict=True))
        together = list(closed_pairs(read.ranks, alone, reference=base, seed=seed).values())
    else:
        together = holm(raw).tolist()
    rows = tuple(
        (
            *pair,
            gap,
            p,
            adjusted,
            abs(gap) >= least.one_pair > 0,
            abs(gap) >= least.all_pairs > 0,
        )
        for pair, gap, p, adjusted in zip(pairs, gaps, raw, together, strict=True)
    )
    columns = ("sample", "other", "estimate", "p", "p_adjusted", "one_pair", "all_pairs")
    return Table(columns=columns, rows=rows)


def closed(read: RankBallots) -> bool:
    """Whether pairs are judged together by closed tests, else by Holm."""
    return read.complete and len(read.samples) <= MOST_SAMPLES


def fewest_of(read: RankBallots, alpha: float, beside_reference: bool) -> int | None:
    """Ballots without which no pair can differ at alpha; None in an incomplete design."""
    if not read.complete:
        return None
    return fewest_to_rank(len(read.samples), alpha, beside_reference=beside_reference)


def fewest_to_rank(samples: int, alpha: float, *, beside_reference: bool) -> int:
    """The same before anybody ranked: complete ballots of so many samples.

    >>> [fewest_to_rank(samples, 0.05, beside_reference=False) for samples in (3, 4, 5, 9)]
    [6, 7, 7, 11]
    """
    if samples <= MOST_SAMPLES:
        return fewest_ballots(samples, alpha, beside_reference=beside_reference)
    pairs = samples - 1 if beside_reference else samples * (samples - 1) // 2
    return int(np.ceil(1 - np.log2(alpha / pairs)))


def pairs_of(samples: tuple[str, ...], reference: str | None) -> list[tuple[str, str]]:
    if reference is None:
        return list(combinations(samples, 2))
    return [(sample, reference) for sample in samples if sample != reference]
