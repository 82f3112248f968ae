"""Trend of batches: the numbers by a second route, the words, what is refused."""

from datetime import date
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from sensory import Trend, trend
from sensory.base.errors import ArgumentError
from sensory.models.charts import THREE_SIGMA, batch_scatter
from sensory.models.run_lengths import ewma_run_length
from sensory.release.trend_words import ENOUGH

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rates, from memory.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def rows(estimate, se=0.0, **columns):
    names = [f"L{i}" for i in range(1, len(estimate) + 1)]
    return pd.DataFrame({"batch": names, "estimate": estimate, "se": se, **columns})


def simulated(seed=3, batches=24, step=0.8, at=16, se=0.15):
    rng = np.random.default_rng(seed)
    moved = step * (np.arange(batches) >= at)
    return rows(rng.normal(0.1, 0.2, batches) + moved, se)


def test_individuals_chart_of_the_handbook():
    """6.3.2.2: 45.8159, 50.81, 55.8041 with d2 = 1.128 and three sigma."""
    points = trend(rows(FLOW)).points
    assert points["centre"].unique() == pytest.approx([50.81])
    assert points["upper"].unique() == pytest.approx([55.8041], abs=0.002)
    assert points["lower"].unique() == pytest.approx([45.8159], abs=0.002)
    assert (points["signals"] == "").all()


def test_means_with_known_scatter():
    """Mean of n scores with known sigma: centre +- 3 sigma / sqrt(n) in the printed form."""
    result = trend(rows([10.1, 9.7], 2 / np.sqrt(5)), centre=10.0, scatter=0.0)
    assert result.points["upper"].tolist() == pytest.approx([10 + 3 * 2 / np.sqrt(5)] * 2)
    assert result.width == pytest.approx(3.0)


def test_noisy_days_have_wider_limits_and_count_less():
    se = np.array([0.1, 0.1, 0.1, 1.0, 0.1, 0.1, 0.1, 0.1])
    estimate = np.array([0.1, -0.1, 0.2, 2.0, 0.0, 0.1, -0.2, 0.1])
    result = trend(rows(estimate, se))
    points, scatter = result.points, result.lines["scatter"][0]
    assert scatter == pytest.approx(batch_scatter(estimate, se))
    sigma = np.sqrt(scatter**2 + se**2)
    assert points["sigma"].tolist() == pytest.approx(sigma)
    assert points["centre"][0] == pytest.approx(np.average(estimate, weights=sigma**-2))
    assert (points["upper"] - points["centre"]).tolist() == pytest.approx(3 * sigma)
    assert points["z"].tolist() == pytest.approx((estimate - points["centre"]) / sigma)


def test_weighted_mean_by_hand():
    result = trend(rows([1.0, 2.0, 4.0], 0.5), centre=0.0, scatter=0.0, weight=0.5)
    points = result.points
    assert points["ewma"].tolist() == pytest.approx([0.5, 1.25, 2.625])
    sd = 0.5 * np.sqrt([0.25, 0.3125, 0.328125])
    assert points["ewma_upper"].tolist() == pytest.approx(result.ewma_width * sd)
    assert ewma_run_length(0.5, result.ewma_width) == pytest.approx(1 / THREE_SIGMA)


def test_a_step_is_told_in_numbers_and_in_words():
    result = trend(simulated(), base=12)
    change = result.change.iloc[0]
    assert (change["batch"], bool(change["clear"])) == ("L17", True)
    first = [int(change[name][1:]) for name in ("first", "batch", "last")]
    assert first == sorted(first)
    assert change["difference"] == pytest.approx(0.8, abs=3 * change["se"])
    said = " ".join(result.says())
    assert "the level steps" in said.lower()
    assert "The weighted mean lies beyond its limits: L19, " in said
    assert set(result.signals["batch"]) <= {f"L{i}" for i in range(17, 25)}


def test_base_alone_sets_centre_and_scatter():
    whole, early = simulated(), simulated().head(12)
    points, alone = trend(whole, base=12).points, trend(early).points
    for column in ("centre", "sigma", "lower", "ewma", "signals"):
        assert points[column].head(12).tolist() == alone[column].tolist()


def test_quiet_batches_are_said_to_be_quiet_and_not_to_be_the_same():
    result = trend(simulated(step=0.0, seed=12), limit=2.0)
    said = " ".join(result.says())
    assert "No batch stands out" in said
    assert "no change of level is clear" in said.lower()
    assert "24 are shown to lie within the agreed limit of 2" in said
    assert any(line.startswith("No signal is no proof") for line in result.cannot_tell)
    assert result.signals.empty


def test_against_limit_goes_by_the_limits_of_the_batch():
    estimate, se = [0.0, 0.9, 1.1, 1.6, -1.5, -0.7], [0.2] * 6
    points = trend(rows(estimate, se), limit=1.0, level=0.9).points
    half = norm.ppf(0.95) * 0.2
    expected = []
    for value in estimate:
        inside = value - half > -1 and value + half < 1
        outside = value - half >= 1 or value + half <= -1
        expected.append("within" if inside else "beyond" if outside else "cannot tell")
    assert points["against_limit"].tolist() == expected
    assert set(expected) == {"within", "beyond", "cannot tell"}
    assert (points["high"] - points["estimate"]).tolist() == pytest.approx([half] * 6)


def test_lines_stand_side_by_side_and_do_not_know_each_other():
    one, two = simulated().assign(line="mill A"), simulated(9, 18, 0.0).assign(line="mill B")
    mixed = pd.concat([one, two]).sample(frac=1, random_state=1)
    mixed["date"] = [int(name[1:]) for name in mixed["batch"]]
    result = trend(mixed)
    assert set(result.lines["line"]) == {"mill A", "mill B"}
    for line, alone in (("mill A", one), ("mill B", two)):
        own = result.points.query("line == @line").reset_index(drop=True)
        pd.testing.assert_series_equal(own["ewma"], trend(alone).points["ewma"])
        assert any(said.startswith(f"Line {line}: ") for said in result.says())


def test_two_lines_that_step_together_point_at_the_reference():
    both = pd.concat([simulated().assign(line="A"), simulated(9).assign(line="B")])
    apart = pd.concat([simulated().assign(line="A"), simulated(9, at=8).assign(line="B")])
    together = "Lines A and B step at the same time: look at the reference and the panel first."
    assert trend(both).says()[-1] == together
    assert together not in trend(apart).says()
    assert "reference drifts" in trend(both).cannot_tell[0]


def test_few_batches_are_told():
    few = f"{ENOUGH} are usual"
    assert any(few in line for line in trend(rows(FLOW)).cannot_tell)
    assert not any(few in line for line in trend(simulated()).cannot_tell)
    assert any(few in line for line in trend(simulated(), base=12).cannot_tell)
    result = trend(rows(FLOW[:4]))
    assert result.change.empty
    assert "Too few batches to look for a change of level." in result.says()


def test_how_often_the_chart_cries_wolf_is_told():
    """Limits and nine on one side: 216.7 batches, by the chain that the models test."""
    assert trend(simulated()).lines["run_length"][0] == pytest.approx(216.696, abs=0.01)
    assert any("once in 217 batches" in line for line in trend(simulated()).cannot_tell)
    rising = trend(simulated(), rules=["limit", "six rising"]).cannot_tell[-1]
    assert "once in 370 batches" in rising
    assert "six in a row, rising or falling" in rising
    assert trend(simulated(), rules=[]).lines["run_length"][0] == np.inf


def test_no_noise_beyond_the_panel():
    said = trend(rows(np.array(FLOW) - 50, 5.0)).says()[0]
    assert "no more than the panel's noise explains" in said


def test_mean_of_a_line_holds_the_truth():
    """95 % limits of the mean over 300 charts of eight batches: three standard errors."""
    rng = np.random.default_rng(3)
    frame = rows(rng.normal(0.3, 0.5, 2400), 0.1, line=np.repeat(range(300), 8))
    lines = trend(frame, rules=["limit"]).lines
    held = (lines["low"] <= 0.3) & (lines["high"] >= 0.3)
    assert len(held) == 300
    assert held.mean() == pytest.approx(0.95, abs=0.038)


# What does not matter.


@given(
    estimate=st.lists(st.integers(-40, 40), min_size=6, max_size=20).filter(
        lambda x: np.ptp(x) > 0
    ),
    scale=st.sampled_from([0.01, 2.0, 300.0]),
    shift=st.sampled_from([-7.0, 0.0, 55.0]),
)
@settings(max_examples=20, deadline=None)
def test_unit_and_origin_do_not_matter(estimate, scale, shift):
    x = np.array(estimate, float)
    one, two = trend(rows(x, 3.0)), trend(rows(scale * x + shift, 3.0 * scale))
    assert one.points["signals"].tolist() == two.points["signals"].tolist()
    assert two.points["z"].tolist() == pytest.approx(one.points["z"].tolist(), abs=1e-5)
    moved = scale * one.points["ewma_upper"] + shift
    assert two.points["ewma_upper"].tolist() == pytest.approx(moved.tolist(), rel=1e-5, abs=1e-5)
    places = ["batch", "first", "last", "p"]
    assert one.change[places].values.tolist() == two.change[places].values.tolist()


@given(order=st.permutations(range(12)))
@settings(max_examples=15, deadline=None)
def test_dates_decide_and_not_the_order_of_rows(order):
    frame = simulated(batches=12, at=6).assign(
        date=pd.date_range("2026-01-05", periods=12, freq="W")
    )
    one, two = trend(frame), trend(frame.iloc[list(order)])
    pd.testing.assert_frame_equal(one.points, two.points)
    pd.testing.assert_frame_equal(one.change, two.change)


def test_dates_may_be_texts_days_or_numbers():
    frame = simulated(batches=8, at=9)
    days = [date(2026, 3, 9 - i) for i in range(8)]
    turned = [f"L{i}" for i in range(8, 0, -1)]
    for given_dates in (days, [str(day) for day in days], [9.5 - i for i in range(8)]):
        assert trend(frame.assign(date=given_dates)).points["batch"].tolist() == turned
    kept = trend(frame).points["date"]
    assert all(b - a == 1 for a, b in pairwise(kept))


def test_same_seed_same_p():
    frame = simulated(step=0.3)
    assert trend(frame, seed=4).change["p"][0] == trend(frame, seed=4).change["p"][0]
    assert trend(frame, seed=4).change["p"][0] != trend(frame, seed=5).change["p"][0]


# Form.


def test_result_is_frozen_and_hands_out_copies():
    result = trend(simulated())
    assert isinstance(result, Trend)
    handed = result.points
    handed.loc[:, "estimate"] = 0.0
    assert result.points["estimate"].abs().sum() > 0
    with pytest.raises(AttributeError):
        result.alpha = 0.1
    assert repr(result).startswith("<Trend: 24 batches, 1 line; ")
    assert "<table>" in result._repr_html_()
    assert len(result.summary().rows) == 24


def test_frame_given_is_left_alone():
    frame = simulated()
    before = frame.copy()
    trend(frame)
    pd.testing.assert_frame_equal(frame, before)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"estimate": np.nan}, "row 2, column estimate: got nan, must be a number up to 1e100"),
        ({"estimate": "high"}, "row 2, column estimate: got 'high'"),
        ({"estimate": True}, "row 2, column estimate: got True"),
        ({"se": -0.1}, "row 2, column se: got -0.1, must be a number, 0 or more"),
        ({"batch": "L1"}, "row 3: batch L1 stands twice in line all"),
        ({"batch": " "}, "row 2, column batch: is left empty"),
        ({"line": None}, "row 2, column line: is left empty"),
        ({"date": "31.3.2026"}, "row 2, column date: got '31.3.2026', must be a date"),
        ({"date": pd.NaT}, "row 2, column date: got NaT"),
    ],
)
def test_cells_that_cannot_be_used(change, message):
    with pytest.raises(ArgumentError, match="batches: ") as caught:
        trend(simulated().assign(**change))
    assert message in str(caught.value)


def test_time_zones_are_given_for_all_dates_or_none():
    frame = simulated(batches=4, at=9)
    mixed = ["2026-01-01", "2026-01-02T00:00+01:00", "2026-01-03", "2026-01-04"]
    with pytest.raises(ArgumentError, match="time zone"):
        trend(frame.assign(date=mixed))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"alpha": 0}, "alpha must lie between"),
        ({"level": 1.0}, "level must lie strictly between"),
        ({"limit": 0}, "limit must be above 0"),
        ({"limit": -1}, "limit must lie between"),
        ({"weight": 0.0}, "weight must lie between 0.02 and 1"),
        ({"rules": ["limit", "runs"]}, "rules must be among limit, .*; got 'runs'"),
        ({"base": 2}, "base must be at least 3"),
        ({"scatter": -1}, "scatter must lie between"),
        ({"seed": 1.5}, "seed must be whole"),
    ],
)
def test_arguments_that_cannot_be_used(arguments, message):
    with pytest.raises(ArgumentError, match=message):
        trend(simulated(), **arguments)


def test_tables_that_are_none():
    with pytest.raises(ArgumentError, match="must be a pandas DataFrame"):
        trend([1, 2])
    with pytest.raises(ArgumentError, match="lack the columns estimate, se"):
        trend(pd.DataFrame({"batch": ["L1"]}))
    with pytest.raises(ArgumentError, match="are empty"):
        trend(simulated().head(0))
    with pytest.raises(ArgumentError, match="column se more than once"):
        trend(pd.concat([simulated(), simulated()["se"]], axis=1))


def test_too_little_to_draw_limits_from():
    with pytest.raises(ArgumentError, match="hold 2 of line all; at least 3 are needed"):
        trend(rows([1.0, 2.0]))
    with pytest.raises(ArgumentError, match="show no scatter"):
        trend(rows([1.0] * 5))
    assert len(trend(rows([1.0]), centre=0.0, scatter=0.3).points) == 1


def test_change_is_weighted_by_the_scatter_of_all_batches():
    """A base that happens to be very even must not set the weights of the step."""
    se = np.tile([0.05, 0.4], 10)
    estimate = np.random.default_rng(6).normal(0, 0.6, 20) + np.repeat([0.0, 1.0], [9, 11])
    estimate[:4] = [0.0, 0.1, 0.0, 0.1]
    frame = rows(estimate, se)
    even, whole = trend(frame, base=4), trend(frame)
    assert even.lines["scatter"][0] == 0.0
    assert even.change.equals(whole.change)


def test_lines_may_be_categories_with_some_unused():
    kinds = pd.Categorical(["A"] * 12 + ["B"] * 12, categories=["C", "B", "A"])
    result = trend(simulated().assign(line=kinds))
    assert result.lines["line"].tolist() == ["A", "B"]
    assert result.lines["batches"].tolist() == [12, 12]


def _too_even(estimate, se):
    """Moving ranges that the standard errors explain, with an error of 0 among them."""
    ranges = np.abs(np.diff(estimate)).sum()
    noise = 2 / np.sqrt(np.pi) * np.sqrt((se[1:] ** 2 + se[:-1] ** 2) / 2).sum()
    return ranges <= noise and not se.all()


@pytest.mark.parametrize("kind", ["none", "equal", "tiny", "mixed", "huge"])
def test_any_standard_errors_give_numbers_or_our_sentence(kind):
    """Random rows whose standard errors are 0, 1e-9, mixed or absurd; nothing else may come out."""
    rng = np.random.default_rng(5)
    for _ in range(80):
        size = int(rng.integers(3, 14))
        se = {
            "none": np.zeros(size),
            "equal": np.full(size, rng.uniform()),
            "tiny": np.full(size, 1e-9),
            "mixed": rng.choice([0, 1e-9, 0.3], size),
            "huge": rng.choice([0, 1.0, 1e99], size),
        }[kind]
        estimate = rng.normal(0, 1, size) * 10.0 ** rng.choice([-200, -9, 0, 9, 98])
        rows = pd.DataFrame({"batch": range(size), "estimate": estimate, "se": se})
        if _too_even(estimate, se):
            with pytest.raises(ArgumentError, match="show no scatter"):
                trend(rows)
            continue
        result = trend(rows)
        shown = result.points[["centre", "sigma", "z"]].to_numpy(float)
        assert np.isfinite(shown).all()
        assert np.isfinite(result.lines[["estimate", "se", "scatter"]].to_numpy(float)).all()


def test_without_standard_errors_it_is_the_individuals_chart():
    """Sigma is the mean moving range over 2 / sqrt(pi), whatever the numbers."""
    rng = np.random.default_rng(6)
    for _ in range(100):
        estimate = rng.normal(0, 1, 8)
        rows = pd.DataFrame({"batch": range(8), "estimate": estimate, "se": 0.0})
        sigma = np.abs(np.diff(estimate)).mean() / (2 / np.sqrt(np.pi))
        assert trend(rows).points["sigma"].to_numpy() == pytest.approx(np.full(8, sigma), rel=1e-12)
