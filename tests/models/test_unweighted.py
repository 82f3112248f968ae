"""Unweighted mean squares: as complete ones, as least squares of cell means, as dense algebra."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from sensory.models.mean_squares import mean_squares
from sensory.models.pair_scatter import pair_scatter
from sensory.models.unweighted import cell_means, unweighted_squares


def scored(shape, missing=0.0, responses=3, seed=1):
    """Scores (rows, responses) and the codes of assessor, sample, occasion."""
    rng = np.random.default_rng(seed)
    codes = [code.ravel() for code in np.indices(shape)][:3]
    scores = rng.normal(size=(codes[0].size, responses))
    scores += rng.normal(size=(shape[0], responses))[codes[0]] + codes[1][:, None]
    scores += 0.5 * rng.normal(size=(shape[2], responses))[codes[2]]
    scores[rng.random(scores.shape) < missing] = np.nan
    return scores, *codes


def table_of(scores, *codes):
    return unweighted_squares(cell_means(scores, *codes))


@pytest.mark.parametrize("shape", [(6, 4, 1, 2), (6, 4, 2, 1), (5, 3, 3, 2), (6, 4, 1, 1)])
def test_complete_scores_have_their_mean_squares(shape):
    scores, *codes = scored(shape)
    own, plain = table_of(scores, *codes), mean_squares(scores.reshape(*shape, -1))
    assert own.sources == plain.sources
    np.testing.assert_allclose(own.ss, plain.ss, rtol=1e-12)
    np.testing.assert_array_equal(own.df, np.tile(plain.df, (3, 1)))
    np.testing.assert_allclose(own.each, plain.each)
    for name in ("means", "variances", "covariance", "slopes", "spread"):
        np.testing.assert_allclose(
            getattr(own.fit, name), getattr(plain.fit, name), rtol=1e-10, atol=1e-14
        )


@pytest.mark.parametrize(("shape", "missing"), [((6, 4, 1, 3), 0.3), ((7, 3, 1, 1), 0.2)])
def test_gaps_as_least_squares_of_the_cell_means(shape, missing):
    scores, a, s, o = scored(shape, missing)
    own = table_of(scores, a, s, o)
    for response in range(3):
        rows = pd.DataFrame({"a": a, "s": s, "y": scores[:, response]}).dropna()
        cells = rows.groupby(["a", "s"])["y"].agg(["mean", "size"]).reset_index()
        fit = ols("mean ~ C(a, Sum) + C(s)", cells).fit()
        other = anova_lm(fit, typ=3)
        each = len(cells) / (1 / cells["size"]).sum()
        names = ["sample", "assessor x sample" if shape[3] > 1 else "error"]
        at = [own.sources.index(name) for name in names]
        expected = other.loc[["C(s)", "Residual"]]
        np.testing.assert_allclose(own.ss[response, at], expected["sum_sq"] * each, rtol=1e-9)
        np.testing.assert_allclose(own.df[response, at], expected["df"])
        statistic, _, df_error = own.fit.equality()
        assert statistic[response] == pytest.approx(other.loc["C(s)", "F"], rel=1e-9)
        assert df_error[response] == pytest.approx(expected.loc["Residual", "df"])
        slopes = fit.params[[f"C(s)[T.{level}]" for level in range(1, shape[1])]]
        np.testing.assert_allclose(
            own.fit.means[response, 1:] - own.fit.means[response, 0], slopes, rtol=1e-9
        )
        if shape[3] > 1:
            within = rows["y"] - rows.groupby(["a", "s"])["y"].transform("mean")
            assert own.ss[response, -1] == pytest.approx((within**2).sum(), rel=1e-9)


def test_occasions_are_taken_off_within_cells():
    scores, a, s, o = scored((6, 4, 3, 2), 0.25)
    own = table_of(scores, a, s, o)
    for response in range(3):
        rows = pd.DataFrame({"a": a, "s": s, "o": o, "y": scores[:, response]}).dropna()
        fit = ols("y ~ C(a):C(s) + C(o, Sum)", rows).fit()
        assert own.ss[response, -1] == pytest.approx(fit.ssr, rel=1e-9)
        assert own.df[response, -1] == fit.df_resid
        effect = fit.params[["C(o, Sum)[S.0]", "C(o, Sum)[S.1]"]].to_numpy()
        effect = np.append(effect, -effect.sum())
        known = fit.cov_params().filter(like="C(o").T.filter(like="C(o") / fit.mse_resid
        turn = np.array([[1, 0], [0, 1], [-1, -1]])
        noise = np.trace(turn @ known @ turn.T) / 2
        at = own.sources.index("occasion")
        assert own.ss[response, at] == pytest.approx((effect**2).sum() / noise, rel=1e-9)


def test_expected_mean_squares_and_covariance_by_dense_algebra():
    """Cells with one score each, some empty: every number is a quadratic form of the scores."""
    scores, a, s, _ = scored((5, 4, 1, 1), 0.0, responses=1)
    scores[[3, 6, 13]] = np.nan
    there = np.isfinite(scores[:, 0])
    a, s, size = a[there], s[there], int(there.sum())
    person, sample = np.eye(5)[a], np.eye(4)[s]
    design = np.column_stack([sample, person @ (np.eye(5)[:, :4] - np.eye(5)[:, [4]])])
    solve = np.linalg.pinv(design)
    turn = np.vstack([np.eye(4), -np.ones(4)])
    effects = turn @ solve[4:]
    own = table_of(scores[there], a, s, np.zeros(size, int))
    y = scores[there, 0]
    np.testing.assert_allclose(own.fit.means[0], solve[:4] @ y, rtol=1e-10)
    noise = np.trace(effects @ effects.T) / 4
    ms = dict(zip(own.sources, own.ms[0], strict=True))
    assert ms["assessor"] == pytest.approx(((effects @ y) ** 2).sum() / 4 / noise, rel=1e-10)
    variance = {"assessor": (ms["assessor"] - ms["error"]) * noise, "error": ms["error"]}
    covariance = solve[:4] @ (
        variance["assessor"] * person @ person.T + variance["error"] * np.eye(size)
    )
    np.testing.assert_allclose(own.fit.covariance[0], covariance @ solve[:4].T, rtol=1e-9)


def test_what_cannot_be_told_apart_is_not_usable():
    scores, a, s, o = scored((4, 4, 2, 2), responses=6)
    scores[(a < 2) == (s < 2), 1] = np.nan  # two halves of the panel, two of the samples
    scores[(o == 0) == (s < 2), 2] = np.nan  # samples of one occasion only
    scores[(o == 0), 3] = np.nan  # one occasion only
    scores[(a == 0) & (s == 1), 4] = np.nan  # an empty cell
    scores[(a == 0), 5] = np.nan  # an assessor who is not there
    cells = cell_means(scores, a, s, o)
    np.testing.assert_array_equal(cells.usable, [True, False, False, False, True, True])
    few = table_of(scores[:, 4:], a, s, o)
    np.testing.assert_array_equal(few.df[:, few.sources.index("assessor x sample")], [8, 6])


def test_other_responses_do_not_matter():
    scores, *codes = scored((6, 4, 2, 1), 0.2, responses=4)
    whole, alone = table_of(scores, *codes), table_of(scores[:, [2]], *codes)
    np.testing.assert_allclose(whole.ss[2], alone.ss[0], rtol=1e-12)
    np.testing.assert_allclose(whole.fit.covariance[2], alone.fit.covariance[0], rtol=1e-12)


def test_two_samples_are_the_paired_t_test():
    scores, *codes = scored((9, 2, 1, 1), responses=2)
    ms, df = pair_scatter(table_of(scores, *codes), np.array([1]), np.array([0]))
    paired = stats.ttest_rel(scores[1::2], scores[::2])
    estimate = scores[1::2].mean(0) - scores[::2].mean(0)
    np.testing.assert_allclose(estimate / np.sqrt(2 * ms[:, 0] / 9), paired.statistic, rtol=1e-10)
    np.testing.assert_array_equal(df, [[8], [8]])


def test_scatter_of_a_pair_step_by_step():
    """Written out for one pair: own part, rest, weight, sum."""
    scores, a, s, o = scored((8, 4, 1, 2), 0.25, responses=1, seed=5)
    scores[s == 2] += 3 * np.random.default_rng(2).normal(size=8)[a[s == 2], None]
    table = table_of(scores, a, s, o)
    ms, df = pair_scatter(table, np.array([0, 2, 1]), np.array([1, 0, 3]))
    means = pd.DataFrame({"a": a, "s": s, "y": scores[:, 0]}).pivot_table("y", "a", "s")
    at = table.sources.index("assessor x sample")
    for place, (one, other) in enumerate(((0, 1), (2, 0), (1, 3))):
        apart = (means[one] - means[other]).dropna()
        own = ((apart - apart.mean()) ** 2).sum() / 2 * table.each[0]
        rest, rest_df = table.ss[0, at] - own, table.df[0, at] - (len(apart) - 1)
        p = stats.f.sf(own / (len(apart) - 1) / (rest / rest_df), len(apart) - 1, rest_df)
        assert df[0, place] == pytest.approx(len(apart) - 1 + p**2 * rest_df, rel=1e-9)
        assert ms[0, place] == pytest.approx((own + p**2 * rest) / df[0, place], rel=1e-9)
    assert df[0, 1] < df[0, 0]


def test_own_part_and_rest_are_apart_also_with_gaps():
    """The own part never exceeds the interaction: it is a projection within it."""
    scores, *codes = scored((6, 5, 1, 1), 0.3, responses=200)
    cells = cell_means(scores, *codes)
    table = unweighted_squares(cells.only(np.flatnonzero(cells.usable)))
    at = table.sources.index("error")
    for one, other in ((0, 1), (2, 4)):
        apart = table.cells[:, :, one] - table.cells[:, :, other]
        there = np.isfinite(apart)
        middle = np.nanmean(np.where(there.any(1)[:, None], apart, 0.0), 1)
        own = np.nansum((apart - middle[:, None]) ** 2, 1) / 2
        assert (own <= table.ss[:, at] * (1 + 1e-9)).all()


def test_a_mean_is_always_known_with_some_error():
    """Occasions far below error, assessors who scored one sample: no variance falls below zero."""
    scores, a, s, o = scored((4, 3, 2, 3), responses=300, seed=11)
    scores -= np.array([np.nanmean(scores[o == k], 0) for k in range(2)])[o]
    complete = mean_squares(scores.reshape(4, 3, 2, 3, -1)).fit
    scores[(a == 0) & (s > 0)] = np.nan
    scores[(a == 1) & (s > 0), ::2] = np.nan
    scores[(a == 3) & (s == 0) & (o == 1), 1::2] = np.nan
    gaps = table_of(scores, a, s, o).fit
    for fit in (complete, gaps):
        estimate, se, df = fit.contrasts(np.eye(3))
        assert np.isfinite(estimate).all()
        assert (se > 0).all()
        assert (df > 0).all()
