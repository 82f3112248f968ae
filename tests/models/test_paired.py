"""Chances of the findings of a paired t-test, against noncentral t, simulation and each other."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import nct, t

from sensory.models.paired import paired_chances

SHIFTS = np.array([-1.0, 0.0, 0.4, 0.9, 1.5, 2.2])


def chances(n, scatter, limit, alpha=0.05, beta=0.05, shifts=SHIFTS):
    return paired_chances(shifts, scatter=scatter, assessors=n, limit=limit, alpha=alpha, beta=beta)


@pytest.mark.parametrize("n", [2, 3, 5, 8, 12, 40, 200])
@pytest.mark.parametrize(("alpha", "beta"), [(0.05, 0.05), (0.2, 0.01)])
def test_each_alone_is_a_noncentral_t(n, alpha, beta):
    scatter, limit = 1.1, 1.5
    found = chances(n, scatter, limit, alpha, beta)
    se = scatter / np.sqrt(n)
    for at, shift in enumerate(SHIFTS):
        # scipy's boost routine loses digits for far noncentralities: moderate ones only
        if abs(shift / se) < 8:
            significant = nct.sf(t.isf(alpha, n - 1), n - 1, shift / se)
            shown = found.different[at] + found.both[at] + found.beyond[at]
            assert shown == pytest.approx(significant, abs=1e-9)
        if abs((shift - limit) / se) < 8:
            below = nct.cdf(-t.isf(beta, n - 1), n - 1, (shift - limit) / se)
            assert found.similar[at] + found.both[at] == pytest.approx(below, abs=1e-9)
            far = nct.sf(t.isf(alpha, n - 1), n - 1, (shift - limit) / se)
            assert found.beyond[at] == pytest.approx(far, abs=1e-9)


@pytest.mark.parametrize(("n", "scatter", "limit"), [(3, 0.4, 1.0), (8, 1.0, 1.5), (20, 1.4, 1.2)])
def test_joint_chances_against_simulated_sessions(n, scatter, limit):
    rng, sessions = np.random.default_rng(5), 100_000
    found = chances(n, scatter, limit)
    for at, shift in enumerate(SHIFTS):
        scores = rng.normal(shift, scatter, (sessions, n))
        mean, se = scores.mean(1), scores.std(1, ddof=1) / np.sqrt(n)
        significant = mean / se >= t.isf(0.05, n - 1)
        below = mean + t.isf(0.05, n - 1) * se < limit
        far = mean - t.isf(0.05, n - 1) * se > limit
        pairs = [
            (found.different[at], significant & ~below & ~far),
            (found.beyond[at], far),
            (found.similar[at], below & ~significant),
            (found.both[at], significant & below),
            (found.neither[at], ~significant & ~below),
        ]
        for exact, seen in pairs:
            spread = np.sqrt(max(exact * (1 - exact), 1 / sessions) / sessions)
            assert abs(exact - seen.mean()) < 4.5 * spread


def test_they_add_up_and_keep_their_risks():
    found = chances(8, 1.0, 1.5, shifts=np.array([0.0, 1.5]))
    whole = found.different + found.similar + found.both + found.beyond + found.neither
    assert whole == pytest.approx(1.0, abs=1e-12)
    # the definitions of alpha, at no shift, and of beta, at the limit
    shown = found.different[0] + found.both[0] + found.beyond[0]
    assert shown == pytest.approx(0.05, abs=1e-10)
    assert found.beyond[1] == pytest.approx(0.05, abs=1e-10)  # and of alpha, at the limit
    assert found.similar[1] + found.both[1] == pytest.approx(0.05, abs=1e-10)
