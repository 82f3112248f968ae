"""Limits of kappa between two graders hold it as often as they say.

`python -m tests.calibration.test_kappa` prints the table of `check_graders` (10 s of a core).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from sensory.models.agreement import linear_weights, weighted_kappa

SCENES = {"in and out": ((0.8,), 1.5), "four grades": ((0.0, 0.8, 1.6), 1.5)}
"""Limits of the grades on the percept, and its scatter between samples; each grader adds 1."""
SAMPLES = (30, 60, 120)


def shares(cuts, spread):
    """Exact chance of each pair of grades, by a sum over the samples' percepts."""
    at = np.linspace(-8, 8, 4001)
    weight = np.exp(-(at**2) / 2)
    ends = np.array([-np.inf, *cuts, np.inf])
    each = np.diff(ndtr(ends[:, None] - spread * at), axis=0)
    return np.einsum("ik,jk,k->ij", each, each, weight / weight.sum())


def held(scene, samples, repeats, seed, level=0.95):
    """In which share of studies the limits hold the true kappa."""
    true, rng = shares(*SCENES[scene]), np.random.default_rng(seed)
    weights = linear_weights(len(true))
    kappa = weighted_kappa(true, weights)[0]
    reach, count = ndtri((1 + level) / 2), 0
    for table in rng.multinomial(samples, true.ravel(), repeats):
        seen, se = weighted_kappa(table.reshape(true.shape).astype(float), weights)
        count += abs(seen - kappa) <= reach * se
    return kappa, count / repeats


@pytest.mark.parametrize("scene", SCENES)
def test_limits_hold_kappa(scene):
    # 1,500 studies: standard error 0.006 at 0.95.
    assert held(scene, 60, 1500, 1)[1] >= 0.92


if __name__ == "__main__":
    for name in SCENES:
        for number in SAMPLES:
            print(name, number, held(name, number, 20_000, 3), flush=True)
