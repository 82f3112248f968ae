"""Limits of a detection threshold hold it as often as they say.

`python -m tests.calibration.test_threshold 500` prints the table of `detection_threshold`: about
50 ms of a core a series and scene.
"""

from __future__ import annotations

import sys

import numpy as np
import pytest
from scipy.special import ndtr

from sensory.models.threshold import Answers, best_curve, fall_of, profile_at

SCENES = {
    "10 assessors, alike": (10, 7, 0.3, 0.0),
    "10 assessors, scattered": (10, 7, 0.15, 0.3),
    "20 assessors, scattered": (20, 7, 0.15, 0.3),
    "20 assessors, far apart": (20, 9, 0.15, 0.6),
    "40 assessors, scattered": (40, 6, 0.2, 0.2),
}
"""Assessors, steps of a factor of 2, width of one curve, scatter between thresholds (log10)."""
STEP, GUESS = np.log10(2.0), 1 / 3


def series(rng, people, steps, own, between) -> tuple[Answers, float]:
    """A simulated series whose threshold lies in its middle."""
    at = STEP * np.arange(steps)
    middle = float(at.mean()) + 0.1
    thresholds = middle + between * rng.standard_normal(people)
    share = GUESS + (1 - GUESS) * ndtr((at - thresholds[:, None]) / own)
    right = (rng.random(share.shape) < share).astype(float)
    return Answers(at=at, right=right, wrong=1 - right, guess=GUESS), middle


def held(scene, repeats: int, seed: int, level: float = 0.95) -> tuple[int, int]:
    """In how many series the limits hold the threshold, and where three quarters notice."""
    rng, (people, steps, own, between) = np.random.default_rng(seed), SCENES[scene]
    width, counts = float(np.hypot(own, between)), np.zeros(2, int)
    for _ in range(repeats):
        answers, middle = series(rng, people, steps, own, between)
        curve = best_curve(answers)
        floor = curve.log_likelihood - fall_of(answers, level)
        for place, z in enumerate((0.0, 0.6745)):
            counts[place] += profile_at(answers, curve, middle + z * width, z) >= floor
    return int(counts[0]), int(counts[1])


@pytest.mark.parametrize("scene", ["10 assessors, scattered"])
def test_limits_hold_the_threshold(scene):
    # 20 series: fewer than 16 of 20 held has a chance of 0.0003 where limits hold 0.95.
    assert min(held(scene, 20, 1)) >= 16


if __name__ == "__main__":
    for name in SCENES:
        print(name, held(name, int(sys.argv[1]), 7), flush=True)
