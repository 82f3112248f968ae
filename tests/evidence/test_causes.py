"""Causes of deviations: the engine against R, the search against planted causes and bad designs.

`r/causes.R` with its data and numbers (R 4.2.2, metafor 3.8.1) is the second route of the fit;
published examples of it stand in `tests/references` (m36, m37); levels and limits by simulation in
`tests/calibration/test_cause_levels.py`.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensory import explain_batches
from sensory.base.errors import ArgumentError
from sensory.models.known_error import known_error_fit

HERE = Path(__file__).parent / "r"
R = json.loads((HERE / "causes.json").read_text(encoding="utf-8"))
YEAR = pd.read_csv(HERE / "causes.csv")


def dummies(*columns: str) -> list[np.ndarray]:
    return [pd.get_dummies(YEAR[column]).to_numpy(float) for column in columns]


MODELS = {
    "alone": ([], []),
    "drift": ([YEAR["drift"]], []),
    "lots": ([YEAR["drift"]], dummies("sweetener_lot", "fruit_concentrate_lot")),
    "cause": (
        [YEAR["drift"], YEAR["sweetener_lot"] == "SW-2604"],
        dummies("fruit_concentrate_lot", "flavour_lot"),
    ),
}


@pytest.mark.parametrize("name", MODELS)
def test_restricted_likelihood_is_that_of_r(name):
    columns, groups = MODELS[name]
    values, se = YEAR["estimate"].to_numpy(), YEAR["se"].to_numpy()
    design = np.column_stack([np.ones(len(values)), *columns]).astype(float)
    fit = known_error_fit(values, se, design, [np.eye(len(values)), *groups])
    theirs = R[name]
    for ours, key in (
        (fit.variances, "variances"),
        (fit.coefficients, "coefficients"),
        (np.sqrt(np.diag(fit.covariance)), "se"),
    ):
        np.testing.assert_allclose(ours, np.atleast_1d(theirs[key]), rtol=2e-6, atol=1e-8)
    assert fit.deviance == pytest.approx(theirs["deviance"], abs=1e-8)


def test_without_scatter_it_is_least_squares_by_known_weights():
    rng = np.random.default_rng(1)
    design, se = np.column_stack([np.ones(9), np.arange(9.0)]), rng.uniform(0.1, 0.3, 9)
    values = rng.normal(0, 0.001, 9)  # less scatter than noise: the variance is 0
    fit = known_error_fit(values, se, design, [np.eye(9)])
    fixed = known_error_fit(values, se, design)
    np.testing.assert_allclose(fixed.coefficients, fit.coefficients, atol=1e-14)
    plain = np.linalg.lstsq(design / se[:, None], values / se, rcond=None)[0]
    assert fit.variances[0] == 0
    np.testing.assert_allclose(fit.coefficients, plain, atol=1e-14)


@pytest.mark.parametrize("name", MODELS)
def test_covariance_and_projection_are_those_of_the_whole_matrix(name):
    columns, groups = MODELS[name]
    values, se = YEAR["estimate"].to_numpy(), YEAR["se"].to_numpy()
    design = np.column_stack([np.ones(len(values)), *columns]).astype(float)
    groups = [np.eye(len(values)), *groups]
    fit = known_error_fit(values, se, design, groups)
    total = np.diag(se**2)
    for variance, group in zip(fit.variances, groups, strict=True):
        total += variance * group @ group.T
    inverse = np.linalg.inv(total)
    weighted = inverse @ design
    information = design.T @ weighted
    projection = inverse - weighted @ np.linalg.solve(information, weighted.T)
    logs = np.linalg.slogdet(total)[1] + np.linalg.slogdet(information)[1]
    free = (len(values) - design.shape[1]) * np.log(2 * np.pi)
    np.testing.assert_allclose(fit.total, total, rtol=1e-12, atol=1e-14)
    np.testing.assert_allclose(fit.projection, projection, rtol=1e-8, atol=1e-8)
    assert fit.deviance == pytest.approx(logs + values @ projection @ values + free, abs=1e-8)


def lots(rng, batches=30, moved=1.0, **columns):
    """Batches of three lots of sugar, of which the second is moved."""
    lot = np.repeat(["S1", "S2", "S3"], batches // 3)
    frame = pd.DataFrame(
        {
            "batch": [f"B{at}" for at in range(1, batches + 1)],
            "estimate": rng.normal(0.1, 0.2, batches) + moved * (lot == "S2"),
            "se": 0.2,
            "sugar lot": lot,
        }
    )
    return frame.assign(**columns)


@pytest.fixture
def rng():
    return np.random.default_rng(2)


def test_a_lot_that_moved_is_named_with_its_size(rng):
    result = explain_batches(lots(rng))
    assert result.named == ("sugar lot S2",)
    row = result.causes.iloc[0]
    assert row["batches"] == 10
    assert row["low"] < 1.0 < row["high"]
    # The same by hand: equal errors, so the estimate is a difference of means.
    values = lots(np.random.default_rng(2))["estimate"].to_numpy()
    by_hand = values[10:20].mean() - np.r_[values[:10], values[20:]].mean()
    assert row["estimate"] == pytest.approx(by_hand)
    assert result.of_batch("B11") == (result.headlines[0],)
    assert result.of_batch("B1") == ()


def test_where_nothing_moved_no_cause_is_named(rng):
    result = explain_batches(lots(rng, moved=0.0))
    assert result.named == ()
    assert result.says()[-1].startswith("No cause stands out; the nearest, sugar lot")


def test_two_names_of_the_same_batches_are_not_told_apart(rng):
    frame = lots(rng)
    frame["flavour lot"] = np.where(frame["sugar lot"] == "S2", "F2", "F1")
    result = explain_batches(frame)
    assert result.named == ("sugar lot S2 or flavour lot F2",)
    assert any("nothing here tells them apart" in doubt for doubt in result.doubts)
    assert result.proposals[0].batches == ()
    assert "none is on record" in result.proposals[0].words
    # A batch that was made and not tasted has one without the other.
    waiting = {"batch": "B31", "sugar lot": "S2", "flavour lot": "F1"}
    more = pd.concat([frame, pd.DataFrame([waiting])], ignore_index=True)
    assert explain_batches(more).proposals[0].batches == ("B31",)


def test_a_lot_that_ran_on_one_line_only_is_said_to_have(rng):
    frame = lots(rng)
    frame["line"] = np.where(frame["sugar lot"] == "S2", "line 2", "line 1")
    frame.loc[[0, 1], "line"] = "line 2"
    frame.loc[[0, 1], "estimate"] = [0.2, 0.5]
    doubts = " ".join(explain_batches(frame).doubts)
    assert "Sugar lot S2 ran on line 2 only" in doubts
    assert "not enough to tell the two apart" in doubts


def test_rivals_are_told_apart_by_the_batches_that_have_one_of_them(rng):
    frame = lots(rng)
    frame["line"] = np.where(frame["sugar lot"] == "S2", "line 2", "line 1")
    frame.loc[[0], "line"] = "line 2"
    frame.loc[[0], "estimate"] = 0.9
    result = explain_batches(frame)
    (proposal,) = result.proposals
    assert proposal.batches == ("B1",)
    assert proposal.se_after < proposal.se < np.inf


def test_the_drift_of_the_reference_is_taken_out_first(rng):
    frame = lots(rng, batches=60, moved=0.0)
    drift = np.linspace(0, 1, 60) ** 2
    frame["estimate"] += 0.8 * drift
    with_drift = explain_batches(frame.assign(drift=drift, reference="R1"))
    assert with_drift.named == ("drift of reference R1, at its largest",)
    assert "sugar lot S3" in explain_batches(frame).named  # the false lead without it


def test_a_time_on_a_line_is_named_where_nothing_on_record_explains_it(rng):
    days = pd.date_range("2026-01-05", periods=60, freq="3D").strftime("%Y-%m-%d")
    frame = lots(rng, batches=60, moved=0.0).assign(date=days, line=["line 1", "line 2"] * 30)
    frame.loc[[31, 33, 35, 37], "estimate"] += 1.6
    result = explain_batches(frame)
    assert result.named == ("line 2 from 8 April to 26 April 2026",)
    assert "look at what changed there" in " ".join(result.says())


def test_order_of_rows_and_columns_does_not_matter(rng):
    frame = lots(rng, batches=30).assign(line=["line 1", "line 2"] * 15)
    frame["date"] = pd.date_range("2026-01-05", periods=30, freq="3D").strftime("%Y-%m-%d")
    turned = frame.iloc[::-1, ::-1]
    pd.testing.assert_series_equal(
        explain_batches(frame).causes.set_index("cause").loc["sugar lot S2", ["estimate", "se"]],
        explain_batches(turned).causes.set_index("cause").loc["sugar lot S2", ["estimate", "se"]],
    )


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda frame: frame.head(7), "hold 7 with an estimate.* at least 8"),
        (lambda frame: frame.assign(se=0.0), "se must be above 0 for some batches"),
        (lambda frame: frame.assign(se=-1.0), "row 2, column se: got -1.0, must be 0 or more"),
        (lambda frame: frame.assign(batch="B1"), "row 3: batch B1 stands twice"),
        (lambda frame: frame.assign(date="soon"), "row 2, column date: got 'soon'"),
        (lambda frame: frame.drop(columns="se"), "lack the column se"),
        (lambda frame: frame.assign(drift="x"), "row 2, column drift"),
    ],
)
def test_what_cannot_be_used_is_said(rng, change, sentence):
    with pytest.raises(ArgumentError, match=sentence):
        explain_batches(change(lots(rng)))
    with pytest.raises(ArgumentError, match=r"causes must be among the columns sugar lot"):
        explain_batches(lots(rng), causes=["salt"])


def test_designs_that_show_nothing_get_a_sentence(rng):
    each = lots(rng).drop(columns="sugar lot").assign(line="line 1")
    each["sugar lot"] = [f"S{at}" for at in range(30)]  # a lot a batch
    result = explain_batches(each)
    assert result.named == ()
    assert result.causes.empty
    assert result.says()[-1] == "No cause stands out: no two batches share one that others lack."
    assert result.remarks[0] == "All batches have line 1, so what it does cannot be seen."
    assert result.remarks[1].startswith("No sugar lot has 2 tasted batches or more")
    alike = explain_batches(lots(rng).assign(estimate=0.1))
    assert alike.says()[0] == "30 batches scatter no more than the panel's noise explains."
    assert alike.named == ()
