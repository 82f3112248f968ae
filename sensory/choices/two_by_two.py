"""What the tests of A - not A, same-different and sureness share.

Why so: the p of a two-by-two table is Fisher's. The likelihood ratio, read from a chi-square, is
below 0.05 in up to 7.8 % of tables of 12 + 12 answers without a difference (every table summed,
tests/choices/test_yes_no.py); it stands apart and no finding rests on it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, get_args

import numpy as np
from scipy.special import chdtrc, comb, xlogy

from ..base.arrays import Ints
from ..base.checks import counts
from ..base.errors import ArgumentError
from ..base.results import Interval, Table
from ..models.signal import FAR, profile_limits
from ..models.two_rates import MOST_ANSWERS, Rates, exact_limits

LimitsBy = Literal["exact", "mid-p", "profile"]


def one_of(name: str, value: int, of: str, total: int) -> tuple[int, int]:
    """A count and the count it is part of, checked."""
    part, whole = counts(name, value), counts(of, total, at_least=1)
    if part.ndim or whole.ndim:
        raise ArgumentError(f"{name} and {of} must be single numbers.")
    if part > whole:
        raise ArgumentError(f"{name} must not exceed {of}; got {part} of {whole}.")
    return int(part), int(whole)


def check_method(method: str) -> None:
    """Refuse another way to find limits than those of `LimitsBy`."""
    if method not in get_args(LimitsBy):
        raise ArgumentError(f"method must be 'exact', 'mid-p' or 'profile'; got {method!r}.")


def dprime_limits(
    rates: Rates,
    counts_seen: tuple[int, int, int, int],
    profile: Callable[[float], float],
    dprime: float,
    level: float,
    method: LimitsBy,
) -> tuple[Interval, LimitsBy]:
    """Limits of d-prime from a first and a second count, and how they were found.

    `counts_seen` are the first count and its answers, then the second and its answers. Beyond
    `MOST_ANSWERS` answers the limits are those of the profile likelihood, which then covers
    d-prime in 94.3 % of sessions or more (see `a_not_a`).
    """
    check_method(method)
    first, answers, second, others = counts_seen
    ends = profile_limits(profile, dprime, level, rates.least, FAR)
    mid = method == "mid-p"
    if not (mid or method == "exact") or answers + others > MOST_ANSWERS:
        return Interval(low=ends[0], high=ends[1], level=level), "profile"
    low, high = exact_limits(rates, (first, second), (answers, others), level, ends, mid=mid)
    return Interval(low=low, high=high, level=level), method


def dprime_table(
    dprime: tuple[float, float],
    limits: Interval,
    bias: tuple[str, float],
    p_fisher: float,
    p_two_sided: float,
) -> Table:
    """d-prime with limits and standard error, where people draw the line, the exact p."""
    nothing = (None, None, None)
    return Table(
        columns=("quantity", "estimate", "low", "high", "level"),
        rows=(
            ("d-prime", dprime[0], *limits.cells),
            (*bias, *nothing),
            ("standard error of d-prime", dprime[1], *nothing),
            ("p, Fisher, one-sided", p_fisher, *nothing),
            ("p, Fisher, two-sided", p_two_sided, *nothing),
        ),
    )


def fisher_one_sided(h: int, n: int, f: int, m: int) -> float:
    """P(as many hits or more | margins), from the hypergeometric distribution."""
    from scipy.stats import hypergeom  # loads for seconds, and booths need none of it

    return float(hypergeom.sf(h - 1, n + m, h + f, n))


def fisher_two_sided(h: int, n: int, f: int, m: int) -> float:
    """P(a table as likely as this or less | margins).

    >>> round(fisher_two_sided(9, 12, 4, 12), 4)
    0.0995
    """
    from scipy.stats import fisher_exact  # as above

    return float(fisher_exact(np.array([[h, n - h], [f, m - f]])).pvalue)


def likelihood_ratio(h: int, n: int, f: int, m: int) -> float:
    """p of the likelihood-ratio test of independence, chi-square with one degree of freedom."""
    table = np.array([[h, n - h], [f, m - f]], float)
    rows, columns, total = table.sum(1), table.sum(0), table.sum()
    g = 2 * (
        xlogy(table, table).sum()
        - xlogy(rows, rows).sum()
        - xlogy(columns, columns).sum()
        + xlogy(total, total)
    )
    return float(chdtrc(1, max(float(g), 0.0)))


def by_assessor_one_sided(table: Ints) -> float:
    """Chance of so many 'yes' to the first kind, each assessor with a tendency of their own.

    Parameters
    ----------
    table : int array, shape (assessors, 4)
        Of each assessor: 'yes' to the first kind and how many of it were served, the same
        of the second kind.

    Notes
    -----
    Given how often each assessor said 'yes', those of the first kind are hypergeometric
    when the kinds cannot be told apart; their sum is convolved exactly. With one sample of
    each kind for everybody this is McNemar's exact test; with one assessor it is Fisher's.

    Examples
    --------
    >>> round(by_assessor_one_sided(np.array([[1, 1, 0, 1]] * 12 + [[0, 1, 1, 1]] * 3)), 4)
    0.0176
    """
    chances = np.ones(1)
    for yes, served, other_yes, other in table.tolist():
        answers = yes + other_yes
        k = np.arange(min(answers, served) + 1)
        ways = comb(served, k) * comb(other, answers - k)
        chances = np.convolve(chances, ways / ways.sum())
    return float(min(chances[int(table[:, 0].sum()) :].sum(), 1.0))


def ratio_p(top: float, null: float) -> float:
    """p of two log-likelihoods, chi-square with one degree of freedom."""
    return float(chdtrc(1, max(2 * (top - null), 0.0)))
