"""Time for a whole profile, as ratios to one attribute after another; asserts no time.

Run with: python -m pytest -q --override-ini addopts= --import-mode=importlib tests/benchmarks
"""

import warnings

import numpy as np
import pandas as pd
import pytest
from statsmodels.formula.api import mixedlm, ols
from statsmodels.stats.anova import anova_lm

from sensory.ratings.fitting import fit_panel
from sensory.ratings.profile import profile
from sensory.ratings.sample_map import sample_map
from sensory.ratings.tables import rating_table
from sensory.ratings.variance import anova_table

from .shared import against, best_of, cpu_of

USUAL = {"attributes": 40, "assessors": 12, "samples": 10, "replicates": 3}
LARGE = {"reference": 0, "margins": 1.0}
SINGLES = 4  # attributes timed one by one


def ballots(attributes, assessors, samples, replicates, missing=0.0):
    rng = np.random.default_rng(8)
    shape = (assessors, samples, replicates, attributes)
    score = rng.normal(size=shape) + rng.normal(size=(assessors, 1, 1, attributes))
    score += 0.5 * rng.normal(size=(assessors, samples, 1, attributes))
    score += 0.4 * rng.normal(size=(1, samples, 1, attributes))
    score[rng.random(shape) < missing] = np.nan
    a, s, r, k = (code.ravel() for code in np.indices(shape))
    columns = {"assessor": a, "sample": s, "replicate": r, "attribute": k, "score": score.ravel()}
    return pd.DataFrame(columns).dropna()


def anova_of(table):
    return anova_table(fit_panel(table))


def by_least_squares(rows):
    return anova_lm(ols("score ~ C(sample) * C(assessor)", rows).fit())


def by_mixedlm(rows):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = mixedlm(
            "score ~ C(sample)",
            rows,
            groups="assessor",
            re_formula="1",
            vc_formula={"both": "0 + C(sample)"},
        )
        return model.fit(reml=True)


def best(function, *args, rounds=3):
    return best_of(rounds, lambda: function(*args))


def seconds_of_singles(function, frame, rounds):
    """Seconds for all attributes one after another, from some of them."""
    groups = [rows for _, rows in frame.groupby("attribute")][:SINGLES]
    each = sum(best(function, rows, rounds=rounds) for rows in groups) / len(groups)
    return each * frame["attribute"].nunique()


@pytest.mark.parametrize(
    ("missing", "other", "rounds"), [(0.0, by_least_squares, 3), (0.05, by_mixedlm, 1)]
)
def test_profile_against_one_attribute_after_another(benchmark, capsys, missing, other, rounds):
    frame = ballots(**USUAL, missing=missing)
    table = rating_table(frame)
    anova = benchmark.pedantic(anova_of, args=(table,), rounds=5, warmup_rounds=1)
    rows = frame[frame["attribute"] == 0]
    first = anova[(anova["attribute"] == 0)].set_index("source")
    if missing:
        fit = other(rows)
        error, both = first.loc["sample", "statistic"], fit.scale
        own = profile(frame, attributes=[0], method="reml").components.set_index("source")[
            "estimate"
        ]
        assert own["error"] == pytest.approx(both, rel=1e-2)
        assert np.isfinite(error)
    else:
        ss = other(rows)["sum_sq"]
        assert first.loc["sample", "ss"] == pytest.approx(ss["C(sample)"], rel=1e-9)
    ours = benchmark.stats.stats.min
    whole = best(profile, frame)
    theirs = seconds_of_singles(other, frame, rounds)
    with capsys.disabled():
        print(
            f"\n40 attributes x 12 assessors x 10 samples x 3 replicates, {missing:.0%} missing"
            f"\n  analysis of variance: {1e3 * ours:.1f} ms"
            f"\n  profile with means, pairs, limits: {1e3 * whole:.0f} ms"
            f"\n  {other.__name__}, analysis of variance only: {1e3 * theirs:.0f} ms, "
            f"ratio {theirs / ours:.0f} (to the whole profile {theirs / whole:.0f})"
        )


def test_cost_against_attributes_and_assessors(benchmark, capsys):
    lines = [
        "\nms for   attributes  assessors   complete: anova, profile   5 % missing: anova, profile"
    ]
    frames = []
    for attributes, assessors in (
        (1, 12),
        (10, 12),
        (40, 12),
        (160, 12),
        (40, 6),
        (40, 24),
        (40, 48),
    ):
        times = []
        for missing in (0.0, 0.05):
            frame = ballots(attributes, assessors, 10, 3, missing)
            frames.append(frame)
            times += [
                best(anova_of, rating_table(frame)),
                best(lambda f=frame: profile(f, reference=0)),
            ]
        cells = "".join(f"{1e3 * seconds:12.1f}" for seconds in times)
        lines.append(f"{attributes:19} {assessors:10}   {cells}")
    found = benchmark.pedantic(profile, args=(frames[0],), rounds=3)
    assert len(found.means) == 10
    with capsys.disabled():
        print("\n".join(lines))


@pytest.mark.parametrize(
    ("method", "road"),
    [("mean squares", "unweighted mean squares"), ("reml", "restricted likelihood")],
)
def test_a_large_profile_with_gaps(capsys, method, road):
    """200 assessors x 30 samples x 2 x 40 attributes, 5 % gone; the anchor is half of them."""
    frame, half = (ballots(40, assessors, 30, 2, 0.05) for assessors in (200, 100))
    found = profile(frame, method=method, **LARGE)
    assert (found.anova["method"] == road).all()
    assert np.isfinite(found.against_reference["p_adjusted"]).all()
    ours, theirs = (
        cpu_of(2, lambda f=part: profile(f, method=method, **LARGE)) for part in (frame, half)
    )
    with capsys.disabled():
        print(against(f"{len(frame)} scores, {method}", ours, 10, "half the assessors", theirs))


def test_sample_map_with_regions(capsys):
    """40 attributes x 12 assessors x 10 samples; the anchor resamples with numpy, draw by draw."""
    frame = ballots(40, 12, 10, 1)
    ours = cpu_of(5, lambda: sample_map(frame))
    cube = frame["score"].to_numpy().reshape(12, 10, 40)
    axes = np.linalg.svd(cube.mean(0) - cube.mean((0, 1)), full_matrices=False)[2][:2].T
    rng = np.random.default_rng(1)

    def by_draws():
        for _ in range(2000):
            means = cube[rng.integers(0, 12, 12)].mean(0)
            (means - means.mean(0)) @ axes

    assert len(sample_map(frame).regions) == 10
    with capsys.disabled():
        print(
            against(
                "sample map with regions", ours, 0.01, "resampled by numpy", cpu_of(2, by_draws)
            )
        )


@pytest.mark.parametrize(
    ("assessors", "samples", "replicates", "missing", "wanted"),
    [(12, 10, 3, 0.05, 0.1), (128, 10, 3, 0.05, 0.15), (12, 40, 3, 0.0, 0.1), (12, 10, 1, 0.05, 1)],
    ids=["gaps", "many assessors", "many samples", "own correlations"],
)
def test_profile_of_40_attributes(capsys, assessors, samples, replicates, missing, wanted):
    """With Dunnett and margins; the anchor is statsmodels' mixed model, its anova alone."""
    frame = ballots(40, assessors, samples, replicates, missing)
    ours = cpu_of(3, lambda: profile(frame, **LARGE))
    rows = frame[(frame["attribute"] == 0) & (frame["assessor"] < 12) & (frame["sample"] < 10)]
    theirs = 40 * cpu_of(1, lambda: by_mixedlm(rows))
    assert np.isfinite(profile(frame, **LARGE).against_reference["p_adjusted"]).all()
    with capsys.disabled():
        work = f"profile, {assessors} x {samples} x {replicates}, {missing:.0%} gone"
        print(against(work, ours, wanted, "mixedlm of 12 x 10", theirs))


def test_profile_of_20_attributes_in_everyday_size(capsys):
    """12 assessors x 6 samples x 3 replicates, complete; the anchor is least squares alone."""
    frame = ballots(20, 12, 6, 3)
    rows = frame[frame["attribute"] == 0]
    theirs = 20 * cpu_of(1, lambda: by_least_squares(rows))
    for work, options in (("profile, 12 x 6 x 3", {}), ("with Dunnett and margins", LARGE)):
        ours = cpu_of(5, lambda options=options: profile(frame, **options))
        with capsys.disabled():
            print(against(work, ours, 0.055, "anova_lm", theirs))
