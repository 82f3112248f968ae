"""Scale use as a screening series: the chance by luck against every order, and the two numbers."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from sensory.base.errors import ArgumentError
from sensory.panel.scale_rule import pairs_by_luck, scale_rule
from sensory.panel.screening_rules import Verdict
from sensory.panel.series import ScreeningRules, Series
from sensory.panel.series_plan import KINDS, rule_of, rule_says


@pytest.mark.parametrize("strengths", [3, 4])
def test_luck_is_the_share_of_all_orders(strengths):
    """Second route: every order of two cups of each strength, filled place by place, counted."""
    cups = tuple(range(strengths)) * 2
    orders = {()}
    for _ in cups:
        orders = {(*o, s) for o in orders for s in range(strengths) if o.count(s) < 2}
    right = np.array([sum(a < b for a, b in combinations(order, 2)) for order in orders])
    most = len(list(combinations(cups, 2))) - strengths
    for needed in (0, most // 2, most - 2, most):
        share = (right >= needed).mean()
        assert pairs_by_luck(strengths, needed) == pytest.approx(share, rel=1e-12)


def test_equal_scores_only_make_luck_smaller():
    rule = scale_rule(["a", "b", "c", "d"], pairs=0.6, reach=0.05)
    rng = np.random.default_rng(7)
    names = [*"abcd", *"abcd"]
    passed = [
        rule.decide(list(zip(names, rng.integers(0, 11, 8).tolist(), strict=True))).verdict
        is Verdict.PASS
        for _ in range(4000)
    ]
    assert np.mean(passed) < rule.wrong_pass + 3 * np.sqrt(rule.wrong_pass / 4000)
    assert np.mean(passed) > 0.3 * rule.wrong_pass


def test_order_and_use_of_the_scale_are_both_needed():
    rule = scale_rule(["a", "b", "c"])
    assert (rule.compared, rule.needed) == (12, 11)
    wide = [("a", 1), ("b", 4), ("c", 8), ("a", 2), ("b", 5), ("c", 7)]
    assert rule.decide(wide).verdict is Verdict.PASS
    told = rule.decide([(name, 4 + score / 10) for name, score in wide])
    assert told.verdict is Verdict.FAIL
    assert "12 of 12 pairs in order" in told.reason
    assert "6 % of the scale" in told.reason
    assert rule.decide([(name, 10 - score) for name, score in wide]).result == 0
    flat = rule.decide([(name, 5) for name, _ in wide])
    assert (flat.result, flat.p_luck) == (0, 1.0)


def test_what_cannot_be_scored_is_refused():
    with pytest.raises(ArgumentError, match="3 to 6 different names"):
        scale_rule(["a", "b"])
    with pytest.raises(ArgumentError, match="pairs"):
        scale_rule(["a", "b", "c"], pairs=1.2)
    rule = scale_rule(["a", "b", "c"])
    with pytest.raises(ArgumentError, match="two scores of each"):
        rule.decide([("a", 1), ("b", 2), ("c", 3)])
    with pytest.raises(ArgumentError, match="from 0 to 10; got 11"):
        rule.decide([("a", 1), ("b", 2), ("c", 3), ("a", 1), ("b", 2), ("c", 11)])


def test_the_plant_changes_both_numbers_and_old_rules_stay_as_written():
    samples = KINDS[Series.SCALE].samples
    rule = rule_of(Series.SCALE, ScreeningRules(pairs=1, reach=0.5), samples)
    assert (rule.needed, rule.reach) == (24, 0.5)
    usual = rule_says(rule_of(Series.SCALE, ScreeningRules(), samples))
    assert "22 of 24 pairs of cups" in usual[0]
    assert "% at most" in usual[0]
    assert "common practice, no source" in usual[-1]
    assert not {"pairs", "reach"} & set(ScreeningRules().to_dict())
