"""Rows 9 and 10 of published_checks.json: signals, ordinal answers, mixed models with gaps."""

import numpy as np

from sensory.choices.a_not_a import a_not_a
from sensory.choices.sureness import sureness_test
from sensory.models.mixed import restricted_likelihood
from sensory.ratings.profile import profile

from .checks_ratings import scores

# Signals.


def wickens(entry):
    """Half an answer added to each cell: the rates of twice the answers and one more."""
    given = entry["inputs"]
    hits, alarms = 2 * given["hits"] + 1, 2 * given["false_alarms"] + 1
    found = a_not_a(hits, 2 * given["n_signal"] + 2, alarms, 2 * given["n_noise"] + 2)
    threshold = found.criterion + found.dprime / 2
    return [None, None, found.dprime, threshold, found.criterion]


def area(entry):
    """Each value is a grade of its own; the R-index is of y1 above y2."""
    given = entry["inputs"]
    grades = np.unique(given["y1"] + given["y2"])
    table = [[given[name].count(grade) for grade in grades] for name in ("y2", "y1")]
    return [sureness_test(table).products[0].r_index]


def radiographs(entry):
    table = [entry["inputs"][name] for name in ("normal", "abnormal")]
    return [sureness_test(table).products[0].r_index, None]


# Mixed models.


def shoes(entry):
    """Scores of ten boys; 'dropped' leaves out A of the first and B of the second."""
    first, second = (np.array(entry["inputs"]["data"][name], float) for name in "AB")
    if "dropped" in entry["inputs"]:
        first[0] = second[1] = np.nan
    return first, second


def shoes_test(entry):
    first, second = shoes(entry)
    row = profile(scores({"A": first, "B": second}), method="reml").anova.iloc[0]
    return [row["statistic"], row["df_error"], row["p"]]


def eight_boys(entry):
    first, second = shoes(entry)
    found = profile(scores({"A": first[2:], "B": second[2:]}), reference="B")
    return list(found.against_reference.iloc[0][["statistic", "p", "low", "high"]])


def fitted(rows, score, fixed, **random):
    """Levels of `fixed` and the fit; a random factor is made of the columns named."""
    codes = {
        name: np.unique(["/".join(row[c] for c in columns) for row in rows], return_inverse=True)[1]
        for name, columns in random.items()
    }
    levels, places = np.unique([row[fixed] for row in rows], return_inverse=True)
    values = np.array([float(row[score]) for row in rows])[:, None]
    return list(levels), restricted_likelihood(values, places, codes)


def criterion(fit, rows):
    """-2 log restricted likelihood with the constants that other programs keep."""
    free = len(rows) - fit.means.shape[1]
    return fit.deviance[0] + free * (1 + np.log(2 * np.pi))


def against(levels, first, *others):
    """Rows that take the mean of `first`, and each other mean less that."""
    at = np.eye(len(levels))[[levels.index(name) for name in (first, *others)]]
    return np.vstack([at[0], at[1:] - at[0]])


def cultivars(entry):
    rows = entry["inputs"]["rows"]
    levels, fit = fitted(rows, "drywt", "Inoc", block=["Block"], cult=["Block", "Cult"])
    return rows, fit, fit.contrasts(against(levels, "liv", "con", "dea"))


def cultivar_means(entry):
    return cultivars(entry)[2][0][0]


def cultivar_errors(entry):
    rows, fit, (_, se, _) = cultivars(entry)
    return [*se[0], -criterion(fit, rows) / 2]


def fifteen_treatments(entry):
    rows = entry["inputs"]["data"]
    levels, fit = fitted(rows, "response", "Treatment", block=["Block"])
    _, se, _ = fit.contrasts(against(levels, "1", "10"))
    return [-criterion(fit, rows) / 2, *se[0]]


def bonds(entry):
    rows = entry["inputs"]["data"]
    levels, fit = fitted(rows, "pressure", "Metal", ingot=["Ingot"])
    estimate, _, _ = fit.contrasts(against(levels, "n", "c", "i"))
    return [*np.sqrt(fit.variances[0]), *estimate[0], fit.equality()[0][0], criterion(fit, rows)]


COMPARED = {
    "c9_wickens": wickens,
    "c9_auc": area,
    "c9_hanley": radiographs,
    "c10_shoes_sat": shoes_test,
    "c10_shoes_bal": shoes_test,
    "c10_shoes8": eight_boys,
    "c10_cultmiss_reml": cultivar_means,
    "c10_cultmiss_reml_se": cultivar_errors,
    "c10_pbib": fifteen_treatments,
    "c10_bond": bonds,
}
MISPRINTED = {}
PARTLY = {
    "c9_wickens": "the corrected rates themselves are not given out",
    "c9_hanley": "the standard error stands on the logit scale, by another formula (.0307 here)",
}
LOGIT = "sureness is a probit model with common thresholds and nothing but the samples"
TWO_FIXED = "one fixed factor, the sample"
NOT_OFFERED = {
    "c9_cheese_1v2": LOGIT,
    "c9_cheese_coef": LOGIT,
    "c9_ucla_probit": LOGIT,
    "c9_ucla_probit_th": LOGIT,
    "c9_ucla_probit_se": LOGIT,
    "c9_ucla_logit": LOGIT,
    "c10_shoes_kr": "degrees of freedom by Satterthwaite only",
    "c10_glm101": TWO_FIXED,
    "c10_cultmiss_ml": TWO_FIXED,
    "c10_cultmiss_ml_se": TWO_FIXED,
    "c10_cultmiss_ml_ll": TWO_FIXED,
    "c10_semi_ll": TWO_FIXED,
    "c10_stroup": TWO_FIXED,
}
MISPRINTS_NOT_OFFERED = {}
