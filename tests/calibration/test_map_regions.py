"""Prints how often the regions of a sample map hold the true place.

The true place of a sample is its true mean, centred and projected on the axes that the
panel's own means gave. As these axes lean towards the noise of the same panel, coverage
falls short where samples hardly differ; a level is asked only where they do.
"""

import numpy as np
import pytest

from sensory.ratings.sample_map import sample_map

from .shared import tidy

PANELS = 400
SAMPLES, ATTRIBUTES = 5, 6


def inside(region, place):
    away, lean = place - np.array(region.centre), np.deg2rad(region.angle)
    along = away @ [np.cos(lean), np.sin(lean)] / region.half_axes[0]
    across = away @ [-np.sin(lean), np.cos(lean)] / region.half_axes[1]
    return along**2 + across**2 <= 1


def coverage(people, ratio, rng):
    """Share of regions with the true place; `ratio` is spread of samples over that of scores."""
    hits = []
    for _ in range(PANELS):
        truth = rng.normal(0, ratio, (SAMPLES, ATTRIBUTES))
        scores = truth + rng.normal(0, 1, (people, SAMPLES, ATTRIBUTES))
        found = sample_map(tidy("assessor sample attribute", score=scores), draws=500)
        places = (truth - truth.mean(0)) @ found.loadings[:, :2]
        hits += [inside(*pair) for pair in zip(found.regions, places, strict=True)]
    return np.mean(hits)


@pytest.mark.parametrize("people", [6, 10, 20])
def test_regions(people, show):
    rng = np.random.default_rng(people)
    found = {ratio: coverage(people, ratio, rng) for ratio in (0.0, 0.3, 1.0, 2.0)}
    show(f"regions of a map, {people} assessors: coverage of 95 % by spread of samples",
         "   ".join(f"{ratio}: {share:.3f}" for ratio, share in found.items()))  # fmt: skip
    assert 0.92 <= found[2.0] <= 0.98
    assert found[0.0] < found[2.0]
