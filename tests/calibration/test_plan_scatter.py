"""How often the upper limit of the scatter lies above the true one: simulated mean squares.

A size planned by the upper limit keeps its chance exactly when the limit lies above the truth.
"""

import numpy as np
import pytest

from sensory.ratings.scatter import Freedom, upper_factor

SESSIONS, SCORED = 20_000, 2
PANELS = [(6, 3), (8, 4), (12, 4), (20, 6)]


def shares(assessors, samples, interaction, replicates, level, rng, sessions=SESSIONS):
    """Of estimates, and of upper limits, above the variance of a difference; error 1."""
    df, df_error = (assessors - 1) * (samples - 1), assessors * samples * (SCORED - 1)
    both = (SCORED * interaction**2 + 1) * rng.chisquare(df, sessions) / df
    error = rng.chisquare(df_error, sessions) / df_error
    between = np.sqrt(np.maximum((both - error) / SCORED, 0.0))  # as a profile gives it
    freedom = Freedom(SCORED, df, df_error)
    factor = upper_factor(between, np.sqrt(error), freedom, replicates, level)
    truth = interaction**2 + 1 / replicates
    estimate = between**2 + error / replicates
    return np.mean(estimate >= truth), np.mean(factor**2 * estimate >= truth)


@pytest.mark.parametrize("level", [0.80, 0.95])
def test_upper_limit(level, show):
    rng = np.random.default_rng(2026)
    lines = [
        f"upper limit of the scatter, {level:.0%}, {SCORED} replicates scored",
        "assessors samples interaction   planned 1, 2, 4 times (estimate, limit)",
    ]
    for assessors, samples in PANELS:
        for interaction in (0.0, 0.3, 0.6, 1.0):
            cells = [shares(assessors, samples, interaction, r, level, rng) for r in (1, 2, 4)]
            text = "   ".join(f"{estimate:.3f} {limit:.3f}" for estimate, limit in cells)
            lines.append(f"{assessors:9} {samples:7} {interaction:11}   {text}")
            assert all(limit >= level - 0.06 for _, limit in cells)
    show(*lines)
