"""Row 7 of published_checks.json: run lengths, charts, change points."""

import numpy as np
from scipy.optimize import brentq

from sensory.models.change_points import step_in_mean
from sensory.models.charts import D2, RUN_RULES, SAME_SIDE, RunRule, ewma, moving_range_sigma
from sensory.models.run_lengths import ewma_run_length, rules_run_length

EIGHT = RunRule(
    key="eight", words="eight on one side", kind=SAME_SIDE, count=8, window=8, zone=0.0, source=""
)
RULES = {
    "C1": (RUN_RULES["limit"],),
    "C12": (RUN_RULES["limit"], RUN_RULES["two of three"]),
    "C13": (RUN_RULES["limit"], RUN_RULES["four of five"]),
    "C14": (RUN_RULES["limit"], EIGHT),
}


def run(weight, width, shift):
    return ewma_run_length(weight, width, shift=shift, widening=False)


def weighted_runs(entry):
    """Over shifts, or over weights at one shift; limits of the long run from the start."""
    given = entry["inputs"]
    weights, shifts = np.broadcast_arrays(
        np.atleast_1d(given["lambda"]), np.atleast_1d(given.get("shift_sigma", 1.0))
    )
    return [run(w, given["L"], shift) for w, shift in zip(weights, shifts, strict=True)]


def width_for(entry):
    """The factor that gives the run length, by our run lengths."""
    given = entry["inputs"]
    return [
        brentq(lambda width, w=weight: run(w, width, 0.0) - given["arl0"], 1.0, 4.0, xtol=1e-9)
        for weight in given["lambda"]
    ]


def rules(entry):
    chosen = RULES[entry["inputs"]["rules"]]
    return [rules_run_length(chosen, shift=shift) for shift in entry["inputs"]["shift_sigma"]]


def daily_means(entry):
    values = np.array(entry["inputs"]["daily_means"])
    sigma = np.ones(len(values))
    mean, _ = ewma(values, sigma, centre=float(values.mean()), weight=entry["inputs"]["lambda"])
    return mean[: len(entry["expected"])]


def moving_ranges(entry):
    x = np.array(entry["inputs"]["x"])
    return [moving_range_sigma(x[i : i + 2]) * D2 for i in range(len(entry["expected"]))]


def nile(values):
    return step_in_mean(np.array(values, float), np.ones(100), level=0.95, shuffles=99, seed=1)


def change_place(entry):
    """`place` counts from 0 to the first year at the new level: the last one before it, from 1."""
    step = nile(entry["inputs"]["values"])
    return [step.place, 1870 + step.place]


COMPARED = {
    "c7_ls90_lam0.5": weighted_runs,
    "c7_ls90_lam0.03": weighted_runs,
    "c7_crowder_lam.5": weighted_runs,
    "c7_crowder_lam.05": weighted_runs,
    "c7_crowder89": width_for,
    "c7_ls_L": width_for,
    "c7_ls_arl1": weighted_runs,
    "c7_sas_ewma_0.5": weighted_runs,
    "c7_sas_ewma_1": weighted_runs,
    "c7_sas_ewma_1.5": weighted_runs,
    "c7_sas_ewma_2": weighted_runs,
    "c7_sas_ewmaarl": weighted_runs,
    "c7_champ_C1": rules,
    "c7_champ_C12": rules,
    "c7_champ_C13": rules,
    "c7_champ_C14": rules,
    "c7_d2": lambda entry: [D2, *[None] * 5],
    "c7_ewma_clips": daily_means,
    "c7_jets_mr": moving_ranges,
    "c7_nile_point": change_place,
}
MISPRINTED = {"c7_crowder_lam.5_at1.25": weighted_runs}
PARTLY = {"c7_d2": "ranges of two neighbours only"}
CUSUM = "no cumulative sums; the weighted mean is charted"
NILE = "no such number is given out; p is by random orders, the interval by likelihood"
NOT_OFFERED = {
    "c7_cusum_lc": CUSUM,
    "c7_cusum_fir": CUSUM,
    "c7_cusum_be": CUSUM,
    "c7_cusum_vance": CUSUM,
    "c7_cusum_wald": CUSUM,
    "c7_cusum_sas1": CUSUM,
    "c7_cusum_sas2": CUSUM,
    "c7_cusum_sas3": CUSUM,
    "c7_d3": "no chart of ranges",
    "c7_c4": "no chart of standard deviations",
    "c7_D4": "no chart of ranges",
    "c7_nile_rss": NILE,
    "c7_nile_F": NILE,
    "c7_nile_ci": "another interval: by likelihood (26 to 29 here), not by Bai's limit law",
    "c7_nile_bic": NILE,
}
MISPRINTS_NOT_OFFERED = {"c7_cusum_vance0": CUSUM}
