"""The release rule: its characteristic against every outcome, its words and its data."""

from __future__ import annotations

import dataclasses
import json
from itertools import product
from math import comb

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, nct, t

from sensory.base import findings
from sensory.base.errors import ArgumentError, SensoryError
from sensory.base.findings import Finding
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import DUO_TRIO, PROTOCOLS, TRIANGLE
from sensory.choices.two_stage import two_stage_plan
from sensory.ratings.control import difference_from_control
from sensory.release.batches import Disposition
from sensory.release.rule import USUAL, ReleaseRule

PLAN = two_stage_plan(TRIANGLE, most=40, alpha=0.1, beta=0.1, pd_limit=0.4)
STAGED = ReleaseRule(
    test="TRIANGLE", limit=0.4, assessors=PLAN.first, alpha=0.1, beta=0.1, retest=PLAN
)
RATED = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=8, scatter=1.1)
PROFILED = ReleaseRule(test="PROFILE", margins={"sour": 0.8, "sweet": 1.0}, assessors=10)
TRUTHS = [0.0, 0.1, 0.25, 0.4, 0.7, 1.0]


def mass(x, n, pc):
    return comb(n, x) * pc**x * (1 - pc) ** (n - x)


@pytest.mark.parametrize("key", PROTOCOLS)
@pytest.mark.parametrize("n", [6, 13])
def test_characteristic_against_every_outcome(key, n):
    """Second route: choice_test decides each possible count, its mass by the formula."""
    done = {**USUAL, Finding.DIFFERENT_WITHIN_LIMIT: Disposition.HOLD}
    rule = ReleaseRule(test=key, limit=0.5, assessors=n, alpha=0.2, beta=0.2, dispositions=done)
    found = rule.characteristic(TRUTHS)
    protocol = PROTOCOLS[key]
    for at, truth in enumerate(TRUTHS):
        pc = float(protocol.guess) + (1 - float(protocol.guess)) * truth
        sums = dict.fromkeys(Disposition, 0.0)
        for x in range(n + 1):
            seen = choice_test(protocol, x, n, alpha=0.2, beta=0.2, pd_limit=0.5).finding
            sums[done[seen]] += mass(x, n, pc)
        assert found.passes[at] == pytest.approx(sums[Disposition.RELEASE], abs=1e-12)
        assert found.holds[at] == pytest.approx(sums[Disposition.HOLD], abs=1e-12)
        assert found.rejects[at] == pytest.approx(sums[Disposition.REJECT], abs=1e-12)
    assert (found.second == 0).all()
    assert (found.answers == n).all()


def test_characteristic_of_single_answers_one_by_one():
    """Third route: every sequence of right and wrong answers of six people."""
    rule = ReleaseRule(test="TRIANGLE", limit=0.5, assessors=6, alpha=0.2, beta=0.2)
    pc, passes = 1 / 3 + 2 / 3 * 0.25, 0.0
    for answers in product([0, 1], repeat=6):
        finding = choice_test(TRIANGLE, sum(answers), 6, alpha=0.2, beta=0.2, pd_limit=0.5).finding
        if rule.at(finding) is Disposition.RELEASE:
            passes += np.prod([pc if right else 1 - pc for right in answers])
    assert rule.characteristic(0.25).passes[0] == pytest.approx(passes, abs=1e-12)


def test_retest_over_every_path_of_both_tastings():
    """Second route: every pair of counts, decided by the plan itself."""
    found = STAGED.characteristic(TRUTHS)
    for at, truth in enumerate(TRUTHS):
        pc = 1 / 3 + 2 / 3 * truth
        passes = second = beyond = 0.0
        for x in range(PLAN.first + 1):
            first, chance = PLAN.decide(x), mass(x, PLAN.first, pc)
            if first is not None:
                passes += chance * (first is Finding.SIMILAR)
                beyond += chance * (first is Finding.BEYOND_LIMIT)
                continue
            second += chance
            for y in range(PLAN.second + 1):
                both = chance * mass(y, PLAN.second, pc)
                passes += both * (PLAN.decide(x, y) is Finding.SIMILAR)
                beyond += both * (PLAN.decide(x, y) is Finding.BEYOND_LIMIT)
        assert found.passes[at] == pytest.approx(passes, abs=1e-12)
        assert found.findings[Finding.BEYOND_LIMIT][at] == pytest.approx(beyond, abs=1e-12)
        assert found.rejects[at] == pytest.approx(beyond, abs=1e-12)
        assert found.second[at] == pytest.approx(second, abs=1e-12)
        assert found.answers[at] == pytest.approx(PLAN.first + PLAN.second * second, abs=1e-9)
    assert found.passes + found.holds + found.rejects == pytest.approx(1.0, abs=1e-12)
    assert 1 - found.passes[0] <= 0.1
    assert found.passes[3] <= 0.1  # at the limit


def test_large_panels_against_simulation():
    rng, sessions = np.random.default_rng(3), 200_000
    rule = ReleaseRule(test="DUO_TRIO", limit=0.3, assessors=120)
    for truth in (0.0, 0.1, 0.2, 0.3):
        correct = rng.binomial(120, 0.5 + 0.5 * truth, sessions)
        findings = choice_test(DUO_TRIO, correct, 120).finding
        seen = np.isin(findings, ["SIMILAR", "DIFFERENT_WITHIN_LIMIT"]).mean()
        exact = rule.characteristic(truth).passes[0]
        assert abs(seen - exact) < 4.5 * np.sqrt(exact * (1 - exact) / sessions)


def test_difference_from_control_against_simulated_sessions():
    """Second route: `difference_from_control` itself judges simulated ballots."""
    rng, people, sessions = np.random.default_rng(11), 8, 300
    assessor = np.repeat([f"a{i}" for i in range(people)], 2)
    for truth in (0.3, 0.8, 2.4):
        # one attribute a session: independent tables in one call
        frames = []
        for session in range(sessions):
            blind = rng.normal(1.5, 0.5, people)
            batch = blind + rng.normal(truth, RATED.scatter, people)
            score = np.column_stack([blind, batch]).ravel()
            columns = {"assessor": assessor, "sample": ["blind", "batch"] * people}
            frames.append(pd.DataFrame({**columns, "attribute": session, "score": score}))
        judged = difference_from_control(pd.concat(frames), control="blind", limit=RATED.limit)
        findings = judged.against_control["finding"]
        found = RATED.characteristic(truth)
        for wanted, exact in (
            (["SIMILAR", "DIFFERENT_WITHIN_LIMIT"], found.passes[0]),
            (["BEYOND_LIMIT"], found.rejects[0]),
            (["DIFFERENT", "UNDECIDED"], found.holds[0]),
            *(([finding], chances[0]) for finding, chances in found.findings.items()),
        ):
            spread = np.sqrt(exact * (1 - exact) / sessions)
            assert abs(findings.isin(wanted).mean() - exact) <= 4.5 * spread + 1 / sessions
    at_limit = RATED.characteristic(RATED.limit)
    assert at_limit.passes[0] == pytest.approx(0.05, abs=1e-9)
    assert at_limit.findings[Finding.BEYOND_LIMIT][0] == pytest.approx(0.05, abs=1e-9)


def test_beyond_the_limit_is_a_noncentral_t():
    """Second route: scipy's noncentral t of the mean less the limit."""
    truths = np.linspace(-0.5, 4, 10)
    ours = RATED.characteristic(truths).findings[Finding.BEYOND_LIMIT]
    shift = (truths - RATED.limit) / (RATED.scatter / np.sqrt(8))
    assert ours == pytest.approx(nct.sf(t.ppf(0.95, 7), 7, shift), rel=1e-7, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    key=st.sampled_from(list(PROTOCOLS)),
    n=st.integers(2, 150),
    limit=st.floats(0.05, 0.9),
    alpha=st.floats(0.01, 0.4),
    beta=st.floats(0.01, 0.4),
    within=st.sampled_from([Disposition.RELEASE, Disposition.HOLD]),
)
def test_more_true_difference_never_passes_more(key, n, limit, alpha, beta, within):
    done = {**USUAL, Finding.DIFFERENT_WITHIN_LIMIT: within}
    rule = ReleaseRule(
        test=key, limit=limit, assessors=n, alpha=alpha, beta=beta, dispositions=done
    )
    found = rule.characteristic(np.linspace(0, 1, 41))
    # an unchanged batch is held with a chance of 0.001 for answers far below guessing
    assert (np.diff(found.passes) <= 0.001).all()
    assert found.passes + found.holds + found.rejects == pytest.approx(1.0, abs=1e-9)
    assert rule.characteristic(limit).passes[0] <= beta + 1e-12


@settings(max_examples=40, deadline=None)
@given(
    n=st.integers(2, 60),
    limit=st.floats(0.2, 3),
    scatter=st.floats(0.2, 3),
    within=st.sampled_from([Disposition.RELEASE, Disposition.HOLD]),
)
def test_more_points_away_never_pass_more(n, limit, scatter, within):
    done = {**USUAL, Finding.DIFFERENT_WITHIN_LIMIT: within}
    rule = dataclasses.replace(RATED, assessors=n, limit=limit, scatter=scatter, dispositions=done)
    found = rule.characteristic(np.linspace(-1, 5, 41))
    assert (np.diff(found.passes) <= 1e-10).all()
    assert found.passes + found.holds + found.rejects == pytest.approx(1.0, abs=1e-9)
    assert rule.characteristic(limit).passes[0] <= 0.05 + 1e-9


def test_retest_never_passes_more_at_a_larger_difference():
    found = STAGED.characteristic(np.linspace(0, 1, 101))
    assert (np.diff(found.passes) <= 1e-12).all()


def test_truths_may_be_dprime():
    dprime = np.array([0.0, 0.8, 1.6])
    pd_there = TRIANGLE.distinguishers(TRIANGLE.proportion_correct(dprime))
    one = STAGED.characteristic(dprime, scale="dprime")
    assert one.passes == pytest.approx(STAGED.characteristic(pd_there).passes, abs=1e-12)
    assert one.summary().columns[0] == "true dprime"
    assert len(one.summary().rows) == 3


def test_a_month_of_batches():
    month = STAGED.tastings(30, 0.1)
    one = STAGED.characteristic(0.1)
    assert month.tastings == pytest.approx(30 * (1 + one.second[0]))
    assert month.answers == pytest.approx(30 * one.answers[0])
    assert month.passes + month.holds + month.rejects == pytest.approx(30)
    assert ReleaseRule(test="TRIANGLE", limit=0.3, assessors=66).tastings(20, 0.0).answers == 1320


def test_rework_counts_among_the_rejected():
    rework = {**USUAL, Finding.BEYOND_LIMIT: Disposition.REWORK}
    rule = dataclasses.replace(STAGED, dispositions=rework)
    assert rule.characteristic(0.5).rejects == pytest.approx(STAGED.characteristic(0.5).rejects)


def test_default_rule_before_and_after():
    """The table of `sensory.base.findings`: rejected at any difference, and the rule of today.

    Second route: scipy's binomial tails at the counts 28, 29 and 43 of 66.
    """
    now = ReleaseRule(test="TRIANGLE", limit=0.3, assessors=66)
    old = {**USUAL, Finding.DIFFERENT: Disposition.REJECT}
    before = dataclasses.replace(now, dispositions=old)
    truths = np.array([0.0, 0.10, 0.15, 0.20, 0.30, 0.50])
    pc = 1 / 3 + 2 / 3 * truths
    was, does = before.characteristic(truths), now.characteristic(truths)
    assert (was.passes == does.passes).all()
    assert was.rejects == pytest.approx(binom.sf(28, 66, pc), rel=1e-9)
    assert does.rejects == pytest.approx(binom.sf(42, 66, pc), rel=1e-9)
    few = binom.cdf(10, 66, pc)  # so few that similarity is withheld
    assert does.holds == pytest.approx(binom.sf(28, 66, pc) - binom.sf(42, 66, pc) + few, rel=1e-9)
    shown = [[f"{100 * part:.0f}" for part in row] for row in zip(
        truths, does.passes, was.rejects, does.rejects, does.holds, strict=True)]  # fmt: skip
    for truth, passes, rejected, rejects, held in shown:
        assert (
            f"| {truth} % | {passes} % | {rejected} % | {rejects} % | {held} % |"
            in findings.__doc__
        )


def test_rules_of_old_do_beyond_the_limit_what_they_did_at_a_difference():
    plain = RATED.to_dict()
    plain["dispositions"] = {
        "DIFFERENT": "REWORK",
        "SIMILAR": "RELEASE",
        "DIFFERENT_WITHIN_LIMIT": "HOLD",
        "UNDECIDED": "HOLD",
    }
    rule = ReleaseRule.from_dict(plain)
    assert rule.at(Finding.BEYOND_LIMIT) is Disposition.REWORK
    assert "If the finding is beyond the limit: rework." in rule.words()


@pytest.mark.parametrize("rule", [STAGED, RATED, PROFILED], ids=lambda one: one.test)
def test_through_json_and_back(rule):
    again = ReleaseRule.from_dict(json.loads(json.dumps(rule.to_dict())))
    assert again.to_dict() == rule.to_dict()
    assert again.words() == rule.words()


def test_words():
    words = " ".join(STAGED.words())
    assert f"with {PLAN.first} assessors" in words
    assert "40 % of people notice in this test (d-prime " in words
    assert "there is no third tasting" in words
    assert "If the finding is undecided: hold." in words
    assert words.endswith("the authorised person of the plant decides.")
    assert "There is no retest" in " ".join(RATED.words())
    assert "1.5 points of the scale beyond the blind control" in " ".join(RATED.words())
    assert "sour 0.8, sweet 1" in " ".join(PROFILED.words())


RELEASE_ALL = dict.fromkeys(Finding, Disposition.RELEASE)

LESS = {**USUAL, Finding.DIFFERENT: Disposition.REJECT, Finding.BEYOND_LIMIT: Disposition.REWORK}


def instead(finding, disposition):
    """The usual dispositions but one."""
    return {"dispositions": {**USUAL, Finding[finding]: Disposition[disposition]}}


@pytest.mark.parametrize(
    ("rule", "change", "says"),
    [
        (STAGED, {"test": "TASTING"}, "test 'TASTING' is not known"),
        (RATED, {"test": "A_NOT_A"}, "A - not A is no test of similarity"),
        (RATED, {"test": "RANKING"}, "ranking is no test of similarity"),
        (RATED, {"assessors": 1}, "assessors must be at least 2"),
        (RATED, {"alpha": 0.5}, "alpha must be below 0.5"),
        (RATED, {"beta": 5}, "beta must lie strictly between 0 and 1"),
        (RATED, {"limit": None}, "limit is needed for DIFFERENCE_FROM_CONTROL"),
        (RATED, {"limit": 0}, "limit must be above 0"),
        (RATED, {"scatter": 0}, "scatter must be above 0"),
        (RATED, {"margins": {"sour": 1}}, "margins are for a profile"),
        (RATED, {"decides": " "}, "decides must name the role"),
        (RATED, {"retest": PLAN}, "retest is a plan for TRIANGLE"),
        (RATED, {"retest": "twice"}, "retest must be None or a two-stage plan; got str"),
        (PROFILED, {"limit": 1.0}, "needs margins, and no limit"),
        (PROFILED, {"margins": {}}, "needs margins, and no limit"),
        (PROFILED, {"margins": {"sour": 0}}, "margin of sour must be above 0"),
        (STAGED, {"limit": 1.2}, "limit must lie strictly between 0 and 1"),
        (STAGED, {"limit": 0.3}, "planned for a limit of 0.4, the rule has 0.3"),
        (STAGED, {"scatter": 1.0}, "scatter is for difference from control only"),
        (STAGED, {"assessors": 60}, f"assessors must be the {PLAN.first} of the first"),
        (STAGED, {"alpha": 0.01}, "retest has a true alpha of"),
        (STAGED, {"beta": 0.01}, "retest has a true beta of"),
        (STAGED, {"test": "DUO_TRIO"}, "retest is a plan for TRIANGLE, the test DUO_TRIO"),
        (STAGED, {"dispositions": RELEASE_ALL}, "must not release at DIFFERENT"),
        (STAGED, {"dispositions": {}}, "must say what is done at DIFFERENT"),
        (STAGED, {"dispositions": {"SAME": "RELEASE"}}, "must give one of RELEASE"),
        (STAGED, {"dispositions": None}, "must give one of RELEASE"),
        (STAGED, instead("UNDECIDED", "RELEASE"), "must not release at UNDECIDED"),
        (STAGED, instead("UNDECIDED", "RETEST"), "must not name RETEST"),
        (STAGED, instead("BEYOND_LIMIT", "RELEASE"), "must not release at BEYOND_LIMIT"),
        (STAGED, {"dispositions": LESS}, r"less at BEYOND_LIMIT \(REWORK\) than at DIFFERENT"),
        (STAGED, instead("SIMILAR", "HOLD"), "must not release at DIFFERENT_WITHIN_LIMIT and w"),
    ],
)
def test_rules_that_cannot_be(rule, change, says):
    with pytest.raises(ArgumentError, match=says):
        dataclasses.replace(rule, **change)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: PROFILED.characteristic(0.1), "for a profile it depends on"),
        (lambda: RATED.characteristic(0.1, scale="pd"), "scale must be points"),
        (lambda: STAGED.characteristic(0.1, scale="points"), "scale must be pd or dprime"),
        (lambda: STAGED.characteristic(1.1), "truths must lie between 0 and 1; got 1.1"),
        (lambda: STAGED.characteristic(-0.1, scale="dprime"), "truths must lie between 0"),
        (lambda: dataclasses.replace(RATED, scatter=None).characteristic(0), "scatter is needed"),
        (lambda: STAGED.tastings(-1, 0.1), "batches_a_month must lie between 0"),
        (lambda: ReleaseRule.from_dict({"test": "TRIANGLE"}), "ReleaseRule needs assessors"),
        (
            lambda: ReleaseRule.from_dict({**RATED.to_dict(), "colour": 1}),
            "ReleaseRule has no field colour",
        ),
        (
            lambda: ReleaseRule.from_dict({**STAGED.to_dict(), "retest": {"first": 3}}),
            "TwoStagePlan needs protocol",
        ),
    ],
)
def test_calls_that_cannot_be(call, says):
    with pytest.raises(SensoryError, match=says):
        call()
