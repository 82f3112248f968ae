"""Time for a scorecard, as ratios to one attribute after another; asserts no time.

Run with: python -m pytest -q --override-ini addopts= --import-mode=importlib tests/benchmarks
"""

import warnings
from time import perf_counter

import numpy as np
import pandas as pd
import pingouin
import pytest
from scipy import stats

from sensory.ratings.scorecard import panel_scorecard

from .shared import against, cpu_of

ATTRIBUTES, ASSESSORS, SAMPLES, REPLICATES = 40, 12, 10, 3
SINGLES = 3  # attributes timed one by one


def ballots():
    rng = np.random.default_rng(8)
    shape = (ASSESSORS, SAMPLES, REPLICATES, ATTRIBUTES)
    score = rng.normal(size=shape) + rng.normal(size=(ASSESSORS, 1, 1, ATTRIBUTES))
    score += 1.5 * rng.normal(size=(1, SAMPLES, 1, ATTRIBUTES))
    a, s, r, k = (code.ravel() for code in np.indices(shape))
    return pd.DataFrame(
        {"assessor": a, "sample": s, "replicate": r, "attribute": k, "score": score.ravel()}
    )


def by_scipy(rows):
    """F, correlation, slope and bias of each assessor."""
    found = []
    for assessor, own in rows.groupby("assessor"):
        groups = [part.to_numpy() for _, part in own.groupby("sample")["score"]]
        mine = own.groupby("sample")["score"].mean()
        others = rows[rows["assessor"] != assessor].groupby("sample")["score"].mean()
        line = stats.linregress(others, mine)
        found.append((stats.f_oneway(*groups).statistic, line.rvalue, line.slope))
    return np.array(found)


def by_pingouin(rows):
    """Intraclass correlations and Kendall's W."""
    means = rows.groupby(["assessor", "sample"])["score"].mean().reset_index()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        icc = pingouin.intraclass_corr(means, targets="sample", raters="assessor", ratings="score")
    w = pingouin.friedman(means, dv="score", within="sample", subject="assessor")
    return icc, w["W"].iloc[0]


def seconds_each(function, groups):
    start = perf_counter()
    for rows in groups:
        function(rows)
    return (perf_counter() - start) / len(groups)


def test_scorecard_against_one_attribute_after_another(benchmark, capsys):
    frame = ballots()
    result = benchmark.pedantic(panel_scorecard, args=(frame,), rounds=5, warmup_rounds=1)
    groups = [rows for _, rows in frame.groupby("attribute")][:SINGLES]
    own = result.assessors.query("attribute == 0")[["statistic", "r", "slope"]].to_numpy()
    assert own == pytest.approx(by_scipy(groups[0]), rel=1e-7)
    assert result.attributes["kendall_w"].iloc[0] == pytest.approx(by_pingouin(groups[0])[1])
    ours = benchmark.stats.stats.min
    scipy, others = (ATTRIBUTES * seconds_each(f, groups) for f in (by_scipy, by_pingouin))
    with capsys.disabled():
        print(
            f"\n40 attributes x 12 assessors x 10 samples x 3 replicates: {1e3 * ours:.0f} ms"
            f"\n  scipy for the assessors: {1e3 * scipy:.0f} ms, ratio {scipy / ours:.0f}"
            f"\n  pingouin for ICC and W: {1e3 * others:.0f} ms, ratio {others / ours:.0f}"
        )


def test_scorecard_with_gaps(capsys):
    """5 % gone; the anchor is scipy's one-way F and correlations, one assessor after another."""
    frame = ballots().sample(frac=0.95, random_state=3)
    ours = cpu_of(5, lambda: panel_scorecard(frame))
    rows = frame[frame["attribute"] == 0]
    theirs = ATTRIBUTES * cpu_of(2, lambda: by_scipy(rows))
    assert np.isfinite(panel_scorecard(frame).attributes["smallest_difference"]).all()
    with capsys.disabled():
        print(against("scorecard, 5 % gone", ours, 0.05, "scipy for the assessors", theirs))
