"""Scaling correction: nested regressions of a general program, and known slopes."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.formula.api import ols

from sensory.ratings.profile import profile

from .shared import tidy


def panel(slopes, noise=0.3, replicates=3, seed=2, levels=(0.0, 1.0, 2.0, 4.0, 6.0)):
    """Scores with assessors who use the scale as widely as their slope says."""
    rng, shape = np.random.default_rng(seed), (len(slopes), len(levels), replicates)
    score = 3 + rng.normal(size=len(slopes))[:, None, None]
    score = score + (np.array(slopes)[:, None] * np.array(levels))[:, :, None]
    return tidy(score + rng.normal(0, noise, shape), "sour")


def test_sums_of_squares_are_those_of_nested_regressions():
    table = panel([0.5, 1.0, 1.5, 0.8, 1.2, 1.0], noise=1.0)
    found = profile(table, scaling=True)
    table["level"] = table.groupby("sample")["score"].transform("mean") - table["score"].mean()
    plain = ols("score ~ C(assessor) + C(sample)", table).fit().ssr
    table["left"] = table["score"] - table.groupby("sample")["score"].transform("mean")
    scaled = ols("left ~ C(assessor) * level", table).fit().ssr  # a regression an assessor
    full = ols("score ~ C(assessor) * C(sample)", table).fit().ssr
    rows = found.scaling.set_index("source")
    assert rows.loc["scaling", "ss"] == pytest.approx(plain - scaled, rel=1e-8)
    assert rows.loc["disagreement", "ss"] == pytest.approx(scaled - full, rel=1e-8)
    assert list(rows["df"]) == [4, 5, 15]
    ms = rows["ss"] / rows["df"]
    assert rows.loc["sample", "statistic"] == pytest.approx(ms["sample"] / ms["disagreement"])
    assert rows.loc["disagreement", "statistic"] == pytest.approx(
        ms["disagreement"] / (full / (90 - 30))
    )
    both = found.anova.set_index("source").loc["assessor x sample"]
    assert rows.loc[["scaling", "disagreement"], "ss"].sum() == pytest.approx(both["ss"])
    assert rows.loc[["scaling", "disagreement"], "df"].sum() == both["df"]


def test_known_slopes_come_back_relative_to_the_panel():
    slopes = np.array([0.4, 0.8, 1.0, 1.2, 1.6])
    found = profile(panel(slopes), scaling=True).slopes
    np.testing.assert_allclose(
        found["estimate"], slopes / slopes.mean(), atol=4 * found["se"].max()
    )
    assert found["estimate"].mean() == pytest.approx(1)


def test_slope_by_regression_of_one_assessor():
    table = panel([0.5, 1.0, 1.5, 1.0], noise=1.0)
    found = profile(table, scaling=True).slopes.set_index("assessor")
    level = table.groupby("sample")["score"].mean()
    for name, rows in table.groupby("assessor"):
        own = rows.groupby("sample")["score"].mean()
        assert found.loc[name, "estimate"] == pytest.approx(np.polyfit(level, own, 1)[0])


def test_a_wide_scale_user_does_not_drown_the_samples():
    table = panel([0.5, 0.5, 0.5, 3.0, 0.6, 0.5], levels=(0.0, 0.3, 0.6, 0.9))
    found = profile(table, scaling=True)
    plain = found.anova.query("source == 'sample'")["p"].iloc[0]
    corrected = found.scaling.query("source == 'sample'")["p"].iloc[0]
    scaling = found.scaling.query("source == 'scaling'")["p"].iloc[0]
    assert corrected < plain / 100
    assert scaling < 0.001


def test_empty_cells_are_left_out_and_unequal_numbers_are_taken():
    table = panel([0.5, 1.0, 1.5, 1.0], noise=1.0)
    other = table.assign(attribute="sweet")
    gone = other[~((other["assessor"] == "A01") & (other["sample"] == "S02"))]
    found = profile(pd.concat([table.drop(index=[4, 9]), gone]), scaling=True)
    assert set(found.scaling["attribute"]) == {"sour"}
    assert np.isfinite(found.scaling["statistic"]).all()


def test_single_scores_have_no_error_to_test_disagreement_against():
    found = profile(panel([0.5, 1.0, 1.5, 1.0], replicates=1), scaling=True).scaling
    rows = found.set_index("source")
    assert np.isnan(rows.loc["disagreement", "p"])
    assert rows.loc[["sample", "scaling"], "p"].notna().all()


def test_equal_sample_means_have_no_slopes():
    table = panel([1.0, 1.0, 1.0], noise=1.0)
    level = table.groupby("sample")["score"].transform("mean")
    flat = table.assign(score=(table["score"] - level).round(12), attribute="flat")
    flat["score"] = cancelling(flat)
    found = profile(pd.concat([table, flat]), scaling=True)
    assert set(found.slopes["attribute"]) == {"sour"}


def cancelling(table):
    """Scores of +-1 that cancel exactly over the assessors of each sample, with one at 0."""
    sign = {"A00": 1.0, "A01": -1.0, "A02": 0.0}
    later = table["replicate"] > 1
    turn = np.where(table["sample"].isin(["S00", "S03"]), 1, -1) * np.where(later, 1, 2)
    return table["assessor"].map(sign) * turn
