"""Rank statistics against listing all arrangements, printed tables and other libraries."""

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sensory.models.ranks import (
    block_statistic,
    block_tail,
    midranks,
    pair_tail,
    pair_tail_all_alike,
    range_tail,
    rank_spread,
    shuffled_tail,
    trend,
    trend_tail,
)

from ..references.readers import entries

ENTRIES = entries("published_ranking.json")
MISPRINTS = entries("published_ranking.json", "misprints")
# Seven samples in ballots of three, each pair once (the smallest projective plane).
PLANE = [(0, 1, 3), (1, 2, 4), (2, 3, 5), (3, 4, 6), (4, 5, 0), (5, 6, 1), (6, 0, 2)]


def panel(rng, ballots, samples, tied=False):
    """Random ballots; with ties the scores have few levels."""
    levels = 3 if tied else 1000
    scores = rng.integers(0, levels, (ballots, samples)) + (0 if tied else rng.random(samples))
    return np.array([midranks(np.asarray(row, float)) for row in scores])


def incomplete(rng, design, samples):
    ranks = np.full((len(design), samples), np.nan)
    for row, served in zip(ranks, design, strict=True):
        row[list(served)] = rng.permutation(len(served)) + 1
    return ranks


def every_panel(ranks):
    """All arrangements of all ballots, each as likely as any other."""
    rows = []
    for row in ranks:
        where = np.flatnonzero(~np.isnan(row))
        rows.append([])
        for order in permutations(row[where]):
            rows[-1].append(np.full(row.size, np.nan))
            rows[-1][-1][where] = order
    return [np.array(rows) for rows in product(*rows)]


def share(ranks, statistic):
    """Share of all panels whose statistic is at least the one seen."""
    seen = statistic(ranks)
    return np.mean([statistic(one) >= seen - 1e-9 for one in every_panel(ranks)])


SMALL = [
    pytest.param(ranks, id=name)
    for name, ranks in {
        "3 x 4": panel(np.random.default_rng(1), 4, 3),
        "3 x 5 tied": panel(np.random.default_rng(2), 5, 3, tied=True),
        "4 x 3": panel(np.random.default_rng(3), 3, 4),
        "4 x 3 tied": panel(np.random.default_rng(4), 3, 4, tied=True),
        "2 x 8": panel(np.random.default_rng(5), 8, 2),
        "4 in 3s": incomplete(
            np.random.default_rng(6), [(0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3)], 4
        ),
        "3 in 2s, twice": incomplete(np.random.default_rng(7), 2 * [(0, 1), (0, 2), (1, 2)], 3),
    }.items()
]


@pytest.mark.parametrize("ranks", SMALL)
def test_friedman_by_listing_all_panels(ranks):
    assert block_tail(ranks) == pytest.approx(share(ranks, block_statistic), rel=1e-10)


@pytest.mark.parametrize("ranks", SMALL)
def test_page_and_its_moments_by_listing_all_panels(ranks):
    seen, mean, variance = trend(ranks)
    totals = np.array([trend(one)[0] for one in every_panel(ranks)])
    assert trend_tail(ranks) == pytest.approx(np.mean(totals >= seen - 1e-9), rel=1e-10)
    assert mean == pytest.approx(np.mean(totals), rel=1e-12)
    assert variance == pytest.approx(np.var(totals), rel=1e-10)


@pytest.mark.parametrize("ranks", SMALL)
def test_difference_of_two_sums_by_listing_all_panels(ranks):
    for i, j in ((0, 1), (2, 0)) if ranks.shape[1] > 2 else ((0, 1),):
        gap = lambda one, i=i, j=j: abs(np.nansum(one[:, i]) - np.nansum(one[:, j]))  # noqa: E731
        assert pair_tail_all_alike(ranks, i, j) == pytest.approx(share(ranks, gap), rel=1e-10)


@pytest.mark.parametrize("ranks", SMALL)
def test_exchange_within_ballots_by_listing(ranks):
    gaps = ranks[:, 0] - ranks[:, 1]
    gaps = gaps[~np.isnan(gaps)]
    totals = [abs(np.dot(signs, gaps)) for signs in product((-1, 1), repeat=gaps.size)]
    expected = np.mean(np.array(totals) >= abs(gaps.sum()) - 1e-9)
    assert pair_tail(ranks, 0, 1) == pytest.approx(expected, rel=1e-10)


def test_two_samples_are_a_sign_test():
    for right in range(6, 12):
        ranks = np.array([[1.0, 2.0]] * right + [[2.0, 1.0]] * (11 - right))
        expected = stats.binomtest(right, 11).pvalue
        assert pair_tail(ranks, 0, 1) == pytest.approx(expected, rel=1e-10)
        assert block_tail(ranks) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("tied", [False, True])
def test_statistic_against_scipy(tied):
    rng = np.random.default_rng(11)
    for ballots, samples in ((5, 3), (12, 4), (30, 6)):
        ranks = panel(rng, ballots, samples, tied)
        expected = stats.friedmanchisquare(*ranks.T).statistic
        assert block_statistic(ranks) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize(("ballots", "samples"), [(4, 3), (6, 4), (3, 5), (20, 3)])
def test_page_against_scipy(ballots, samples):
    ranks = panel(np.random.default_rng(ballots), ballots, samples)
    expected = stats.page_trend_test(ranks, ranked=True, method="exact")
    assert trend(ranks)[0] == expected.statistic
    assert trend_tail(ranks) == pytest.approx(expected.pvalue, rel=1e-10)


def test_durbin_statistic_by_its_simple_form():
    # Without ties: 12 (t-1) / (r t (k-1) (k+1)) sum (R_j - r (k+1)/2)^2, Durbin 1951.
    ranks = incomplete(np.random.default_rng(8), 3 * PLANE, 7)
    t, r, k = 7, 9, 3
    away = np.nansum(ranks, axis=0) - r * (k + 1) / 2
    expected = 12 * (t - 1) / (r * t * (k - 1) * (k + 1)) * (away**2).sum()
    assert block_statistic(ranks) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("ranks", "seed"),
    [
        (incomplete(np.random.default_rng(9), PLANE, 7), 10),
        (panel(np.random.default_rng(12), 8, 4, tied=True), 13),
    ],
    ids=["incomplete", "tied"],
)
def test_random_arrangements_meet_the_exact_tail(ranks, seed):
    exact = block_tail(ranks)
    drawn = shuffled_tail(ranks, 200_000, np.random.default_rng(seed))
    assert abs(drawn - exact) < 4.5 * np.sqrt(exact * (1 - exact) / 200_000)


def test_exact_tail_tends_to_chi_square():
    ranks = panel(np.random.default_rng(14), 40, 3)
    ranks[:14] = [1, 2, 3]
    large = stats.chi2.sf(block_statistic(ranks), 2)
    assert block_tail(ranks) == pytest.approx(large, rel=0.1)


# Printed tables.


def critical(samples, ballots, alpha):
    """Smallest Friedman statistic with an exact tail of at most alpha, from all rank sums."""
    orders = np.array(list(permutations(range(1, samples + 1))))
    sums = {tuple(orders[0]): 1.0}
    for _ in range(ballots - 1):
        onward = {}
        for vector, mass in sums.items():
            for order in orders:
                key = tuple(sorted(np.add(vector, order)))
                onward[key] = onward.get(key, 0.0) + mass / len(orders)
        sums = onward
    found = {}
    for vector, mass in sums.items():
        statistic = round(
            12 / (ballots * samples * (samples + 1)) * np.square(vector).sum()
            - 3 * ballots * (samples + 1),
            9,
        )
        found[statistic] = found.get(statistic, 0.0) + mass
    tail, best = 0.0, None
    for statistic in sorted(found, reverse=True):
        tail += found[statistic]
        if tail > alpha + 1e-12:
            return best
        best = statistic
    return best


@pytest.mark.parametrize(("name", "alpha"), [("pv088", 0.05), ("pv089", 0.01), ("pv090", 0.05)])
def test_printed_critical_values_of_friedman(name, alpha):
    """The printed value is significant by the exact tail, and nothing smaller is."""
    entry = ENTRIES[name]  # from memory, as the entry says
    samples = entry["inputs"]["k"]
    for ballots, printed in zip(entry["inputs"]["n"], entry["value"], strict=True):
        exact = critical(samples, ballots, alpha)
        assert exact == pytest.approx(printed, abs=entry["tolerance"]), entry["source"]
        tails = {}
        for seed in range(300):
            ranks = panel(np.random.default_rng(seed), ballots, samples)
            ranks[: seed % ballots] = np.arange(1, samples + 1)
            tails[round(block_statistic(ranks), 9)] = ranks
        for statistic, ranks in tails.items():
            assert (block_tail(ranks) <= alpha + 1e-12) == (statistic >= exact)


def trend_critical(samples, ballots, alpha):
    """Smallest L whose exact tail is at most alpha, by panels of growing agreement."""
    orders = np.array(list(permutations(range(1, samples + 1))))
    one = np.bincount(orders @ np.arange(1, samples + 1)) / len(orders)
    total = np.ones(1)
    for _ in range(ballots):
        total = np.convolve(total, one)
    tails = np.cumsum(total[::-1])[::-1]
    return int(np.flatnonzero(tails <= alpha)[0])


def rows_of(name):
    entry = ENTRIES[name]
    k = entry["inputs"].get("k", 3)  # the table of pv091 is for three
    if name == "pv095":
        levels = zip((0.05, 0.01), entry["value"], strict=True)
        return [(k, n, a, v) for a, row in levels for n, v in zip(range(2, 9), row, strict=True)]
    if name in ("pv091", "pv096"):
        sizes = entry["inputs"]["n"] if name == "pv091" else range(2, 9)
        return [(k, n, 0.05, v) for n, v in zip(sizes, entry["value"], strict=True)]
    return [(k, entry["inputs"]["n"], 0.001, entry["value"])]


@pytest.mark.parametrize("name", ["pv091", "pv093", "pv095", "pv096"])
def test_printed_critical_values_of_page(name):
    entry = ENTRIES[name]
    for samples, ballots, alpha, printed in rows_of(name):
        assert trend_critical(samples, ballots, alpha) == printed, entry["source"]


def test_misprints_of_page_are_not_reproduced():
    entry = MISPRINTS["pv092"]
    for ballots, printed, right in zip(
        entry["inputs"]["n"], entry["value"], entry["recomputed"], strict=True
    ):
        assert trend_critical(3, ballots, 0.05) == right != printed, entry["note"]


@pytest.mark.parametrize(("samples", "ballots"), [(3, 6), (4, 5), (5, 3), (5, 8)])
def test_tail_of_page_along_the_printed_table(samples, ballots):
    """The tail crosses 5 % exactly at the critical L, for panels of every agreement."""
    limit = trend_critical(samples, ballots, 0.05)
    rng = np.random.default_rng(samples * ballots)
    both = set()
    for agreeing in range(ballots + 1):
        for _ in range(10):
            ranks = panel(rng, ballots, samples)
            ranks[:agreeing] = np.arange(1, samples + 1)
            significant = trend_tail(ranks) <= 0.05
            assert significant == (trend(ranks)[0] >= limit)
            both.add(significant)
    assert both == {True, False}


def test_statistic_of_page_with_ties():
    entry = ENTRIES["pv094"]
    # Six ballots with these rank sums: ties give the halves.
    ranks = np.array(
        [
            [2, 1, 4, 3],
            [2, 1, 3.5, 3.5],
            [1.5, 1.5, 3, 4],
            [1, 3, 2, 4],
            [1, 3, 2, 4],
            [1, 2.5, 2.5, 4],
        ]
    )
    assert ranks.sum(0).tolist() == entry["inputs"]["rank sums"]
    assert trend(ranks)[0] == entry["value"], entry["source"]


def test_printed_differences_of_all_pairs():
    entry = ENTRIES["rank-NM-5pct"]
    exact_rows = {3: range(3, 9), 4: (3, 4, 5, 6, 7, 8, 9, 11, 12), 5: (5, 6)}
    for samples, sizes in exact_rows.items():
        column = entry["inputs"]["columns"].index(samples)
        for ballots in sizes:
            differences, tails = range_tail(samples, ballots)
            ours = differences[tails <= 0.05][0]
            assert ours == entry["value"][str(ballots)][column], f"{samples} x {ballots}"


def test_printed_differences_that_miss_their_level():
    """Exact critical differences of three samples where the print holds an approximation."""
    entry = ENTRIES["rank-NM-5pct"]
    for ballots, ours in zip((9, 11, 13, 15, 17, 20), (11, 12, 13, 14, 15, 16), strict=True):
        differences, tails = range_tail(3, ballots)
        assert differences[tails <= 0.05][0] == ours == entry["value"][str(ballots)][0] + 1
        assert 0.05 < tails[ours - 1] < 0.063, entry["note"]


def test_range_by_listing_all_panels():
    ranks = np.tile([1.0, 2, 3], (4, 1))
    ranges = [np.ptp(one.sum(0)) for one in every_panel(ranks)]
    differences, tails = range_tail(3, 4)
    expected = [np.mean(np.array(ranges) >= d) for d in differences]
    np.testing.assert_allclose(tails, expected, rtol=1e-10)


# Habits of every rank statistic.

panels = st.integers(0, 2**32 - 1).map(
    lambda seed: panel(
        np.random.default_rng(seed), 2 + seed % 5, 2 + seed % 3, tied=bool(seed // 7 % 2)
    )
)


@settings(max_examples=60, deadline=None)
@given(panels, st.randoms(use_true_random=False))
def test_order_of_rows_and_columns_does_not_matter(ranks, random):
    rows, columns = (random.sample(range(n), n) for n in ranks.shape)
    mixed = ranks[rows][:, columns]
    if np.isnan(block_statistic(ranks)):
        assert np.isnan(block_statistic(mixed))
    else:
        assert block_statistic(mixed) == pytest.approx(block_statistic(ranks), rel=1e-9, abs=1e-9)
    assert block_tail(mixed) == pytest.approx(block_tail(ranks), rel=1e-9)
    i, j = columns.index(0), columns.index(1)
    assert pair_tail(mixed, i, j) == pytest.approx(pair_tail(ranks, 0, 1), rel=1e-9)
    assert trend_tail(ranks[rows]) == pytest.approx(trend_tail(ranks), rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(panels)
def test_reversed_ranks(ranks):
    turned = ranks.shape[1] + 1 - ranks
    assert block_tail(turned) == pytest.approx(block_tail(ranks), rel=1e-9)
    assert pair_tail(turned, 0, 1) == pytest.approx(pair_tail(ranks, 0, 1), rel=1e-9)
    level, mean, variance = trend(ranks)
    back = trend(turned)
    assert back[0] - mean == pytest.approx(mean - level)
    assert back[2] == pytest.approx(variance)
    # The two tails share the value itself: together at least 1.
    assert trend_tail(ranks) + trend_tail(turned) >= 1 - 1e-9


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-50, 50), min_size=1, max_size=8))
def test_midranks_against_scipy_and_under_monotone_change(values):
    ours = midranks(np.array(values, float))
    assert ours.tolist() == stats.rankdata(values).tolist()
    assert midranks(np.exp(np.array(values) / 10)).tolist() == ours.tolist()


def test_spread_of_a_row_is_its_sample_variance():
    ranks = np.array([[1, 2.5, 2.5, 4], [1, 2, 3, np.nan]])
    assert rank_spread(ranks).tolist() == pytest.approx([np.var(ranks[0], ddof=1), 1.0])


def test_what_takes_too_long_is_left_to_other_means():
    assert block_tail(np.tile(np.arange(1.0, 7), (30, 1))) is None
    assert range_tail(9, 4) is None
    assert trend_tail(np.tile(np.arange(1.0, 10), (3, 1))) is None


def test_nobody_told_samples_apart():
    ranks = np.full((4, 3), 2.0)
    assert np.isnan(block_statistic(ranks))
    assert block_tail(ranks) == 1.0
    assert pair_tail(ranks, 0, 1) == 1.0
