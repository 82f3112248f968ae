"""One d-prime behind several sessions: against R, against closed forms and enumeration.

`r/evidence.R` (R 4.2.2) has the links as integrals of the decision rules, its own optimiser and,
for the scatter between sessions, its own quadrature; coverage by simulation stands in
`tests/calibration/test_evidence.py`.
"""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import chdtri, ndtr, ndtri
from scipy.stats import binom

from sensory import choice_test, combine_evidence
from sensory.base.errors import ArgumentError
from sensory.choices.protocols import DUO_TRIO, TRIANGLE
from sensory.models.confidence_sequence import always_limits
from sensory.models.joint_dprime import (
    Counts,
    always_dprime,
    common_dprime,
    difference_p,
    heterogeneity,
    spread_dprime,
)

R = json.loads((Path(__file__).parent / "r" / "evidence.json").read_text(encoding="utf-8"))


def counts(*sessions) -> Counts:
    return Counts(
        links=tuple(protocol.proportion_correct for protocol, _, _ in sessions),
        guesses=np.array([float(protocol.guess) for protocol, _, _ in sessions]),
        correct=np.array([right for _, right, _ in sessions], float),
        trials=np.array([trials for _, _, trials in sessions], float),
    )


@pytest.mark.parametrize("name", ["pair", "several"])
def test_the_joint_estimate_is_that_of_r(name):
    result = combine_evidence(pd.DataFrame(R[name]["sessions"]))
    row = result.groups.iloc[0]
    ours = row[["common", "common_low", "common_high"]]
    theirs = [R[name][key] for key in ("estimate", "low", "high")]
    np.testing.assert_allclose(ours.astype(float), theirs, rtol=1e-7)


def test_the_scatter_between_sessions_is_that_of_r():
    theirs = R["several"]["random"]
    row = combine_evidence(pd.DataFrame(R["several"]["sessions"])).groups.iloc[0]
    assert row["estimate"] == pytest.approx(theirs["mean"], rel=1e-4)
    assert row["spread"] == pytest.approx(theirs["spread"], rel=2e-3)  # flat at its top
    assert row["low"] < row["common_low"] < row["common_high"] < row["high"]


def test_one_protocol_pools_its_counts():
    """Equal links: the joint likelihood is that of the total, whatever the sessions."""
    total = choice_test("triangle", 34, 66)
    row = combine_evidence([choice_test("triangle", 14, 30), choice_test("triangle", 20, 36)])
    row = row.groups.iloc[0]
    assert row["estimate"] == pytest.approx(total.dprime, rel=1e-7)
    assert row["p"] == pytest.approx(total.p_difference, rel=1e-10)


def test_a_named_attribute_has_its_closed_form():
    frame = pd.DataFrame(
        {"protocol": "paired comparison", "correct": [20, 25], "trials": 32, "attribute": "sour"}
    )
    row = combine_evidence(frame).groups.iloc[0]
    assert row["estimate"] == pytest.approx(np.sqrt(2) * ndtri(45 / 64), rel=1e-7)
    # Its limits: where the binomial log-likelihood of 45 of 64 falls by half a chi-square.
    drop = chdtri(1, 0.05) / 2
    for end in ("low", "high"):
        pc = float(ndtr(row[end] / np.sqrt(2)))
        fall = 45 * np.log((45 / 64) / pc) + 19 * np.log((19 / 64) / (1 - pc))
        assert fall == pytest.approx(drop, rel=1e-6)


def test_the_p_of_several_protocols_is_that_of_enumeration():
    own = counts((TRIANGLE, 5, 8), (DUO_TRIO, 6, 7))
    weights = [
        float(np.log(pc / (1 - pc)) - np.log(guess / (1 - guess)))
        for pc, guess in (
            (TRIANGLE.proportion_correct(1.0), 1 / 3),
            (DUO_TRIO.proportion_correct(1.0), 1 / 2),
        )
    ]
    observed = weights[0] * 5 + weights[1] * 6
    by_hand = sum(
        binom.pmf(x, 8, 1 / 3) * binom.pmf(y, 7, 1 / 2)
        for x, y in itertools.product(range(9), range(8))
        if weights[0] * x + weights[1] * y >= observed - 1e-9
    )
    assert difference_p(own) == pytest.approx(by_hand, rel=1e-12)


def test_at_guessing_and_at_all_right_there_are_limits():
    low = common_dprime(counts((TRIANGLE, 5, 24), (TRIANGLE, 7, 24)), 0.95)
    assert (low.estimate, low.low) == (0.0, 0.0)
    assert 0 < low.high < 1.5
    high = combine_evidence([choice_test("triangle", [12, 12, 12], 12)]).groups.iloc[0]
    assert np.isinf(high["estimate"])
    assert np.isinf(high["high"])
    assert high["low"] > 3
    assert np.isnan(high["spread"])


def test_heterogeneity_is_seen_and_its_p_is_fair():
    apart = counts((TRIANGLE, 10, 40), (TRIANGLE, 36, 40), (DUO_TRIO, 20, 40))
    assert heterogeneity(apart, common_dprime(apart, 0.95), draws=999, seed=1) == 0.001
    spread = spread_dprime(apart, 0.95)
    assert spread.spread_low > 0
    rng = np.random.default_rng(4)
    p = []
    for _ in range(15):  # one d-prime: p at most 0.2 in a fifth
        drawn = [(TRIANGLE, rng.binomial(30, TRIANGLE.proportion_correct(1.5)), 30)] * 1
        drawn += [(DUO_TRIO, rng.binomial(30, DUO_TRIO.proportion_correct(1.5)), 30)]
        own = counts(*drawn)
        p.append(heterogeneity(own, common_dprime(own, 0.95), draws=99, seed=2))
    assert np.sum(np.array(p) <= 0.2) <= 8  # 3 expected; more once in 1,500 runs


def test_limits_for_all_looks_hold_at_all_looks():
    """Exact over all paths of four looks at sessions of eight: seldom ever wrong."""
    pc = float(TRIANGLE.proportion_correct(1.0))
    wrong = {0: 1.0}  # chance of a total with every look right so far
    for look in range(1, 5):
        reached: dict[int, float] = {}
        for total, chance in wrong.items():
            for right in range(9):
                more = reached.get(total + right, 0.0)
                reached[total + right] = more + chance * binom.pmf(right, 8, pc)
        wrong = {}
        for total, chance in reached.items():
            low, high = always_dprime(counts((TRIANGLE, total, 8 * look)), 0.90)
            if low <= 1.0 <= high:
                wrong[total] = chance
    assert 0.90 <= sum(wrong.values()) < 1
    low, high = always_dprime(counts((TRIANGLE, 60, 90)), 0.95)
    ends = always_limits(np.array([60.0]), np.array([90.0]), 0.95)
    by_share = [float(TRIANGLE.dprime(end)[0]) for end in ends]
    assert [low, high] == pytest.approx(by_share, abs=0.12)  # other weights, nearly the same


def test_what_asks_otherwise_stands_apart():
    frame = pd.DataFrame(
        {
            "protocol": ["triangle", "tetrad", "3-AFC", "triangle"],
            "correct": [14, 15, 20, 11],
            "trials": [30, 24, 30, 24],
            "attribute": ["", "", "sour", ""],
            "reference": ["R1", "R1", "R1", "R2"],
        }
    )
    result = combine_evidence(frame)
    kinds = result.groups[["reference", "attribute", "sessions"]].values.tolist()
    assert kinds == [["R1", "", 2], ["R1", "sour", 1], ["R2", "", 1]]
    alone = combine_evidence(frame.iloc[:2]).groups.iloc[0]
    assert result.groups.iloc[0]["estimate"] == alone["estimate"]
    assert "not joined with the others, as it asked for sour" in " ".join(result.says())


def test_the_sentences_say_no_more_than_the_counts():
    result = combine_evidence([choice_test("triangle", [14, 20], 30)], dprime_limit=2.0)
    text = " ".join((*result.says(), *result.cannot_tell))
    assert "it is open" in text
    assert "similarity is not concluded from a total" in text
    assert "With two sessions" in text
    assert repr(result).startswith("<CombinedEvidence: 2 sessions; d-prime ")


def test_sessions_that_do_not_agree_lead_with_that_and_not_with_their_average():
    counts = [30, 8, 11, 29, 11, 10, 12]
    apart = combine_evidence([choice_test("triangle", counts, 30)], dprime_limit=1.5)
    row = apart.groups.iloc[0]
    assert row["spread"] > row["estimate"]
    first, second, *rest = apart.says()
    assert "7 sessions with 210 answers do not speak with one voice" in first
    assert "by itself, and at whether the reference has drifted" in first
    assert f"{row['estimate']:.2f}" not in first
    assert f"is a d-prime of {row['estimate']:.2f} " in second
    assert "limits of the average" in rest[-1]
    # a scatter that chance explains is none, and neither is one below the average
    for alike in ([10, 11, 10], [28, 22, 15, 29]):
        usual = combine_evidence([choice_test("triangle", alike, 30)])
        assert "do not speak" not in " ".join(usual.says())
        assert "show on average a d-prime" in usual.says()[0]


@pytest.mark.parametrize(
    ("results", "sentence"),
    [
        ([], "results are empty"),
        (
            [3],
            "results must be results of choice_test or difference_from_control, or .* got int",
        ),
        ([choice_test("paired comparison", 9, 12, two_sided=True)], "two-sided comparison"),
        ([choice_test("paired comparison", 9, 12)], "asks for an attribute: say which"),
        (pd.DataFrame({"protocol": ["triangle"], "correct": [9]}), "lack the column trials"),
        (
            pd.DataFrame({"protocol": ["triangle", "duo"], "correct": [9, 1], "trials": [8, 9]}),
            "row 2: correct must not exceed trials; got 9 of 8. row 3: protocol 'duo'",
        ),
    ],
)
def test_what_cannot_be_joined_is_said(results, sentence):
    with pytest.raises(ArgumentError, match=sentence):
        combine_evidence(results)
