"""The scorecard against scipy and pingouin one attribute at a time, hand work, simulation."""

import re

import numpy as np
import pandas as pd
import pingouin
import pytest
from scipy import stats

from sensory.base.errors import ArgumentError, SensoryError
from sensory.ratings.flags import RULES, ScorecardLimits
from sensory.ratings.intraclass import intraclass_table
from sensory.ratings.performance import noncentrality
from sensory.ratings.scorecard import panel_scorecard

from ..references.readers import entries
from .shared import tidy

PUBLISHED = entries("published_ratings.json")
# ISO 8586:2012, Annex C: 6 samples, 4 assessors, 3 scores, with the printed means.
FISH = PUBLISHED["fish_panel"]
ANNEX_C = list(FISH["rows"].values())


def frame(scores, attribute="sour"):
    return tidy(scores, attribute)


def panel(seed=3, assessors=7, samples=6, replicates=2, spread=2.0, noise=0.7):
    rng = np.random.default_rng(seed)
    level = spread * np.linspace(-1, 1, samples)
    shape = (assessors, samples)
    scores = 5 + level + rng.normal(0, 0.4, (assessors, 1)) + rng.normal(0, 0.3, shape)
    return scores[:, :, None] + rng.normal(0, noise, (*shape, replicates))


def several(count=4, **given):
    return pd.concat([frame(panel(seed=k, **given), f"attribute {k}") for k in range(count)])


@pytest.fixture(scope="module")
def annex():
    return frame(np.array(ANNEX_C).swapaxes(0, 1))


def test_published_panel(annex):
    means = annex.groupby("sample")["score"].mean().round(1)
    assert list(means) == FISH["value"]["sample_means"], FISH["source"]
    result = panel_scorecard(annex)
    assert result.judged == ("sour",)
    own = annex.groupby("assessor")["score"].mean()
    assert list(own.round(1)) == FISH["value"]["assessor_means"]
    # Printed is the mean of the rounded means, 5.35 as 5.4; that of the scores is 5.347.
    printed = FISH["value"]["grand_mean"]
    assert own.round(1).mean() == pytest.approx(printed, abs=0.05 + 1e-9)
    assert annex["score"].mean() == pytest.approx(5.347, abs=5e-4) != printed
    bias = [m - (own.sum() - m) / 3 for m in own]
    assert result.assessors["bias"].to_numpy() == pytest.approx(bias)
    # Hand work: mean squares within cells, by assessor, from the scores above.
    within = [np.var(np.array(ANNEX_C)[:, a], axis=1, ddof=1).mean() for a in range(4)]
    assert result.assessors["sd"].to_numpy() == pytest.approx(np.sqrt(within))
    assert result.attributes["sd"].iloc[0] == pytest.approx(np.sqrt(np.mean(within)))


def test_published_intraclass_correlations():
    """Six targets, four judges; from memory, and the six formulas of the mean squares by hand."""
    entry, scores = PUBLISHED["pv116"], PUBLISHED["pv115"]
    (data,) = scores["inputs"].values()
    card = panel_scorecard(frame(np.array(data).T[:, :, None]))
    found = card.intraclass("sour").set_index("Type")["ICC"]
    kinds = ["ICC(1,1)", "ICC(A,1)", "ICC(C,1)", "ICC(1,k)", "ICC(A,k)", "ICC(C,k)"]
    tolerance = {"abs": entry["tolerance"], "rel": 0}
    assert list(found[kinds]) == pytest.approx(entry["value"], **tolerance), entry["source"]
    b, w, j, e = scores["value"]
    n, k = 6, 4
    hand = [
        (b - w) / (b + (k - 1) * w),
        (b - e) / (b + (k - 1) * e + k * (j - e) / n),
        (b - e) / (b + (k - 1) * e),
        (b - w) / b,
        (b - e) / (b + (j - e) / n),
        (b - e) / b,
    ]
    assert list(found[kinds]) == pytest.approx(hand, abs=0.002)
    ours = card.attributes.iloc[0]["icc_panel"]
    alpha = PUBLISHED["pv117"]  # Cronbach's alpha is the same number; from memory
    assert ours == pytest.approx(alpha["value"], abs=alpha["tolerance"]), alpha["source"]


@pytest.mark.parametrize("ballots", [several(), several(replicates=3, samples=4)])
def test_each_assessor_against_scipy(ballots):
    rows = panel_scorecard(ballots).assessors.set_index(["assessor", "attribute"])
    for (assessor, attribute), row in rows.iterrows():
        here = ballots[ballots["attribute"] == attribute]
        own = here[here["assessor"] == assessor]
        groups = [part["score"].to_numpy() for _, part in own.groupby("sample")]
        f = stats.f_oneway(*groups)
        assert (row["statistic"], row["p"]) == pytest.approx((f.statistic, f.pvalue), rel=1e-8)
        assert row["sd"] == pytest.approx(np.sqrt(np.mean([np.var(g, ddof=1) for g in groups])))
        mine = own.groupby("sample")["score"].mean()
        means = here[here["assessor"] != assessor].groupby(["assessor", "sample"])["score"].mean()
        others = means.groupby("sample").mean()
        line = stats.linregress(others, mine)
        assert (row["r"], row["slope"]) == pytest.approx((line.rvalue, line.slope), rel=1e-8)
        assert row["r_p"] == pytest.approx(line.pvalue / 2, rel=1e-6)
        half = line.stderr * stats.t.ppf(0.975, len(mine) - 2)
        limits = (line.slope - half, line.slope + half)
        assert (row["slope_low"], row["slope_high"]) == pytest.approx(limits, rel=1e-7)
        assert row["rank_r"] == pytest.approx(stats.spearmanr(others, mine).statistic)
        paired = stats.ttest_rel(mine, others)
        assert row["bias"] == pytest.approx((mine - others).mean())
        assert row["bias_p"] == pytest.approx(paired.pvalue, rel=1e-6)
        level = means.groupby("assessor").mean()
        assert row["bias_sd"] == pytest.approx(row["bias"] / level.std(), rel=1e-7)
        out = stats.t.sf(abs(row["bias_sd"]) / np.sqrt(1 + 1 / 6), 5) * 2
        assert row["level_p"] == pytest.approx(out, rel=1e-7)
        assert row["throughout"] == (abs(np.sign(mine - others).sum()) == len(mine))


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # pingouin 0.7 on pandas 3.1
@pytest.mark.parametrize("rounded", [False, True])
def test_icc_and_concordance_against_pingouin(rounded):
    ballots = several(assessors=5)
    ballots["score"] = ballots["score"].round() if rounded else ballots["score"]
    rows = panel_scorecard(ballots).attributes.set_index("attribute")
    names = ["assessor", "sample"]
    for attribute, row in rows.iterrows():
        here = ballots[ballots["attribute"] == attribute]
        means = here.groupby(names)["score"].mean().reset_index()
        icc = pingouin.intraclass_corr(
            means, targets="sample", raters="assessor", ratings="score"
        ).set_index("Type")["ICC"]
        found = [icc[next(k for k in icc.index if k in wanted)] for wanted in ICC_NAMES]
        assert list(row[["icc", "icc_consistency", "icc_panel"]]) == pytest.approx(found)
        w = pingouin.friedman(means, dv="score", within="sample", subject="assessor")
        assert row["kendall_w"] == pytest.approx(w["W"].iloc[0])
        chi = stats.friedmanchisquare(*[g["score"] for _, g in means.groupby("sample")])
        assert row["kendall_p"] == pytest.approx(chi.pvalue)


# The single absolute, the single consistent and the averaged consistent one, by old and new names.
ICC_NAMES = [("ICC2", "ICC(A,1)"), ("ICC3", "ICC(C,1)"), ("ICC3k", "ICC(C,k)")]


@pytest.mark.parametrize(
    ("scores", "w"),
    [
        # ranks 123, 123, 213: rank sums 4, 5, 9, S = 14
        ([[1.0, 2, 3], [4, 5, 9], [3, 2, 7]], 14 / 18),
        # 0.1 + 0.2 and 0.3 are one mean: their samples share a rank
        ([[0.3, 0.1 + 0.2, 0.9], [0.3, 0.3, 0.8], [0.1 + 0.2, 0.3, 0.7]], 1.0),
    ],
)
def test_concordance_by_hand(scores, w):
    row = panel_scorecard(frame(np.array(scores)[:, :, None])).attributes.iloc[0]
    assert row["kendall_w"] == pytest.approx(w)


def test_panel_is_tested_against_the_interaction():
    scores = panel()
    row = panel_scorecard(frame(scores)).attributes.iloc[0]
    cells = scores.mean(2)
    a, s = cells.shape
    left = cells - cells.mean(0) - cells.mean(1, keepdims=True) + cells.mean()
    ms_sample = 2 * a * ((cells.mean(0) - cells.mean()) ** 2).sum() / (s - 1)
    ms_both = 2 * (left**2).sum() / (a - 1) / (s - 1)
    ms_error = scores.var(2, ddof=1).mean()
    assert row["statistic"] == pytest.approx(ms_sample / ms_both)
    assert (row["df"], row["df_error"]) == (5, 30)
    assert row["interaction_statistic"] == pytest.approx(ms_both / ms_error)
    assert row["interaction_p"] == pytest.approx(stats.f.sf(ms_both / ms_error, 30, 42))
    assert row["icc_panel"] == pytest.approx(1 - ms_both / ms_sample)


def test_noncentrality_against_scipy_and_the_normal_limit():
    df = np.array([3.0, 10.0, 57.5, 400.0])
    found = noncentrality(df, 0.05, 0.8)
    critical = stats.t.ppf(0.975, df)
    power = stats.nct.sf(critical, df, found) + stats.nct.cdf(-critical, df, found)
    assert power == pytest.approx(np.full(4, 0.8), abs=1e-9)
    wide = noncentrality(np.array([1e6]), 0.05, 0.8)[0]
    assert wide == pytest.approx(stats.norm.ppf(0.975) + stats.norm.ppf(0.8), abs=1e-4)


def test_noncentralities_of_many_are_those_of_each():
    df = 1 / np.linspace(1 / 90, 1 / 1.5, 60)
    alone = [noncentrality(df[[place]], 0.05, 0.8)[0] for place in range(len(df))]
    assert noncentrality(df, 0.05, 0.8) == pytest.approx(alone, rel=1e-11)


def test_noncentrality_of_one_degree_of_freedom_is_not_cut_off():
    """Two assessors and two samples; the other tail is nothing here."""
    found = noncentrality(np.array([1.0]), 0.01, 0.95)
    assert stats.nct.sf(stats.t.ppf(0.995, 1), 1, found) == pytest.approx(0.95, abs=1e-6)


def test_smallest_difference_is_seen_with_the_power_it_names():
    """Sessions drawn with the scatter that was estimated, samples that far apart."""
    scores = panel(assessors=8, samples=4, replicates=2)
    row = panel_scorecard(frame(scores)).attributes.iloc[0]
    cells = scores.mean(2)
    left = cells - cells.mean(0) - cells.mean(1, keepdims=True) + cells.mean()
    sd = np.sqrt((left**2).sum() / 21)  # of a cell mean about the additive model
    rng = np.random.default_rng(12)
    drawn = rng.normal(0, sd, (4000, 8, 4))
    drawn[:, :, 1] += row["smallest_difference"]
    apart = drawn[:, :, 1].mean(1) - drawn[:, :, 0].mean(1)
    level = drawn.mean(2, keepdims=True) + drawn.mean(1, keepdims=True)
    rest = drawn - level + drawn.mean((1, 2), keepdims=True)
    t = apart / np.sqrt(2 / 8 * (rest**2).sum((1, 2)) / 21)
    seen = (np.abs(t) > stats.t.ppf(0.975, 21)).mean()
    assert abs(seen - 0.8) < 4 * np.sqrt(0.8 * 0.2 / 4000)


def flags_of(scores, **given):
    return panel_scorecard(frame(scores), **given).flags


def clean(seed=8, **given):
    return panel(seed=seed, **({"assessors": 9, "noise": 0.4} | given))


def test_a_good_panel_raises_no_flag():
    assert flags_of(clean()).empty
    assert "No assessor stands out." in panel_scorecard(frame(clean())).says()


@pytest.mark.parametrize(
    ("spoil", "flag", "words"),
    [
        (lambda own, rng: 10 - own, "reversed", "sour the other way round"),
        (
            lambda own, rng: own[[3, 0, 5, 2, 4, 1]],
            "agreement",
            "disagreed with the others on sour",
        ),
        (
            lambda own, rng: 5 + rng.normal(0, 0.4, own.shape),
            "discrimination",
            "not shown to discriminate on sour",
        ),
        (
            lambda own, rng: own + rng.normal(0, 2.0, own.shape),
            "repeatability",
            "poor repeatability on sour",
        ),
        (lambda own, rng: 5 + 0.25 * (own - 5), "narrow", "narrow part"),
        (lambda own, rng: 5 + 3.0 * (own - 5), "wide", "wider part"),
        (lambda own, rng: own + 4, "above", "above the others"),
        (lambda own, rng: own - 4, "below", "below the others"),
    ],
)
def test_each_flag_is_raised_for_what_was_done(spoil, flag, words):
    scores = clean(replicates=3)
    scores[4] = spoil(scores[4], np.random.default_rng(2))
    flags = flags_of(scores)
    own = flags[flags["assessor"] == "A04"]
    assert flag in set(own["flag"])
    chosen = own[own["flag"] == flag].iloc[0]
    assert words in chosen["says"]
    assert "sour" in chosen["train"]
    assert set(flags["assessor"]) == {"A04"}


def test_flags_only_where_the_panel_discriminates():
    """The same reversed assessor, on an attribute whose samples are alike to all others."""
    rng = np.random.default_rng(5)
    real, alike = clean(), 5 + rng.normal(0, 0.5, (9, 6, 2))
    real[4], alike[4] = 10 - real[4], 10 - clean(seed=9)[4]
    both = pd.concat([frame(real, "sour"), frame(alike, "body")])
    result = panel_scorecard(both)
    assert result.judged == ("sour",)
    assert set(result.flags["attribute"]) == {"sour"}
    assert any("Not shown to discriminate on body" in line for line in result.says())
    assert result.assessors.query("attribute == 'body'")["r"].notna().all()
    assert list(result.panel["attributes"]) == [1] * 9


def test_pure_noise_is_hardly_ever_judged():
    """60 tables of 10 attributes: one is judged at all in about 5 % of them."""
    tables = 60
    rng = np.random.default_rng(21)
    judged = 0
    for _ in range(tables):
        scores = rng.normal(5, 1, (8, 6, 2, 10))
        ballots = pd.concat([frame(scores[..., k], f"attribute {k}") for k in range(10)])
        result = panel_scorecard(ballots)
        judged += bool(result.judged)
        assert set(result.flags["attribute"]) <= set(result.judged)
    assert judged <= stats.binom.ppf(0.9999, tables, 0.05)


def test_tests_of_alike_assessors_raise_few_flags():
    """Assessors who differ by chance only: repeatability, slope and bias flags are rare."""
    rng = np.random.default_rng(22)
    level = np.linspace(1, 9, 8)[None, :, None, None]
    scores = level + rng.normal(0, 0.7, (10, 8, 3, 200))
    ballots = tidy(scores, attributes=[f"attribute {k}" for k in range(200)])
    result = panel_scorecard(ballots)
    assert len(result.judged) == 200
    assert len(result.flags) <= 2  # of 2000 assessors and attributes


@pytest.mark.parametrize("shift", [7.0, -2.5])
def test_a_constant_and_a_turned_scale_change_nothing_but_signs(shift):
    ballots = several()
    plain = panel_scorecard(ballots)
    moved = panel_scorecard(ballots.assign(score=ballots["score"] + shift))
    pd.testing.assert_frame_equal(plain.assessors, moved.assessors, rtol=1e-6, atol=1e-8)
    pd.testing.assert_frame_equal(plain.attributes, moved.attributes, rtol=1e-6)
    turned = panel_scorecard(ballots.assign(score=10 - ballots["score"]))
    signs = plain.assessors.assign(
        bias=-plain.assessors["bias"], bias_sd=-plain.assessors["bias_sd"]
    )
    pd.testing.assert_frame_equal(signs, turned.assessors, rtol=1e-6, atol=1e-8)
    pd.testing.assert_frame_equal(plain.attributes, turned.attributes, rtol=1e-6)


def test_order_of_rows_and_names_do_not_matter():
    ballots = several()
    plain = panel_scorecard(ballots)
    mixed = panel_scorecard(
        ballots.sample(frac=1, random_state=1), attributes=plain.scores.attributes
    )
    pd.testing.assert_frame_equal(plain.assessors, mixed.assessors, rtol=1e-8, atol=1e-10)
    turned = {f"A{i:02}": f"B{9 - i}" for i in range(7)}
    renamed = panel_scorecard(ballots.replace({"assessor": turned}))
    back = renamed.assessors.replace({"assessor": {new: old for old, new in turned.items()}})
    back = back.sort_values(["assessor", "attribute"], ignore_index=True)
    pd.testing.assert_frame_equal(plain.assessors, back, rtol=1e-8, atol=1e-10)
    pd.testing.assert_frame_equal(plain.attributes, renamed.attributes, rtol=1e-8)


def test_gaps_are_counted_out_and_said():
    ballots = frame(clean()).drop(index=[0, 1, 17])
    result = panel_scorecard(ballots)
    first = result.assessors.iloc[0]
    assert (first["samples"], first["df"], first["df_error"]) == (5, 4, 5)
    row = result.attributes.iloc[0]
    assert row[["icc", "icc_panel", "kendall_w"]].isna().all()
    assert 0 < row["smallest_difference"] < 3
    assert row["judged"]
    assert any("not score every sample" in note for note in result.notes)


def test_an_assessor_without_any_score_of_an_attribute():
    both = pd.concat([frame(clean(), "sour"), frame(clean(seed=9), "sweet")])
    left = both[~((both["assessor"] == "A03") & (both["attribute"] == "sweet"))]
    result = panel_scorecard(left)
    rows = result.assessors.set_index(["assessor", "attribute"])
    assert rows.loc[("A03", "sweet"), ["r", "p", "sd", "bias"]].isna().all()
    assert rows.loc[("A02", "sweet"), "r"] > 0.9
    assert result.panel.set_index("assessor")["attributes"]["A03"] == 1


def test_without_replicates():
    result = panel_scorecard(frame(clean(replicates=1)))
    assert result.assessors[["statistic", "p", "sd"]].isna().all().all()
    assert result.attributes[["interaction_p", "sd"]].isna().all().all()
    assert result.assessors["r"].notna().all()
    assert any("Without replicates" in note for note in result.notes)


def test_scores_that_never_vary_or_repeat_exactly():
    scores = clean()
    scores[2] = 5.0
    scores[3] = np.repeat(np.arange(6.0)[:, None], 2, 1)
    rows = panel_scorecard(frame(scores)).assessors
    assert (rows.loc[2, "statistic"], rows.loc[2, "p"], rows.loc[2, "sd"]) == (0, 1, 0)
    assert np.isnan(rows.loc[2, "r"])
    assert rows.loc[2, "slope"] == pytest.approx(0)
    assert (rows.loc[3, "statistic"], rows.loc[3, "p"]) == (np.inf, 0)


def test_what_six_samples_and_two_replicates_cannot_say():
    """Critical r at n = 6 (one-sided 5 %): 0.729; F(5, 6) at 5 %: 4.39, of usual tables."""
    notes = " ".join(panel_scorecard(frame(clean())).notes)
    assert "up to 0.73" in notes
    assert "5 and 6 degrees of freedom and must exceed 4.39" in notes


def test_scale_gives_the_limit_of_repeatability():
    scores = clean(noise=1.3)
    poor = panel_scorecard(frame(scores), scale=(-5, 15), limits=ScorecardLimits(scale_share=0.01))
    assert set(poor.flags["flag"]) >= {"repeatability"}
    wide = panel_scorecard(frame(scores), scale=(-50, 150))
    assert "repeatability" not in set(wide.flags["flag"])


def test_limits_are_settings_with_a_source():
    rows = ScorecardLimits().summary().records()
    assert all(row["source"] for row in rows)
    scores = clean()
    scores[4] = 5 + 0.6 * (scores.mean(0) - 5)
    assert flags_of(scores).empty
    strict = flags_of(scores, limits=ScorecardLimits(narrow_slope=0.9))
    assert ("A04", "narrow") in set(zip(strict["assessor"], strict["flag"], strict=True))
    assert set(strict["flag"]) <= set(RULES)


def test_tables_are_handed_out_as_copies():
    result = panel_scorecard(several())
    for name in ("assessors", "attributes", "panel", "flags"):
        table = getattr(result, name)
        table["assessor"] = "nobody"
        assert "nobody" not in set(getattr(result, name).get("assessor", []))
    assert "<table" in result._repr_html_()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: flags_of(clean(), alpha=5), "For 5 % write 0.05"),
        (lambda: flags_of(clean(), power=1.0), "power must lie strictly between 0 and 1"),
        (lambda: flags_of(clean(), limits=0.5), "limits must be ScorecardLimits; got float"),
        (lambda: flags_of(clean(), scale=(10, 0)), "scale must be its lowest and highest mark"),
        (lambda: flags_of(clean(), scale=10), "scale must be its lowest and highest mark"),
        (lambda: flags_of(clean(), scale=(4, 5)), "lies off the scale of 4 to 5"),
        (lambda: flags_of(clean(), attributes=["salty"]), "attributes must be among sour"),
        (lambda: flags_of(clean()[:1]), "one assessor only, A00"),
        (lambda: ScorecardLimits(least_r=1.5), "least_r must lie strictly between 0 and 1"),
        (lambda: ScorecardLimits(wide_slope=0.5), "wide_slope must be one number above 1; got 0.5"),
        (lambda: ScorecardLimits(bias_sd=0), "bias_sd must be one number above 0; got 0"),
        (lambda: ScorecardLimits(scale_share=15), "For 15 % write 0.15"),
    ],
)
def test_arguments_and_limits_that_cannot_be_used(call, message):
    with pytest.raises(SensoryError, match=re.escape(message)):
        call()


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # pingouin 0.7 on pandas 3.1
@pytest.mark.parametrize(("samples", "assessors"), [(5, 6), (3, 2), (2, 7)])
@pytest.mark.parametrize("rounded", [False, True])
def test_all_intraclass_correlations_against_pingouin(samples, assessors, rounded):
    means = np.random.default_rng(samples).normal(0, 1, (samples, assessors))
    means += np.arange(samples)[:, None]
    means = means.round() if rounded else means
    sample, assessor = np.indices(means.shape).reshape(2, -1)
    tall = pd.DataFrame({"sample": sample, "assessor": assessor, "score": means.ravel()})
    theirs = pingouin.intraclass_corr(tall, "sample", "assessor", "score")
    theirs[["low", "high"]] = np.vstack(theirs.pop("CI95"))
    ours = intraclass_table(means).set_axis(theirs.columns, axis=1)
    pd.testing.assert_frame_equal(ours, theirs, rtol=1e-9)


def test_limits_of_the_intraclass_correlation_are_those_of_pingouin():
    rng = np.random.default_rng(3)
    ballots = frame(np.array([2, 3, 5, 6, 8])[:, None] + rng.normal(0, 0.7, (6, 5, 2)))
    card = panel_scorecard(ballots)
    limits = card.intraclass("sour").set_index("Type")
    whole = card.attributes.iloc[0]
    assert limits.loc["ICC(A,1)", "ICC"] == pytest.approx(whole["icc"], rel=1e-8)
    low, high = limits.loc["ICC(A,1)", "CI95"]
    assert low < whole["icc"] < high
    with pytest.raises(ArgumentError, match="one of sour; got sweet"):
        card.intraclass("sweet")
    gaps = panel_scorecard(ballots.iloc[2:])
    with pytest.raises(ArgumentError, match="did not score every sample"):
        gaps.intraclass("sour")


@pytest.mark.parametrize("shuffled", [False, True])
def test_means_are_those_of_pandas_groups_to_the_last_bit(shuffled):
    """By pandas: groups of three names and the median of a frame, gaps and categories included."""
    rows = several(count=3).sample(frac=0.9, random_state=4)
    if not shuffled:
        rows = rows.sort_index()
    rows["sample"] = pd.Categorical(rows["sample"], sorted(rows["sample"].unique(), reverse=True))
    found = panel_scorecard(rows)
    names = ["attribute", "assessor", "sample"]
    cell = found.scores.rows.groupby(names, sort=False, observed=True, as_index=False)
    expected = cell.agg(estimate=("score", "mean"), scores=("score", "size"))
    pd.testing.assert_frame_equal(found.means, expected, check_exact=True, check_categorical=False)
    judged = found.assessors[found.assessors["judged"]]
    middle = judged.pivot(index="assessor", columns="attribute", values="slope").median(axis=1)
    assert found.panel["slope"].tolist() == middle[found.panel["assessor"]].tolist()
