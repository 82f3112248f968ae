"""One assessor and the panel over the months: against hand, and against other routes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sensory.panel.history import history
from sensory.panel.months import own_dprime, own_repeatability, reproducibility, smallest_now
from sensory.panel.sensitivity import sensitivity
from sensory.ratings.profile import profile
from sensory.sessions.sitting import CAME, AttributeScores, Sitting

from .years import Fault, year


@pytest.fixture(scope="module")
def past():
    return history(year(np.random.default_rng(8), fault=Fault(tired=2.5)))


def test_own_dprime_lies_within_its_limits_and_follows_the_panel(past):
    frame = own_dprime(sensitivity(past.answers), "p01")
    assert len(frame) == 12
    assert (frame["low"] <= frame["estimate"]).all()
    assert (frame["estimate"] <= frame["high"]).all()
    assert frame[["estimate", "panel"]].corr().iloc[0, 1] > 0.5
    assert frame["answers"].sum() == sensitivity(past.answers).assessors["answers"][0]


def test_a_tired_assessor_crosses_the_own_limit_and_others_do_not(past):
    tired, sound = own_repeatability(past, "P10"), own_repeatability(past, "P03")
    assert tired["out"].tail(6).sum() >= 5
    assert sound["out"].sum() == 0
    # the centre by hand: all squares of the first twelve sittings
    first = tired.head(12)
    centre = np.sqrt((first["sd"] ** 2 * first["df"]).sum() / first["df"].sum())
    assert tired["centre"].to_numpy() == pytest.approx(centre, rel=1e-12)
    assert own_repeatability(past, "nobody").empty


def test_the_intraclass_correlation_of_the_mean_is_that_of_its_mean_squares(past):
    short = history(past.sittings, until="2026-01-31")
    months = reproducibility(short).months
    wide = np.concatenate(
        [
            np.array(scores.means).T
            for sitting in short.sittings
            for scores in sitting.attributes
            if scores.attribute == "sweet"
        ]
    )
    targets, people = wide.shape
    between = people * wide.mean(1).var(ddof=1)
    left = wide - wide.mean(0) - wide.mean(1, keepdims=True) + wide.mean()
    error = (left**2).sum() / (targets - 1) / (people - 1)
    chosen = months[(months["attribute"] == "sweet") & (months["kind"] == "mean of the panel")]
    assert chosen[["targets", "assessors"]].to_numpy().tolist() == [[8, 10]]
    # McGraw and Wong (1996), ICC(C,k); pingouin rounds
    assert chosen["estimate"].item() == pytest.approx((between - error) / between, abs=5e-3)
    assert chosen["low"].item() < chosen["estimate"].item() < chosen["high"].item()


def test_scatter_for_planning_is_that_of_the_profile_of_the_same_scores():
    """Components of the mean squares of one complete session, by the profile itself."""
    rng = np.random.default_rng(2)
    rows = [
        (a, s, r, 5 + s + cell + rng.normal(0, 0.7))
        for a in range(8)
        for s in range(4)
        for cell in [rng.normal(0, 0.6)]
        for r in (1, 2)
    ]
    frame = pd.DataFrame(rows, columns=["assessor", "sample", "replicate", "score"])
    frame = frame.assign(attribute="sour")
    sd = profile(frame).components.set_index("source")["sd"]
    means = frame.groupby(["assessor", "sample"])["score"].mean().unstack()
    own = frame.groupby(["assessor", "sample"])["score"].var().unstack().mean(axis=1) ** 0.5
    scores = AttributeScores(
        attribute="sour", judged=True, smallest=1.0, means=tuple(map(tuple, means.to_numpy())),
        sd=tuple(own), sd_df=(4.0,) * 8,
    )  # fmt: skip
    sitting = Sitting(session="s", held_on="2026-01-01", test="PROFILE", came=(CAME,) * 8,
                      assessors=tuple("ABCDEFGH"), samples=tuple("wxyz"),
                      attributes=(scores,))  # fmt: skip
    now = smallest_now(history([sitting])).iloc[0]
    assert now["interaction"] == pytest.approx(sd["assessor x sample"], rel=1e-9)
    assert now["error"] == pytest.approx(sd["error"], rel=1e-9)
    assert (now["estimate"], now["assessors"]) == (1.0, 8)
