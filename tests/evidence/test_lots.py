"""Two recipes over pairs of lots: against R's glmer and integrals, and by simulation.

`r/lots.R` (R 4.2.2, lme4 1.1.31): paired comparison by `glmer`, 25 nodes; triangle with a control
pair by R's own integrals. Coverage by simulation: `tests/calibration/test_lots.py`.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import stdtrit
from scipy.stats import binom

from sensory import choice_test, compare_lots, plan_lots
from sensory.base.errors import ArgumentError
from sensory.choices.protocols import PAIRED, TETRAD
from sensory.models.lot_pairs import Asked, drop_of, fit_lots, lot_limits, table

R = json.loads((Path(__file__).parent / "r" / "lots.json").read_text(encoding="utf-8"))


def pairs(correct: list[int], trials: int, protocol: str, **more: object) -> pd.DataFrame:
    count = range(1, len(correct) + 1)
    lots = {"present": [f"P{at}" for at in count], "new": [f"N{at}" for at in count]}
    counts = {"protocol": protocol, "correct": correct, "trials": trials}
    return pd.DataFrame(lots | counts | more)


def test_a_paired_comparison_is_that_of_glmer():
    theirs = R["paired"]
    frame = pairs(theirs["right"], theirs["trials"], "paired comparison", attribute="sour")
    row = compare_lots(frame).recipes.iloc[0]
    assert row["estimate"] == pytest.approx(theirs["shift"], rel=1e-6)
    assert row["scatter"] == pytest.approx(theirs["scatter"], rel=1e-5)


def test_a_triangle_with_a_control_pair_is_that_of_r():
    theirs = R["triangle"]
    right = [*theirs["right"], theirs["control"]]
    frame = pairs(right, theirs["trials"], "triangle", pair=[""] * 4 + ["Control"])
    result = compare_lots(frame)
    row = result.recipes.iloc[0]
    assert row["estimate"] == pytest.approx(theirs["shift"], rel=1e-5)
    assert row["scatter"] == pytest.approx(theirs["scatter"], rel=1e-4)
    text = " ".join((*result.says(), *result.cannot_tell))
    assert "No two lots of the present recipe" not in text
    assert text.startswith("4 pairs of lots and 1 control pair: no difference")
    alone = choice_test("triangle", right[0], theirs["trials"])
    assert result.pairs["estimate"].iloc[0] == pytest.approx(alone.dprime, rel=1e-6)


def test_with_very_many_answers_limits_are_the_t_interval():
    """d-prime of each pair all but known: those of a mean of five normal values."""
    asked = Asked(link=PAIRED.proportion_correct, signed=True, trials=2_000)
    true = np.array([0.4, 0.9, 1.1, 0.7, 1.3])
    right = [round(2_000 * float(PAIRED.proportion_correct(each))) for each in true]
    fit = fit_lots([asked] * 5, right, 0.95)
    half = stdtrit(4, 0.975) * true.std(ddof=1) / 5**0.5
    assert fit.shift == pytest.approx(true.mean(), abs=0.01)
    assert [fit.low, fit.high] == pytest.approx([true.mean() - half, true.mean() + half], abs=0.03)


def test_one_lot_each_speaks_of_these_two_lots():
    result = compare_lots(pairs([20], 36, "tetrad"), dprime_limit=1.0)
    text = " ".join((*result.says(), *result.cannot_tell))
    assert "this speaks of these two lots, not of the recipes" in text
    assert "agreed d-prime" not in text
    assert np.isnan(result.recipes["low"].iloc[0])


def test_the_agreed_limit_is_read_from_the_limits():
    near = compare_lots(pairs([13, 11, 12, 12, 10], 36, "tetrad"), dprime_limit=1.5)
    assert near.recipes["against_limit"].iloc[0] == "within"
    assert "lies below the agreed d-prime of 1.5" in " ".join(near.says())
    far = compare_lots(pairs([33, 32, 34, 33, 33], 36, "tetrad"), dprime_limit=0.5)
    assert far.recipes["against_limit"].iloc[0] == "beyond"
    assert "a difference between the recipes is shown" in far.says()[0]


@pytest.mark.parametrize(
    ("frame", "sentence"),
    [
        (pairs([5, 6], 9, "triangle").assign(new="N1"), "lot N1 stands in more than one place"),
        (pairs([5, 6], 9, "triangle", pair="control"), "all are controls"),
        (pairs([5, 6], 9, "triangle", pair="twin"), "write recipes or control; got 'twin'"),
        (pairs([9, 9], 9, "triangle"), "Every answer is right"),
        (pairs([5, 6], 9, "triangle").assign(new=["N1", ""]), "row 3, new: name the lot"),
        (
            pairs([5, 6], 9, "triangle").assign(
                protocol=["triangle", "paired comparison"], attribute=["", "sour"]
            ),
            "ask for different things",
        ),
    ],
)
def test_what_cannot_be_compared_is_said(frame, sentence):
    with pytest.raises(ArgumentError, match=sentence):
        compare_lots(frame)


def test_a_plan_is_what_its_trials_would_say():
    """Without scatter between lots, by enumeration of all counts of two pairs of 12."""
    asked = Asked(link=TETRAD.proportion_correct, signed=False, trials=12)
    right = np.array([(x, y) for x in range(13) for y in range(13)])
    curves = table(asked)[right].sum(axis=1).max(axis=2)
    _, low, high = lot_limits(curves, False, drop_of(2, 0.8))
    exact = float(binom.pmf(right, 12, 1 / 3).prod(axis=1)[high < 2.0].sum())
    plan = plan_lots("tetrad", dprime_limit=2.0, lot_sd=0.0, assessors=[12], lots=[2, 4], level=0.8)
    assert 0.1 < exact < 0.9
    assert plan.rows["chance"].iloc[0] == pytest.approx(exact, abs=3 * (0.25 / 600) ** 0.5)
    assert plan.rows["chance"].iloc[1] > exact
    assert plan.rows["answers"].tolist() == [24, 48]
    # The limits are those of `compare_lots` itself.
    at = int(np.flatnonzero((right == (6, 4)).all(axis=1))[0])
    row = compare_lots(pairs([6, 4], 12, "tetrad"), level=0.8).recipes.iloc[0]
    assert [row["low"], row["high"]] == pytest.approx([low[at], high[at]], rel=1e-9)
    assert "With one lot of each recipe no number of assessors" in " ".join(plan.says())
    none = plan_lots("tetrad", dprime_limit=0.5, lot_sd=0.5, assessors=[12], lots=[2])
    assert none.cheapest is None
    assert "None of these reaches a chance of 80 %" in none.says()[0]
