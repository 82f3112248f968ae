"""Looks planned beforehand against enumeration; the order of scores against simulation."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom, norm

from sensory import choice_test, combine_evidence, difference_from_control, planned_looks
from sensory.base.errors import ArgumentError
from sensory.choices.protocols import DUO_TRIO
from sensory.models.distance_order import order_chances, order_likelihood


def test_counts_of_a_plan_are_those_of_enumeration():
    """Every row of answers of two looks: chance of ever reaching a count, and the least counts."""
    plan = planned_looks("triangle", [7, 9], alpha=0.08)
    first, last = plan.different_from

    def crossed(low: int, high: int) -> float:
        return sum(
            binom.pmf(x, 7, 1 / 3) * binom.pmf(y, 9, 1 / 3)
            for x, y in itertools.product(range(8), range(10))
            if x >= low or x + y >= high
        )

    assert plan.spent == pytest.approx([binom.sf(first - 1, 7, 1 / 3), crossed(first, last)], 1e-12)
    assert plan.spent[0] <= 0.08 * (7 / 16) ** 2 < binom.sf(first - 2, 7, 1 / 3)
    assert plan.spent[1] <= 0.08 < crossed(first, last - 1)
    # Somebody was absent: the error spent by then is less, and never more than alpha in all.
    fewer = plan.with_sizes([5, 9])
    assert fewer.spent[0] <= 0.08 * (5 / 16) ** 2
    assert fewer.spent[-1] <= 0.08
    with pytest.raises(ArgumentError, match="2 looks were planned; got 3"):
        plan.with_sizes([5, 5, 5])


def test_a_plan_that_can_show_nothing_is_refused():
    with pytest.raises(ArgumentError, match="4 answers cannot show a difference"):
        planned_looks("duo-trio", [2, 2])
    with pytest.raises(ArgumentError, match="2 to 20 numbers"):
        planned_looks("triangle", [12])


def test_the_page_says_which_looks_are_used():
    plan = planned_looks("triangle", [24, 24, 24])
    tests = [choice_test("triangle", right, 24) for right in (14, 15)]
    result = combine_evidence(tests, looks=plan)
    row = result.groups.iloc[0]
    assert (row["looks"], row["looks_done"], row["planned_different"]) == ("planned looks", 2, True)
    assert plan.different_from[0] > 14  # the second look shows it
    # Planned limits are sharper than those for any number of looks.
    assert row["always_low"] < row["planned_low"] < row["planned_high"] < row["always_high"]
    text = " ".join((*result.says(), *result.cannot_tell))
    assert "Planned looks: 2 of 3 are done. By them a difference is shown" in text
    assert "however often one looks" not in text
    mixed = combine_evidence([tests[0], choice_test("tetrad", 12, 24)], looks=plan)
    assert "with tetrad among the sessions their counts do not apply" in " ".join(mixed.says())
    assert "Limits that hold however often one looks" in " ".join(mixed.says())
    scored = pd.DataFrame({"protocol": ["triangle", "difference from control"]})
    with_scores = combine_evidence(scored.assign(correct=[14, 9], trials=[24, 12]), looks=plan)
    assert "with difference from control among the sessions" in " ".join(with_scores.says())
    assert with_scores.groups["looks"].tolist() == ["any number of looks"]
    dated = pd.DataFrame({"protocol": "triangle", "correct": [14, 15], "trials": 24})
    dated["date"] = ["2026-03-01", "2026-03-09"]
    later = combine_evidence(dated, looks=plan, looks_since="2026-03-05").groups.iloc[0]
    assert later["looks_done"] == 1
    over = combine_evidence(dated, looks=planned_looks("triangle", [24, 24]), looks_since="2027")
    assert "no session here is later" in " ".join(over.says())


def test_the_order_of_two_scores_is_a_duo_trio_with_a_band():
    dprime = np.array([0.0, 0.7, 2.0])
    up, alike, down = order_chances(dprime, np.zeros(3))
    np.testing.assert_allclose(up, DUO_TRIO.proportion_correct(dprime), rtol=1e-12)
    np.testing.assert_allclose(alike, 0, atol=1e-15)
    # With a band, by the sum over a fine grid of both distances with their signs.
    shift, band, step = 1.3, 0.41, 0.02
    near = np.arange(-7, 7, step)[:, None]
    far = np.arange(-7, 9, step)[None, :]
    density = norm.pdf(far, shift + near / 2, 1.5**0.5) * norm.pdf(near, 0, 2**0.5)
    apart = np.abs(far) - np.abs(near)
    up, alike, down = (float(each[0]) for each in order_chances(np.array([shift]), band))
    assert up == pytest.approx(float(density[apart > band].sum()) * step**2, abs=1e-3)
    assert down == pytest.approx(float(density[apart < -band].sum()) * step**2, abs=1e-3)
    assert up + alike + down == pytest.approx(1)


def test_whole_points_heaps_and_own_scales_do_not_move_the_d_prime():
    """40,000 assessors whose scores are rounded distances, each with a scale of their own."""
    rng, people, grid = np.random.default_rng(3), 40_000, np.arange(0, 4, 0.01)
    blind, reference, batch = rng.normal(size=(3, people))
    own = np.exp(rng.normal(0, 0.4, people))
    far = np.maximum(np.round(2 * own * np.abs(batch + 1.5 - reference)) - 1, 0)
    near = np.maximum(np.round(2 * own * np.abs(blind - reference)) - 1, 0)
    scores = [int(each.sum()) for each in (far > near, far == near, far < near)]
    assert scores[1] > people / 6  # many alike
    assert grid[order_likelihood(*scores, grid).argmax()] == pytest.approx(1.5, abs=0.06)


def scored(far: list[float], near: list[float], **more: object) -> pd.DataFrame:
    people = [f"P{at}" for at in range(len(far))]
    both = {"assessor": people * 2, "score": far + near}
    return pd.DataFrame(both | {"sample": ["B7"] * len(far) + ["blind"] * len(near)} | more)


FAR, NEAR = [4.0, 5, 3, 6, 2, 5, 4, 3, 5, 4], [2.0, 5, 1, 2, 3, 2, 1, 3, 2, 1]


def test_difference_from_control_joins_by_order():
    session = difference_from_control(scored(FAR, NEAR), control="blind", limit=2.0)
    result = combine_evidence([session, choice_test("duo-trio", 14, 20)])
    row = result.sessions.iloc[0]
    assert (row["protocol"], row["correct"], row["equal"], row["trials"]) == (
        *("difference from control", 7, 2), 10,
    )  # fmt: skip
    # No difference: equal scores say nothing, so p is that of 21 of 28 by coin.
    assert result.groups.iloc[0]["p"] == pytest.approx(binom.sf(20, 28, 0.5), rel=1e-10)
    table = pd.DataFrame(
        {"protocol": ["difference from control", "duo-trio"], "correct": [7, 14]}
        | {"trials": [10, 20], "equal": [2, None]}
    )
    again = combine_evidence(table).groups.iloc[0]
    assert again["estimate"] == result.groups.iloc[0]["estimate"]
    assert 0.0 < again["p_heterogeneity"] <= 1.0
    assert again["always_low"] <= again["low"] < again["high"] <= again["always_high"]
    assert "is no d-prime and is not used" in " ".join(result.cannot_tell)


@pytest.mark.parametrize(
    ("frame", "sentence"),
    [
        (
            pd.concat([scored(FAR, NEAR), scored(FAR, NEAR).replace("B7", "B8").iloc[:10]]),
            "compares each with one blind control",
        ),
        (
            pd.concat([scored(FAR, NEAR, attribute=name) for name in ("sour", "sweet")]),
            "each attribute has a d-prime of its own",
        ),
        (
            pd.concat([scored(FAR, NEAR, replicate=turn) for turn in (1, 2)]),
            "scored a sample more than once",
        ),
    ],
)
def test_scores_that_must_not_be_averaged_are_refused(frame, sentence):
    session = difference_from_control(frame, control="blind", limit=2.0)
    with pytest.raises(ArgumentError, match=sentence):
        combine_evidence([session])


def test_equal_scores_belong_to_no_choice_test():
    frame = pd.DataFrame({"protocol": ["triangle"], "correct": [5], "trials": [9], "equal": [1]})
    with pytest.raises(ArgumentError, match="a triangle test has no equal scores; got 1"):
        combine_evidence(frame)
