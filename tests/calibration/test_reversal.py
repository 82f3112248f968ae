"""Prints how often an assessor is called reversed who is not, and who is.

Ten assessors score samples twice; error 0.6, assessor x sample 0.3 of nine of them. The tenth
perceives nothing, follows the others, or turns the scale round, and repeats as widely as the
others or up to three times as widely. A session is called wrong when anybody is named who did
not turn the scale round, at Holm p 0.05 over the ten.
"""

import numpy as np
import pytest

from sensory.models.multiplicity import holm
from sensory.ratings.flags import turned_round
from sensory.ratings.performance import agreement, cells
from sensory.ratings.reversal import reversal_p
from sensory.ratings.tables import rating_table

from .shared import tidy

ASSESSORS, REPLICATES, SESSIONS, ROUNDS = 10, 2, 1000, 5
LEVELS = {3: [-1.0, 0.0, 1.0], 6: [-2.0, -1.2, -0.4, 0.4, 1.2, 2.0]}


def rates(levels, slope, wider, seed):
    """Share of sessions in which the last is named, and in which anybody else is."""
    rng, last, others = np.random.default_rng(seed), 0.0, 0.0
    shape = (ASSESSORS, len(levels), REPLICATES, SESSIONS)
    for _ in range(ROUNDS):
        level = np.array(levels)[None, :, None, None]
        between = rng.normal(0, 0.3, (ASSESSORS, len(levels), 1, SESSIONS))
        score = level + between + rng.normal(0, 0.6, shape)
        score[-1] = slope * level[0] + rng.normal(0, 0.6 * wider, shape[1:])
        of = cells(rating_table(tidy("assessor sample replicate attribute", score=score)))
        numbers = agreement(of, 0.05)
        p = holm(reversal_p(of, numbers))
        named = turned_round({**numbers, "reversed_p_holm": p}, np.ones(SESSIONS, bool), 0.05)
        last += named[-1].mean() / ROUNDS
        others += named[:-1].any(0).mean() / ROUNDS
    return last, others


@pytest.mark.parametrize("samples", LEVELS)
def test_rates_of_reversals(samples, show):
    lines = [f"{samples} samples: the tenth named, somebody else named"]
    for slope in (0.0, 1.0, -1.0):
        for wider in (1.0, 1.5, 2.0, 3.0):
            last, others = rates(LEVELS[samples], slope, wider, seed=samples)
            lines.append(f"  slope {slope:+.0f}, repeats {wider:g} times: {last:.4f}, {others:.4f}")
            assert others < 0.05
            assert slope < 0 or last < 0.05
    show(*lines)
