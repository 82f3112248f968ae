"""Who scored the other way round: the test by a second route, its level, and what it changes."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from sensory.catalogue.rated_read import read_profile
from sensory.models.multiplicity import holm
from sensory.ratings.performance import cells, interaction_shares
from sensory.ratings.profile import profile
from sensory.ratings.reversal import left_out_says
from sensory.ratings.scorecard import panel_scorecard
from sensory.ratings.tables import rating_table
from sensory.sessions.outcomes import check_ballots
from sensory.sessions.workflow import read_prepared

from .shared import tidy

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="module")
def pressing():
    prepared = read_prepared(DEMO, "pressing")
    rows = check_ballots(prepared["cells"], prepared["question"]).rows
    return prepared["question"], pd.DataFrame(list(rows))


@pytest.fixture(scope="module")
def result(pressing):
    return profile(pressing[1], reference="reference", scale=(0, 10))


def panel(turned=(), assessors=8, levels=(3, 5, 7), replicates=2, noise=0.6, seed=4):
    rng = np.random.default_rng(seed)
    scores = np.tile(np.array(levels, float)[None, :, None], (assessors, 1, replicates))
    for person in turned:
        scores[person] = 10 - scores[person]
    return tidy(scores + rng.normal(0, noise, scores.shape), "sour")


def test_the_demo_names_the_reversal_and_not_a_want_of_discrimination(pressing, result):
    """The demo turns one scale round on purpose (demo_data/make_other_demo.py)."""
    row = result.reversals.iloc[0]
    assert len(result.reversals) == 1
    assert (row["assessor"], row["attribute"]) == ("P04", "sour")
    assert (round(row["r"], 2), round(row["slope"], 2)) == (-0.81, -0.96)
    assert row["p_holm"] < 0.05
    card = panel_scorecard(pressing[1])
    flags = card.flags.query("assessor == 'P04'")
    assert list(flags["flag"]) == ["reversed"]
    assert card.says()[0].startswith("P04 scored sour the other way round (correlation with the")
    assert not any("does not" in line for line in card.says())
    assert any("P10 was not shown to discriminate on cooked (own p 0.56)" in line
               for line in card.says())  # fmt: skip


def test_what_leaving_out_would_do_in_the_demo(pressing, result):
    """Second route: the profile of the others alone, its p put among those of everybody."""
    table = result.left_out.set_index(["left_out", "sample"])
    others = profile(pressing[1].query("assessor != 'P04'"), reference="reference")
    alone = others.against_reference.query("attribute == 'sour'").set_index("sample")
    everybody = result.against_reference
    for sample, estimate, estimate_without in (
        ("new press", -0.93, -0.97),
        ("old press, warm", 0.985, 1.39),
    ):
        whole, rest = table.loc[("nobody", sample)], table.loc[("P04", sample)]
        assert whole["estimate"] == pytest.approx(estimate, abs=0.005)
        assert rest["estimate"] == pytest.approx(estimate_without, abs=0.005)
        for column in ("estimate", "se", "df", "p", "p_adjusted", "low", "high"):
            assert rest[column] == pytest.approx(alone.loc[sample, column], rel=1e-6)
        mine = everybody[everybody["sample"] == sample].set_index("attribute")["p_adjusted"]
        mine["sour"] = rest["p_adjusted"]
        assert rest["p_holm"] == pytest.approx(
            holm(mine.to_numpy())[list(mine.index).index("sour")]
        )
        assert whole["p_holm"] > 0.3
    assert table.loc[("P04", "new press"), "p_holm"] == pytest.approx(0.0096, abs=0.00005)
    assert table.loc[("P04", "old press, warm"), "p_holm"] == pytest.approx(0.0034, abs=0.00005)


def test_the_outcome_names_it_first_and_counts_everybody(pressing):
    question, frame = pressing
    outcome = read_profile(frame.to_dict("records"), question)
    first, second = outcome.panel_says[:2]
    assert first.startswith("P04 scored sour the other way round")
    assert second == (
        "With everybody, the difference from reference in sour is -0.93 for new press, p 0.33; "
        "+0.99 for old press, warm, p 0.64 (p by Dunnett and Holm). If the sour of P04 is left "
        "out: -0.97 for new press, p 0.0096; +1.39 for old press, warm, p 0.0034. The finding "
        "counts everybody."
    )
    assert outcome.because.endswith(
        "P04 scored sour the other way round. The section on the panel shows what this changes."
    )
    assert outcome.counts.assessors == 10
    whole = {each.attribute: each.estimate for each in outcome.comparisons
             if each.sample == "new press"}  # fmt: skip
    assert whole["sour"] == pytest.approx(-0.93)


def test_the_picture_holds_the_means_that_were_scored(pressing):
    question, frame = pressing
    lines = read_profile(frame.to_dict("records"), question).panel_lines
    assert list(dict.fromkeys(line.attribute for line in lines)) == [
        "sweet",
        "sour",
        "raspberry",
        "cooked",
        "bitter",
        "body",
    ]
    means = frame.groupby(["attribute", "assessor", "sample"])["score"].mean()
    for line in lines:
        for sample, mean in line.means.items():
            assert mean == pytest.approx(means[line.attribute, line.assessor, sample])
    assert [(line.assessor, line.attribute) for line in lines if line.turned] == [("P04", "sour")]
    causes = {(line.attribute, line.assessor) for line in lines if line.causes}
    assert {pair for pair in causes if pair[0] == "sour"} == {("sour", "P04")}


@pytest.mark.parametrize("drop", [[], [0, 7, 30]])
def test_the_p_is_that_of_a_contrast_in_a_linear_model(drop):
    """Second route: least squares on the cells of assessor and sample, by statsmodels."""
    ballots = panel(turned=(2,), noise=1.2).drop(index=drop)
    ballots["cell"] = ballots["assessor"] + ballots["sample"]
    fit = smf.ols("score ~ 0 + cell", ballots).fit()
    means = ballots.groupby(["assessor", "sample"])["score"].mean().unstack()
    rows = panel_scorecard(ballots).assessors.set_index("assessor")
    within = ballots.groupby("assessor")[["score", "sample"]].apply(
        lambda own: (own["score"] - own.groupby("sample")["score"].transform("mean")).var(ddof=0)
        * len(own) / (len(own) - own["sample"].nunique())
    )  # fmt: skip
    for assessor in means.index:
        others = means.drop(index=assessor).mean()
        weights = others - others.mean()
        contrast = np.array([
            weights[name[-4:-1]] if name[5:8] == assessor else 0.0 for name in fit.params.index
        ])  # fmt: skip
        tested = fit.t_test(contrast)
        own = max(1.0, within[assessor] / fit.scale)  # the larger scatter counts
        expected = stats.t.cdf(tested.tvalue.item() / np.sqrt(own), fit.df_resid)
        assert rows.loc[assessor, "reversed_p"] == pytest.approx(expected, rel=1e-6)


def test_holm_is_over_assessors_and_judged_attributes():
    both = pd.concat([panel((1,)), panel(seed=5, levels=(5, 5, 5)).assign(attribute="flat")])
    rows = panel_scorecard(both).assessors
    judged = rows[rows["judged"]]
    assert set(judged["attribute"]) == {"sour"}
    assert judged["reversed_p_holm"].to_numpy() == pytest.approx(holm(judged["reversed_p"]))
    assert rows.loc[~rows["judged"], "reversed_p_holm"].isna().all()


def test_several_are_left_out_together_and_gaps_take_the_other_road():
    ballots = panel(turned=(1, 6), assessors=9).drop(index=[0, 20])
    result = profile(ballots, reference="S00")
    assert list(result.reversals["assessor"]) == ["A01", "A06"]
    rest = profile(ballots.query("assessor not in ['A01', 'A06']"), reference="S00")
    without = result.left_out.query("left_out == 'A01 and A06'")
    expected = rest.against_reference["estimate"].to_numpy()
    assert without["estimate"].to_numpy() == pytest.approx(expected, rel=1e-6)
    assert "If the sour of A01 and A06 is left out" in result.says()[2]
    assert result.says()[2] in result._repr_html_().replace("&lt;", "<")


def test_a_sample_that_only_the_reversed_scored_cannot_be_compared_without_them():
    ballots = panel(turned=(1,), assessors=9, levels=(2, 4, 6, 8), noise=0.3)
    alone = ballots[(ballots["sample"] != "S03") | (ballots["assessor"] == "A01")]
    result = profile(alone, reference="S00")
    assert list(result.reversals["assessor"]) == ["A01"]
    assert set(result.left_out["left_out"]) == {"nobody"}
    assert result.left_out_says()[0].endswith("Without the reversed scores it cannot be tested.")


def test_nobody_is_reversed_and_nothing_is_said():
    result = profile(panel(), reference="S00")
    assert result.reversals.empty
    assert result.left_out is None
    assert result.left_out_says() == ()
    assert list(result.reversals.columns) == [
        "assessor",
        "attribute",
        "r",
        "slope",
        "p",
        "p_holm",
        "says",
    ]


def test_what_cannot_be_tested_without_the_reversed_is_said(result):
    alone = result.left_out.query("left_out == 'nobody'")
    (line,) = left_out_says(alone)
    assert line.endswith("Without the reversed scores it cannot be tested.")


def test_without_replicates_the_correlation_is_tested():
    ballots = panel(turned=(3,), replicates=1, levels=range(1, 10), noise=0.4)
    rows = panel_scorecard(ballots).assessors
    own = ballots.pivot(index="sample", columns="assessor", values="score")
    for row in rows.to_dict("records"):
        mine, others = own[row["assessor"]], own.drop(columns=row["assessor"]).mean(axis=1)
        expected = stats.linregress(others, mine, alternative="less").pvalue
        assert row["reversed_p"] == pytest.approx(expected, rel=1e-6)
    assert list(profile(ballots).reversals["assessor"]) == ["A03"]


def test_shares_of_the_interaction_by_two_routes():
    """Complete cells by hand; gaps by least squares of statsmodels."""
    table = panel(turned=(2,), noise=0.9)
    means = table.groupby(["assessor", "sample"])["score"].mean().unstack()
    left = means.sub(means.mean(axis=1), axis=0).sub(means.mean(), axis=1) + means.to_numpy().mean()
    square = (left**2).sum(axis=1)
    found = interaction_shares(cells(rating_table(table)))[:, 0]
    assert found == pytest.approx((square / square.sum()).to_numpy())
    gaps = table[~((table["assessor"] == "A04") & (table["sample"] == "S01"))]
    cell = gaps.groupby(["assessor", "sample"], as_index=False)["score"].mean()
    rest = smf.ols("score ~ assessor + sample", cell).fit().resid
    square = (rest**2).groupby(cell["assessor"]).sum()
    found = interaction_shares(cells(rating_table(gaps)))[:, 0]
    assert found == pytest.approx((square / square.sum()).to_numpy(), rel=1e-6)
    assert found.sum() == pytest.approx(1)


def test_the_panel_s_disagreement_is_said_with_its_cause():
    card = panel_scorecard(panel(turned=(2,)))
    (line,) = [line for line in card.says() if line.startswith("Assessors disagreed on sour")]
    share = card.assessors.set_index("assessor")["interaction_share"]["A02"]
    assert f"A02 accounts for {100 * share:.0f} % of it (an even share is 12 %)." in line
    assert card.causes("sour") == ("A02",)
    agreed = panel_scorecard(panel())
    assert agreed.causes("sour") == ()
    assert any("No disagreement between assessors was shown on 1 attribute" in line
               for line in agreed.says())  # fmt: skip


def test_disagreement_that_is_spread_has_no_culprit():
    rng = np.random.default_rng(8)
    scores = 5 + np.array([-2.0, 0, 2])[None, :, None] + rng.normal(0, 1, (12, 3, 1))
    card = panel_scorecard(tidy(scores + rng.normal(0, 0.2, (12, 3, 3)), "sour"))
    shares = card.assessors["interaction_share"]
    (line,) = [line for line in card.says() if line.startswith("Assessors disagreed on sour")]
    named = [name for name in card.assessors["assessor"] if name in line]
    assert set(card.causes("sour")) == set(named) or "spread over the panel" in line
    assert (shares[shares >= 2 / 12].size == 0) == ("spread over the panel" in line)


def test_one_who_perceives_nothing_is_seldom_called_reversed():
    """400 attributes at once, so that the adjustment is over as many: none of them is raised.

    Rates one session at a time: tests/calibration/test_reversal.py.
    """
    rng = np.random.default_rng(11)
    scores = np.array([3.0, 5, 7])[None, :, None, None] + rng.normal(0, 0.6, (8, 3, 2, 400))
    scores[5] = 5 + rng.normal(0, 0.6, (3, 2, 400))
    ballots = tidy(scores, attributes=[f"k{k}" for k in range(400)])
    flags = panel_scorecard(ballots).flags
    assert not (flags["flag"] == "reversed").any()
    assert (flags.query("assessor == 'A05'")["flag"] == "discrimination").sum() > 300
