"""Engines of shelf life: against R, against integrals of their own, and where nothing can be told.

`tests/evidence/r/shelf_life.R` (R 4.2.2, survival 3.5.3) fits by survreg, survfit and lm, with
profile limits from a likelihood of its own; the chemist's formula stands here in mpmath.
"""

from __future__ import annotations

import csv
import json
from itertools import pairwise
from pathlib import Path

import mpmath
import numpy as np
import pytest

from sensory.choices.protocols import TETRAD, TRIANGLE
from sensory.models.censored_times import (
    SHAPES,
    WIDEST,
    Intervals,
    fit_times,
    log_likelihood,
    quantile_limits,
    steps_of,
)
from sensory.models.dprime_line import fit_slope, p_of_line
from sensory.models.joint_dprime import Counts
from sensory.models.line_crossing import crossing, fit_line, p_bent

FOLDER = Path(__file__).parents[1]
R = json.loads((FOLDER / "evidence/r/shelf_life.json").read_text(encoding="utf-8"))
PRINTED = {
    entry["id"]: entry
    for entry in json.loads(
        (FOLDER / "references/published_more.json").read_text(encoding="utf-8")
    )["values"]
}
IN_R = {"Weibull": "weibull", "lognormal": "lognormal", "log-logistic": "loglogistic"}


def consumers() -> Intervals:
    with (FOLDER / "evidence/r/shelf_life.csv").open(encoding="utf-8") as file:
        rows = [(float(row["low"]), float(row["high"])) for row in csv.DictReader(file)]
    return Intervals.of(*np.array(rows).T)


def cosmesis() -> Intervals:
    given = PRINTED["m10_turnbull_radiotherapy"]["inputs"]
    return Intervals.of(*(np.array([float(end) for end in given[key]]) for key in ("low", "high")))


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@pytest.mark.parametrize(
    ("of", "share", "level"),
    [("consumers", 0.5, 0.9), ("quarter", 0.25, 0.9), ("cosmesis", 0.5, 0.95)],
)
def test_interval_censored_fits_are_those_of_r(shape, of, share, level):
    fit = fit_times(shape, cosmesis() if of == "cosmesis" else consumers(), share, level)
    theirs = R[of][IN_R[shape.name]]
    ours = [fit.centre, fit.spread, fit.log_likelihood, fit.estimate, fit.low, fit.high]
    names = ("centre", "spread", "loglik", "quantile", "low", "high")
    np.testing.assert_allclose(ours, [theirs[name] for name in names], rtol=2e-5)
    assert fit.share(np.array([fit.estimate])) == pytest.approx(share)


def test_the_likelihood_of_each_shape_is_that_of_mpmath():
    seen = Intervals.of(np.array([0.0, 10, 20, 40]), np.array([10.0, 20, 40, np.inf]))
    below = {
        "Weibull": lambda z: 1 - mpmath.exp(-mpmath.exp(z)),
        "lognormal": mpmath.ncdf,
        "log-logistic": lambda z: 1 / (1 + mpmath.exp(-z)),
    }
    for shape in SHAPES:
        for centre, spread in ((3.0, 0.4), (1.0, 0.05), (6.0, 0.2)):
            cdf = [mpmath.mpf(0)]
            cdf += [below[shape.name]((mpmath.log(t) - centre) / spread) for t in (10, 20, 40)]
            cdf += [mpmath.mpf(1)]
            with mpmath.workdps(60):
                exact = sum(mpmath.log(b - a) for a, b in pairwise(cdf) if b > a)
            ours = log_likelihood(shape, seen, np.array([centre]), np.array([spread]))[0]
            if spread == 0.4:
                assert ours == pytest.approx(float(exact), rel=1e-12)
            assert np.isfinite(ours)


def test_steps_are_those_of_r_and_of_the_printed_table():
    steps = steps_of(cosmesis())
    assert list(zip(steps.low, steps.high, strict=True)) == [
        (4, 5), (6, 7), (7, 8), (11, 12), (24, 25), (33, 34), (38, 40), (46, 48)
    ]  # fmt: skip
    left = 1 - np.cumsum(steps.mass)
    entry = PRINTED["m10_turnbull_radiotherapy"]
    np.testing.assert_allclose(left, entry["expected"]["survival"], atol=entry["tolerance"])
    theirs = dict(zip(R["cosmesis_steps"]["time"], R["cosmesis_steps"]["surv"], strict=True))
    middles = (4.5, 6.5, 7.5, 11.5, 24.5, 33.5, 39, 47)  # survfit stops at 1e-4 of its masses
    np.testing.assert_allclose(left, [theirs[middle] for middle in middles], atol=5e-4)
    own = steps_of(consumers())
    np.testing.assert_allclose((1 - np.cumsum(own.mass))[:-1], R["steps"]["surv"][:6], atol=1e-9)


def test_the_masses_of_steps_are_at_the_top_of_the_likelihood():
    """Condition of a maximum: where there is mass, the derivative is the number of people."""
    seen, steps = cosmesis(), steps_of(cosmesis())
    holds = (seen.low[:, None] <= steps.low) & (steps.high <= seen.high[:, None])
    gradient = (seen.count / (holds @ steps.mass)) @ holds
    np.testing.assert_allclose(gradient, seen.count.sum(), rtol=1e-6)


def test_a_share_that_is_never_reached_has_an_open_end():
    seen = Intervals.of(np.array([10.0, 20, 20, 20]), np.array([20.0, np.inf, np.inf, np.inf]))
    assert steps_of(seen).quantile(0.25) == (10, 20)
    assert steps_of(seen).quantile(0.5) == (20, np.inf)


def test_drawn_limits_of_steps_hold_the_ends_of_the_estimate():
    low, high = quantile_limits(consumers(), 0.5, 0.9, draws=400, seed=1)
    first, last = steps_of(consumers()).quantile(0.5)
    assert 0 < low <= first < last <= high < np.inf
    assert (low, high) == quantile_limits(consumers(), 0.5, 0.9, draws=400, seed=1)


def test_one_time_in_all_intervals_is_seen_and_no_rise_ends_wide():
    assert Intervals.of(np.array([10.0, 15]), np.array([15.0, np.inf])).without_spread
    assert not consumers().without_spread
    falls = Intervals.of(
        np.array([0.0] * 6 + [10.0] * 4 + [0.0] * 4 + [20.0] * 6),
        np.array([10.0] * 6 + [np.inf] * 4 + [20.0] * 4 + [np.inf] * 6),
    )  # 60 % reject at 10, 40 % at 20: each was asked once
    assert fit_times(SHAPES[0], falls, 0.5, 0.9).spread > WIDEST


def line():
    return np.array(R["line"]["time"], float), np.array(R["line"]["score"])


def test_the_line_and_its_limits_are_those_of_r():
    fit = fit_line(*line())
    assert [fit.intercept, fit.slope] == pytest.approx(R["line"]["coef"])
    assert fit.slope_se == pytest.approx(R["line"]["se"][1])
    at = crossing(fit, R["line"]["at"], 0.90)
    assert [at.low, at.high] == pytest.approx([R["line"]["low"], R["line"]["high"]], rel=1e-8)
    assert p_bent(*line()) == pytest.approx(R["line"]["p_bent"])


def test_the_calibration_interval_is_that_of_the_chemists_formula():
    """x0 + (x0 - xm) g / (1 - g) -+ (t s / b (1 - g)) sqrt((x0 - xm)^2 / S + (1 - g) / n)."""
    x, y = line()
    fit = fit_line(x, y)
    with mpmath.workdps(40):
        n, level = len(x), mpmath.mpf("2.5")
        xs, ys = [mpmath.mpf(v) for v in x], [mpmath.mpf(str(v)) for v in y]
        xm, ym = sum(xs) / n, sum(ys) / n
        spread = sum((v - xm) ** 2 for v in xs)
        b = sum((v - xm) * (w - ym) for v, w in zip(xs, ys, strict=True)) / spread
        s2 = sum((w - ym - b * (v - xm)) ** 2 for v, w in zip(xs, ys, strict=True)) / (n - 2)

        def tail(t):
            return mpmath.betainc(
                mpmath.mpf(n - 2) / 2, mpmath.mpf(1) / 2, 0, (n - 2) / (n - 2 + t**2),
                regularized=True,
            ) / 2 - mpmath.mpf("0.05")  # fmt: skip

        t = mpmath.findroot(tail, 2)
        g = t**2 * s2 / (b**2 * spread)
        x0 = xm + (level - ym) / b
        middle = x0 + (x0 - xm) * g / (1 - g)
        half = t * mpmath.sqrt(s2) / (b * (1 - g))
        half *= mpmath.sqrt((x0 - xm) ** 2 / spread + (1 - g) / n)
    at = crossing(fit, 2.5, 0.90)
    expected = [float(v) for v in (x0, middle - half, middle + half)]
    assert [at.estimate, at.low, at.high] == pytest.approx(expected, rel=1e-12)


def test_the_printed_reaction_chamber():
    entry = PRINTED["m03_fieller_mean_line"]
    given = entry["inputs"]
    fit = fit_line(np.array(given["x"], float), np.array(given["y"]))
    at = crossing(fit, given["y0"], given["level"])
    for name, value in entry["expected"].items():
        assert getattr(at, name) == pytest.approx(value, abs=entry["tolerance"][name])


@pytest.mark.parametrize(
    ("slope", "scatter"), [(0.02, 0.2), (0.005, 0.6), (0.0, 0.3), (-0.01, 0.1), (0.004, 0.25)]
)
def test_the_lower_limit_is_where_the_band_first_meets_the_level(slope, scatter):
    """Second route: the upper side of the band looked at day by day."""
    x = np.arange(0, 91, 15.0)
    y = 0.2 + slope * x + scatter * np.array([1, -1, 0.5, -1, 1.2, -0.4, -0.3])
    fit = fit_line(x, y)
    at = crossing(fit, 1.5, 0.90)
    days = np.arange(0, 3000, 0.01)
    reached = days[fit.mean(days) + fit.half_width(days, 0.90) >= 1.5]
    first = reached[0] if len(reached) else np.inf
    assert at.low == pytest.approx(first, abs=0.011)
    cleared = days[fit.mean(days) - fit.half_width(days, 0.90) >= 1.5]
    assert np.isfinite(at.high) == bool(len(cleared))
    if len(cleared):
        assert at.high == pytest.approx(cleared[0], abs=0.011)
    assert np.isnan(at.estimate) == (fit.slope <= 0)


def choices(rows) -> tuple[Counts, np.ndarray]:
    named = {"TRIANGLE": TRIANGLE, "TETRAD": TETRAD}
    protocols = [named[row["protocol"]] for row in rows]
    return (
        Counts(
            links=tuple(protocol.proportion_correct for protocol in protocols),
            guesses=np.array([1 / 3] * len(rows)),
            correct=np.array([row["correct"] for row in rows], float),
            trials=np.array([row["trials"] for row in rows], float),
        ),
        np.array([row["time"] for row in rows], float),
    )


def test_the_slope_of_dprime_is_that_of_r():
    fit = fit_slope(*choices(R["choices"]["rows"]), 0.90)
    theirs = [R["choices"][name] for name in ("slope", "low", "high")]
    np.testing.assert_allclose([fit.estimate, fit.low, fit.high], theirs, rtol=1e-6)
    assert p_of_line(*choices(R["choices"]["rows"]), fit, draws=500, seed=1) > 0.2


def test_one_session_after_a_time_is_its_own_dprime():
    fit = fit_slope(
        *choices([{"protocol": "TRIANGLE", "time": 50, "correct": 15, "trials": 24}]), 0.9
    )
    assert fit.estimate * 50 == pytest.approx(float(TRIANGLE.dprime(15 / 24)), rel=1e-6)


def test_a_slope_at_guessing_and_beyond_every_count():
    rows = [{"protocol": "TRIANGLE", "time": t, "correct": 6, "trials": 24} for t in (30, 60)]
    fit = fit_slope(*choices(rows), 0.9)
    assert (fit.estimate, fit.low) == (0, 0)
    assert 0 < fit.high < 0.05
    rows = [row | {"correct": 24} for row in rows]
    fit = fit_slope(*choices(rows), 0.9)
    assert fit.estimate == fit.high == np.inf
    assert fit.low > 0.05


def test_counts_that_follow_no_line_are_told():
    rows = [
        {"protocol": "TRIANGLE", "time": time, "correct": correct, "trials": 36}
        for time, correct in ((30, 30), (60, 30), (90, 13), (120, 12))
    ]
    asked = choices(rows)
    assert p_of_line(*asked, fit_slope(*asked, 0.9), draws=500, seed=1) < 0.01
