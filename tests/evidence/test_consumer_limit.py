"""Limits from consumers: the engines against R, known special cases, and bad designs.

`r/consumers.R` with its data and numbers (R 4.2.2, lme4 1.1.31, glmer with 25 nodes and lmer) is
the second route of both fits; coverage by simulation: `tests/calibration/test_consumer_limits.py`.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize
from scipy.special import chdtrc, ndtr
from scipy.stats import ttest_1samp

from sensory import limit_from_consumers
from sensory.base.errors import ArgumentError
from sensory.choices.protocols import TETRAD
from sensory.models.random_consumers import Rejections
from sensory.models.random_lines import fall_of, line_fit

HERE = Path(__file__).parent / "r"
R = json.loads((HERE / "consumers.json").read_text(encoding="utf-8"))
TABLE = pd.read_csv(HERE / "consumers.csv")
ANSWERS, LIKING = TABLE.drop(columns="liking"), TABLE.drop(columns="answer")


def wide(values: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    cells = TABLE.assign(value=values).pivot(index="consumer", columns="distance", values="value")
    return cells.to_numpy(float), cells.columns.to_numpy(float)


def design(rejects: list[list[int]], distances: list[float]) -> pd.DataFrame:
    """A table of consumers, one list a consumer."""
    return pd.DataFrame(
        {"consumer": f"C{who}", "sample": f"at {at:g}", "distance": at,
         "answer": "reject" if answer else "accept"}
        for who, answers in enumerate(rejects)
        for at, answer in zip(distances, answers, strict=True)
    )  # fmt: skip


@pytest.fixture(scope="module")
def result():
    return limit_from_consumers(ANSWERS, share=0.25)


def test_rejection_is_that_of_r(result):
    rejects, distances = wide((TABLE["answer"] == "reject").astype(float))
    fit = Rejections(rejects=rejects, distances=distances, se=np.zeros(5), share=0.25).fit()
    theirs = R["reject"]
    for name in ("intercept", "slope", "spread", "limit"):
        assert getattr(fit, name) == pytest.approx(theirs[name], rel=2e-6)
    assert fit.p_slope == pytest.approx(chdtrc(1, theirs["ratio_slope"]) / 2, rel=1e-4)
    assert fit.p_fit == pytest.approx(chdtrc(3, theirs["ratio_fit"]), rel=1e-4)
    assert result.estimate == pytest.approx(theirs["limit"], rel=2e-6)


def test_liking_is_that_of_r():
    liking, distances = wide(TABLE["liking"])
    fit, theirs = line_fit(liking, distances), R["liking"]
    for ours, name in (
        (fit.coefficients, "coefficients"),
        (fit.se, "se"),
        (fit.variances, "variances"),
    ):
        np.testing.assert_allclose(ours, theirs[name], rtol=2e-5)
    assert fit.deviance == pytest.approx(theirs["deviance"], abs=1e-6)
    limit = limit_from_consumers(LIKING, margin=0.5)
    assert limit.estimate == pytest.approx(0.5 / -theirs["coefficients"][1], rel=1e-4)


def test_with_all_samples_the_fall_is_a_t_test_of_the_consumers_own_slopes():
    rng = np.random.default_rng(2)
    x = np.array([0.0, 1.0, 2.0, 3.0])
    liking = 7 - rng.normal(0.8, 0.5, (25, 1)) * x + rng.normal(0, 0.5, (25, 4))
    fall = fall_of(line_fit(liking, x), x, np.zeros(4), 0.95)
    slopes = np.polyfit(x, liking.T, 1)[0]
    interval = ttest_1samp(-slopes, 0).confidence_interval(0.95)
    assert (fall.low, fall.high) == pytest.approx((interval.low, interval.high), rel=1e-5)


def test_consumers_without_a_contradiction_give_the_limit_of_their_thresholds():
    """Second route: normal thresholds known to lie between two samples, maximum likelihood."""
    counts, at = [3, 9, 18, 20, 10], np.array([0.5, 1.0, 1.5, 2.0])
    rejects = [
        [int(place >= k) for place in range(4)] for k, n in enumerate(counts) for _ in range(n)
    ]
    ours = limit_from_consumers(design(rejects, list(at)), share=0.25)
    ends = np.array([-np.inf, *at, np.inf])

    def loss(theta):
        mass = np.diff(ndtr((ends - theta[0]) / np.exp(theta[1])))
        return -float(np.array(counts) @ np.log(mass))

    mean, log_sd = minimize(loss, [1.2, -1.0], method="Nelder-Mead").x
    assert ours.estimate == pytest.approx(mean - 0.6745 * np.exp(log_sd), rel=0.02)
    assert ours.low < ours.estimate < ours.high


def test_limit_is_the_lower_one_and_is_carried_to_each_test(result):
    assert result.limit == result.low < result.estimate < result.high
    row = result.tests.set_index("protocol").loc["tetrad"]
    right = float(TETRAD.proportion_correct(result.limit))
    assert row["pd_limit"] == pytest.approx((right - 1 / 3) * 1.5)
    assert f"d-prime {result.limit:.3g}" in result.says()[-1]
    assert limit_from_consumers(ANSWERS, share=0.25, unit="points").tests.empty
    assert result.plot().svg().startswith("<svg")
    assert list(result.table()["sample"]) == ["reference", "a", "b", "c", "d"]


def test_errors_of_the_distances_widen_the_limits(result):
    known = ANSWERS.assign(se=np.where(ANSWERS["distance"] > 0, 0.25, 0.0))
    wider = limit_from_consumers(known, share=0.25)
    assert wider.high - wider.low > 1.1 * (result.high - result.low)
    assert result.exact
    assert not wider.exact


RISING = [[0, 0, 1], [0, 1, 1], [0, 0, 0], [1, 1, 1], [0, 1, 0], [0, 0, 1]]
DESIGNS = {
    "One consumer cannot speak": design([[0, 0, 1]], [0, 1, 2]),
    "6 consumers are too few": design(RISING, [0, 1, 2]),
    "The samples have 2 distances": design([[0, 1], [0, 0], [1, 1]] * 5, [0, 1]),
    "Nobody rejected": design([[0, 0, 0]] * 12, [0, 1, 2]),
    "Everybody rejected every": design([[1, 1, 1]] * 12, [0, 1, 2]),
    "Up to 1 everybody accepted": design([[0, 0, 1]] * 12, [0, 1, 2]),
    "Only at 1 did consumers differ": design([[0, 0, 1], [0, 1, 1]] * 6, [0, 1, 2]),
    "Rejection is not seen to rise": design([[1, 0, 0], [0, 0, 1], [1, 1, 0]] * 6, [0, 1, 2]),
    "Already without any difference": design(RISING + [[1, 1, 1]] * 12, [0, 1, 2]),
}


@pytest.mark.parametrize("begins", DESIGNS)
def test_a_design_that_gives_no_limit_gets_a_sentence_and_no_number(begins):
    result = limit_from_consumers(DESIGNS[begins], share=0.25)
    assert result.why_none.startswith(begins)
    assert result.limit is None
    assert np.isnan(result.estimate)
    assert result.tests.empty
    assert result.says()[-1] == result.why_none
    assert "no limit" in repr(result)


def test_liking_that_never_moves_and_liking_that_rises_get_a_sentence():
    same = LIKING.assign(liking=6.0)
    assert limit_from_consumers(same, margin=0.5).why_none.startswith("Every consumer liked all")
    rising = LIKING.assign(liking=LIKING["distance"] + LIKING["liking"] / 100)
    result = limit_from_consumers(rising, margin=0.5)
    assert result.why_none.startswith("Liking is not seen to fall")
    assert result.limit is None


def test_bad_cells_are_named_all_at_once():
    bad = ANSWERS.head(6).assign(answer=["accept", "maybe", "reject", "accept", "reject", "accept"])
    bad["distance"] = [0, -1, 1.2, 1.8, 2.6, 3.0]
    with pytest.raises(ArgumentError, match=r"row 3, column distance.*row 3, column answer.*maybe"):
        limit_from_consumers(bad, share=0.25)
    with pytest.raises(ArgumentError, match="answered on a twice"):
        limit_from_consumers(pd.concat([ANSWERS, ANSWERS.iloc[[1]]]), share=0.25)
    with pytest.raises(ArgumentError, match="needs share, and nothing else"):
        limit_from_consumers(ANSWERS, margin=0.5)
    with pytest.raises(ArgumentError, match="one of the columns"):
        limit_from_consumers(TABLE, share=0.5)
