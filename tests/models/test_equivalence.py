"""Chance of both one-sided tests: Owen's integrals, noncentral t, and simulation."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi, nct, norm, t

from sensory.models.equivalence import chance_within

CASES = [
    (margin, sd, df, level, shift)
    for margin, shift in ((1.0, 0.0), (1.0, 0.6), (0.2, -0.1), (3.0, 1.0))
    for sd in (0.05, 0.3, 0.9)
    for df in (1, 7, 400)
    for level in (0.05, 0.005)
]


def owen(margin, sd, df, level, shift):
    """Over the estimated scatter instead of the estimated difference: Owen's Q twice."""
    critical = t.isf(level, df)
    most = margin / (critical * sd)

    def given(ratio):
        room = margin - critical * sd * ratio
        both = norm.cdf((room - shift) / sd) - norm.cdf((-room - shift) / sd)
        return both * chi.pdf(ratio * np.sqrt(df), df) * np.sqrt(df)

    middle, around = 1.0, 10 / np.sqrt(2 * df)
    marks = sorted({min(max(each, 0), most) for each in (0, middle - around, middle, most)})
    marks = [*marks[:-1], min(most, middle + around), most]
    return sum(
        quad(given, low, high, epsabs=1e-13, epsrel=1e-11, limit=200)[0]
        for low, high in zip(sorted(marks)[:-1], sorted(marks)[1:], strict=True)
        if high > low
    )


@pytest.mark.parametrize("case", CASES)
def test_against_owens_integrals(case):
    assert chance_within(*case) == pytest.approx(owen(*case), abs=1e-10)


@pytest.mark.parametrize("shift", [0.0, 0.5])
def test_two_noncentral_t_where_the_scatter_cannot_reach_the_margin(shift):
    # P(t s > margin) is below 1e-12 here, so that the tests cannot both fail.
    sd, df, critical = 0.2, 30, t.isf(0.05, 30)
    upper = nct.cdf(-critical, df, (shift - 1) / sd)
    lower = nct.sf(critical, df, (shift + 1) / sd)
    assert chance_within(1.0, sd, df, 0.05, shift) == pytest.approx(upper + lower - 1, abs=1e-9)


def test_against_simulation_and_where_noncentral_t_alone_fails():
    rng, draws, df = np.random.default_rng(20), 400_000, 4
    x = rng.normal(0, 0.8, draws)
    s = 0.8 * np.sqrt(rng.chisquare(df, draws) / df)
    share = np.mean(np.abs(x) + t.isf(0.05, df) * s <= 1.0)
    ours = chance_within(1.0, 0.8, df, 0.05)
    assert ours == pytest.approx(share, abs=4 * np.sqrt(ours / draws))
    assert 2 * nct.sf(t.isf(0.05, df), df, 1 / 0.8) - 1 < 0 < ours


def test_at_the_margin_it_is_never_above_the_level():
    for df in (1, 5, 50):
        for sd in (0.01, 0.1, 1.0):
            assert chance_within(1.0, sd, df, 0.05, 1.0) <= 0.05 + 1e-12
    assert chance_within(1.0, 1e-3, 9, 0.05, 1.0) == pytest.approx(0.05, abs=1e-12)
