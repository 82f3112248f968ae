"""published_more.json: thresholds, shelf life, grading, lots, drift, ring tests, causes."""

import numpy as np

from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import PAIRED, THREE_AFC
from sensory.models.binomial import lower_tail
from sensory.models.censored_times import Intervals, steps_of
from sensory.models.charts import weighted_mean
from sensory.models.consistency import (
    cochran_critical,
    grubbs_critical,
    mandel_h_critical,
    mandel_k_critical,
)
from sensory.models.known_error import known_error_fit
from sensory.models.line_crossing import crossing, fit_line
from sensory.models.mixed import restricted_likelihood
from sensory.models.ranks import midranks
from sensory.ratings.ranking import ranking_test

from .checks_ratings import ballots


def detecting(entry):
    """Two of three right, with three to choose from."""
    assert entry["inputs"] == {"guess": "1/3", "correct": "2/3"}
    return [choice_test(THREE_AFC, 2, 3).pd, THREE_AFC.pc_at(0.5)]


def lots(entry):
    """One mean, lots random: variances, the mean, -2 log restricted likelihood."""
    given = entry["inputs"]
    lot = np.repeat(np.arange(given["groups"]), given["each"]) if "groups" in given else None
    lot = np.repeat(np.arange(6), 5) if lot is None else lot
    y = np.array(given["yield_"], float)[:, None]
    fit = restricted_likelihood(y, np.zeros(len(y), int), {"lot": lot})
    criterion = fit.deviance[0] + (len(y) - 1) * (1 + np.log(2 * np.pi))
    ours = {
        "var_between": fit.variances[0, 0],
        "var_within": fit.variances[0, 1],
        "var_residual_reml": fit.variances[0, 1],
        "mean": fit.means[0, 0],
        "reml": criterion,
    }
    return [ours[name] for name in entry["expected"]]


def ticks(rows):
    """Cochran's Q is Friedman's statistic, corrected for ties, of ticks as ranks."""
    named = ["ABCD"[: len(row)] for row in rows]
    found = ranking_test(ballots(named, [midranks(np.array(row, float)) for row in rows]))
    return [found.friedman.statistic, found.friedman.df, found.friedman.p_chi_square]


def patterns(entry):
    given = entry["inputs"]
    return ticks([row for row, n in zip(*given.values(), strict=True) for _ in range(n)])


def mcnemar(entry):
    """The discordant ones are a two-sided paired comparison."""
    return [
        choice_test(PAIRED, b, b + c, two_sided=True).p_difference for b, c in discordant(entry)
    ]


def discordant(entry):
    return entry["inputs"]["b_c"]


def pooled(entry):
    """Mean by precision, and its standard error."""
    given = entry["inputs"]
    return weighted_mean(np.array(given["yi"]), np.sqrt(given["vi"]))


def odds(entry):
    mean, se = pooled(entry)
    half = 1.959963984540054 * se
    return np.exp([mean, mean - half, mean + half])


def joint(entry):
    """Known errors with a scatter of studies: its variance, coefficients, residual Q, z."""
    given = entry["inputs"]
    values, se = np.array(given["yi"]), np.sqrt(given["vi"])
    design = np.ones((len(values), 1))
    if "weeks" in given:
        design = np.column_stack([design, given["weeks"]])
    fit = known_error_fit(values, se, design, [np.eye(len(values))])
    left = values @ known_error_fit(values, se, design).projection @ values
    z = fit.coefficients / np.sqrt(np.diag(fit.covariance))
    return [fit.variances[0], *fit.coefficients, left, *z]


def at_most(entry):
    given = entry["inputs"]
    return lower_tail(given["c"], given["n"], given["p"])


def grubbs(entry):
    given = entry["inputs"]
    tables = ((given["p5"], 0.05), (given["p1"], 0.01))
    return [grubbs_critical(panels, level) for many, level in tables for panels in many]


def cochran(entry):
    cases = entry["inputs"]["cases"]
    return [cochran_critical(*case, level) for level in (0.05, 0.01) for case in cases]


def mandel(entry):
    ours = {
        "h_p3_1": mandel_h_critical(3, 0.01),
        "h_p8_1": mandel_h_critical(8, 0.01),
        "k_p3_n2_1": mandel_k_critical(3, 2, 0.01),
        "h_p8_05": mandel_h_critical(8, 0.005),
        "k_p8_n3_05": mandel_k_critical(8, 3, 0.005),
    }
    return [ours[name] for name in entry["expected"]]


def mean_line(entry):
    """Where the mean of a line meets a level, with the limits of the band."""
    given = entry["inputs"]
    assert given["mean_response"]
    line = fit_line(np.array(given["x"], float), np.array(given["y"]))
    meets = crossing(line, given["y0"], given["level"])
    return [getattr(meets, name) for name in entry["expected"]]


def steps(entry):
    """Ends of the intervals that hold mass, and what is left after each."""
    low, high = (np.array([float(end) for end in ends]) for ends in entry["inputs"].values())
    estimate = steps_of(Intervals.of(low, high))
    return [*estimate.high, *(1 - np.cumsum(estimate.mass))]


COMPARED = {
    "m03_fieller_mean_line": mean_line,
    "m08_share_detecting_at_75": detecting,
    "m10_turnbull_radiotherapy": steps,
    "m20_oc_52_3": at_most,
    "m24_dyestuff": lots,
    "m25_dyestuff2_zero": lots,
    "m26_grubbs_table": grubbs,
    "m27_cochran_table": cochran,
    "m28_mandel_table": mandel,
    "m29_cochran_q_conover": lambda entry: ticks(entry["inputs"]["table"]),
    "m30_cochran_q_four": lambda entry: ticks(entry["inputs"]["table"]),
    "m31_cochran_q_sas": patterns,
    "m34_mcnemar_exact": mcnemar,
    "m36_raudenbush_re": joint,
    "m37_raudenbush_regression": joint,
    "m40_bcg_fixed": odds,
    "m41_precision_weighted_fixed": lambda entry: [pooled(entry)[0], None],
}
MISPRINTED = {}
PARTLY = {"m41_precision_weighted_fixed": "no Q of heterogeneity"}
CUT = "no cut-off or calibration"
DOSE = "no threshold by a dose"
KAPPA = "no kappa or alpha of grades"
SLOPE = "no random slopes: drift is per assessor"
JOINT = "restricted likelihood only"
NOT_OFFERED = {
    "m01_fieller_single_new_value": CUT,
    "m02_fieller_single_new_value_90": CUT,
    "m04_dose_p_budworm": DOSE,
    "m05_beetle_ld50_se": DOSE,
    "m06_beetle_logit_fit": DOSE,
    "m07_finney_rotenone_probit": DOSE,
    "m09_log_steps": DOSE,
    "m11_tobin_left_censored": "no censored scores",
    "m12_fleiss_10_subjects": KAPPA,
    "m13_fleiss_diagnoses": KAPPA,
    "m14_cohen_sas": KAPPA,
    "m15_cohen_sas_weighted": KAPPA,
    "m16_cohen_anxiety": KAPPA,
    "m17_cohen_1968": KAPPA,
    "m18_alpha_three_coders": KAPPA,
    "m19_alpha_krippendorff_C": KAPPA,
    "m21_sleepstudy_satterthwaite": SLOPE + "; the data are not in the file",
    "m22_sleepstudy_uncorrelated": SLOPE + "; the data are not in the file",
    "m23_pastes_nested": "the data are not in the file",
    "m32_mcnemar_corrected": "exact only, no chi-square",
    "m33_mcnemar_uncorrected": "exact only, no chi-square",
    "m35_mcnemar_agresti": "exact only, no chi-square",
    "m38_bcg_regression_ml": JOINT,
    "m39_bcg_random_ml": JOINT,
}
MISPRINTS_NOT_OFFERED = {}
