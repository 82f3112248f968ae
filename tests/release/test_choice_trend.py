"""Trend of choice tests: counts by enumeration, limits for all looks, words, refusals."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from sensory import (
    DUO_TRIO,
    TETRAD,
    TRIANGLE,
    ChoiceTrend,
    choice_test,
    estimate_dprime,
    trend_of_choices,
)
from sensory.base.errors import ArgumentError
from sensory.models.charts import THREE_SIGMA

CORRECT = [8, 9, 7, 10, 8, 9, 8, 15, 16, 14, 17, 15]


def rows(correct, trials=24, **columns):
    names = [f"L{i}" for i in range(1, len(correct) + 1)]
    return pd.DataFrame({"batch": names, "correct": correct, "trials": trials, **columns})


@pytest.mark.parametrize("protocol", [TRIANGLE, DUO_TRIO, TETRAD])
def test_dprime_of_each_batch(protocol):
    points = trend_of_choices(rows(CORRECT), protocol=protocol, level=0.9).points
    for row in points.to_dict("records"):
        found = estimate_dprime(protocol, row["correct"], row["trials"], level=0.9)
        assert (row["dprime"], row["low"], row["high"]) == pytest.approx(
            (found.estimate, found.limits.low, found.limits.high)
        )


@pytest.mark.parametrize("alpha", [THREE_SIGMA, 0.05, 0.2])
def test_usual_counts_by_adding_up_tails(alpha):
    trials = np.array([6, 12, 18, 24, 36, 48] * 2)
    correct = (trials * np.linspace(0.3, 0.5, 12)).astype(int)
    points = trend_of_choices(rows(correct, trials), protocol=TRIANGLE, alpha=alpha).points
    centre = correct.sum() / trials.sum()
    assert points["centre"].unique() == pytest.approx([centre])
    for row in points.to_dict("records"):
        mass = binom.pmf(np.arange(row["trials"] + 1), row["trials"], centre)
        usual = [
            k
            for k in range(row["trials"] + 1)
            if mass[: k + 1].sum() > alpha / 2 and mass[k:].sum() > alpha / 2
        ]
        assert (row["lower"], row["upper"]) == (usual[0], usual[-1])


def test_a_count_beyond_its_limits_signals():
    correct = [8] * 11 + [20]
    result = trend_of_choices(rows(correct), protocol=TRIANGLE, base=11, rules=["limit"])
    assert result.signals.values.tolist() == [["all", "L12", 12, "beyond the limits of the chart"]]
    assert "Beyond the limits of the chart: L12." in result.says()
    last = result.points.iloc[-1]
    assert binom.sf(last["upper"], 24, last["centre"]) <= THREE_SIGMA / 2
    assert binom.sf(last["upper"] - 1, 24, last["centre"]) > THREE_SIGMA / 2
    alone = trend_of_choices(rows(correct), protocol=TRIANGLE, base=11, rules=[])
    assert alone.signals.empty


def test_false_signals_by_enumeration():
    """Mean wait for a count outside the usual ones, over the sizes at hand."""
    trials = [12, 24, 36]
    result = trend_of_choices(rows([6, 11, 17], trials), protocol=TRIANGLE, alpha=0.05)
    chance = [
        1
        - binom.cdf(row["upper"], row["trials"], row["centre"])
        + binom.cdf(row["lower"] - 1, row["trials"], row["centre"])
        for row in result.points.to_dict("records")
    ]
    assert result.lines["run_length"][0] == pytest.approx(1 / np.mean(chance))
    assert max(chance) <= 0.05


def test_total_is_what_one_test_of_all_answers_gives():
    result = trend_of_choices(rows(CORRECT), protocol=TRIANGLE)
    for place, row in enumerate(result.total.to_dict("records"), start=1):
        found = choice_test(TRIANGLE, sum(CORRECT[:place]), 24 * place)
        assert (row["correct"], row["trials"]) == (sum(CORRECT[:place]), 24 * place)
        limits = (found.pc_limits.low, found.pc_limits.high)
        assert (row["low"], row["high"]) == pytest.approx(limits)
        assert row["always_low"] < row["low"]
        assert row["always_high"] > row["high"]


def test_limits_for_all_looks_seldom_find_what_is_not_there():
    """60 rows of 40 batches at guessing, looked at after each; the promise is 5 %."""
    rng = np.random.default_rng(2)
    frame = rows(rng.binomial(12, 1 / 3, 2400), 12, line=np.repeat(range(60), 40))
    total = trend_of_choices(frame, protocol=TRIANGLE, rules=[]).total
    ever = (total[["low", "always_low"]] > 1 / 3).groupby(total["line"]).any().mean()
    assert ever["always_low"] <= 0.05
    assert ever["low"] > 0.05  # the limits for one look, one-sided 2.5 %, do


def test_a_step_is_told():
    result = trend_of_choices(rows(CORRECT), protocol=TRIANGLE, pd_limit=0.5)
    change = result.change.iloc[0]
    assert (change["batch"], bool(change["clear"])) == ("L8", True)
    assert change["before"] == pytest.approx(sum(CORRECT[:7]) / 168)
    assert change["after"] == pytest.approx(sum(CORRECT[7:]) / 120)
    said = " ".join(result.says())
    assert "The proportion correct steps from 0.35 to 0.64 with batch L8" in said
    assert "136 of 288 correct" in said
    assert "the total shows a difference since batch L11" in said


def test_against_limit_agrees_with_the_exact_limits_of_pd():
    correct = [2, 6, 8, 12, 18, 23]
    points = trend_of_choices(rows(correct), protocol=TRIANGLE, pd_limit=0.4).points
    for row in points.to_dict("records"):
        limits = choice_test(TRIANGLE, row["correct"], 24).pd_limits
        within, beyond = limits.high < 0.4, limits.low >= 0.4
        expected = "within" if within else "beyond" if beyond else "cannot tell"
        assert row["against_limit"] == expected
    assert set(points["against_limit"]) == {"within", "beyond", "cannot tell"}


def test_similarity_is_never_concluded_from_the_total():
    result = trend_of_choices(rows([8] * 30), protocol=TRIANGLE)
    assert any("similarity is not concluded" in line for line in result.cannot_tell)
    assert any("one look only" in line for line in result.cannot_tell)
    assert "does not show a difference" in result.says()[0]
    assert not any("similar" in line for line in result.says())


@pytest.mark.parametrize(("correct", "centre"), [([0] * 8, 0.0), ([24] * 8, 1.0)])
def test_none_or_all_correct(correct, centre):
    result = trend_of_choices(rows(correct), protocol=TRIANGLE)
    assert result.points["centre"].unique().tolist() == [centre]
    assert result.signals.empty
    assert result.change["p"][0] == 1.0


def test_a_base_without_any_correct_answer_makes_the_next_one_unusual():
    result = trend_of_choices(rows([0, 0, 0, 1]), protocol=TRIANGLE, base=3)
    assert result.signals["batch"].tolist() == ["L4"]


def test_lines_and_dates():
    one = rows(CORRECT, line="mill A", date=range(12))
    two = rows(CORRECT[::-1], line="mill B", date=range(12))
    result = trend_of_choices(pd.concat([one.iloc[::-1], two]), protocol=TRIANGLE)
    assert result.lines["line"].tolist() == ["mill A", "mill B"]
    own = result.points.query("line == 'mill A'")
    assert own["correct"].tolist() == CORRECT
    assert result.change["batch"].tolist() == ["L8", "L6"]


def test_result_is_frozen_and_hands_out_copies():
    result = trend_of_choices(rows(CORRECT), protocol=TRIANGLE)
    assert isinstance(result, ChoiceTrend)
    handed = result.total
    handed.loc[:, "correct"] = 0
    assert result.total["correct"].sum() > 0
    with pytest.raises(AttributeError):
        result.base = 3
    assert repr(result) == "<ChoiceTrend triangle: 12 batches, 1 line; 0 signals>"
    assert "<table>" in result._repr_html_()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"correct": 25}, "correct must not exceed trials; batch L1 has 25 correct of 24"),
        ({"correct": 2.5}, "row 2, column correct: got 2.5, must be a whole number"),
        ({"correct": -1}, "row 2, column correct: got -1"),
        ({"trials": 0}, "row 2, column trials: got 0, must be a whole number, 1 or more"),
    ],
)
def test_cells_that_cannot_be_used(change, message):
    with pytest.raises(ArgumentError) as caught:
        trend_of_choices(rows(CORRECT).assign(**change), protocol=TRIANGLE)
    assert message in str(caught.value)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"protocol": "TRIANGEL"}, "protocol 'TRIANGEL' is not known"),
        ({"pd_limit": 30}, "pd_limit must lie strictly between"),
        ({"base": 0}, "base must be at least 1"),
        ({"rules": "all"}, "rules must be among"),
    ],
)
def test_arguments_that_cannot_be_used(arguments, message):
    with pytest.raises(ArgumentError, match=message):
        trend_of_choices(rows(CORRECT), **{"protocol": TRIANGLE, **arguments})
