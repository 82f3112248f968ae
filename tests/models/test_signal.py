"""Signal models: profiles on a grid, integration over assessors, empty cells."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import log_ndtr, ndtr
from scipy.stats import chi2, norm

from sensory.models import signal
from sensory.models.clustered import ClusteredYesNo

CENTRES = np.linspace(-8, 8, 160_001)


def grid_profile(cells, dprime):
    hits, misses, alarms, rejections = cells
    up, down = CENTRES + dprime / 2, CENTRES - dprime / 2
    logs = hits * log_ndtr(up) + misses * log_ndtr(-up)
    return (logs + alarms * log_ndtr(down) + rejections * log_ndtr(-down)).max()


CELLS = [(32, 8, 14, 26), (40, 0, 14, 26), (32, 8, 0, 40), (0, 40, 12, 28), (3, 2, 1, 4)]


@pytest.mark.parametrize("cells", CELLS, ids=str)
def test_yes_no_profile_on_a_grid(cells):
    profile = signal.yes_no_profile(*cells)
    for dprime in (-3.0, -0.5, 0.0, 0.8, 2.5, 6.0):
        assert profile(dprime) == pytest.approx(grid_profile(cells, dprime), abs=1e-6)


@pytest.mark.parametrize("cells", CELLS, ids=str)
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_yes_no_limits_lie_the_right_drop_below_the_top(cells, level):
    hits, misses, alarms, rejections = cells
    best = norm.ppf(hits / (hits + misses)) - norm.ppf(alarms / (alarms + rejections))
    kinds = ((hits, misses), (alarms, rejections))
    entropy = sum(k * np.log(k / sum(kind)) for kind in kinds for k in kind if k)
    profile = signal.yes_no_profile(*cells)
    low, high = signal.profile_limits(profile, best, level, -signal.FAR, signal.FAR)
    for limit in (low, high):
        if np.isfinite(limit):
            drop = entropy - grid_profile(cells, limit)
            assert drop == pytest.approx(chi2.ppf(level, 1) / 2, abs=1e-5)
    assert np.isfinite(low) == (best > -np.inf)
    assert np.isfinite(high) == (best < np.inf)


def test_profile_limits_of_a_parabola():
    low, high = signal.profile_limits(lambda v: -((v - 1) ** 2) / 2, 1.0, 0.95, -12, 12)
    assert (low, high) == pytest.approx((1 - 1.959963984540054, 1 + 1.959963984540054))
    # 1.959963984540054: qnorm(0.975) of R 4.2.2
    low, high = signal.profile_limits(lambda v: -((v - 1) ** 2) / 2, 1.0, 0.95, 0.0, 12)
    assert low == 0.0


@pytest.mark.parametrize(("tau", "dprime"), [(0.3, 0.0), (1.2, 0.7), (2.0, 3.0), (0.5, 5.0)])
def test_same_different_rates_by_simulation(tau, dprime):
    rng, pairs = np.random.default_rng(5), 400_000
    a, b = rng.normal(0, 1, pairs), rng.normal(0, 1, pairs)
    exact = signal.same_different_rates(tau, dprime)
    for gap, chance in ((a - b, exact[0]), (a - b - dprime, exact[1])):
        share = (np.abs(gap) < tau).mean()
        assert abs(share - chance) < 4.5 * np.sqrt(chance * (1 - chance) / pairs) + 1e-6


@pytest.mark.parametrize(
    "cells", [(28, 12, 12, 28), (39, 1, 1, 39), (990, 10, 3, 997), (20, 20, 0, 40), (1, 39, 1, 39)]
)
def test_same_different_profile_on_a_grid(cells):
    # Rates by upper tails, which keep their digits where 1 - rate does not.
    tau = np.linspace(1e-4, 14, 140_000)
    profile = signal.same_different_profile(*cells)
    root = np.sqrt(2)
    for dprime in (0.0, 0.7, 2.0, 5.0, 9.0, 12.0):
        said = [
            2 * ndtr(tau / root) - 1,
            2 * ndtr(-tau / root),
            ndtr((tau - dprime) / root) - ndtr((-tau - dprime) / root),
            ndtr((dprime - tau) / root) + ndtr((-tau - dprime) / root),
        ]
        with np.errstate(divide="ignore"):
            logs = sum(k * np.log(rate) for k, rate in zip(cells, said, strict=True) if k)
        assert profile(dprime) == pytest.approx(logs.max(), rel=1e-6, abs=1e-5)


@pytest.mark.parametrize("same", [0.05, 0.4, 0.9, 0.999])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.97])
def test_same_different_estimate_gives_the_rates_back(same, share):
    tau, dprime = signal.same_different_estimate(same, same * share)
    back = signal.same_different_rates(tau, dprime)
    assert back == pytest.approx((same, same * share), rel=1e-9)


def by_integration(row, dprime, centre, sd):
    """Likelihood of one assessor, without binomial coefficients, the criterion integrated."""
    hits, misses, alarms, rejections = row

    def log_under(z):
        up, down = centre + sd * z + dprime / 2, centre + sd * z - dprime / 2
        logs = hits * log_ndtr(up) + misses * log_ndtr(-up)
        return logs + alarms * log_ndtr(down) + rejections * log_ndtr(-down) + norm.logpdf(z)

    z = np.linspace(-9, 9, 3601)
    logs = log_under(z)
    top, place = logs.max(), z[int(np.argmax(logs))]
    pieces = sorted({-9.0, place - 1, place, place + 1, 9.0})
    total = sum(
        quad(lambda v: np.exp(log_under(v) - top), a, b, epsabs=1e-13)[0]
        for a, b in pairwise(pieces)
    )
    return np.log(total) + top


@pytest.mark.parametrize("sd", [0.0, 0.5, 1.5, 3.0])
@pytest.mark.parametrize("answers", [1, 3, 10, 40])
def test_clustered_likelihood_by_integration(answers, sd):
    shares = [(0.9, 0.4), (0.5, 0.1), (1.0, 0.9), (0.2, 0.0), (0.7, 0.7)]
    rows = []
    for hit, alarm in shares:
        h, f = round(answers * hit), round(answers * alarm)
        rows.append([h, answers - h, f, answers - f])
    ours = ClusteredYesNo(np.array(rows, float)).at(1.1, 0.2, sd)
    exact = sum(by_integration(row, 1.1, 0.2, sd) for row in rows)
    assert ours == pytest.approx(exact, abs=1e-8, rel=0)


def test_clustered_profile_touches_the_top():
    cells = np.array([[2, 1, 1, 2], [3, 0, 1, 2], [1, 2, 0, 3], [3, 0, 3, 0], [2, 1, 0, 3]], float)
    model = ClusteredYesNo(cells)
    profile = model.profile
    dprime, _, _, top = model.fit()
    assert profile(dprime) == pytest.approx(top, abs=1e-7)
    assert profile(dprime + 0.4) < top
    assert profile(dprime - 0.4) < top


def test_graded_likelihood_of_a_table_by_hand():
    likelihood = signal.GradedLikelihood(np.array([[5.0, 0, 3, 2], [1, 0, 4, 5]]))
    assert likelihood.grades == 3  # the empty grade is merged away
    thresholds, shift = np.array([0.2, 1.1]), 0.7
    edges = [-np.inf, 0.2, 1.1, np.inf]
    expected = sum(
        count * np.log(norm.cdf(b - move) - norm.cdf(a - move))
        for row, move in (((5, 3, 2), 0), ((1, 4, 5), shift))
        for count, (a, b) in zip(row, pairwise(edges), strict=True)
    )
    assert likelihood.at(thresholds, np.array([0.0, shift])) == pytest.approx(expected)
