"""Risks of `compare_recipes` over trials without a difference, or at the margin.

`python -m tests.calibration.test_recipes` prints the table of its docstring (20 s of a core).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import stdtr, stdtrit

from sensory.models.nested_lots import arm_difference

TRIALS = [(8, 2, 2), (10, 3, 3), (10, 1, 3), (20, 3, 3), (12, 5, 5)]
LOTS = (0.0, 0.3, 0.8)


def risks(people, first, other, lots, own, repeats, seed=5):
    """False differences, false similarities at the margin 1, and differences without lots."""
    rng, count = np.random.default_rng(seed), first + other
    is_other = np.arange(count) >= first
    taste = own / np.sqrt(2) * rng.standard_normal((repeats, people, 2))
    cells = lots * rng.standard_normal((repeats, 1, count)) + taste[:, :, is_other.astype(int)]
    cells = cells + rng.standard_normal((repeats, people, count))
    fit = arm_difference(cells, is_other)
    different = 2 * stdtr(fit.df, -np.abs(fit.estimate / fit.se)) <= 0.05
    half, at_margin = fit.se * stdtrit(fit.df, 0.95), fit.estimate + 1
    similar = (at_margin + half < 1) & (at_margin - half > -1)
    plain = np.sqrt(fit.of_assessors * (1 / first + 1 / other) / people)
    naive = 2 * stdtr(people - 1, -np.abs(fit.estimate / plain)) <= 0.05
    return tuple(float(each.mean()) for each in (different, similar, naive))


@pytest.mark.parametrize("lots", LOTS)
def test_risks_stay_below_what_was_agreed(lots):
    # 4,000 trials: standard error 0.0035 at 0.05.
    different, similar, naive = risks(10, 3, 3, lots, 0.5, 4000)
    assert different <= 0.05 + 0.0105
    assert similar <= 0.05 + 0.0105
    assert (naive > 0.08) is (lots > 0)  # why lots are a term


if __name__ == "__main__":
    for trial in TRIALS:
        for lots in LOTS:
            for own in (0.0, 0.7):
                print(trial, lots, own, risks(*trial, lots, own, 20_000), flush=True)
