"""Graders at the line: rates, agreement and votes against printed values and enumeration."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy.stats import beta, binom

from sensory import check_graders, explain_batches, grading_rule, limit_from_history, ring_test
from sensory.base.errors import ArgumentError
from sensory.evidence.graders import NO_TRUTH
from sensory.models.agreement import linear_weights, vote_masses, weighted_kappa
from sensory.release.panel_studies import GRADERS, RING, THRESHOLD

SAS = np.array([[0.0, 4, 1], [0, 8, 0], [0, 1, 5]])


def test_kappa_of_printed_tables():
    """SAS PROC FREQ's printed example (AGREE): 0.4842 (0.1380), linear 0.4701 (0.1457)."""
    for weights, printed in ((np.eye(3), (0.4842, 0.138)), (linear_weights(3), (0.4701, 0.1457))):
        np.testing.assert_allclose(weighted_kappa(SAS, weights), printed, atol=5e-5)


def test_kappa_of_cohen():
    """Cohen (1968), Psychological Bulletin 70: 0.492, and 0.348 with weights of disagreement."""
    share = np.array([[0.44, 0.07, 0.09], [0.05, 0.2, 0.05], [0.01, 0.03, 0.06]])
    apart = np.array([[0.0, 1, 3], [1, 0, 6], [3, 6, 0]])
    assert weighted_kappa(share, np.eye(3))[0] == pytest.approx(0.492, abs=5e-4)
    assert weighted_kappa(share, 1 - apart / 6)[0] == pytest.approx(0.348, abs=5e-4)


def test_the_whole_scale_counts_though_a_grade_is_never_used():
    """Ratings of 20 subjects on six grades, one of them used by nobody: 0.1262 with the scale
    kept, 0.1459 without it (recomputed by irr::kappa2 of R 4.2)."""
    pairs = [
        "32",
        "61",
        "44",
        "64",
        "23",
        "42",
        "21",
        "46",
        "31",
        "31",
        "21",
        "32",
        "33",
        "33",
        "21",
        "21",
        "13",
        "33",
        "32",
        "42",
    ]
    rows = [
        {"grader": who, "sample": place, "grade": pair[seat]}
        for place, pair in enumerate(pairs)
        for seat, who in enumerate(("A", "B"))
    ]
    row = check_graders(pd.DataFrame(rows), scale="123456").pairs.iloc[0]
    assert row["kappa"] == pytest.approx(0.1262136, abs=1e-6)
    less = check_graders(pd.DataFrame(rows), scale="12346").pairs.iloc[0]
    assert less["kappa"] == pytest.approx(0.1459075, abs=1e-6)


def graded(**by_grader):
    """Grades by grader as text, 'o' for out; the first half of the samples is spiked."""
    return pd.DataFrame(
        {
            "grader": name,
            "sample": place,
            "truth": "out" if place < len(text) / 2 else "in",
            "grade": "out" if letter == "o" else "in",
        }
        for name, text in by_grader.items()
        for place, letter in enumerate(text)
    )


def test_rates_and_their_limits():
    result = check_graders(graded(Ada="ooooooooii" + "oiiiiiiiii"))
    row = result.graders.iloc[0]
    assert (row["hits"], row["spiked"], row["false_alarms"], row["controls"]) == (8, 10, 1, 10)
    # Clopper and Pearson by the beta distribution.
    limits = [beta.ppf(0.025, 8, 3), beta.ppf(0.975, 9, 2)]
    np.testing.assert_allclose(row[["hit_low", "hit_high"]].astype(float), limits)
    assert row["dprime"] == pytest.approx(0.8416212 + 1.2815516, abs=1e-6)  # printed normal table
    assert result.says()[0].startswith("Ada: 8 of 10 spiked found")


def test_votes_by_enumeration():
    hit, false = np.array([0.9, 0.7, 0.85]), np.array([0.1, 0.2, 0.05])
    rules = grading_rule(hit, false).rules
    for votes in (1, 2, 3):
        for rates, column, stops in ((false, "good_stopped", True), (hit, "bad_passed", False)):
            chance = sum(
                np.prod(np.where(cast, rates, 1 - rates))
                for cast in product((0, 1), repeat=3)
                if (sum(cast) >= votes) is stops
            )
            assert rules[column].iloc[votes - 1] == pytest.approx(chance)


def test_votes_of_equal_graders_are_binomial():
    """NIST/SEMATECH e-Handbook 6.2.3.2 (from memory): at most 3 of 52 at 5 %, 0.738 exact."""
    masses = vote_masses(np.full(52, 0.05))
    assert masses[:4].sum() == pytest.approx(0.7383, abs=5e-5)
    np.testing.assert_allclose(masses, binom.pmf(np.arange(53), 52, 0.05), rtol=1e-10)


def test_the_rule_keeps_both_risks_and_stops_fewest_good_batches():
    rule = grading_rule([0.97] * 5, [0.05] * 5)
    kept = rule.rules.query("good_stopped <= 0.05 and bad_passed <= 0.1")
    assert rule.votes == kept["votes"].max()
    assert rule.enough is None


def test_graders_who_cannot_see_the_limit_are_told_so():
    rule = grading_rule([0.6] * 3, [0.2] * 3)
    assert rule.votes is None
    people, votes = rule.enough
    assert binom.sf(votes - 1, people, 0.2) <= 0.05
    assert binom.cdf(votes - 1, people, 0.6) <= 0.1
    fewer = [
        (n, k)
        for n in range(1, people)
        for k in range(1, n + 1)
        if binom.sf(k - 1, n, 0.2) <= 0.05 and binom.cdf(k - 1, n, 0.6) <= 0.1
    ]
    assert not fewer
    assert "cannot see the limit" in rule.says()[0]
    blind = grading_rule([0.2] * 3, [0.2] * 3)
    assert blind.enough is None
    assert "train them, or change the limit" in blind.says()[1]


def test_rule_of_a_check_keeps_away_from_certainty():
    check = check_graders(graded(Ada="ooooo" + "iiiii", Bo="ooooo" + "iiiii"))
    rule = check.rule(bad_passed=0.2)
    assert (rule.hit_rates < 1).all()
    assert (rule.false_rates > 0).all()
    with pytest.raises(ArgumentError, match="spiked samples and controls of every grader"):
        check_graders(graded(Ada="oo").query("truth == 'out'")).rule()


def test_grades_without_a_truth_show_agreement_only():
    frame = graded(Ada="oiio", Bo="oioo").drop(columns="truth")
    result = check_graders(frame)
    assert NO_TRUTH in result.cannot_tell
    assert len(result.says()) == 1
    assert result.graders["hit_rate"].isna().all()
    alike = check_graders(graded(Ada="iiii", Bo="iiii").drop(columns="truth"))
    assert alike.pairs["kappa"].isna().all()


def test_spellings_are_one_grader():
    frame = graded(Ada="oiio")
    frame.loc[0, "grader"] = " ada "
    assert len(check_graders(frame).graders) == 1


@pytest.mark.parametrize(
    ("cells", "match"),
    [
        ({"grade": "soso"}, "row 2: soso is not one of in, out"),
        ({"truth": "maybe"}, "row 2: truth is in, out or empty"),
        ({"sample": 1}, "row 3: Ada graded 1 before"),
        ({"grader": ""}, "row 2 lacks its grader"),
    ],
)
def test_cells_that_cannot_be_used(cells, match):
    frame = graded(Ada="oiio").astype(object)
    for name, value in cells.items():
        frame.loc[0, name] = value
    with pytest.raises(ArgumentError, match=match):
        check_graders(frame)


def test_faults_are_named_by_the_rows_of_their_file():
    """Two title lines and an empty one above the headings, an empty line among the rows."""
    text = "Line 2,,\nMay,,\n,,\ngrader,sample,grade\nAda,1,in\n,,\nAda,2,soso\nAda,1,out\n"
    rows = GRADERS.rows_of(text.encode())
    with pytest.raises(ArgumentError, match=r"row 7: soso is not .* row 8: Ada graded 1 before"):
        GRADERS.answer(rows, {})
    steps = text.replace("grader", "assessor").replace("sample,grade", "concentration,correct")
    rows = THRESHOLD.rows_of(
        steps.replace("soso", "3").replace("in", "1").replace("out", "0").encode()
    )
    with pytest.raises(ArgumentError, match=r"row 7, correct: 3.0 cannot be"):
        THRESHOLD.answer(rows, {})
    ring = "Ring test,,\n,,\npanel,sample,result\nnorth,A,5\n,,\nnorth,,5.1\nsouth,A,5\n"
    with pytest.raises(ArgumentError, match=r"^row 6 lacks its panel or sample\.$"):
        RING.answer(RING.rows_of(ring.encode()), {})
    alone = ring.replace("north,,5.1", "north,A,5.2") + "east,A,5\neast,A,5\n"
    with pytest.raises(ArgumentError, match=r"^row 7: south needs 2 results on A"):
        RING.answer(RING.rows_of(alone.encode()), {})


@pytest.mark.parametrize(
    ("call", "columns", "good", "bad", "match"),
    [
        (ring_test, ("panel", "sample", "result"), ("N", "A", 5.0), ("N", "A", "high"), "row 41"),
        (
            explain_batches,
            ("batch", "estimate", "se", "line"),
            (None, 0.4, 0.2, "1"),
            (None, 0.4, -1.0, "1"),
            "row 41, column se: got -1.0",
        ),
        (
            limit_from_history,
            ("batch", "estimate", "se"),
            (None, 0.4, 0.2),
            (None, 0.4, 0.0),
            "batches, row 41: estimate must be",
        ),
        (
            limit_from_history,
            ("batch", "protocol", "correct", "trials"),
            (None, "triangle", 9, 24),
            (None, "triangle", 25, 24),
            "results: row 41: correct must not exceed",
        ),
    ],
)
def test_tables_taken_from_a_file_name_its_rows(call, columns, good, bad, match):
    rows = [list(good) for _ in range(9)] + [list(bad)]
    for at, row in enumerate(rows):
        row[0] = row[0] or f"B{at}"
    there = pd.Index([*range(12, 21), 41], name="row")
    with pytest.raises(ArgumentError, match=match):
        call(pd.DataFrame(rows, columns=list(columns), index=there))
    with pytest.raises(ArgumentError, match=match.replace("41", "11")):
        call(pd.DataFrame(rows, columns=list(columns)))


def test_calls_that_cannot_be():
    with pytest.raises(ArgumentError, match="one rate a grader; got 2 and 1"):
        grading_rule([0.9, 0.9], [0.1])
    with pytest.raises(ArgumentError, match="hit_rates"):
        grading_rule([1.2], [0.1])
    with pytest.raises(ArgumentError, match="out must be some of"):
        check_graders(graded(Ada="oi"), out=["in", "out"])
    with pytest.raises(ArgumentError, match="two grades or more"):
        check_graders(graded(Ada="oi"), scale=["in"])
