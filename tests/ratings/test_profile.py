"""The profile against R, against sums of squares of a general program, and in its words."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm
from statsmodels.stats.multicomp import pairwise_tukeyhsd

from sensory.ratings.profile import profile

from ..references.readers import HERE, entries
from .shared import tidy

BALANCED = ("fries_balanced", "fries_one_week", "wine_balanced", "wine_single", "cake_balanced")
CASES = entries("ratings.json", "cases")
# Where a variance is at zero, mean squares and likelihood answer different models.
COMPLETE = {
    name: case
    for name, case in CASES.items()
    if min(case["variances"]) > 1e-9 and name.startswith(BALANCED) and "gaps" not in name
}
UNIT = ["session", "assessor", "sample", "replicate"]


def case_ballots(case):
    """The rows of a reference case as tidy ballots."""
    wide = pd.read_csv(HERE / "ratings" / f"{case['set']}.csv", dtype={"sample": str})
    kept = wide.drop(index=[place - 1 for place in np.atleast_1d(case["dropped"]).astype(int)])
    tidy = kept.melt(UNIT, [case["attribute"]], var_name="attribute", value_name="score")
    return tidy.astype({"sample": pd.CategoricalDtype(list(case["samples"]))})


def methods_of(found):
    return set(found.anova["method"])


def panel(assessors=8, samples=4, replicates=3, attributes=5, seed=1, interaction=0.8):
    """Scores of an invented cordial panel; attribute k separates the samples by k / 2."""
    rng, shape = np.random.default_rng(seed), (assessors, samples, replicates, attributes)
    a, s, _, k = (code.ravel() for code in np.indices(shape))
    score = rng.normal(size=(assessors, attributes))[a, k]
    score += interaction * rng.normal(size=(assessors, samples, attributes))[a, s, k]
    score += 5 + 0.5 * k * s + rng.normal(size=a.size)
    names = ["lime", "pear", "plum", "quince", "rose", "sloe"]
    words = ["clean", "sour", "sweet", "body", "bitter"]
    return tidy(score.reshape(shape), samples=names, attributes=words).assign(session=1)


# R.


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_profile_by_likelihood_against_r(case):
    first = case["samples"][0]
    found = profile(case_ballots(case), reference=first, method="reml")
    sample = found.anova.iloc[0]
    close = {"rtol": 1e-6}
    assert len(found.scores.rows) == case["rows"]
    assert sample["source"] == "sample"
    assert sample["df"] == case["df"]
    for column, name in (("statistic", "F"), ("df_error", "df_error"), ("p", "p")):
        np.testing.assert_allclose(sample[column], case[name], **close)
    for table, name in (
        (found.means, "means"),
        (found.against_reference, "against"),
        (found.pairs, "pairs"),
    ):
        np.testing.assert_allclose(table["estimate"], case[name], **close)
        np.testing.assert_allclose(table["se"], case[f"{name}_se"], **close)
        np.testing.assert_allclose(table["df"], case[f"{name}_df"], **close)
    against = found.against_reference
    np.testing.assert_allclose(against["p"], case["against_p"], **close)
    np.testing.assert_allclose(against["p_adjusted"], case["dunnett"], rtol=1e-5, atol=1e-8)
    np.testing.assert_allclose(found.pairs["p_adjusted"], case["tukey"], rtol=1e-5, atol=1e-8)
    np.testing.assert_allclose(
        found.components["estimate"], case["variances"], rtol=1e-6, atol=1e-7
    )
    assert methods_of(found) == {"restricted likelihood"}
    ratios = found.anova["statistic"].to_numpy()[1:]
    np.testing.assert_allclose(ratios, case["likelihood_ratios"], atol=1e-6)


@pytest.mark.parametrize("case", COMPLETE.values(), ids=COMPLETE)
def test_mean_squares_of_complete_scores_against_r(case):
    """With all variances above zero likelihood gives the mean squares of complete scores."""
    found = profile(case_ballots(case), reference=case["samples"][0])
    assert methods_of(found) == {"mean squares"}
    sample = found.anova.iloc[0]
    for column, name in (("statistic", "F"), ("df_error", "df_error"), ("p", "p")):
        np.testing.assert_allclose(sample[column], case[name], rtol=1e-6)
    for table, name in ((found.means, "means"), (found.pairs, "pairs")):
        np.testing.assert_allclose(table["estimate"], case[name], rtol=1e-6)
    np.testing.assert_allclose(found.means["se"], case["means_se"], rtol=1e-6)
    np.testing.assert_allclose(found.means["df"], case["means_df"], rtol=1e-6)
    np.testing.assert_allclose(
        found.components["estimate"], case["variances"], rtol=1e-6, atol=1e-7
    )


def test_balanced_scores_with_interaction_below_error_stand_against_interaction():
    """R's likelihood puts the interaction at zero and tests against error: not here."""
    case = CASES["fries_one_week_potato"]
    assert case["variances"][1] < 1e-9
    found = profile(case_ballots(case), reference="1")
    sample = found.anova.iloc[0]
    assert methods_of(found) == {"mean squares"}
    assert (sample["against"], sample["df_error"]) == ("assessor x sample", 22)
    assert case["df_error"] > 30
    assert any("(interaction below error); samples are tested" in note for note in found.notes)
    compared = found.against_reference
    assert len(compared) == 2
    assert compared["df"].between(11, 22).all()


# A general program and plain formulas.


def test_anova_of_balanced_scores():
    ballots = panel()
    found = profile(ballots).anova
    for name, rows in ballots.groupby("attribute"):
        other = anova_lm(ols("score ~ C(sample) * C(assessor)", rows).fit())
        own = found[found["attribute"] == name].set_index("source")
        names = ("C(sample)", "C(assessor)", "C(sample):C(assessor)", "Residual")
        sources = ("sample", "assessor", "assessor x sample", "error")
        for ours, theirs in zip(sources, names, strict=True):
            assert own.loc[ours, "ss"] == pytest.approx(other.loc[theirs, "sum_sq"], rel=1e-9)
            assert own.loc[ours, "df"] == other.loc[theirs, "df"]
        both = own.loc["assessor x sample"]
        assert own.loc["sample", "statistic"] == pytest.approx(own.loc["sample", "ms"] / both["ms"])
        assert own.loc["sample", "p"] == pytest.approx(
            stats.f.sf(own.loc["sample", "statistic"], 3, 21), rel=1e-9
        )
        assert both["statistic"] == pytest.approx(both["ms"] / own.loc["error", "ms"])
        assert both["against"] == "error"


def test_samples_are_never_tested_against_error():
    for ballots in (panel(interaction=0), panel(interaction=2)):
        anova = profile(ballots).anova
        assert set(anova.loc[anova["source"] == "sample", "against"]) == {"assessor x sample"}


def test_pairs_as_tukey_on_the_cell_means():
    """On balanced scores the interaction is the residual of assessor means and samples."""
    ballots = panel(attributes=1)
    found = profile(ballots, method="reml").pairs
    cells = ballots.groupby(["assessor", "sample"], as_index=False)["score"].mean()
    cells["centred"] = cells["score"] - cells.groupby("assessor")["score"].transform("mean")
    other = pairwise_tukeyhsd(cells["centred"], cells["sample"])
    np.testing.assert_allclose(found["estimate"], -other.meandiffs, rtol=1e-9)
    ms = profile(ballots).anova.set_index("source").loc["assessor x sample", "ms"]
    q = stats.studentized_range.isf(0.05, 4, 21) * np.sqrt(ms / 24)
    np.testing.assert_allclose(found["high"] - found["estimate"], q, rtol=1e-6)


def test_against_reference_as_scipy_does_it_for_one_score_an_assessor():
    """Assessor effects removed by hand; pooled variance and df put in by hand."""
    ballots = panel(replicates=1, attributes=1)
    found = profile(ballots, reference="lime", method="reml").against_reference
    ms = profile(ballots).anova.set_index("source").loc["assessor x sample and error", "ms"]
    means = ballots.groupby("sample")["score"].mean()
    np.testing.assert_allclose(found["estimate"], means.drop("lime") - means["lime"], rtol=1e-9)
    np.testing.assert_allclose(found["se"], np.sqrt(2 * ms / 8), rtol=1e-9)
    corr = (np.ones((3, 3)) + np.eye(3)) / 2
    for t, p in zip(found["statistic"], found["p_adjusted"], strict=True):
        inside = stats.multivariate_t(shape=corr, df=21).cdf(
            np.full(3, abs(t)), lower_limit=np.full(3, -abs(t)), maxpts=10**6, random_state=1
        )
        assert p == pytest.approx(1 - inside, abs=2e-5)


def test_limits_exclude_zero_exactly_when_p_is_small():
    ballots = panel(seed=4)
    ballots.loc[ballots.index % 17 == 3, "score"] = np.nan
    found = profile(ballots, reference="plum", alpha=0.1)
    for table in (found.against_reference, found.pairs):
        outside = (table["low"] > 0) | (table["high"] < 0)
        assert (outside == (table["p_adjusted"] <= 0.1)).all()
        assert 0 < outside.sum() < len(table)
        assert (table["level"] == 0.9).all()
        assert (table["p_adjusted"] >= table["p"]).all()


def test_equivalence_by_two_one_sided_tests():
    found = profile(panel(), reference="pear", margins={"sour": 1.5, "clean": 0.8})
    table = found.equivalence
    assert set(table["attribute"]) == {"sour", "clean"}
    assert (table["level"] == 0.9).all()
    for row in table.itertuples():
        upper = stats.t.cdf((row.estimate - row.margin) / row.se, row.df)
        lower = stats.t.sf((row.estimate + row.margin) / row.se, row.df)
        assert row.p == pytest.approx(max(upper, lower), rel=1e-9)
        inside = -row.margin < row.low and row.high < row.margin
        assert row.equivalent == inside == (row.p <= 0.05)
    assert profile(panel(), reference="pear", margins=2).equivalence["margin"].eq(2).all()


def test_adjusted_across_attributes():
    found = profile(panel(), reference="lime")
    p = found.anova.loc[found.anova["source"] == "sample"]
    np.testing.assert_allclose(
        p["p_false_discovery"], stats.false_discovery_control(p["p"]), rtol=1e-12
    )
    assert (p["p_holm"] >= p["p_false_discovery"] - 1e-15).all()
    pear = found.against_reference.query("sample == 'pear'")
    np.testing.assert_allclose(
        pear["p_false_discovery"], stats.false_discovery_control(pear["p_adjusted"]), rtol=1e-12
    )


def test_effect_is_in_repeatability_standard_deviations():
    found = profile(panel(), reference="lime")
    sd = found.components.query("source == 'error'").set_index("attribute")["sd"]
    rows = found.against_reference
    np.testing.assert_allclose(rows["effect"], rows["estimate"] / rows["attribute"].map(sd))


def test_components_add_up_and_are_found_back():
    """Known variances: assessor 1, interaction 0.64, error 1; a large panel."""
    found = profile(panel(assessors=150, replicates=4, attributes=1)).components
    np.testing.assert_allclose(found["estimate"], [1, 0.64, 1], atol=0.15)
    np.testing.assert_allclose(found["sd"] ** 2, found["estimate"])
    assert found["share"].sum() == pytest.approx(1)


# Sessions, gaps, single scores.


def test_session_is_a_random_term_where_there_is_more_than_one():
    ballots = panel()
    ballots["session"] = ballots["replicate"]
    found = profile(ballots)
    assert found.occasion == "session"
    other = anova_lm(
        ols(
            "score ~ C(sample) * C(assessor) + C(session)", ballots.query("attribute == 'sour'")
        ).fit()
    )
    own = found.anova.query("attribute == 'sour'").set_index("source")
    assert own.loc["session", "ss"] == pytest.approx(other.loc["C(session)", "sum_sq"])
    assert own.loc["error", "df"] == other.loc["Residual", "df"]
    assert "session" in set(found.components["source"])
    replicates = profile(panel(), occasion="replicate")
    assert replicates.occasion == "replicate"
    assert "replicate" in set(replicates.anova["source"])
    assert profile(panel()).occasion is None


def test_attributes_with_and_without_gaps_each_take_their_road():
    ballots = panel()
    ballots.loc[(ballots["attribute"] == "sweet") & (ballots.index % 9 == 0), "score"] = np.nan
    found = profile(ballots, reference="lime")
    whole = profile(panel(), reference="lime")
    methods = found.anova.groupby("attribute", sort=False)["method"].first()
    assert methods["sweet"] == "unweighted mean squares"
    assert (methods.drop("sweet") == "mean squares").all()
    assert list(methods.index) == list(found.scores.attributes)
    for name in ("means", "pairs", "against_reference", "components"):
        one, other = getattr(found, name), getattr(whole, name)
        assert list(one["attribute"]) == list(other["attribute"])
        kept = (one["attribute"] != "sweet").to_numpy()
        columns = ["estimate"] + (["se", "df"] if name != "components" else [])
        pd.testing.assert_frame_equal(one.loc[kept, columns], other.loc[kept, columns])
    assert found.notes[0].startswith("sweet: scores are missing or unequal in number;")
    assert found.scores.dropped == ballots["score"].isna().sum()
    assert f"Rows without a score, left out: {found.scores.dropped}." in found.notes


def test_attributes_scored_in_different_replicates_only():
    ballots = panel()
    some = ballots[~((ballots["attribute"] == "sour") & (ballots["replicate"] == 2))]
    found = profile(some)
    assert methods_of(found) == {"mean squares"}
    alone = profile(some, attributes=["sour"])
    own = found.anova.query("attribute == 'sour'")["ss"]
    np.testing.assert_allclose(own, alone.anova["ss"])


def test_an_assessor_who_missed_a_session():
    ballots = panel()
    ballots["session"] = ballots["replicate"]
    missed = ballots[~((ballots["assessor"] == "A03") & (ballots["session"] == 2))]
    found = profile(missed, reference="lime")
    assert methods_of(found) == {"unweighted mean squares"}
    assert found.means["scores"].eq(23).all()
    assert np.isfinite(found.against_reference["p_adjusted"]).all()


def test_single_scores_are_tested_against_interaction_and_error_together():
    found = profile(panel(replicates=1), reference="lime")
    pooled = "assessor x sample and error"
    assert set(found.anova.query("source == 'sample'")["against"]) == {pooled}
    assert set(found.components["source"]) == {"assessor", pooled}
    assert found.notes[0].startswith("All attributes: one score a sample; assessor x sample")
    gaps = panel(replicates=1).drop(index=[3, 17, 40])
    found = profile(gaps)
    assert pooled in set(found.components["source"])
    assert "assessor x sample" not in set(found.components["source"])


# One convention with and without gaps; the scatter of each comparison.


def below_error():
    """12 assessors, 8 samples, 2 replicates: 192 scores, the interaction below error."""
    rng = np.random.default_rng(24)
    score = rng.normal(size=(12, 8, 2)) + rng.normal(size=(12, 1, 1))
    cell = score.mean(2, keepdims=True)
    kept = cell.mean(0, keepdims=True) + cell.mean(1, keepdims=True) - cell.mean()
    score += 0.35 * (kept - cell) + 0.15 * np.arange(8)[None, :, None]
    return tidy(score, attribute="sour")


def test_the_loss_of_one_score_is_no_other_convention():
    """By likelihood one score of 192 moves 77 degrees of freedom to 172, and F with them."""
    whole, gap = below_error(), below_error().drop(index=100)
    before, after = (profile(ballots).anova.iloc[0] for ballots in (whole, gap))
    assert (before["df_error"], after["df_error"]) == (77, pytest.approx(77))
    assert before["ms"] == pytest.approx(after["ms"], rel=0.05)
    assert before["statistic"] == pytest.approx(after["statistic"], rel=0.05)
    jumped = profile(gap, method="reml").anova.iloc[0]
    assert jumped["df_error"] > 160
    assert jumped["statistic"] < 0.7 * before["statistic"]


def test_a_score_that_counts_less_and_less_leaves_no_step():
    """A second score equal to the first of its cell changes nothing but the number of scores."""
    ballots = below_error()
    pair = ballots["assessor"].eq("A03") & ballots["sample"].eq("S02")
    ballots.loc[pair, "score"] = ballots.loc[pair, "score"].mean()
    whole = profile(ballots, reference="S00")
    gap = profile(ballots.drop(index=ballots.index[pair][1]), reference="S00")
    columns = ["statistic", "df_error", "p"]
    np.testing.assert_allclose(gap.anova[columns].iloc[0], whole.anova[columns].iloc[0], rtol=1e-9)
    columns = ["estimate", "se", "df", "p", "p_adjusted", "low", "high"]
    np.testing.assert_allclose(
        gap.against_reference[columns], whole.against_reference[columns], rtol=1e-6
    )


def test_samples_that_nobody_scored_together_are_left_to_likelihood():
    """Half of the panel scored lime and pear, the other half plum and quince."""
    ballots = panel(attributes=1)
    early = ballots["assessor"] < "A04"
    apart = ballots[early == ballots["sample"].isin(["lime", "pear"])]
    found = profile(apart)
    assert methods_of(found) == {"restricted likelihood"}
    assert "clean: too many scores are missing for mean squares; restricted" in found.notes[0]


def test_a_comparison_takes_its_own_scatter_where_that_is_larger():
    """Sample by sample: t of the two within assessors, and of the panel where these agree."""
    rng = np.random.default_rng(8)
    score = rng.normal(size=(10, 1, 1)) + rng.normal(size=(10, 5, 1)) * [[1], [6], [1], [1], [1]]
    found = profile(tidy(score, attribute="sour"), reference="S00", margins=1.0)
    rows = found.against_reference.set_index("sample")
    paired = stats.ttest_rel(score[:, 1, 0], score[:, 0, 0])
    assert rows.loc["S01", "statistic"] == pytest.approx(paired.statistic, rel=1e-2)
    assert rows.loc["S01", "df"] == pytest.approx(9, abs=0.1)
    assert rows.loc["S01", "p"] == pytest.approx(paired.pvalue, rel=2e-2)
    whole = profile(tidy(score, attribute="sour"), reference="S00", method="reml")
    plain = whole.against_reference.set_index("sample")
    assert plain["se"].nunique() == 1 or np.ptp(plain["se"]) < 1e-9
    assert rows.loc["S01", "se"] > 1.3 * plain.loc["S01", "se"]
    equivalence = found.equivalence.set_index("sample")
    pairs = found.pairs.set_index(["sample", "other"])
    for sample in ("S01", "S02", "S03", "S04"):
        assert equivalence.loc[sample, "se"] == rows.loc[sample, "se"]
        assert pairs.loc[("S00", sample), "df"] == pytest.approx(rows.loc[sample, "df"])


# Result.


def test_result_hands_out_copies_and_remembers():
    found = profile(panel(), reference="lime", margins=1.0)
    handed_out = found.anova
    handed_out["p"] = 0.0
    assert (found.anova["p"].dropna() > 0).all()
    assert (found.reference, found.alpha) == ("lime", 0.05)
    assert found.margins["sour"] == 1.0
    with pytest.raises(AttributeError):
        found.alpha = 0.1
    with pytest.raises(TypeError):
        found.margins["sour"] = 3.0
    assert "<Profile: 5 attributes, 4 samples, 8 assessors; samples differ in" in repr(found)
    assert "<table" in found._repr_html_()


def test_without_reference_there_is_no_comparison_with_it():
    found = profile(panel())
    assert found.against_reference is found.equivalence is None
    assert found.scaling is found.slopes is None


def test_columns_are_spelled_as_everywhere():
    found = profile(panel(), reference="lime", margins=1.0)
    assert list(found.against_reference) == [
        *("attribute", "sample", "reference", "estimate", "se", "df", "statistic", "p"),
        *("p_adjusted", "p_holm", "p_false_discovery", "low", "high", "level", "effect"),
    ]
    assert list(found.means) == [
        *("attribute", "sample", "estimate", "se", "df", "low", "high", "level", "scores"),
    ]


def test_two_samples():
    found = profile(panel(samples=2, attributes=2), reference="lime", scaling=True)
    against, pairs = found.against_reference, found.pairs
    np.testing.assert_allclose(against["p_adjusted"], against["p"], rtol=1e-7)
    np.testing.assert_allclose(pairs["p_adjusted"], against["p"], rtol=1e-7)
    f = found.anova.query("source == 'sample'")["p"]
    np.testing.assert_allclose(f, against["p"], rtol=1e-9)
    assert found.scaling.empty
