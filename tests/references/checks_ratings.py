"""Row 8 of published_checks.json: comparisons of means, equivalence, ranks, agreement."""

import numpy as np
import pandas as pd

from sensory.models import ranks
from sensory.models.multiplicity import dunnett_p, dunnett_quantile, tukey_p, tukey_quantile
from sensory.ratings.profile import profile
from sensory.ratings.ranking import ranking_test
from sensory.ratings.scorecard import panel_scorecard

# Comparisons of several means. The one-way layout itself is arithmetic of this file.


class OneWay:
    """Independent groups, the first the control: differences from it and their scatter."""

    def __init__(self, groups):
        arrays = [np.array(group, float) for group in groups]
        self.number = np.array([each.size for each in arrays])
        self.mean = np.array([each.mean() for each in arrays])
        self.df = int(self.number.sum()) - len(arrays)
        squares = sum(((each - each.mean()) ** 2).sum() for each in arrays)
        self.error = squares / self.df

    def apart(self, first, second):
        """Differences of means and their standard errors."""
        se = np.sqrt(self.error * (1 / self.number[first] + 1 / self.number[second]))
        return self.mean[first] - self.mean[second], se

    def from_control(self):
        others = np.arange(1, len(self.mean))
        return self.apart(others, np.zeros(len(others), int))

    @property
    def correlation(self):
        loading = np.sqrt(self.number[1:] / (self.number[1:] + self.number[0]))
        matrix = np.outer(loading, loading)
        np.fill_diagonal(matrix, 1.0)
        return matrix

    def critical(self, two_sided, alpha=0.05):
        return dunnett_quantile(alpha, self.df, self.correlation, two_sided=two_sided)[0]


def layout(entry):
    given = entry["inputs"]
    if "groups" in given:
        return OneWay(given["groups"].values())
    return OneWay([given["control"], *given["treatments"]])


def table_of_dunnett(two_sided):
    def ours(entry):
        given = entry["inputs"]
        count = given["treatments_without_control"]
        correlation = np.full((count, count), given["rho"])
        np.fill_diagonal(correlation, 1.0)
        return dunnett_quantile(given["alpha"], given["df"], correlation, two_sided=two_sided)

    return ours


def adjusted(two_sided=True, side=1, chosen=slice(None)):
    def ours(entry):
        groups = layout(entry)
        difference, se = groups.from_control()
        t = side * difference / se
        return dunnett_p(t, groups.df, groups.correlation, two_sided=two_sided)[chosen]

    return ours


def critical(two_sided, alpha=0.05):
    return lambda entry: [layout(entry).critical(two_sided, alpha)]


def both_limits(order, chosen=slice(None)):
    """Limits of the chosen comparisons: 'F' comparison by comparison, 'C' lower ones first."""

    def ours(entry):
        groups = layout(entry)
        difference, se = groups.from_control()
        half = groups.critical(two_sided=True) * se
        return np.array([difference - half, difference + half])[:, chosen].ravel(order)

    return ours


def upper_limits(chosen=slice(None), alpha=0.05):
    def ours(entry):
        groups = layout(entry)
        difference, se = groups.from_control()
        return (difference + groups.critical(two_sided=False, alpha=alpha) * se)[chosen]

    return ours


def tukey_critical(entry):
    groups = layout(entry)
    return tukey_quantile(0.05, groups.df, len(groups.mean))


def tukey_limits(entry):
    """D less A, the third of the printed pairs."""
    groups = layout(entry)
    difference, se = groups.apart(3, 0)
    half = tukey_critical(entry)[0] * se
    return [difference - half, difference + half]


def kramer_p(entry):
    """Of the printed pairs, by Kramer's bound: never below the exact p for unequal numbers."""
    groups = layout(entry)
    first, second = np.triu_indices(len(groups.mean), 1)
    difference, se = groups.apart(first, second)
    return tukey_p(difference / se, groups.df, len(groups.mean))[[0, 2, 3, 4, 5]]


def scores(columns):
    """Tidy scores of one attribute, a row of the columns an assessor, NaN left out."""
    rows = [
        (f"a{number:02}", sample, 1, "x", score)
        for sample, column in columns.items()
        for number, score in enumerate(column)
        if not np.isnan(score)
    ]
    names = ["assessor", "sample", "replicate", "attribute", "score"]
    return pd.DataFrame(rows, columns=names)


def equivalence(first, second, margin):
    """One row of a profile of two samples: the paired form of two one-sided tests."""
    found = profile(scores({"A": first, "B": second}), reference="B", margins=margin)
    return found.equivalence.iloc[0]


def clinic(entry):
    given = entry["inputs"]
    row = equivalence(given["group1"], given["group2"], given["bound"])
    return [row["low"], row["high"], row["p"]]


def clinic_ratio(entry):
    first, second = (np.log(entry["inputs"][name]) for name in ("group1", "group2"))
    return [None, equivalence(first, second, np.log(1.25))["p"]]


def paired_summary(entry):
    """Sixty-five pairs made to have the printed means, deviations and correlation."""
    given = entry["inputs"]
    drawn = np.random.default_rng(1).normal(size=(given["n"], 2))
    drawn -= drawn.mean(0)
    drawn /= np.sqrt((drawn**2).sum(0) / (given["n"] - 1))
    drawn[:, 1] -= drawn[:, 0] * (drawn[:, 0] @ drawn[:, 1]) / (given["n"] - 1)
    drawn[:, 1] /= np.sqrt((drawn[:, 1] ** 2).sum() / (given["n"] - 1))
    r = given["r"]
    second = r * drawn[:, 0] + np.sqrt(1 - r**2) * drawn[:, 1]
    pair = [
        m + sd * z for m, sd, z in zip(given["m"], given["sd"], (drawn[:, 0], second), strict=True)
    ]
    row = equivalence(*pair, given["bounds"])
    low, high = ((row["estimate"] + side * row["margin"]) / row["se"] for side in (1, -1))
    return [low, high, None, row["p"], row["low"], row["high"]]


# Ranks.


def ballots(blocks, given):
    rows = [
        ("s", f"a{number:02}", sample, rank)
        for number, (block, row) in enumerate(zip(blocks, given, strict=True))
        for sample, rank in zip(block, row, strict=True)
    ]
    return pd.DataFrame(rows, columns=["session", "assessor", "sample", "rank"])


def friedman_critical(entry):
    """Smallest statistic whose exact tail, over all rank sums, is at most alpha."""
    given, smallest = entry["inputs"], []
    k = given["k"]
    for n in given["n"]:
        doubled, chances = ranks._untied_sums(k, n)
        away = ((doubled / 2 - n * (k + 1) / 2) ** 2).sum(1)
        values, place = np.unique(np.round(12 * away / (n * k * (k + 1)), 9), return_inverse=True)
        tails = np.cumsum(np.bincount(place, chances)[::-1])[::-1]
        smallest.append(values[tails <= given["alpha"] + 1e-12][0])
    return smallest


def homeowners(entry):
    given = entry["inputs"]["ranks_of_12_homeowners"]
    return ranking_test(ballots(["ABCD"] * len(given), given))


def sums(found):
    return {row["sample"]: row["rank_sum"] for row in found.rank_sums.records()}


def grass(entry):
    found = homeowners(entry).friedman
    return [found.statistic, found.p_chi_square, None, None]


def grass_differences(entry):
    sum_of = sums(homeowners(entry))
    return [*(sum_of["A"] - sum_of[other] for other in "BCD"), None]


def durbin(entry):
    given = entry["inputs"]
    measured = np.array(given["values"]).reshape(len(given["blocks"]), -1)
    return ranking_test(ballots(given["blocks"], [ranks.midranks(row) for row in measured]))


def durbin_test(entry):
    found = durbin(entry).friedman
    return [found.statistic, found.p_chi_square, None, None]


def intraclass(column):
    """From scores made to have the printed mean squares."""

    def ours(entry):
        given = entry["inputs"]
        n, k = given["n"], given["k"]
        rng = np.random.default_rng(1)
        row = rng.normal(size=n)
        row -= row.mean()
        row *= np.sqrt(given["MS_rows"] * (n - 1) / k / (row**2).sum())
        rest = rng.normal(size=(n, k))
        rest -= rest.mean(0) + rest.mean(1, keepdims=True) - rest.mean()
        rest *= np.sqrt(given["MS_error"] * (n - 1) * (k - 1) / (rest**2).sum())
        samples = {f"s{i:02}": 50 + row[i] + rest[i] for i in range(n)}
        card = panel_scorecard(scores(samples)).attributes.iloc[0]
        return [card[column], None, None]

    return ours


TOX = [2, 5]
COMPARED = {
    **dict.fromkeys(
        (
            "c8_dun55_one_0.05_1_10",
            "c8_dun55_one_0.05_3_10",
            "c8_dun55_one_0.05_2_30",
            "c8_dun55_one_0.05_5_30",
            "c8_dun55_one_0.05_4_60",
            "c8_dun55_one_0.01_4_12",
            "c8_dun55_one_0.01_7_12",
            "c8_dun55_one_0.01_2_60",
            "c8_dun55_one_0.01_4_60",
        ),
        table_of_dunnett(two_sided=False),
    ),
    **dict.fromkeys(
        ("c8_dun55_two_0.05_1_10", "c8_dun55_two_0.05_2_30", "c8_dun55_two_0.01_2_60"),
        table_of_dunnett(two_sided=True),
    ),
    "c8_dun_blood_p": adjusted(),
    "c8_dun_blood_pg": adjusted(two_sided=False),
    "c8_dun_blood_ci": both_limits("C"),
    "c8_dun_fabric_p": adjusted(),
    "c8_dun_fabric_ci": both_limits("C"),
    "c8_dun_thomson_p": adjusted(),
    "c8_wloss_q": tukey_critical,
    "c8_wloss_lim": tukey_limits,
    "c8_tox2_q": critical(two_sided=True),
    "c8_tox2_lim": both_limits("F", TOX),
    "c8_tox1_q": critical(two_sided=False),
    "c8_tox1_lim": upper_limits(TOX),
    "c8_rec2_q": critical(two_sided=True),
    "c8_rec2_lim": both_limits("F"),
    "c8_rec2_p": adjusted(chosen=[0, 2]),
    "c8_rec1_q": critical(two_sided=False),
    "c8_rec1_lim": upper_limits(),
    "c8_rec1_p": adjusted(two_sided=False, side=-1, chosen=[0, 2]),
    "c8_rec90_q": critical(two_sided=False, alpha=0.1),
    "c8_rec90_lim": upper_limits(alpha=0.1),
    "c8_tost_paired": paired_summary,
    "c8_tost_clinic_paired": clinic,
    "c8_tost_clinic_log": clinic_ratio,
    **dict.fromkeys(
        (f"c8_fried_{k}_{alpha}" for k in (3, 4, 5) for alpha in ("0.05", "0.01")),
        friedman_critical,
    ),
    "c8_fried_grass": grass,
    "c8_fried_grass_d": grass_differences,
    "c8_durbin_sums": lambda entry: [sums(durbin(entry))[name] for name in "ABCDEFG"],
    "c8_durbin": durbin_test,
    "c8_icc_c1": intraclass("icc_consistency"),
    "c8_icc_ck": intraclass("icc_panel"),
}
# The 1955 table of two-sided values has misprints or rough approximations.
MISPRINTED = dict.fromkeys(
    (
        "c8_dun55_two_0.05_3_10",
        "c8_dun55_two_0.05_3_20",
        "c8_dun55_two_0.05_4_60",
        "c8_dun55_two_0.01_4_12",
        "c8_dun55_two_0.01_7_12",
        "c8_dun55_two_0.01_4_60",
    ),
    table_of_dunnett(two_sided=True),
)
PARTLY = {
    "c8_tost_paired": "the p of the nearer margin only",
    "c8_tost_clinic_log": "paired only: everybody scores both samples",
    "c8_fried_grass": "the statistic and its chi-square, no F form",
    "c8_fried_grass_d": "least differences by the normal or the exact law, not by Student's t",
    "c8_durbin": "the statistic and its chi-square; least differences not by Student's t",
    "c8_icc_c1": "limits come from another library, in two decimals",
    "c8_icc_ck": "limits come from another library, in two decimals",
}
ONE_WAY = "no one-way layout: everybody scores every sample"
NOT_OFFERED = {
    "c8_dun_blood_t": ONE_WAY,
    "c8_dun_fabric_t": ONE_WAY,
    "c8_dun_thomson_t": ONE_WAY,
    "c8_rect_q": "Kramer's bound for all pairs of unequal numbers (2.690), not the exact value",
    "c8_rect_p": "Kramer's bound for all pairs of unequal numbers (see test_outside_checks)",
    "c8_warp_wool": ONE_WAY + "; the data are not in the file",
    "c8_warp_tension": ONE_WAY + "; the data are not in the file",
    "c8_tost_yield_pooled": ONE_WAY,
    "c8_tost_yield_welch": ONE_WAY,
    "c8_tost_two": ONE_WAY,
    "c8_tost_one": ONE_WAY,
    "c8_tost_clinic_welch": ONE_WAY,
    "c8_tost_clinic_pooled": ONE_WAY,
    "c8_games_howell": ONE_WAY,
}
MISPRINTS_NOT_OFFERED = {}
