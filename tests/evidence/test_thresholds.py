"""Thresholds of ascending series: against R, printed values, and series that have none.

`r/threshold.R` (R 4.2.2, lme4 1.1.31) fits the same curve by `glm` and `lme4::glmer` with a link of
their own, and by Simpson's rule with `optim`, which gives the profile limits too. Coverage by
simulation stands in `tests/calibration/test_threshold.py`.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensory import detection_threshold
from sensory.base.errors import ArgumentError
from sensory.evidence.ascending import ABOVE, BELOW
from sensory.evidence.thresholds import NO_RISE, TOO_HIGH, TOO_LOW
from sensory.models.threshold import Answers, best_curve

R = json.loads((Path(__file__).parent / "r" / "threshold.json").read_text(encoding="utf-8"))
STEPS = (1, 2, 4, 8, 16, 32)


def series(*rows, steps=STEPS):
    """An assessor a row, '+' for right, '-' for wrong, ' ' for not tasted."""
    return pd.DataFrame(
        {"assessor": f"P{number}", "concentration": at, "correct": right == "+"}
        for number, row in enumerate(rows)
        for at, right in zip(steps, row, strict=True)
        if right != " "
    )


GOOD = ("-+-+++", "--+-++", "+--+++", "-+++++", "---+-+", "+-++++")


@pytest.fixture(scope="module")
def of_r():
    rows = ["".join("+" if each == "1" else "-" for each in row) for row in R["right"]]
    return detection_threshold(series(*rows, steps=2.0 ** np.arange(8)), noticed_at=[20.0])


def test_curve_and_limits_are_those_of_r(of_r):
    curve = of_r.curve
    own, between = (curve.width * math.sqrt(s) for s in (1 - curve.between, curve.between))
    for name in ("glmer", "simpson"):
        theirs = [R[name][key] for key in ("middle", "own", "between", "log_likelihood")]
        np.testing.assert_allclose(
            [curve.middle, own, between, curve.log_likelihood], theirs, rtol=1e-5
        )
    likely = of_r.groups.iloc[0]
    limits = np.log10(likely[["low", "high"]].astype(float))
    np.testing.assert_allclose(limits, [R["simpson"]["low"], R["simpson"]["high"]], rtol=1e-5)
    assert likely["factor"] == pytest.approx(10 ** R["simpson"]["between"], rel=1e-5)


def test_assessors_who_are_alike_have_the_likelihood_of_glm():
    right = np.array([[int(each) for each in row] for row in R["right"]], float)
    answers = Answers(at=np.log10(2.0) * np.arange(8), right=right, wrong=1 - right, guess=1 / 3)
    theirs = R["glm"]
    value = answers.log_likelihood(theirs["middle"], theirs["width"], 0.0)
    assert value == pytest.approx(theirs["log_likelihood"], rel=1e-8)
    for shift in (-0.01, 0.01):  # and it is the best of those
        assert answers.log_likelihood(theirs["middle"] + shift, theirs["width"], 0.0) < value


def test_half_dose_of_rotenone():
    """Finney (1971), Probit Analysis: 4.85 mg/l; recomputed by glm of R 4.2, log10 0.68534."""
    dose, dead = np.array([2.6, 3.8, 5.1, 7.7, 10.2]), np.array([[6.0, 16, 24, 42, 44]])
    wrong = np.array([[50.0, 48, 46, 49, 50]]) - dead
    curve = best_curve(Answers(at=np.log10(dose), right=dead, wrong=wrong, guess=0.0))
    assert curve.middle == pytest.approx(0.68534, abs=5e-5)


def test_share_right_at_the_threshold_is_half_above_guessing():
    """Abbott's formula as in ASTM E1432 and ISO 13301 (from memory): 2/3 of three choices."""
    result = detection_threshold(series(*GOOD))
    at = result.groups["estimate"].iloc[0]
    assert result.share_right(at) == pytest.approx(2 / 3)
    assert result.share_right(1e9) == pytest.approx(1)


def test_best_estimates_count_from_the_last_miss():
    """ASTM E679 (rule from memory; no printed example could be had)."""
    frame = series("+--++", "+++++", "++++-", "-   +", steps=(1, 2, 4, 8, 16))
    own = detection_threshold(frame).assessors
    wanted = [4 * math.sqrt(2), 1 / math.sqrt(2), 16 * math.sqrt(2), 4]
    np.testing.assert_allclose(own["best_estimate"], wanted)
    assert own["end"].tolist() == ["", BELOW, ABOVE, ""]


def test_best_estimates_make_a_geometric_mean():
    best = detection_threshold(series(*GOOD)).groups.iloc[1]
    logs = np.log([4 * math.sqrt(2)] * 1 + [8 * math.sqrt(2)] * 1)
    own = np.log(detection_threshold(series(*GOOD)).assessors["best_estimate"])
    assert set(np.round(logs, 9)) <= set(np.round(own, 9))
    assert best["estimate"] == pytest.approx(math.exp(own.mean()))
    half = 2.570582 * own.std(ddof=1) / math.sqrt(6)  # t, 5 degrees of freedom (printed tables)
    assert best["high"] == pytest.approx(math.exp(own.mean() + half), rel=1e-6)


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        (("------", "--+---"), TOO_LOW),
        (("-+-+-+", "+-+-+-", "-++-+-"), TOO_LOW),
        (("++++++", "+++++-", "++++++"), TOO_HIGH),
        (("+++---", "+++-+-"), NO_RISE),
        (("---+++", "---+++", "---+++"), "between 4 and 8"),
        (("-+-+++",), "between 4 and 8"),
    ],
)
def test_series_without_a_threshold_get_a_sentence_and_no_number(rows, reason):
    result = detection_threshold(series(*rows), noticed_at=[5.0])
    assert result.curve is None
    assert reason in result.says()[0]
    assert result.groups.iloc[0][["estimate", "low", "high"]].isna().all()
    assert result.noticed.empty
    with pytest.raises(ArgumentError, match="there is no curve"):
        result.share_right(1.0)


def test_open_limits_are_said():
    result = detection_threshold(series("--+-++", "-+--+-", "--++-+", "---+-+"))
    low, high = result.groups.iloc[0][["low", "high"]]
    assert low < 1
    assert math.isnan(high)
    assert "(at least 0.0479, 95 %)" in result.says()[0]


def test_units_order_and_spellings_change_nothing(of_r):
    frame = series(*GOOD)
    first = detection_threshold(frame, noticed_at=[10.0])
    other = frame.assign(
        concentration=frame["concentration"] * 1000,
        assessor=[f" {name.lower()}" if place % 2 else name for place, name in
                  enumerate(frame["assessor"])],
    ).sample(frac=1, random_state=3)  # fmt: skip
    again = detection_threshold(other, noticed_at=[10_000.0])
    assert again.groups["estimate"].iloc[0] == pytest.approx(
        1000 * first.groups["estimate"].iloc[0], rel=1e-4
    )
    np.testing.assert_allclose(again.noticed.iloc[0, 1:], first.noticed.iloc[0, 1:], rtol=1e-3)
    assert len(again.assessors) == 6


def test_shares_that_notice_rise_with_the_concentration():
    rows = detection_threshold(series(*GOOD), noticed_at=[2.0, 6.0, 30.0]).noticed
    assert rows["share"].is_monotonic_increasing
    assert ((rows["low"] <= rows["share"]) & (rows["share"] <= rows["high"])).all()


def test_counts_are_the_same_as_their_answers():
    single = series(*GOOD)
    counts = single.groupby(["assessor", "concentration"], as_index=False)["correct"].sum()
    counts["trials"] = 1
    twice = pd.concat([counts, counts])
    added = counts.assign(correct=2 * counts["correct"], trials=2)
    assert detection_threshold(twice).groups.equals(detection_threshold(added).groups)


@pytest.mark.parametrize(
    ("cells", "match"),
    [
        ({"concentration": 0}, "row 2, concentration: 0 cannot be"),
        ({"concentration": "strong"}, "row 2, concentration: strong cannot be"),
        ({"correct": 2}, "row 2, correct: 2 cannot be"),
        ({"assessor": " "}, "row 2, assessor: is empty"),
    ],
)
def test_cells_that_cannot_be_used(cells, match):
    frame = series(*GOOD).astype(object)
    for name, value in cells.items():
        frame.loc[0, name] = value
    with pytest.raises(ArgumentError, match=match):
        detection_threshold(frame)


def test_calls_that_cannot_be():
    with pytest.raises(ArgumentError, match="one concentration, 1; a threshold needs two"):
        detection_threshold(series("+", "-", steps=(1,)))
    with pytest.raises(ArgumentError, match="lack the column"):
        detection_threshold(pd.DataFrame({"assessor": ["A"]}))
    with pytest.raises(ArgumentError, match="is not known"):
        detection_threshold(series(*GOOD), protocol="six cups")


def test_what_it_cannot_tell_stands_beside_it():
    alone = detection_threshold(series("-+--++-+++", steps=2.0 ** np.arange(10)))
    assert alone.cannot_tell[0].startswith("One assessor answered")
    assert "food law" in alone.cannot_tell[-1]
    assert repr(alone).startswith("<DetectionThreshold: 1 assessor; ")
