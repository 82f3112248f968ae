"""The history of a panel against R, against simulation, and against hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr
from scipy.stats import binom, f

from sensory.base.errors import ArgumentError
from sensory.catalogue.frames import scorecard
from sensory.models.pooling import SLOPES, counts_lower_tail, pooled, pooled_slopes
from sensory.panel.attention import APART, DRIFTS, LESS, REVERSED, TIRED, attention
from sensory.panel.history import history
from sensory.panel.sensitivity import COLUMNS, sensitivity
from sensory.panel.steadiness import steadiness
from sensory.sessions.sitting import (
    ABSENT,
    CAME,
    LATE,
    AttributeScores,
    Sitting,
    _scores_of,
)

from .years import Fault, year

REFERENCES = Path(__file__).parents[1] / "references"
FROM_R = json.loads((REFERENCES / "panel.json").read_text(encoding="utf-8"))


def test_random_slopes_of_choices_are_those_of_lme4():
    data = FROM_R["data"]
    x, right = np.array(data["dprime"]) / np.sqrt(2), np.array(data["correct"])
    pc = ndtr(x[:, None] * SLOPES)
    told = right @ np.log(pc) + (data["trials"] - right) @ np.log1p(-pc)
    fit = pooled_slopes(told)
    assert fit.mean == pytest.approx(FROM_R["choices"]["mean"], rel=1e-4)
    assert fit.spread == pytest.approx(FROM_R["choices"]["spread"], rel=1e-4)
    assert (fit.low < fit.estimate).all()
    assert (fit.estimate < fit.high).all()


def test_pooled_estimates_are_those_of_metafor():
    data = FROM_R["data"]
    fit = pooled(np.array(data["estimate"]), np.array(data["se"]))
    assert fit.mean == pytest.approx(FROM_R["meta"]["mean"], rel=1e-5)
    assert fit.spread == pytest.approx(FROM_R["meta"]["spread"], rel=1e-5)


@pytest.fixture(scope="module")
def fries() -> list[Sitting]:
    frame = pd.read_csv(REFERENCES / "ratings" / "french_fries.csv")
    sittings = []
    for week, part in frame.groupby("session"):
        scores = part.dropna(subset=["potato"]).rename(columns={"potato": "score"})
        card = scorecard(scores[["assessor", "sample", "replicate", "score"]], 0.05)
        names = tuple(map(str, card.scores.assessors))
        empty = Sitting(session=str(week), held_on=f"2026-01-{int(week):02d}", test="PROFILE",
                        assessors=names, came=(CAME,) * len(names))  # fmt: skip
        samples = tuple(map(str, card.scores.samples))
        columns = _scores_of(card, empty, samples)
        columns = [replace(scores, judged=True) for scores in columns]
        sittings.append(
            Sitting(session=str(week), held_on=empty.held_on, test="PROFILE", assessors=names,
                    came=empty.came, samples=samples, attributes=tuple(columns))
        )  # fmt: skip
    return sittings


def test_histories_of_ten_weeks_are_those_of_r(fries):
    table = steadiness(history(fries)).assessors.set_index("assessor")
    expected = FROM_R["fries"]
    ours = table.loc[list(map(str, expected["assessor"]))]
    np.testing.assert_allclose(ours["slope"], expected["slope"], rtol=1e-6)
    np.testing.assert_allclose(ours["slope_se"], expected["se"], rtol=1e-6)
    fit = pooled(ours["slope"].to_numpy(), ours["slope_se"].to_numpy())
    assert fit.mean == pytest.approx(expected["mean"], rel=1e-4)
    assert fit.spread == pytest.approx(expected["spread"], rel=1e-4)


def test_somebody_with_few_sessions_is_drawn_to_the_panel_more_than_with_many():
    y, se = np.array([0.0, 0.0, 1.0, 1.1, 0.9, 1.0]), np.array([0.1, 0.6, 0.1, 0.1, 0.1, 0.1])
    fit = pooled(y, se)
    assert abs(fit.estimate[0]) < 0.1 < 0.3 < fit.estimate[1]
    assert fit.high[1] - fit.low[1] > 2 * (fit.high[0] - fit.low[0])


def test_limits_of_shrunken_estimates_hold_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(5)
    held = []
    for _ in range(200):
        truth, se = rng.normal(1, 0.3, 12), rng.uniform(0.1, 0.6, 12)
        fit = pooled(truth + se * rng.normal(size=12), se)
        held.append((fit.low < truth) & (truth < fit.high))
    assert 0.92 < np.mean(held) < 0.97  # 2,400 intervals; see the table in `pooled`


def test_poisson_binomial_tail_is_binomial_where_all_chances_are_alike():
    for count in (0, 7, 20):
        ours = counts_lower_tail(count, np.full(20, 0.3))
        assert ours == pytest.approx(binom.cdf(count, 20, 0.3), rel=1e-12)


def test_tails_of_mixed_chances_are_those_of_event_after_event():
    chances = np.array([0.2, 0.97, 0.5, 0.2, 1.0])
    told = np.ones(1)
    for chance in np.repeat(chances, [3, 2, 5, 1, 2]):
        told = np.convolve(told, [1 - chance, chance])
    for count in (2, 6, 12):
        ours = counts_lower_tail(count, chances, np.array([3, 2, 5, 1, 2]))
        assert ours == pytest.approx(told[: count + 1].sum(), rel=1e-12)
    for chance in (0.5, 0.97):  # so many that a power of the chance would be 0
        ours = counts_lower_tail(int(1500 * chance), np.array([chance]), np.array([1500]))
        assert ours == pytest.approx(binom.cdf(int(1500 * chance), 1500, chance), rel=1e-10)


def test_hard_sessions_do_not_make_anybody_less_sensitive():
    """Ada only came to hard sessions: fewer right, and no less sensitive."""
    rows = []
    for session in range(30):
        hard = session % 2
        for name in ("Ada", "Bo", "Cy", "Di", "Ed", "Flo", "Gus"):
            if name == "Ada" and not hard:
                continue
            rows.append((session, name, "TRIANGLE", 4 if hard else 6, 6))
    table = sensitivity(pd.DataFrame(rows, columns=COLUMNS)).assessors.set_index("assessor")
    share = table["correct"] / table["answers"]
    assert share["Ada"] < share["Bo"] - 0.1
    assert table["estimate"]["Ada"] == pytest.approx(table["estimate"]["Bo"], abs=0.06)


def test_sessions_in_which_the_others_saw_nothing_judge_nobody():
    rows = [(s, name, "TRIANGLE", int(name != "Ada" and s < 2), 2)
            for s in range(6) for name in ("Ada", "Bo", "Cy", "Di")]  # fmt: skip
    result = sensitivity(pd.DataFrame(rows, columns=COLUMNS))
    assert not result.sessions["judged"].any()
    assert result.assessors["p"].isna().all()


def test_impossible_answers_are_refused():
    rows = pd.DataFrame([("s", "Ada", "TRIANGLE", 3, 2)], columns=COLUMNS)
    with pytest.raises(ArgumentError, match="got 3 of 2 for Ada in s"):
        sensitivity(rows)
    with pytest.raises(ArgumentError, match="protocol must be one of"):
        sensitivity(rows.assign(protocol="GUESS"))


@pytest.mark.parametrize(
    ("fault", "reason", "says"),
    [
        (Fault(guesses=True), APART, "P10 hardly follows the panel in any attribute"),
        (Fault(turned=True), REVERSED, "P10 scores sour the other way round"),
        (Fault(drift=0.3), DRIFTS, "P10 drifts upwards in sour: 0.3"),
        (Fault(tired=2.0), TIRED, "P10 repeats worse than before"),
    ],
)
def test_who_is_not_steady_is_named_and_nobody_else(fault, reason, says):
    past = history(year(np.random.default_rng(11), fault=fault))
    result = attention(past)
    assert set(result.reasons["assessor"]) == {"P10"}
    assert reason in set(result.reasons["reason"])
    assert any(sentence.startswith(says) for sentence in result.of("P10"))
    assert (result.reasons["p_adjusted"] <= 0.05 / 12 / 7).all()


def test_scatter_lately_is_told_with_the_limits_of_f():
    past = history(year(np.random.default_rng(11), fault=Fault(tired=2.0)))
    row = steadiness(past).together.set_index("assessor").loc["P10"]
    scores = past.scores[past.scores["assessor"] == "P10"]
    late = scores["held_on"] >= steadiness(past).lately_since
    low, high = (f.ppf(tail, *(scores["sd_df"][rows].sum() for rows in (late, ~late)))
                 for tail in (0.025, 0.975))  # fmt: skip
    assert row["change"] == pytest.approx(row["sd_lately"] / row["sd_before"], rel=1e-12)
    assert row["change_low"] == pytest.approx(row["change"] / high**0.5, rel=1e-9)
    assert row["change_high"] == pytest.approx(row["change"] / low**0.5, rel=1e-9)
    assert steadiness(past).lately("P10").startswith("Own replicates scatter 1.")
    assert steadiness(history([])).lately("P10") == ""


def test_a_guesser_is_less_sensitive_in_forced_choices_alone():
    choices = [each for seed in range(3) for each in year(np.random.default_rng(seed),
               fault=Fault(guesses=True)) if each.trials]  # fmt: skip
    named = attention(history(choices)).reasons
    assert set(zip(named["assessor"], named["reason"], strict=True)) == {("P10", LESS)}


def test_a_sound_panel_is_left_in_peace():
    assert attention(history(year(np.random.default_rng(12)))).says() == ()


def test_attendance_and_windows():
    days = [f"2026-03-0{day}" for day in (1, 2, 3)]
    came = [(CAME, LATE), (CAME, ABSENT), (CAME, ABSENT)]
    sittings = [Sitting(session=d, held_on=d, test="RANKING", assessors=("Ada", "bo" if d == days[0]
                else "Bo"), came=c) for d, c in zip(days, came, strict=True)]  # fmt: skip
    past = history(sittings)
    assert past.attendance.values.tolist() == [["Ada", 3, 3, 0, 0], ["Bo", 3, 1, 1, 2]]
    assert len(history(sittings, since=days[1], until=days[1]).sittings) == 1
    assert len(past.of("BO")) == 3


def test_blind_controls_and_spiked_samples_are_counted():
    means = ((0.5, 6.0), (4.0, 5.5), (0.2, 1.0), (0.4, 6.5))
    scores = AttributeScores(attribute="score", judged=True, smallest=1.0, means=means,
                             sd=(None,) * 4, sd_df=(0.0,) * 4)  # fmt: skip
    sitting = Sitting(session="s", held_on="2026-03-01", test="DIFFERENCE_FROM_CONTROL",
                      assessors=("Ada", "Bo", "Cy", "Di"), came=(CAME,) * 4,
                      samples=("control", "spiked"), attributes=(scores,), control="control",
                      limit=2.0)  # fmt: skip
    table = history([sitting]).controls
    assert table.values.tolist() == [
        ["Ada", 1, 0, 1, 1], ["Bo", 1, 1, 1, 1], ["Cy", 1, 0, 1, 0], ["Di", 1, 0, 1, 1],
    ]  # fmt: skip
