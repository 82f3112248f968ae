"""Slopes of people from one population, where its spread is next to nothing."""

import numpy as np
import pytest

from sensory.models.pooling import SLOPES, pooled_slopes


@pytest.mark.parametrize("centre", [1.0, 1.0023, 1.0025])
@pytest.mark.parametrize("people", [3, 12])
def test_people_who_are_all_alike_have_their_own_mean_and_no_spread(centre, people):
    """By hand: with one likelihood for all, the largest is at its top, with no spread."""
    told = -((SLOPES - np.full((people, 1), centre)) ** 2) / (2 * 0.3**2)
    pooled = pooled_slopes(told)
    assert pooled.mean == pytest.approx(centre, abs=5e-4)
    assert 0 < pooled.spread < 0.005
