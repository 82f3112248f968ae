"""Planning of profiles: against a plain search and against simulated panels."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi, chi2, norm, studentized_range, t

from sensory.base.errors import ArgumentError
from sensory.ratings.profile import profile
from sensory.ratings.profile_plan import profile_plan

from ..calibration.test_plan_scatter import shares as scored
from .shared import tidy

SCATTER = {"sweet": (0.5, 0.9), "sour": (0.8, 0.9), "body": (0.0, 0.7)}


def owen(margin, sd, df, beta, shift=0.0):
    """Chance that both tests reject, over the estimated scatter, by scipy's quadrature."""
    most = margin / (t.isf(beta, df) * sd)

    def given(ratio):
        room = (1 - ratio / most) * margin
        both = norm.cdf((room - shift) / sd) - norm.cdf((-room - shift) / sd)
        return both * chi.pdf(ratio * np.sqrt(df), df) * np.sqrt(df)

    return quad(given, 0, min(most, 6), epsabs=1e-12, limit=300)[0]


def planned(people, replicates, margin, attributes, samples, shift=0.0, beta=0.05):
    missed = 0.0
    for name in attributes:
        interaction, error = SCATTER[name]
        sd = np.sqrt(2 * (interaction**2 + error**2 / replicates) / people)
        missed += 1 - owen(margin, sd, people - 1, beta, shift)
    return 1 - (samples - 1) * missed


@pytest.mark.parametrize(
    ("attributes", "samples", "replicates", "shift"),
    [(("sweet",), 2, 1, 0.0), (("sweet", "sour", "body"), 3, 2, 0.0), (("sour",), 2, 3, 0.3)],
)
def test_size_is_the_first_of_a_plain_search(attributes, samples, replicates, shift):
    plan = profile_plan(
        SCATTER,
        margins=dict.fromkeys(attributes, 1.0),
        samples=samples,
        replicates=replicates,
        difference=shift,
    )
    size = plan.assessors
    reached = [planned(n, replicates, 1.0, attributes, samples, shift) for n in (size - 1, size)]
    assert reached[0] < 0.90 <= reached[1]
    assert plan.together(size) == pytest.approx(reached[1], abs=1e-8)
    earlier = [plan.together(n) for n in range(2, size + 20)]
    assert (np.diff(earlier) >= 0).all()  # so that halving finds the first


def test_planned_chance_is_that_of_simulated_profiles():
    plan = profile_plan({"sweet": (0.5, 0.9)}, margins=1.0, samples=2, replicates=2)
    rng, people, sessions = np.random.default_rng(13), 12, 400
    names = [f"session {each}" for each in range(sessions)]  # an attribute each: fitted at once
    scores = rng.normal(0, 1.0, (people, 1, 1, sessions))  # assessors: drops out
    scores = scores + rng.normal(0, 0.5, (people, 2, 1, sessions))
    scores = scores + rng.normal(0, 0.9, (people, 2, 2, sessions))
    result = profile(tidy(scores, attributes=names), reference="S00", margins=1.0)
    share = result.equivalence["equivalent"].mean()
    ours = plan.chances(people)["sweet"]
    assert 0.6 < ours < 0.95
    assert share == pytest.approx(ours, abs=4 * np.sqrt(ours * (1 - ours) / sessions))


def test_with_more_samples_a_panel_is_never_far_below_its_plan():
    ours = profile_plan({"sweet": (0.5, 0.9)}, margins=1.0, replicates=2).chances(12)["sweet"]
    rng, sessions = np.random.default_rng(4), 600
    scores = rng.normal(0, 1.0, (12, 1, 1, sessions)) + rng.normal(0, 0.5, (12, 4, 1, sessions))
    scores = scores + rng.normal(0, 0.9, (12, 4, 2, sessions))
    names = [f"session {each}" for each in range(sessions)]
    result = profile(tidy(scores, attributes=names), reference="S00", margins=1.0).equivalence
    by_session = result.groupby("attribute")["equivalent"].mean()
    error = by_session.std() / np.sqrt(sessions)
    assert ours - 0.02 - 3 * error < by_session.mean() < ours + 0.10


def test_scatter_is_learned_from_an_earlier_profile():
    rng = np.random.default_rng(5)
    scores = rng.normal(0, 1, (40, 1, 1, 2)) + rng.normal(0, 0.6, (40, 4, 1, 2))
    scores = scores + rng.normal(0, 0.9, (40, 4, 2, 2))
    earlier = profile(tidy(scores, attributes=["sweet", "sour"]))
    plan = profile_plan(earlier, margins={"Sweet ": 1.0})
    assert list(plan.scatter) == ["sweet"]
    interaction, error = plan.scatter["sweet"]
    # expected mean squares by hand: error within cells, interaction of the doubly centred means
    sweet = scores[..., 0]
    means = sweet.mean(2)
    within = sweet.var(2, ddof=1).mean()
    both = means - means.mean(0) - means.mean(1, keepdims=True) + means.mean()
    assert error == pytest.approx(np.sqrt(within), rel=1e-9)
    between = (both**2).sum() / (39 * 3) - within / 2
    assert interaction == pytest.approx(np.sqrt(between), rel=1e-9)
    parts = earlier.components.set_index(["attribute", "source"])["sd"]
    assert interaction == parts["sweet", "assessor x sample"]
    assert error == parts["sweet", "error"]
    assert plan.notes == ()


def test_one_score_a_sample_promises_nothing_of_replicates():
    scores = np.random.default_rng(6).normal(0, 1, (12, 3, 1, 1))
    plan = profile_plan(profile(tidy(scores, attributes=["sweet"])), margins=1.5)
    assert plan.scatter["sweet"][1] == 0.0
    assert "more replicates promise nothing" in plan.notes[0]
    assert len({row[1] for row in plan.by_replicates().rows}) == 1


def test_table_has_sizes_of_each_attribute_and_least_differences():
    plan = profile_plan(SCATTER, margins=1.0, samples=3, replicates=2)
    rows = {row["attribute"]: row for row in plan.summary().records()}
    for name, row in rows.items():
        alone = profile_plan(SCATTER, margins={name: 1.0}, replicates=2).assessors
        assert row["alone"] == alone <= plan.assessors
        interaction, error = SCATTER[name]
        sd = np.sqrt(2 * (interaction**2 + error**2 / 2) / plan.assessors)
        range_ = studentized_range.isf(0.05, 3, plan.assessors - 1) / np.sqrt(2)
        assert row["tukey"] == pytest.approx(range_ * sd, rel=1e-5)
        assert t.isf(0.025, plan.assessors - 1) * sd < row["dunnett"] < row["tukey"]
    fewer = [row[1] for row in plan.by_replicates().rows]
    assert fewer[1] == plan.assessors
    assert fewer == sorted(fewer, reverse=True)


def test_least_differences_stand_beside_the_means():
    rng = np.random.default_rng(8)
    result = profile(tidy(rng.normal(0, 1, (9, 4, 2, 2)), attributes=["a", "b"]), reference="S00")
    least = result.least_differences.set_index("attribute")
    for name in ("a", "b"):
        pairs = result.pairs[result.pairs["attribute"] == name]
        whole = studentized_range.isf(0.05, 4, pairs["df"]) / np.sqrt(2) * pairs["se"]
        assert least.loc[name, "tukey"] == pytest.approx(whole.max(), rel=1e-5)
        beside = result.against_reference[result.against_reference["attribute"] == name]
        # Dunnett lies between a single t and Tukey
        assert (t.isf(0.025, beside["df"]) * beside["se"]).max() < least.loc[name, "dunnett"]
        assert least.loc[name, "dunnett"] < least.loc[name, "tukey"]
    for compared, column in ((result.pairs, "tukey"), (result.against_reference, "dunnett")):
        enough = compared["estimate"].abs() >= compared["attribute"].map(least[column])
        assert (compared["p_adjusted"][enough] <= 0.05).all()
    without = profile(tidy(rng.normal(0, 1, (5, 3, 2)), "a")).least_differences
    assert np.isnan(without["dunnett"]).all()


def learned(assessors=9, replicates=2, missing=0.0, **given):
    rng = np.random.default_rng(11)
    scores = rng.normal(0, 0.8, (assessors, 4, 1, 1))
    scores = scores + rng.normal(0, 0.9, (assessors, 4, replicates, 1))
    scores[rng.random(scores.shape) < missing] = np.nan
    return profile(tidy(scores, attributes=["sweet"]).dropna(), **given)


@pytest.mark.parametrize("method", ["mean squares", "reml"])
def test_the_upper_limit_of_the_scatter_by_chi_square(method):
    """A mean square times its freedom over chi-square; by hand, from the table of variance."""
    earlier = learned(method=method)
    plan = profile_plan(earlier, margins=1.5, replicates=2, level=0.9)
    table = earlier.anova.set_index("source")
    ms = 2 * plan.scatter["sweet"][0] ** 2 + plan.scatter["sweet"][1] ** 2
    df = table.loc["sample", "df_error"]
    if method == "mean squares":
        assert ms == pytest.approx(table.loc["assessor x sample", "ms"], rel=1e-9)
        assert plan.freedom["sweet"] == (2, 24, 36)
    variance = ms / 2 * df / chi2.ppf(0.1, df)  # of a cell mean
    chances = [owen(1.5, np.sqrt(2 * variance / n), n - 1, 0.05) for n in range(5, 60)]
    size = 5 + int(np.argmax(np.array(chances) >= 0.90))
    assert plan.assessors < plan.assessors_upper == size
    assert plan.together(size, upper=True) == pytest.approx(chances[size - 5], abs=1e-8)
    low, high = (profile_plan(earlier, margins=1.5, level=level) for level in (0.6, 0.95))
    assert low.assessors == high.assessors
    assert low.assessors_upper < high.assessors_upper


def test_one_score_a_sample_and_gaps_have_an_upper_limit_too():
    assert profile_plan(learned(replicates=1), margins=2.0).freedom["sweet"] == (1, 24, None)
    earlier = learned(missing=0.1)
    table = earlier.anova.set_index("source")
    counts = earlier.scores.grid().scores
    each, df, df_error = profile_plan(earlier, margins=2.0).freedom["sweet"]
    assert (df, df_error) == (table.loc["assessor x sample", "df"], table.loc["error", "df"])
    assert each == pytest.approx(np.isfinite(counts).sum() / (df + 9 + 4 - 1))


def test_both_sizes_are_said_with_what_they_stand_on():
    plan = profile_plan(learned(), margins=1.5, replicates=2)
    assert plan.says(16) == (
        f"{plan.assessors} assessors show 1 attribute within the margins with a chance of at least "
        "90 % if nothing changed, by the scatter as estimated; you have 16: "
        f"{100 * plan.together(16):.0f} %. By its upper limit (80 %) it takes "
        f"{plan.assessors_upper}; 16: {100 * plan.together(16, upper=True):.0f} %."
    )
    known = profile_plan({"sweet": (0.5, 0.9)}, margins=1.0)
    assert known.assessors_upper is None
    assert "limit" not in known.says(16)


def test_plans_by_the_upper_limit_keep_their_chance_in_four_of_five():
    """Simulated mean squares of 8 assessors, 4 samples, 2 scores; the estimate does in half."""
    shares = [
        scored(8, 4, 0.6, replicates, 0.80, np.random.default_rng(3), 4000)
        for replicates in (1, 2, 4)
    ]
    for by_estimate, by_limit in shares:
        assert by_estimate < 0.55
        assert by_limit >= 0.78


@pytest.mark.parametrize(
    ("changed", "match"),
    [
        ({"margins": 0.0}, "margins must be above 0; got 0 for sweet"),
        ({"margins": {}}, "margins must hold at least one attribute"),
        ({"margins": {"salt": 1.0}}, "attributes with a known scatter, sweet.*got salt"),
        ({"margins": -1.0}, "margins must"),
        ({"margins": 0.01}, "more than 2,000 assessors"),
        ({"difference": 1.0}, "difference must lie within the margins; got 1 for sweet"),
        ({"beta": 0.5}, "beta must be below 0.5"),
        ({"chance": 1.0}, "chance must"),
        ({"level": 0.4}, "level must be at least 0.5; got 0.4"),
        ({"samples": 1}, "samples must"),
        ({"replicates": 0}, "replicates must"),
        ({"earlier": {}}, "earlier must be a profile"),
        ({"earlier": {"sweet": (0.0, 0.0)}}, "sweet must have a scatter above 0"),
        ({"earlier": {"sweet": (0.5,)}}, "sweet must have two standard deviations"),
        ({"earlier": {"sweet": (-0.5, 1.0)}}, "sweet must"),
        ({"earlier": {"sweet": (float("nan"), 1.0)}}, "sweet must"),
    ],
)
def test_what_cannot_be_planned_is_refused(changed, match):
    given = {"earlier": {"sweet": (0.5, 0.9)}, "margins": 1.0} | changed
    with pytest.raises(ArgumentError, match=match):
        profile_plan(given.pop("earlier"), **given)
