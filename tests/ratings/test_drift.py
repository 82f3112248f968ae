"""Drift over sessions: against linregress, planted drifts, and the rate of false alarms."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sensory.base.errors import ArgumentError
from sensory.models.multiplicity import holm
from sensory.ratings.drift import assessor_drift

NAMES = ["Ada", "Bo", "Cy", "Di", "Ed"]


def frame(scores):
    """Scores of shape (sessions, assessors, samples, replicates, attributes)."""
    t, a, s, r, k = (code.ravel() for code in np.indices(scores.shape))
    return pd.DataFrame(
        {
            "session": t + 1,
            "assessor": [NAMES[i] for i in a],
            "sample": [f"S{i}" for i in s],
            "replicate": r + 1,
            "attribute": [f"attribute {i}" for i in k],
            "score": scores.ravel(),
        }
    )


def sessions(count=8, attributes=2, seed=1, assessors=5):
    rng = np.random.default_rng(seed)
    level = np.linspace(2, 8, 4)[None, None, :, None, None]
    person = rng.normal(0, 0.5, (1, assessors, 1, 1, attributes))
    return level + person + rng.normal(0, 0.6, (count, assessors, 4, 2, attributes))


def by_hand(ballots, assessor, attribute):
    """Bias against the median of the others and scatter, session by session, with pandas."""
    here = ballots[ballots["attribute"] == attribute]
    bias, sd = [], []
    for _, rows in here.groupby("session"):
        means = rows.groupby(["assessor", "sample"])["score"].mean().unstack(0)
        bias.append((means[assessor] - means.drop(columns=assessor).median(axis=1)).mean())
        own = rows[rows["assessor"] == assessor].groupby("sample")["score"]
        sd.append(np.sqrt(own.var().mean()))
    return bias, sd


def test_every_session_and_trend_by_hand():
    ballots = frame(sessions())
    result = assessor_drift(ballots)
    trends = result.trends
    assert len(trends) == 2 * 5 * 2
    for (assessor, attribute), rows in result.sessions.groupby(["assessor", "attribute"]):
        bias, sd = by_hand(ballots, assessor, attribute)
        assert rows["bias"].to_numpy() == pytest.approx(bias)
        assert rows["sd"].to_numpy() == pytest.approx(sd)
        own = trends[(trends["assessor"] == assessor) & (trends["attribute"] == attribute)]
        for measure, values in (("bias", bias), ("repeatability", np.log(sd))):
            line = stats.linregress(np.arange(1, 9), values)
            row = own[own["measure"] == measure].iloc[0]
            assert row["estimate"] == pytest.approx(line.slope)
            assert (row["se"], row["df"]) == pytest.approx((line.stderr, 6))
            assert row["p"] == pytest.approx(line.pvalue, rel=1e-7)
    assert trends["p_adjusted"].to_numpy() == pytest.approx(holm(trends["p"].to_numpy()))


def test_one_who_drifts_is_found_and_nobody_else():
    scores = sessions(count=10)
    scores[:, 1, :, :, 0] += 0.4 * np.arange(10)[:, None, None]
    result = assessor_drift(frame(scores))
    said = result.says()
    assert len(said) == 1
    assert re.match(r"Bo drifts upwards in attribute 0, by 0\.\d+ a session against", said[0])
    assert "1 trend" in repr(result)
    assert said[0] in result._repr_html_()


def test_one_who_repeats_worse_and_worse_is_found():
    rng = np.random.default_rng(6)
    scores = sessions(count=12)
    wider = 0.3 * 1.35 ** np.arange(12)[:, None, None]
    scores[:, 3, :, :, 1] = np.linspace(2, 8, 4)[:, None] + wider * rng.normal(size=(12, 4, 2))
    said = assessor_drift(frame(scores)).says()
    chosen = [line for line in said if "repeats" in line]
    assert len(chosen) == 1
    assert chosen[0].startswith("Di repeats attribute 1 worse from session to session, the stand")


def test_risk_of_any_false_alarm():
    """Nobody drifts: at most alpha of the tables name anybody."""
    tables = 120
    wrong = 0
    for seed in range(tables):
        result = assessor_drift(frame(sessions(count=6, attributes=1, seed=seed)))
        wrong += bool((result.trends["p_adjusted"] <= 0.05).any())
    assert wrong <= stats.binom.ppf(0.999, tables, 0.05)


def test_a_drift_of_the_whole_panel_and_other_samples_change_nothing():
    scores = sessions()
    plain = assessor_drift(frame(scores)).trends
    moved = assessor_drift(frame(scores + np.arange(8)[:, None, None, None, None])).trends
    pd.testing.assert_frame_equal(plain, moved, rtol=1e-6, atol=1e-8)
    ballots = frame(scores)
    ballots["sample"] = ballots["sample"] + " of " + ballots["session"].astype(str)
    other = assessor_drift(ballots).trends
    pd.testing.assert_frame_equal(plain, other, rtol=1e-6, atol=1e-8)
    assert assessor_drift(frame(sessions())).says()[0].startswith("No assessor drifts")


def test_sessions_that_were_missed_are_left_out_of_the_line():
    ballots = frame(sessions())
    away = (ballots["assessor"] == "Cy") & ballots["session"].isin([2, 5])
    left = ballots[~away]
    result = assessor_drift(left)
    rows = result.sessions.query("assessor == 'Cy' and attribute == 'attribute 0'")
    assert list(rows["session"]) == [1, 3, 4, 6, 7, 8]
    line = stats.linregress(rows["session"], rows["bias"])
    row = result.trends.query(
        "assessor == 'Cy' and attribute == 'attribute 0' and measure == 'bias'"
    ).iloc[0]
    assert (row["sessions"], row["df"]) == (6, 4)
    assert (row["estimate"], row["p"]) == pytest.approx((line.slope, line.pvalue), rel=1e-7)


def test_without_replicates_only_bias_is_tested():
    ballots = frame(sessions()[:, :, :, :1])
    trends = assessor_drift(ballots).trends
    tested = trends[trends["p"].notna()]
    assert set(tested["measure"]) == {"bias"}
    assert len(tested) == 10


@pytest.mark.parametrize(
    ("given", "alpha", "message"),
    [({"count": 3}, 0.05, "at least 4 sessions.*got 3"), ({"assessors": 1}, 0.05, "only, Ada"),
     ({}, 0, "alpha must lie strictly")],
)  # fmt: skip
def test_too_few_sessions_or_assessors(given, alpha, message):
    with pytest.raises(ArgumentError, match=message):
        assessor_drift(frame(sessions(**given)), alpha=alpha)
