"""Prints how often the scorecard's flags are raised.

Each attribute is a session of its own. Ten assessors score six samples twice on a scale
whose samples spread with standard deviation 2; assessors 0.7, assessor x sample 0.4, error
0.8. The last assessor is spoilt in one way.
"""

import numpy as np
import pytest

from sensory.ratings.flags import RULES
from sensory.ratings.scorecard import panel_scorecard

from .shared import tidy

ASSESSORS, SAMPLES, REPLICATES, SESSIONS = 10, 6, 2, 500

SPOILT = {
    "like the others": lambda own, rng: own,
    "scale turned over": lambda own, rng: -own,
    "scores at random": lambda own, rng: rng.normal(0, 1.5, own.shape),
    "samples in another order": lambda own, rng: own[[3, 0, 5, 2, 4, 1]],
    "a third of the scale": lambda own, rng: own / 3,
    "error three times as wide": lambda own, rng: own + rng.normal(0, 2.3, own.shape),
    "4 too high": lambda own, rng: own + 4,
}


def ballots(spoil, seed):
    rng = np.random.default_rng(seed)
    shape = (ASSESSORS, SAMPLES, REPLICATES, SESSIONS)
    level = np.array([-2.7, -1.6, -0.5, 0.5, 1.6, 2.7])[None, :, None, None]
    score = level + rng.normal(0, 0.7, (ASSESSORS, 1, 1, SESSIONS))
    score = score + rng.normal(0, 0.4, (ASSESSORS, SAMPLES, 1, SESSIONS))
    score = score + rng.normal(0, 0.8, shape)
    score[-1] = spoil(score[-1], rng)
    return tidy("assessor sample replicate attribute", score=score)


@pytest.mark.parametrize("kind", SPOILT)
def test_rates_of_flags(kind, show):
    """In one table of 500 attributes, so the adjustment is over as many."""
    result = panel_scorecard(ballots(SPOILT[kind], seed=3))
    flags, judged = result.flags, len(result.judged)
    last = flags["assessor"] == ASSESSORS - 1
    own = flags[last]["flag"].value_counts().reindex(RULES, fill_value=0) / judged
    rest = flags[~last]["flag"].value_counts().reindex(RULES, fill_value=0)
    rest = rest / judged / (ASSESSORS - 1)
    assert rest.sum() < 0.15
    lines = [f"{kind}: judged on {judged} of {SESSIONS}; flags a judged attribute"]
    for whose, rates in (("the one   ", own), ("each other", rest)):
        lines.append(f"  {whose} " + ", ".join(f"{n} {x:.3f}" for n, x in rates.items() if x))
    show(*lines)
