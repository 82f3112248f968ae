"""The ranking test: do samples differ in the order that a panel gives them?

[1] After ISO 8587:2006, ranking: rank sums, Friedman and Page tests, least significant difference.
[2] Friedman, M. (1937). J. Amer. Statist. Assoc. 32, 675-701.
[3] Durbin, J. (1951). Brit. J. Psychol. (Stat.) 4, 85-90: balanced incomplete blocks.
[4] Page, E. B. (1963). J. Amer. Statist. Assoc. 58, 216-230.
[5] Closed tests over sets of samples: `sensory.models.rank_closure`, with sources.

The mathematics, with the correction for ties, stands in `sensory.models.ranks`.

Why so
------
Pairs of a ranking are compared by exchanging their two ranks within assessors, exact at any size
and valid whatever the other samples do, and all pairs together by closed tests over the sets that
hold them, whose level is kept (`tests/calibration/test_rank_levels.py`); all-samples-alike
differences of rank sums do not promise that. The least differences of ISO 8587 stand beside it.
Incomplete blocks hold few ballots with both of a pair; there all samples are supposed alike,
and the result says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.special import chdtrc, ndtr

from ..base.checks import one_count, probability
from ..base.errors import ArgumentError
from ..base.results import Cell, Table
from ..base.shown import Shown
from ..models.ranks import block_statistic, block_tail, shuffled_tail, trend, trend_tail
from .names import name_among
from .rank_ballots import RankBallots, read_ranks
from .rank_pairs import (
    LeastDifferences,
    closed,
    fewest_of,
    least_differences,
    pair_table,
    pairs_of,
)

MOST_SHUFFLED = 60
"""Ballots up to which random arrangements stand in for the exact distribution."""

_DRAWS = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Friedman:
    """Are all samples alike? Friedman's test, Durbin's in an incomplete design.

    Attributes
    ----------
    statistic : float
        Corrected for ties.
    df : int
        Samples - 1, for the chi-square.
    p : float
        By `method`: 'exact', 'permutation' or 'chi-square'.
    p_chi_square : float
        The large-sample p, whatever the method.
    kendall_w : float or None
        Agreement from 0 to 1, corrected for ties; None in an incomplete design.
    """

    statistic: float
    df: int
    p: float
    method: str
    p_chi_square: float
    kendall_w: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Do the samples follow the expected order? Page's test, one-sided.

    Attributes
    ----------
    expected : tuple of str
        Samples from the lowest to the highest expected rank.
    statistic : float
        L, the sum of place times rank sum.
    mean, se : float
        Of L where all samples are alike, given the ties.
    p : float
        By `method`: 'exact', or 'normal' without continuity correction.
    """

    expected: tuple[str, ...]
    statistic: float
    mean: float
    se: float
    p: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RankingTest(Shown):
    """Result of `ranking_test`.

    Attributes
    ----------
    ballots : RankBallots
        What was counted.
    alpha, seed, reference
        As given.
    rank_sums : Table
        sample, ballots, rank_sum, mean_rank; from the lowest mean rank.
    friedman : Friedman
    page : Page or None
        None where no order was expected.
    least_differences : LeastDifferences
    pairs : Table
        sample, other, estimate (rank sum of sample less that of other), p, p_adjusted
        (for all these pairs together [5]), one_pair and all_pairs (whether the difference reaches
        that least difference).
    pairs_method : str
        What p of a pair supposes.
    adjustment : str
        By what p_adjusted speaks of all pairs together.
    fewest : int or None
        Ballots without which no pair could be told apart, however well assessors agree;
        None in an incomplete design.
    """

    ballots: RankBallots
    alpha: float
    seed: int
    reference: str | None
    rank_sums: Table
    friedman: Friedman
    page: Page | None
    least_differences: LeastDifferences
    pairs: Table
    pairs_method: str
    adjustment: str
    fewest: int | None

    @property
    def notes(self) -> tuple[str, ...]:
        """What the reader has to know: spellings that look like one person."""
        return self.ballots.notes

    @property
    def different_pairs(self) -> tuple[tuple[str, str], ...]:
        """Pairs that differ at alpha for all comparisons together."""
        return tuple(
            (str(row["sample"]), str(row["other"]))
            for row in self.pairs.records()
            if float(row["p_adjusted"] or 0) <= self.alpha
        )

    def summary(self) -> Table:
        """Tests and least differences, one a row."""
        tests: list[tuple[Cell, ...]] = [_row_of_friedman(self.friedman, self.ballots.complete)]
        if self.page:
            page = self.page
            tests.append(("Page: expected order", page.statistic, None, page.p, page.method))
        least = self.least_differences
        tests.append(("least difference, each pair alone", least.one_pair, None, None, "normal"))
        tests.append(("least difference, all together", least.all_pairs, None, None, "Bonferroni"))
        if least.by_range is not None:
            tests.append(
                ("least difference, all pairs", least.by_range, None, None, least.range_method)
            )
        return Table(columns=("question", "statistic", "df", "p", "method"), rows=tuple(tests))

    def _repr_html_(self) -> str:
        notes = "".join(f"<p>{note}</p>" for note in self.notes)
        return self.rank_sums._repr_html_() + self.summary()._repr_html_() + notes


def ranking_test(
    ballots: object,
    *,
    expected: Sequence[str] | None = None,
    reference: str | None = None,
    alpha: float = 0.05,
    seed: int = 1,
) -> RankingTest:
    """Rank sums of a panel, whether they differ, and which pairs do.

    Use it to put several samples into order on one attribute (or on overall strength) when
    the size of the differences is not needed. Not finding a difference shows no sameness.

    Parameters
    ----------
    ballots : DataFrame
        One row an assessor and sample: `session` (may be left out), `assessor`, `sample`,
        `rank`; tied samples share the mean of their ranks. Every ballot ranks all samples,
        or the ballots are a balanced incomplete block design.
    expected : sequence of str, optional
        All samples from the lowest to the highest expected rank, fixed before tasting.
    reference : str, optional
        Compare the others with this sample only, instead of all pairs.
    alpha : float
        Risk of the least differences, and of `different_pairs`.
    seed : int
        For random arrangements, where they are used.

    Raises
    ------
    ArgumentError
        For columns that are missing, one assessor or sample, an incomplete design that is
        not balanced, or an order or reference with other samples.
    BallotError
        For every missing rank, sample ranked twice, or ranks that are not ranks.

    Notes
    -----
    p of Friedman's statistic [2, 3] is exact where the vectors of rank sums can be listed
    (3 samples up to 100 ballots, 4 to 40, 5 to 12, 6 to 6, 7 to 3), ties included; up to 60
    ballots it comes from 20,000 seeded arrangements; beyond from the chi-square. Page's p
    [4] is exact up to 8 samples a ballot.

    p of a pair is exact: where two samples are alike an assessor may as well have given
    their ranks the other way round, whatever the other samples do. p_adjusted is the largest p
    of all sets of samples that hold the pair, by Friedman's statistic within the set (beside a
    reference: by the largest difference from it), each put to the level of the whole [5]; it
    keeps alpha whichever samples differ. Above 8 samples, and in incomplete designs, it is
    Holm's. In an incomplete design few ballots hold both of
    a pair; there p supposes that all samples are alike, which Friedman's test should have
    refuted first. Least differences [1] are large-sample values, smaller where there are ties.

    Several sessions of the same people add ballots, not people: the finding is about them.

    Examples
    --------
    >>> import pandas as pd
    >>> ranks = {"Ada": [1, 2, 3], "Ben": [1, 3, 2], "Cleo": [1, 2, 3], "Dov": [1, 2, 3]}
    >>> rows = [
    ...     (who, sample, rank)
    ...     for who, given in ranks.items()
    ...     for sample, rank in zip(["10 %", "12 %", "14 %"], given)
    ... ]
    >>> ballots = pd.DataFrame(rows, columns=["assessor", "sample", "rank"])
    >>> test = ranking_test(ballots, expected=["10 %", "12 %", "14 %"])
    >>> test.friedman.statistic, round(test.friedman.p, 4), test.friedman.method
    (6.5, 0.0417, 'exact')
    >>> test.page.statistic, round(test.page.p, 4)
    (55.0, 0.0069)
    >>> print(test.rank_sums)
    sample  ballots  rank_sum  mean_rank
    10 %    4        4         1
    12 %    4        9         2.25
    14 %    4        11        2.75
    """
    alpha, seed = probability("alpha", alpha), one_count("seed", seed)
    read = read_ranks(ballots)
    order = None if expected is None else _expected(expected, read.samples)
    if reference is not None:
        reference = str(name_among(read.samples, reference))
    if reference is not None and reference not in read.samples:
        raise ArgumentError(
            f"reference must be one of the samples {', '.join(read.samples)}; got {reference!r}."
        )
    pairs = pairs_of(read.samples, reference)
    least = least_differences(read, alpha, len(pairs), reference is None)
    return RankingTest(
        ballots=read,
        alpha=alpha,
        seed=seed,
        reference=reference,
        rank_sums=_rank_sums(read),
        friedman=_friedman(read, seed),
        page=None if order is None else _page(read, order),
        least_differences=least,
        pairs=pair_table(read, pairs, least, reference=reference, seed=seed),
        pairs_method=(
            "exact, ranks of these two exchanged within assessors"
            if read.complete
            else "exact, all samples alike"
        ),
        adjustment="closed tests over sets of samples" if closed(read) else "Holm",
        fewest=fewest_of(read, alpha, reference is not None),
    )


def _rank_sums(read: RankBallots) -> Table:
    times = (~np.isnan(read.ranks)).sum(0)
    sums = np.nansum(read.ranks, axis=0)
    rows = [
        (name, int(count), float(total), float(total / count))
        for name, count, total in zip(read.samples, times, sums, strict=True)
    ]
    rows.sort(key=lambda row: row[3])
    return Table(columns=("sample", "ballots", "rank_sum", "mean_rank"), rows=tuple(rows))


def _friedman(read: RankBallots, seed: int) -> Friedman:
    statistic, df = block_statistic(read.ranks), len(read.samples) - 1
    if np.isnan(statistic):  # nobody told any samples apart
        return Friedman(
            statistic=0.0, df=df, p=1.0, method="exact", p_chi_square=1.0, kendall_w=None
        )
    large = float(chdtrc(df, statistic))
    p, method = block_tail(read.ranks), "exact"
    if p is None:
        p, method = large, "chi-square"
        if len(read.ranks) <= MOST_SHUFFLED:
            p = shuffled_tail(read.ranks, _DRAWS, np.random.default_rng(seed))
            method = "permutation"
    return Friedman(
        statistic=statistic,
        df=df,
        p=p,
        method=method,
        p_chi_square=large,
        kendall_w=statistic / (len(read.ranks) * df) if read.complete else None,
    )


def _page(read: RankBallots, order: tuple[str, ...]) -> Page:
    ranks = read.ranks[:, [read.samples.index(name) for name in order]]
    statistic, mean, variance = trend(ranks)
    p, method = trend_tail(ranks), "exact"
    if p is None:
        p, method = 1.0, "normal"  # where everybody tied all samples
        if variance > 0:
            p = float(ndtr((mean - statistic) / sqrt(variance)))
    return Page(
        expected=order, statistic=statistic, mean=mean, se=sqrt(variance), p=p, method=method
    )


def _expected(expected: Sequence[str], samples: tuple[str, ...]) -> tuple[str, ...]:
    given = (expected,) if isinstance(expected, str) else expected
    order = tuple(str(name_among(samples, name)) for name in given)
    if sorted(order) != sorted(samples):
        raise ArgumentError(
            f"expected must hold each of the samples {', '.join(samples)} once; "
            f"got {', '.join(order)}."
        )
    return order


def _row_of_friedman(test: Friedman, complete: bool) -> tuple[str, float, int, float, str]:
    name = "Friedman" if complete else "Durbin"
    return f"{name}: all samples alike", test.statistic, test.df, test.p, test.method
