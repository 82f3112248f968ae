"""Difference from control: paired t, multivariate t, simulated risks, and what is refused."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.ratings.control import difference_from_control

from .shared import tidy

BATCHES = ("blind", "batch 1", "batch 2", "batch 3")


def frame(scores, samples=BATCHES, attribute=None):
    return tidy(scores, attribute, samples)


def compared(scores, limit=1.0, **options):
    """The result for scores in an array or in tidy ballots."""
    ballots = frame(scores) if isinstance(scores, np.ndarray) else scores
    return difference_from_control(ballots, **({"control": "blind", "limit": limit} | options))


def session(shifts=(0.0, 0.2, 1.0, 3.0), assessors=9, replicates=2, seed=11, placebo=1.5):
    rng = np.random.default_rng(seed)
    mean = placebo + np.array(shifts)[None, :, None]
    person = rng.normal(0, 0.8, (assessors, 1, 1))
    both = rng.normal(0, 0.5, (assessors, len(shifts), 1))
    return mean + person + both + rng.normal(0, 0.6, (assessors, len(shifts), replicates))


@pytest.mark.parametrize("replicates", [1, 3])
def test_one_batch_is_the_paired_t_test_on_means(replicates):
    scores = session((0.0, 0.6), replicates=replicates)
    result = compared(scores, beta=0.1)
    row = result.against_control.iloc[0]
    blind, batch = scores.mean(2).T
    paired = stats.ttest_rel(batch, blind, alternative="greater")
    assert row["statistic"] == pytest.approx(paired.statistic, rel=1e-10)
    assert (row["df"], row["p"]) == pytest.approx((8, paired.pvalue), rel=1e-10)
    assert row["p_adjusted"] == pytest.approx(paired.pvalue, rel=1e-6)
    both = paired.confidence_interval(0.90)  # one-sided
    two = stats.ttest_rel(batch, blind).confidence_interval(0.95)
    less = stats.ttest_rel(batch, blind, alternative="less").confidence_interval(0.90)
    assert (row["low"], row["high"]) == pytest.approx((two.low, two.high), rel=1e-10)
    assert row["upper"] == pytest.approx(less.high, rel=1e-10)
    assert both.low < row["estimate"] < row["upper"]
    at_alpha = paired.confidence_interval(0.95)
    assert row["lower"] == pytest.approx(at_alpha.low, rel=1e-6)


def test_several_batches_are_one_sided_dunnett_on_the_interaction():
    scores = session()
    result = compared(scores)
    rows = result.against_control
    cells = scores.mean(2)
    left = cells - cells.mean(0) - cells.mean(1, keepdims=True) + cells.mean()
    df = 8 * 3
    se = np.sqrt(2 * (left**2).sum() / df / 9)
    t = (cells[:, 1:].mean(0) - cells[:, 0].mean()) / se
    assert rows["statistic"].to_numpy() == pytest.approx(t, rel=1e-10)
    assert rows["df"].to_numpy() == pytest.approx([df] * 3)
    half = np.full((3, 3), 0.5) + np.eye(3) / 2
    joint = stats.multivariate_t(shape=half, df=df, seed=1)
    expected = [1 - joint.cdf(np.full(3, each)) for each in t[:2]]
    assert rows["p_adjusted"].to_numpy()[:2] == pytest.approx(expected, abs=2e-4)
    critical = (rows["estimate"] - rows["lower"]) / rows["se"]
    assert critical.to_numpy() == pytest.approx([critical[0]] * 3)
    assert 1 - joint.cdf(np.full(3, critical[0])) == pytest.approx(0.05, abs=2e-4)


@pytest.mark.parametrize(
    ("assessors", "batches", "printed"),
    [(6, 2, 2.15), (6, 3, 2.24), (6, 4, 2.30), (11, 2, 2.03), (11, 3, 2.15), (13, 5, 2.28)],
)
def test_critical_values_of_the_printed_table(assessors, batches, printed):
    """One-sided, 5 %: Ott and Longnecker, Table 11 (from Dunnett 1955), printed to 0.01."""
    scores = session((0.0, *[0.5] * batches), assessors=assessors)
    names = ["blind", *range(batches)]
    ballots = frame(scores, samples=[str(name) for name in names])
    rows = compared(ballots).against_control
    critical = (rows["estimate"] - rows["lower"]) / rows["se"]
    assert critical.to_numpy() == pytest.approx([printed] * batches, abs=0.006)


def test_placebo_is_the_mean_of_the_blind_control_with_its_own_scatter():
    scores = session(replicates=1)
    result = compared(scores, level=0.9)
    cells, (assessors, samples) = scores[:, :, 0], scores.shape[:2]
    person = cells.mean(1) - cells.mean()
    left = cells - cells.mean(0) - cells.mean(1, keepdims=True) + cells.mean()
    ms_person = samples * (person**2).sum() / (assessors - 1)
    ms_error = (left**2).sum() / (assessors - 1) / (samples - 1)
    row = result.placebo.iloc[0]
    assert len(result.placebo) == 1
    assert row["estimate"] == pytest.approx(cells[:, 0].mean())
    variance = (ms_person + (samples - 1) * ms_error) / assessors / samples
    assert row["se"] == pytest.approx(np.sqrt(variance))
    half = stats.t.ppf(0.95, row["df"]) * row["se"]
    assert (row["low"], row["high"]) == pytest.approx(
        (row["estimate"] - half, row["estimate"] + half)
    )
    assert list(result.means["sample"]) == ["batch 1", "batch 2", "batch 3", "blind"]


@pytest.mark.parametrize(
    ("shift", "noise", "limit", "finding"),
    [
        (0.1, 0.3, 1.0, Finding.SIMILAR),
        (0.7, 0.3, 1.5, Finding.DIFFERENT_WITHIN_LIMIT),
        (1.6, 0.3, 1.5, Finding.DIFFERENT),
        (2.0, 0.3, 1.5, Finding.BEYOND_LIMIT),
        (0.4, 2.0, 1.0, Finding.UNDECIDED),
    ],
)
def test_five_findings(shift, noise, limit, finding):
    """Scores that lie exactly `shift` above, with scatter of known size."""
    scatter = noise * np.array([-1.0, 1, -1, 1, -1, 1, 0, 0])
    scores = np.stack([np.full(8, 1.0), 1 + shift + scatter], 1)[:, :, None]
    result = compared(scores, limit)
    row = result.against_control.iloc[0]
    assert row["estimate"] == pytest.approx(shift)
    assert row["finding"] == finding
    assert (row["lower"] > 0) == (row["p_adjusted"] <= 0.05)
    # one batch: the simultaneous lower limit is that of the paired t-test against the limit
    p_beyond = stats.ttest_1samp(shift + scatter, limit, alternative="greater").pvalue
    assert (row["lower"] > limit) == (p_beyond < 0.05) == (finding is Finding.BEYOND_LIMIT)
    assert str(result.summary().rows[0][-1]) == finding.sentence
    assert finding.value in repr(result)


def test_beyond_the_limit_needs_the_own_differences_as_well():
    """A quiet neighbour lends no certainty to a batch that scatters much.

    By the pooled scatter the lower limit of the first batch lies above the limit of 1; by its
    own differences (scipy's t-test) it does not.
    """
    pattern = np.array([-1.0, 1, -1, 1, -1, 1, 0, 0])
    loud, quiet = 2.1 + 1.9 * pattern, 0.1 + 0.1 * pattern[::-1]
    scores = np.stack([np.full(8, 1.0), 1 + loud, 1 + quiet], 1)[:, :, None]
    row = compared(scores, 1.0).against_control.iloc[0]
    assert row["lower"] > 1.0
    assert stats.ttest_1samp(loud, 1.0, alternative="greater").pvalue > 0.05
    assert row["finding"] == Finding.DIFFERENT


def test_raising_all_scores_of_an_assessor_changes_no_finding():
    """A placebo effect of one's own is taken off within each assessor."""
    scores = session()
    plain = compared(scores).against_control
    shifted = scores + np.linspace(0, 4, 9)[:, None, None]
    moved = compared(shifted).against_control
    pd.testing.assert_frame_equal(plain, moved, rtol=1e-8)


def test_order_of_rows_and_units_do_not_matter():
    ballots = frame(session())
    plain = compared(ballots).against_control
    mixed = compared(ballots.sample(frac=1, random_state=3)).against_control
    pd.testing.assert_frame_equal(plain, mixed, rtol=1e-8)
    wide = ballots.assign(score=10 * ballots["score"])
    ten = compared(wide, 10.0).against_control
    assert ten["upper"].to_numpy() == pytest.approx(10 * plain["upper"].to_numpy())
    assert ten["p_adjusted"].to_numpy() == pytest.approx(plain["p_adjusted"].to_numpy())
    assert list(ten["finding"]) == list(plain["finding"])


def test_each_attribute_as_if_alone():
    one, two = session(seed=1), session(seed=2)
    both = pd.concat([frame(one, attribute="overall"), frame(two, attribute="sour")])
    result = compared(both, {"overall": 1.0, "sour": 2.0})
    for name, scores, limit in (("overall", one, 1.0), ("sour", two, 2.0)):
        alone = compared(scores, limit)
        rows = result.against_control
        rows = rows[rows["attribute"] == name].reset_index(drop=True)
        columns = rows.columns.drop("attribute")
        pd.testing.assert_frame_equal(rows[columns], alone.against_control[columns], rtol=1e-6)
    assert result.summary().columns[0] == "attribute"


def test_missing_scores_take_least_squares_of_the_cell_means():
    """Estimates and standard errors against dense matrices, assessors as columns."""
    ballots = frame(session(), attribute="overall")
    ballots.loc[[0, 1, 10, 25, 40, 41], "score"] = np.nan  # A00 has no blind control
    result = compared(ballots)
    cells = ballots.dropna().groupby(["assessor", "sample"], as_index=False)["score"].mean()
    samples = pd.get_dummies(cells["sample"])[["batch 1", "batch 2", "batch 3"]]
    x = np.column_stack([samples, pd.get_dummies(cells["assessor"])]).astype(float)
    estimate, left, _, _ = np.linalg.lstsq(x, cells["score"].to_numpy(), rcond=None)
    free = len(cells) - x.shape[1]
    se = np.sqrt(left / free * np.diag(np.linalg.inv(x.T @ x))[:3])
    found = result.against_control
    assert found["estimate"].to_numpy() == pytest.approx(estimate[:3], rel=1e-9)
    assert found["se"].to_numpy() == pytest.approx(se, rel=1e-9)
    assert found["df"].to_numpy() == pytest.approx(free)
    notes = "\n".join(result.notes)
    assert "A00, A05: no score of the blind control for overall; kept for the differences" in notes
    assert "scores are missing or unequal in number" in notes


def many(shift, sessions, assessors, batches, seed):
    """So many sessions as attributes of one table."""
    rng = np.random.default_rng(seed)
    shape = (assessors, batches + 1, 1, sessions)
    scores = 2 + rng.normal(0, 1.0, (assessors, 1, 1, sessions)) + rng.normal(0, 0.8, shape)
    scores[:, 1:] += shift
    names = ["blind", *[f"batch {i}" for i in range(1, batches + 1)]]
    return tidy(scores, samples=names, attributes=[f"session {k}" for k in range(sessions)])


def test_risk_of_any_false_alarm_is_alpha():
    result = compared(many(0.0, 1000, assessors=8, batches=3, seed=5)).against_control
    moved = (result["p_adjusted"] <= 0.05).groupby(result["attribute"]).any()
    assert abs(moved.sum() - 50) < 4 * np.sqrt(1000 * 0.05 * 0.95)


def test_risk_of_passing_a_batch_at_the_limit_is_beta():
    result = compared(many(1.0, 1000, assessors=8, batches=1, seed=6), beta=0.1).against_control
    passed = (result["upper"] < 1.0).sum()
    assert abs(passed - 100) < 4 * np.sqrt(1000 * 0.1 * 0.9)


def test_a_batch_that_scatters_more_is_not_passed_on_the_steadiness_of_the_others():
    """Two good batches beside one at the limit with 2.4 times their scatter."""
    rng = np.random.default_rng(3)
    sessions, sd = 1000, np.array([0.5, 0.5, 0.5, 1.2])
    scores = rng.normal(0, 1, (8, 1, 1, sessions)) + sd[None, :, None, None] * rng.normal(
        size=(8, 4, 1, sessions)
    )
    scores[:, 3] += 1.0
    ballots = pd.concat([frame(scores[..., k], BATCHES, f"session {k}") for k in range(sessions)])
    found = compared(ballots).against_control
    last = found[found["sample"] == "batch 3"]
    by_model = last["estimate"] + stats.t.ppf(0.95, last["df"]) * last["se"]
    assert (by_model < 1.0).mean() > 0.08
    assert abs((last["upper"] < 1.0).sum() - 50) < 4 * np.sqrt(1000 * 0.05 * 0.95)


def test_upper_limit_is_the_larger_of_model_and_own_differences():
    scores = session(replicates=2)
    rows = compared(scores).against_control
    cells = scores.mean(2)
    for place, row in rows.iterrows():
        own = cells[:, place + 1] - cells[:, 0]
        paired = own.mean() + stats.t.ppf(0.95, 8) * own.std(ddof=1) / 3
        model = row["estimate"] + stats.t.ppf(0.95, row["df"]) * row["se"]
        assert row["upper"] == pytest.approx(max(paired, model))


def test_nothing_is_shown_as_similar_by_fewer_than_two_who_scored_both():
    ballots = frame(session(), attribute="overall")
    half = ballots["assessor"].isin(["A00", "A01", "A02", "A03", "A04"])
    left = ballots[
        ~((half & (ballots["sample"] == "blind")) | (~half & (ballots["sample"] == "batch 1")))
    ]
    rows = compared(left, 9.0).against_control
    first = rows[rows["sample"] == "batch 1"].iloc[0]
    assert np.isnan(first["upper"])
    assert first["finding"] in (Finding.UNDECIDED, Finding.DIFFERENT)


def test_assessors_needed_gives_the_chance_that_was_asked_for():
    """Scatter of one session made exact, then new sessions of that size are drawn."""
    sd = 0.8 * np.sqrt(2)
    scatter = np.array([-1.0, 1] * 5)
    difference = scatter * sd / scatter.std(ddof=1)
    scores = np.stack([np.ones(10), 1 + difference], 1)[:, :, None]
    plan = compared(scores)
    needed = int(plan.assessors_needed(0.8)["assessors"].iloc[0])
    rates = []
    for size in (needed, needed - 1):
        result = compared(many(0.0, 1000, assessors=size, batches=1, seed=size)).against_control
        rates.append((result["upper"] < 1.0).mean())
    t = stats.nct(needed - 1, -np.sqrt(needed) / sd).cdf(-stats.t.ppf(0.95, needed - 1))
    fewer = stats.nct(needed - 2, -np.sqrt(needed - 1) / sd).cdf(-stats.t.ppf(0.95, needed - 2))
    assert fewer < 0.8 <= t
    assert rates[0] == pytest.approx(t, abs=0.05)
    far = compared(scores, 1e-3)
    assert far.assessors_needed()["assessors"].isna().all()


def test_a_batch_far_below_the_blind_control_is_no_pass():
    scores = session((0.0, -3.0))
    result = compared(scores)
    row = result.against_control.iloc[0]
    assert row["upper"] < 1.0
    assert row["finding"] == Finding.UNDECIDED
    assert any("batch 1 scores far below" in note for note in result.notes)


def test_tables_are_handed_out_as_copies():
    result = compared(session())
    for handed_out in (result.against_control, result.means, result.placebo):
        handed_out["estimate"] = -9.0
    for again in (result.against_control, result.means, result.placebo):
        assert (again["estimate"] > -9).all()
    assert "<table>" in result._repr_html_()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"control": "plum"}, "control must be one of the samples"),
        ({"limit": 0}, "limit must be one number above 0"),
        ({"limit": -1.0}, "limit must be one number above 0"),
        ({"limit": [1.0, 2.0]}, "limit must be one number above 0"),
        ({"limit": float("nan")}, "limit must lie between"),
        ({"limit": "much"}, "limit must be a number"),
        ({"limit": {"sour": 1.0}}, "limit must be given for every attribute; none for diff"),
        ({"limit": {"difference": 1.0, "sour": 1.0}}, "limit must be for attributes among"),
        ({"alpha": 5}, "For 5 % write 0.05"),
        ({"beta": 0}, "beta must lie strictly between 0 and 1"),
        ({"level": 95}, "For 95 % write 0.95"),
    ],
)
def test_arguments_that_cannot_be_used(change, message):
    with pytest.raises(ArgumentError, match=re.escape(message)):
        compared(session(), **change)


def test_one_assessor_and_one_sample_are_refused():
    with pytest.raises(ArgumentError, match="one assessor only, A00"):
        compared(session()[:1])
    with pytest.raises(ArgumentError, match="one sample only, blind"):
        compared(session()[:, :1])
