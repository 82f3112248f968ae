"""Mean squares by hand, against published ones and against a general program."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from sensory.models.mean_squares import mean_squares

from ..references.readers import entries

PUBLISHED = entries("published_ratings.json")


def test_by_hand():
    """Two assessors, two samples, two replicates.

    Scores 1 3 | 5 7 and 2 2 | 8 8: grand mean 4.5, sample means 2 and 7, assessor means
    4 and 5, cell means 2 6 2 8. SS sample 8 x 2.5^2 = 50, assessor 8 x 0.5^2 = 2,
    interaction 8 x 0.5^2 = 2 (cells less additive 2.. are +-0.5), error 2 + 2 = 4.
    """
    scores = np.array([[[1, 3], [5, 7]], [[2, 2], [8, 8]]], float)[:, :, None, :, None]
    table = mean_squares(scores)
    assert table.sources == ("sample", "assessor", "assessor x sample", "error")
    np.testing.assert_allclose(table.ss[0], [50, 2, 2, 4], rtol=1e-14)
    np.testing.assert_array_equal(table.df, [1, 1, 1, 4])
    statistic, df, df_error = table.fit.equality()
    assert (statistic[0], df, df_error[0]) == pytest.approx((25, 1, 1))
    # Interaction (2 - 1) / 2; assessor (2 - 2) / 4; error 1.
    np.testing.assert_allclose(table.fit.variances[0], [0, 0.5, 1], atol=1e-14)
    # Difference of the samples: variance 2 x 2 / 4 on 1 df.
    estimate, se, df = table.fit.contrasts(np.array([[-1.0, 1.0]]))
    assert (estimate[0, 0], se[0, 0], df[0, 0]) == pytest.approx((5, 1, 1))


def test_published_panel():
    entry = PUBLISHED["pv115"]
    data = np.array(entry["inputs"]["data 6 targets x 4 judges"])
    table = mean_squares(data.T[:, :, None, None, None])
    ms = dict(zip(table.sources, table.ms[0], strict=True))
    between, within, judges, residual = entry["value"]
    assert ms["sample"] == pytest.approx(between, abs=entry["tolerance"])
    assert ms["assessor"] == pytest.approx(judges, abs=entry["tolerance"])
    assert ms["error"] == pytest.approx(residual, abs=entry["tolerance"])
    pooled = (table.ss[0, 1] + table.ss[0, 2]) / 18
    assert pooled == pytest.approx(within, abs=entry["tolerance"])
    assert table.fit.equality()[0][0] == pytest.approx(11.0272, abs=5e-5)


@pytest.mark.parametrize("shape", [(5, 4, 1, 3), (5, 4, 3, 1), (4, 3, 2, 2), (6, 3, 1, 1)])
def test_against_a_general_program(shape):
    rng = np.random.default_rng(9)
    scores = rng.normal(size=(*shape, 2)) + rng.normal(size=(shape[0], shape[1], 1, 1, 2))
    table = mean_squares(scores)
    codes = np.indices(shape).reshape(4, -1)
    frame = pd.DataFrame(codes.T, columns=["a", "s", "o", "r"])
    terms = "C(s) + C(a)"
    names = ["C(s)", "C(a)"]
    if shape[2] * shape[3] > 1:
        terms, names = terms + " + C(a):C(s)", [*names, "C(a):C(s)"]
    if shape[2] > 1:
        terms, names = terms + " + C(o)", [*names, "C(o)"]
    for response in range(2):
        frame["y"] = scores[..., response].ravel()
        other = anova_lm(ols(f"y ~ {terms}", frame).fit()).loc[[*names, "Residual"]]
        np.testing.assert_allclose(table.ss[response], other["sum_sq"], rtol=1e-10)
        np.testing.assert_array_equal(table.df, other["df"])


def test_sample_stands_against_interaction_even_below_error():
    rng = np.random.default_rng(1)
    scores = rng.normal(size=(6, 4, 1, 5, 300))
    table = mean_squares(scores)
    ms = table.ms
    below = ms[:, 2] < ms[:, 3]
    assert below.sum() > 50
    statistic, _, df_error = table.fit.equality()
    np.testing.assert_allclose(statistic, ms[:, 0] / ms[:, 2], rtol=1e-10)
    np.testing.assert_allclose(df_error, 15, rtol=1e-10)
    assert (table.fit.variances[below, 1] == 0).all()


def test_degrees_of_freedom_of_a_mean():
    """Satterthwaite's formula for the sum of two mean squares."""
    rng = np.random.default_rng(3)
    scores = rng.normal(size=(6, 4, 1, 2, 1)) + 2 * rng.normal(size=(6, 1, 1, 1, 1))
    table = mean_squares(scores)
    one, three = table.ms[0, 1], 3 * table.ms[0, 2]
    _, se, df = table.fit.contrasts(np.eye(4))
    np.testing.assert_allclose(se, np.sqrt((one + three) / 48), rtol=1e-12)
    np.testing.assert_allclose(df, (one + three) ** 2 / (one**2 / 5 + three**2 / 15), rtol=1e-12)
