"""Limits from history: the panel's noise taken off, and what each limit would have cost.

Second routes: quadrature over the distribution, an own count of assessors by simulation, normal
theory where the noise is next to nothing. Coverage: `tests/calibration/test_history_limits.py`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import gamma, norm, t, ttest_1samp

from sensory import limit_from_history
from sensory.base.errors import ArgumentError
from sensory.choices.protocols import TRIANGLE


def points(true: np.ndarray, se: float, seed: int = 1) -> pd.DataFrame:
    noise = np.random.default_rng(seed).normal(0, se, len(true))
    return pd.DataFrame({"batch": range(len(true)), "estimate": true + noise, "se": se})


TRUE = norm(0.5, 0.3).ppf((np.arange(60) + 0.5) / 60)


@pytest.fixture(scope="module")
def result():
    return limit_from_history(points(TRUE, 0.3), limits=[1.0, 1.5], scatter=1.2)


def test_noise_of_the_panel_is_taken_off(result):
    estimates = points(TRUE, 0.3)["estimate"]
    assert result.spread == pytest.approx(np.sqrt(estimates.var() - 0.09), rel=0.02)
    row = result.quantiles.set_index("share").loc[0.95]
    assert row["estimate"] == pytest.approx(result.mean + 1.645 * result.spread, rel=1e-3)
    assert row["low"] < 0.5 + 1.645 * 0.3 < row["high"]


def test_without_noise_the_limits_of_the_mean_are_those_of_t():
    values = np.random.default_rng(4).normal(0.4, 0.3, 25)
    table = pd.DataFrame({"batch": range(25), "estimate": values, "se": 1e-4})
    half = limit_from_history(table, limits=[1.0]).quantiles.set_index("share").loc[0.5]
    interval = ttest_1samp(values, 0).confidence_interval(0.95)
    assert (half["low"], half["high"]) == pytest.approx(tuple(interval), abs=0.01)


def test_cost_of_a_limit_is_a_mean_over_the_batches(result):
    row = result.limits.set_index("limit").loc[1.0]
    assert row["beyond"] == pytest.approx(norm(result.mean, result.spread).sf(1.0), rel=1e-6)
    rng, people = np.random.default_rng(8), int(row["assessors"])
    true = rng.normal(result.mean, result.spread, (20000, 1))
    scores = rng.normal(true, 1.2, (20000, people))
    mean, se = scores.mean(1), scores.std(1, ddof=1) / np.sqrt(people)
    held = (mean + t(people - 1).ppf(0.95) * se >= 1.0).mean()
    assert row["held"] == pytest.approx(held, abs=0.015)


def test_assessors_are_the_first_number_that_keeps_both_risks(result):
    """Second route: simulated t-tests of a batch at the limit, with one assessor fewer as well."""
    people = int(result.limits.set_index("limit").loc[1.0]["assessors"])
    rng = np.random.default_rng(9)
    missed = []
    for size in (people, people - 1):
        scores = rng.normal(1.0, 1.2, (60000, size))
        statistic = scores.mean(1) / (scores.std(1, ddof=1) / np.sqrt(size))
        missed.append(float((statistic < t(size - 1).ppf(0.95)).mean()))
    assert missed[0] < 0.05 < missed[1] + 0.002


def test_counts_give_d_primes_without_noise():
    true = gamma(4, scale=0.3).ppf((np.arange(40) + 0.5) / 40)
    right = np.random.default_rng(3).binomial(96, TRIANGLE.proportion_correct(true))
    table = pd.DataFrame(
        {"batch": range(40), "protocol": "triangle", "correct": right, "trials": 96}
    )
    result = limit_from_history(table, limits=[2.0], protocol="tetrad")
    assert result.mean == pytest.approx(1.2, abs=0.15)
    assert result.spread == pytest.approx(0.6, abs=0.2)
    row = result.limits.iloc[0]
    assert row["low"] < gamma(4, scale=0.3).sf(2.0) < row["high"]
    assert (result.test, result.unit) == ("tetrad", "dprime")
    assert 0 < row["held"] < 1
    assert row["assessors"] > 10


def test_few_batches_get_a_sentence_and_no_number():
    result = limit_from_history(points(TRUE[:5], 0.3), scatter=1.2)
    assert result.says() == (
        "5 batches sold without complaint: their scatter is looked at from 8 on.",
    )
    assert np.isnan(result.mean)
    assert result.limits.empty
    right = pd.DataFrame({"batch": range(9), "protocol": "triangle", "correct": 20, "trials": 20})
    assert limit_from_history(right).why_none.startswith("Every answer on every batch was right")


def test_batches_that_scatter_no_more_than_the_noise_say_so():
    result = limit_from_history(points(np.full(20, 0.4), 0.01).assign(se=0.5), scatter=1.2)
    assert result.spread == 0
    assert "no more than the panel's noise" in result.says()[1]


def test_pictures_tables_and_bad_cells(result):
    assert result.plot().svg().startswith("<svg")
    assert list(result.table()["limit"]) == [1.0, 1.5]
    assert result.cost_of(1.0).startswith("At a limit of 1, ")
    with pytest.raises(ArgumentError, match="row 2: estimate must be a number and se above 0"):
        limit_from_history(points(TRUE, 0.3).assign(se=0.0))
    with pytest.raises(ArgumentError, match="limits must be distances above 0"):
        limit_from_history(points(TRUE, 0.3), limits=[0.0])
