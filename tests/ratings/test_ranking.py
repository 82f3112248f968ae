"""The ranking test on frames: published examples, designs, bad ballots, renaming."""

from functools import cache
from itertools import combinations, permutations
from math import factorial

import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.multitest import multipletests

from sensory.base.errors import ArgumentError, BallotError
from sensory.ratings.ranking import ranking_test

from ..references.readers import entries
from . import shared

ENTRIES = entries("published_ranking.json")
MISPRINTS = entries("published_ranking.json", "misprints")
PLANE = ["ABD", "BCE", "CDF", "DEG", "EFA", "FGB", "GAC"]


def tabled(ballots, session):
    """A tidy frame from pairs of sample and rank, a list a ballot."""
    rows = [
        (session, f"assessor {number:03}", sample, rank)
        for number, ballot in enumerate(ballots)
        for sample, rank in ballot
        if not np.isnan(rank)
    ]
    return pd.DataFrame(rows, columns=["session", "assessor", "sample", "rank"])


def frame(ranks, samples="ABCDEFGH"):
    return tabled([zip(samples, given, strict=False) for given in ranks], "s1")


def ranked(scores):
    return np.array([stats.rankdata(row) for row in scores])


def design(blocks, rng):
    ranks = [rng.permutation(len(block)) + 1 for block in blocks]
    return tabled([zip(*pair, strict=True) for pair in zip(blocks, ranks, strict=True)], "")


def sums_of(found):
    return {row["sample"]: row["rank_sum"] for row in found.rank_sums.records()}


# Published examples.


def test_eleven_assessors_and_four_brands():
    entry = ENTRIES["pv112"]
    found = ranking_test(frame(entry["inputs"]["ranks"]))
    assert [sums_of(found)[name] for name in "ABCD"] == entry["value"], entry["source"]
    assert found.friedman.statistic == pytest.approx(27.7636, abs=5e-5), entry["note"]
    assert found.friedman.p_chi_square == pytest.approx(4.07e-6, abs=5e-9), entry["note"]
    assert found.least_differences.one_pair == pytest.approx(11.8684, abs=5e-4), entry["note"]
    entry = ENTRIES["pv113"]  # the pairs of the same exercise
    beyond = [f"{row['sample']}{row['other']}" for row in found.pairs.records() if row["one_pair"]]
    assert beyond == entry["value"], entry["source"]


def test_rounding_first_base():
    entry = ENTRIES["pv114"]  # from memory, as the entry says
    found = ranking_test(frame(ranked(entry["inputs"]["data"])))
    assert [sums_of(found)[name] for name in "ABC"] == entry["value"][:3]
    tolerance = entry["tolerance"]
    assert found.friedman.statistic == pytest.approx(entry["value"][3], abs=tolerance)
    assert found.friedman.p_chi_square == pytest.approx(entry["value"][4], abs=tolerance)
    # The note holds the value without the correction, which is another.
    assert abs(found.friedman.statistic - 10.6364) > 0.5, entry["note"]


def test_turmeric_by_its_rank_sums():
    entry = ENTRIES["pv085"]
    sums, n, k = np.array(entry["inputs"]["rank sums"]), 7, 6
    # Seven rankings of six samples with these sums: 1 2 3 4 5 6 with one exchange of the last two.
    ranks = np.tile(np.arange(1.0, 7), (n, 1))
    ranks[0] = [1, 2, 3, 4, 6, 5]
    assert ranks.sum(0).tolist() == sums.tolist()
    found = ranking_test(frame(ranks))
    assert found.friedman.statistic == pytest.approx(entry["value"], abs=entry["tolerance"])
    assert found.friedman.p_chi_square == pytest.approx(1.88e-6, abs=5e-9), entry["note"]
    wrong = MISPRINTS["pv086"]
    least = found.least_differences.one_pair
    assert least == pytest.approx(wrong["recomputed"], abs=wrong["tolerance"]), wrong["note"]
    assert least == pytest.approx(1.959964 * np.sqrt(n * k * (k + 1) / 6), rel=1e-6)


def test_kendall_w_of_four_judges():
    entry = ENTRIES["pv097"]
    ranks = np.array(entry["inputs"]["ranks"], float).T
    assert ranks.sum() == entry["value"]["sum"]
    found = ranking_test(frame(ranks, "ABCDEFGHIJ")).friedman
    expected = pytest.approx(entry["value"]["W"], abs=entry["tolerance"])
    assert found.kendall_w == expected, entry["note"]
    assert found.statistic == pytest.approx(28.5818, abs=5e-5), entry["note"]
    assert found.p_chi_square == pytest.approx(0.00076, abs=5e-6), entry["note"]


def test_agreement_is_the_statistic_over_its_largest_value():
    rng = np.random.default_rng(3)
    ranks = ranked(rng.integers(0, 4, (9, 5)))
    data = pd.DataFrame(ranks).melt(ignore_index=False, var_name="w", value_name="r").reset_index()
    expected = pingouin.friedman(data, dv="r", within="w", subject="index")
    found = ranking_test(frame(ranks)).friedman
    assert found.statistic == pytest.approx(float(expected["Q"].iloc[0]), rel=1e-10)
    assert found.kendall_w == pytest.approx(float(expected["W"].iloc[0]), rel=1e-10)
    assert found.df == 4


def test_everybody_agrees():
    found = ranking_test(frame(np.tile([1.0, 2, 3], (6, 1))), expected=["A", "B", "C"])
    assert found.friedman.kendall_w == pytest.approx(1)
    # One order of all six ballots out of 6^5, and one of 6^6 in the expected order.
    assert found.friedman.p == pytest.approx(6.0**-5, rel=1e-10)
    assert found.page.p == pytest.approx(6.0**-6, rel=1e-10)


# What was chosen, and that it is said.


@pytest.mark.parametrize(
    ("ballots", "samples", "method"),
    [(8, 3, "exact"), (10, 5, "exact"), (30, 6, "permutation"), (61, 6, "chi-square")],
)
def test_method_is_said(ballots, samples, method):
    rng = np.random.default_rng(ballots)
    found = ranking_test(frame(ranked(rng.random((ballots, samples)) + np.arange(samples) / 8)))
    assert found.friedman.method == method
    assert (found.friedman.p == found.friedman.p_chi_square) == (method == "chi-square")
    large = stats.chi2.sf(found.friedman.statistic, samples - 1)
    assert found.friedman.p_chi_square == pytest.approx(large, rel=1e-9)
    assert method in str(found.summary())


def test_random_arrangements_come_from_the_seed():
    ballots = frame(ranked(np.random.default_rng(1).random((20, 6))))
    one, again, other = (ranking_test(ballots, seed=seed).friedman.p for seed in (5, 5, 6))
    assert one == again
    assert one == pytest.approx(other, abs=0.02)


def test_page_beyond_eight_samples_is_normal():
    rng = np.random.default_rng(4)
    ranks, letters = ranked(rng.random((14, 9)) + np.arange(9) / 20), "ABCDEFGHI"
    page = ranking_test(frame(ranks, letters), expected=list(letters)).page
    expected = stats.page_trend_test(ranks, ranked=True, method="asymptotic")
    assert page.method == "normal"
    assert page.statistic == expected.statistic
    assert page.p == pytest.approx(expected.pvalue, rel=1e-9)


def test_page_takes_the_columns_in_the_expected_order():
    rng = np.random.default_rng(5)
    ranks = ranked(rng.random((6, 4)))
    for order in permutations("ABCD"):
        columns = ["ABCD".index(name) for name in order]
        expected = stats.page_trend_test(ranks[:, columns], ranked=True, method="exact")
        page = ranking_test(frame(ranks), expected=order).page
        assert page.expected == order
        assert page.statistic == expected.statistic
        assert page.p == pytest.approx(expected.pvalue, rel=1e-9)


# Pairs and least differences.


@cache
def chances_of_sums(size, ballots):
    """Chance of every vector of rank sums of alike samples, ballot by ballot."""
    sums = {(0,) * size: 1.0}
    for _ in range(ballots):
        onward = {}
        for vector, chance in sums.items():
            for order in permutations(range(1, size + 1)):
                key = tuple(a + b for a, b in zip(vector, order, strict=True))
                onward[key] = onward.get(key, 0.0) + chance / factorial(size)
        sums = onward
    return sums


def p_of_set(ranks, columns, statistic):
    held = ranked(ranks[:, columns])
    seen = statistic(held.sum(0))
    sums = chances_of_sums(len(columns), len(ranks))
    return sum(chance for vector, chance in sums.items() if statistic(vector) >= seen - 1e-9)


def together(ranks, raw):
    """Closed tests by the definition: every partition into sets has to be refused.

    A partition is refused where any of its sets is, at 1 - (1 - alpha)^(size / samples); sets of
    all, and of all but one, stand alone and have alpha. A pair's p is the smallest alpha at
    which every partition that puts the two together is refused.
    """
    samples = ranks.shape[1]
    p = dict(raw)
    for size in range(3, samples + 1):
        for columns in combinations(range(samples), size):
            p[columns] = p_of_set(ranks, columns, lambda sums: np.var(sums))

    def level(columns):
        alone = len(columns) >= samples - 1
        return p[columns] if alone else 1 - (1 - p[columns]) ** (samples / len(columns))

    def partitions(left):
        if not left:
            yield []
            return
        first, *rest = left
        for size in range(len(rest) + 1):
            for mates in combinations(rest, size):
                others = [column for column in rest if column not in mates]
                for further in partitions(others):
                    yield [(first, *mates), *further]

    return [
        max(
            min(level(columns) for columns in partition if len(columns) > 1)
            for partition in partitions(list(range(samples)))
            if any(set(pair) <= set(columns) for columns in partition)
        )
        for pair in raw
    ]


def test_unanimous_assessors_tell_every_pair_apart():
    """Eight who agree on five samples; Holm over exact exchanges would find none."""
    unanimous = np.tile(np.arange(1.0, 6.0), (8, 1))
    every = ranking_test(frame(unanimous))
    assert len(every.different_pairs) == 10
    assert min(multipletests([2 / 2**8] * 10, method="holm")[1]) > 0.05
    assert len(ranking_test(frame(unanimous), reference="A").different_pairs) == 4


@pytest.mark.parametrize(("samples", "reference"), [(3, None), (5, None), (5, "A"), (8, None)])
def test_fewest_ballots_are_the_fewest(samples, reference):
    unanimous = np.tile(np.arange(1.0, samples + 1), (12, 1))
    fewest = ranking_test(frame(unanimous), reference=reference).fewest
    assert ranking_test(frame(unanimous[:fewest]), reference=reference).different_pairs
    assert not ranking_test(frame(unanimous[: fewest - 1]), reference=reference).different_pairs


def test_pairs_beside_a_reference_by_every_set():
    """Largest difference from the reference within each set; drawn p within 4 standard errors."""
    rng = np.random.default_rng(17)
    ranks = ranked(rng.random((8, 4)) + np.array([0, 0.2, 0.5, 0.9]))
    ours = ranking_test(frame(ranks), reference="A").pairs.records()
    for row in ours:
        column = "ABCD".index(row["sample"])
        others = [c for c in (1, 2, 3) if c != column]
        sets = [(0, column, *more) for size in (1, 2) for more in combinations(others, size)]
        beside = [
            p_of_set(ranks, held, lambda sums: max(abs(x - sums[0]) for x in sums[1:]))
            for held in sets
        ]
        expected = max(row["p"], *beside)
        assert row["p_adjusted"] == pytest.approx(
            expected, abs=4 * np.sqrt(expected * (1 - expected) / 19_999) + 1e-4
        )


def test_pairs_hold_closed_tests_over_exact_exchanges():
    rng = np.random.default_rng(6)
    ranks = ranked(rng.random((9, 4)) + np.array([0, 0.1, 0.5, 0.9]))
    found = ranking_test(frame(ranks))
    raw = []
    for i, j in combinations(range(4), 2):
        result = stats.permutation_test(
            (ranks[:, i], ranks[:, j]),
            lambda a, b: np.sum(a - b),
            permutation_type="samples",
            vectorized=False,
            n_resamples=np.inf,
        )
        raw.append(min(result.pvalue, 1.0))
    ours = found.pairs.records()
    assert [row["p"] for row in ours] == pytest.approx(raw, rel=1e-9)
    expected = together(ranks, dict(zip(combinations(range(4), 2), raw, strict=True)))
    assert [row["p_adjusted"] for row in ours] == pytest.approx(expected, rel=1e-9)
    different = {(row["sample"], row["other"]) for row in ours if row["p_adjusted"] <= 0.05}
    assert set(found.different_pairs) == different != set()
    assert "exchanged within assessors" in found.pairs_method


def test_pairs_beside_a_reference():
    rng = np.random.default_rng(7)
    ballots = frame(ranked(rng.random((12, 4)) + np.array([0, 0.2, 0.5, 0.9])))
    every, beside = ranking_test(ballots), ranking_test(ballots, reference="C")
    rows = beside.pairs.records()
    assert [(row["sample"], row["other"]) for row in rows] == [("A", "C"), ("B", "C"), ("D", "C")]
    known = {frozenset((row["sample"], row["other"])): row for row in every.pairs.records()}
    for row in rows:
        other = known[frozenset((row["sample"], row["other"]))]
        assert row["p"] == pytest.approx(other["p"])
        assert abs(row["estimate"]) == abs(other["estimate"])
        assert row["p"] <= row["p_adjusted"]
    least = beside.least_differences
    assert least.by_range is None
    assert least.comparisons == 3
    assert least.one_pair < least.all_pairs < every.least_differences.all_pairs


def test_least_differences_by_hand():
    least = ranking_test(frame(np.tile([1.0, 2, 3, 4, 5, 6, 7], (40, 1)))).least_differences
    error = np.sqrt(40 * 7 * 8 / 6)
    assert least.one_pair == pytest.approx(stats.norm.isf(0.025) * error, rel=1e-9)
    assert least.all_pairs == pytest.approx(stats.norm.isf(0.025 / 21) * error, rel=1e-9)
    # q(0.05; 7, inf) = 4.17, printed in tables of the studentized range (from memory).
    assert least.by_range == pytest.approx(4.17 / np.sqrt(2) * error, rel=2e-3)
    assert least.range_method == "studentized range"


def test_range_of_all_pairs_is_exact_for_small_panels():
    least = ranking_test(frame(np.tile([1.0, 2, 3], (10, 1)))).least_differences
    assert (least.by_range, least.range_method) == (11.0, "exact")
    assert ENTRIES["rank-NM-5pct"]["value"]["10"][0] == 11
    # Two ballots of three samples: even the largest range has a tail of 1/6.
    assert ranking_test(frame([[1, 2, 3], [1, 2, 3]])).least_differences.by_range is None


def test_least_difference_with_ties_is_the_spread_of_a_difference():
    """The error behind it, from random arrangements of the tied ranks."""
    rng = np.random.default_rng(8)
    ranks = ranked(rng.integers(0, 3, (10, 4)))
    totals = np.zeros((100_000, 4))
    for row in ranks:
        totals += rng.permuted(np.tile(row, (100_000, 1)), axis=1)
    drawn = (totals[:, 0] - totals[:, 1]).std()
    error = ranking_test(frame(ranks)).least_differences.one_pair / stats.norm.isf(0.025)
    assert error == pytest.approx(drawn, rel=0.01)


# Incomplete blocks.


def test_balanced_incomplete_blocks():
    rng = np.random.default_rng(9)
    found = ranking_test(design(3 * PLANE, rng), expected=list("ABCDEFG"))
    assert "Durbin" in str(found.summary())
    assert found.friedman.kendall_w is None
    # ISO 8587: z sqrt(r (k+1) (n k - n + l) / 6) for r repeats of a design that serves each
    # sample n times and each pair l times, here r = 3, k = 3, n = 3, l = 1 (from memory).
    expected = stats.norm.isf(0.025) * np.sqrt(3 * 4 * (3 * 3 - 3 + 1) / 6)
    assert found.least_differences.one_pair == pytest.approx(expected, rel=1e-9)
    assert found.pairs_method == "exact, all samples alike"
    assert {row["ballots"] for row in found.rank_sums.records()} == {9}


def test_p_of_an_incomplete_pair_by_random_ballots():
    rng = np.random.default_rng(10)
    found = ranking_test(design(2 * PLANE, rng))
    row = max(found.pairs.records(), key=lambda row: abs(row["estimate"]))
    served = np.array([[name in block for name in "ABCDEFG"] for block in 2 * PLANE])
    totals = np.zeros((40_000, 7))
    for block in served:
        totals[:, block] += rng.permuted(np.tile([1.0, 2, 3], (40_000, 1)), axis=1)
    i, j = ("ABCDEFG".index(row[key]) for key in ("sample", "other"))
    share = np.mean(np.abs(totals[:, i] - totals[:, j]) >= abs(row["estimate"]))
    assert abs(share - row["p"]) < 4.5 * np.sqrt(row["p"] * (1 - row["p"]) / 40_000)


def test_sessions_add_ballots_not_people():
    first = frame([[1, 2, 3], [1, 3, 2], [2, 1, 3]])
    second = first.assign(session="s2")
    found = ranking_test(pd.concat([first, second]))
    assert found.ballots.assessors == 3
    assert len(found.ballots.ballots) == 6


# Habits.

scores = st.integers(0, 2**32 - 1).map(
    lambda seed: np.random.default_rng(seed).integers(0, 5, (3 + seed % 5, 3 + seed % 2))
)


@settings(max_examples=30, deadline=None)
@given(scores, st.randoms(use_true_random=False))
def test_order_of_rows_and_names_do_not_matter(values, random):
    ballots = frame(ranked(values))
    names = sorted(set(ballots["sample"]))
    found = ranking_test(ballots, expected=names)
    turned = dict(
        zip(names, random.sample([f"cordial {name}" for name in "PQRS"], len(names)), strict=True)
    )
    mixed = ballots.sample(frac=1, random_state=random.randrange(1000))
    mixed = mixed.assign(sample=mixed["sample"].map(turned))
    again = ranking_test(mixed, expected=[turned[name] for name in names])
    assert again.friedman.p == pytest.approx(found.friedman.p, rel=1e-9)
    assert again.friedman.statistic == pytest.approx(found.friedman.statistic, rel=1e-9, abs=1e-9)
    assert again.page.p == pytest.approx(found.page.p, rel=1e-9)
    assert again.page.statistic == found.page.statistic
    assert sums_of(again) == {turned[name]: total for name, total in sums_of(found).items()}


@settings(max_examples=30, deadline=None)
@given(scores)
def test_reversed_ranks(values):
    ranks = ranked(values)
    one, other = ranking_test(frame(ranks)), ranking_test(frame(ranks.shape[1] + 1 - ranks))
    assert other.friedman.p == pytest.approx(one.friedman.p, rel=1e-9)
    for there, back in zip(one.pairs.records(), other.pairs.records(), strict=True):
        assert back["estimate"] == -there["estimate"]
        assert back["p"] == pytest.approx(there["p"], rel=1e-9)


def test_noise_in_the_last_digits_breaks_no_tie():
    ballots = frame([[1.5, 1.5, 3], [1, 2, 3]])
    ballots.loc[0, "rank"] = 1.5 + 1e-13
    assert ranking_test(ballots).ballots.ranks[0].tolist() == [1.5, 1.5, 3]


def test_nobody_told_samples_apart():
    found = ranking_test(frame(np.full((4, 3), 2.0)), expected=list("ABC"))
    assert (found.friedman.statistic, found.friedman.p) == (0.0, 1.0)
    assert found.page.p == 1.0
    assert found.different_pairs == ()
    assert not any(row["one_pair"] or row["all_pairs"] for row in found.pairs.records())
    letters = "ABCDEFGHI"
    found = ranking_test(frame(np.full((4, 9), 5.0), letters), expected=list(letters))
    assert (found.page.p, found.page.se, found.page.method) == (1.0, 0.0, "normal")
    assert found.friedman.p == 1.0


# Bad ballots.


def good():
    return frame([[1, 2, 3], [1, 3, 2], [2, 1, 3]])


def with_cell(*change):
    return shared.with_cell(good(), *change)


@pytest.mark.parametrize(
    ("ballots", "sentence"),
    [
        (pd.concat([good(), good().iloc[[4]]]), r"row 11, column sample: .* sample B twice"),
        (with_cell(4, "rank", np.nan), r"row 6, column rank: assessor 001 gave sample B no rank"),
        (with_cell(4, "rank", "third"), r"row 6, column rank: assessor 001 gave sample B 'third'"),
        (with_cell(4, "rank", True), r"gave sample B True as a rank"),
        (with_cell(4, "rank", np.inf), r"gave sample B inf as a rank"),
        (with_cell(4, "assessor", None), r"row 6, column assessor: The assessor is missing"),
        (with_cell(4, "sample", " "), r"row 6, column sample: The sample is missing"),
        (with_cell(4, "rank", 1), r"assessor 001 in session s1 are 1, 1, 2: not 1 to 3"),
        (with_cell(4, "rank", 1), r"should be 1.5, 1.5, 3; tied samples share the mean rank"),
        (with_cell(4, "rank", 4), r"are 1, 4, 2: not 1 to 3.* should be 1, 3, 2"),
        (with_cell(4, "rank", 0), r"are 1, 0, 2: not 1 to 3"),
        (pd.concat([good(), frame([[1]]).assign(assessor="Ada")]), r"Ada ranked only one sample"),
    ],
)
def test_bad_cells(ballots, sentence):
    with pytest.raises(BallotError, match=sentence):
        ranking_test(ballots)


def test_every_fault_is_listed():
    ballots = good().astype(object)
    ballots.loc[1, "rank"], ballots.loc[6, "rank"] = None, 3
    with pytest.raises(BallotError) as caught:
        ranking_test(ballots)
    assert [fault.rule for fault in caught.value.faults] == ["rank", "not ranks"]


@pytest.mark.parametrize(
    ("ballots", "sentence"),
    [
        ([1, 2], "ballots must be a pandas DataFrame with one rank a row; got list."),
        (good().drop(columns="rank"), "ballots lack the column rank; needed are assessor"),
        (good().iloc[:0], "ballots are empty; give at least one row."),
        (good().iloc[:3], "two assessors or more; got only assessor 000"),
        (good()[good()["sample"] == "A"], "ranked only one sample"),
        (frame([[1, 2, 3], [1, 2, 3], [1, 2, np.nan]]), "ranked 2 samples, without C"),
        (design(PLANE[:-1], np.random.default_rng(1)), "2 to 3 times, pairs .* together 0 to 1"),
    ],
)
def test_bad_frames(ballots, sentence):
    with pytest.raises((ArgumentError, BallotError), match=sentence):
        ranking_test(ballots)


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"expected": ["A", "B"]}, "expected must hold each of the samples A, B, C once; got A, B"),
        ({"expected": "AAB"}, "expected must hold each of the samples"),
        ({"reference": "Z"}, "reference must be one of the samples A, B, C; got 'Z'"),
        ({"alpha": 5}, "alpha must lie strictly between 0 and 1"),
        ({"seed": -1}, "seed must be at least 0"),
    ],
)
def test_bad_arguments(options, sentence):
    with pytest.raises(ArgumentError, match=sentence):
        ranking_test(good(), **options)


def test_session_may_be_left_out_and_columns_may_be_categories():
    found = ranking_test(good().drop(columns="session"))
    assert found.friedman == ranking_test(good()).friedman
    assert found.ballots.ballots[0] == ("", "assessor 000")
    categories = good().astype({"assessor": "category", "sample": "category"})
    assert ranking_test(categories).friedman == found.friedman
