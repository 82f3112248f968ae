"""How often limits hold the truth: planned looks by enumeration, scored order by simulation.

Planned looks, chance that the limits of all looks hold the true d-prime (level 95 %), exact:

    test, answers a look     d' 0    0.5     1       2
    triangle 8 8 8           96.6    96.2    97.4    97.4
    tetrad 12 12             96.8    97.8    97.3    98.8
    duo-trio 10 10 10        95.2    97.0    97.4    97.8

Difference from control in three sessions of 12, limits of one d-prime, 300 rows each
(`python tests/calibration/test_planned_looks.py`; scores are distances in whole points of 0.5 or 1
sd, a third of them with a scale of the assessor's own):

    points of   d' 0    0.5     1       2       3
    0.5 sd      96.7    97.0    96.3    94.3    95.7
    1 sd        97.3    98.3    97.3    93.0    95.0
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from sensory.choices.protocols import DUO_TRIO, find_protocol
from sensory.evidence.planned_looks import planned_looks
from sensory.models.joint_dprime import Counts, common_dprime


def held_at_all_looks(name: str, sizes: tuple[int, ...], dprime: float, level: float) -> float:
    """Chance that every look's limits hold the d-prime, over all paths of the total."""
    plan, pc = planned_looks(name, sizes, alpha=0.1), find_protocol(name).proportion_correct(dprime)
    going = {0: 1.0}
    for look, size in enumerate(sizes):
        after: dict[int, float] = {}
        for total, chance in going.items():
            for right in range(size + 1):
                more = chance * binom.pmf(right, size, pc)
                after[total + right] = after.get(total + right, 0.0) + more
        going = {}
        for total, chance in after.items():
            path, rest = [], total
            for most in sizes[: look + 1]:  # the limits depend on the total alone
                path.append(min(rest, most))
                rest -= path[-1]
            low, high = plan.limits(path, level)[-1]
            if low <= dprime <= high:
                going[total] = chance
    return sum(going.values())


def scored(dprime: float, people: int, points: float, rng: np.random.Generator) -> list[int]:
    """Who scores the batch further from the reference than the blind control, and who alike."""
    blind, reference, batch = rng.normal(size=(3, people))
    own = np.where(rng.random(people) < 1 / 3, np.exp(rng.normal(0, 0.4, people)), 1.0)
    far = np.round(own * np.abs(batch + dprime - reference) / points)
    near = np.round(own * np.abs(blind - reference) / points)
    return [int((far > near).sum()), int((far == near).sum())]


def rows_held(dprime: float, points: float, rows: int, seed: int) -> float:
    rng, held = np.random.default_rng(seed), 0
    for _ in range(rows):
        drawn = np.array([scored(dprime, 12, points, rng) for _ in range(3)], float)
        counts = Counts(
            links=(DUO_TRIO.proportion_correct,) * 3,
            guesses=np.full(3, 0.5),
            correct=drawn[:, 0],
            trials=np.full(3, 12.0),
            equal=drawn[:, 1],
        )
        fit = common_dprime(counts, 0.95)
        held += fit.low <= dprime <= fit.high
    return held / rows


@pytest.mark.parametrize(("dprime", "held"), [(0.0, 0.9675), (1.0, 0.9733)])
def test_limits_of_planned_looks_hold_at_all_of_them(dprime, held):
    assert held_at_all_looks("tetrad", (12, 12), dprime, 0.95) == pytest.approx(held, abs=5e-5)


if __name__ == "__main__":
    for width in (0.5, 1.0):
        shares = [100 * rows_held(truth, width, 300, 7) for truth in (0.0, 0.5, 1.0, 2.0, 3.0)]
        print(width, [f"{share:.1f}" for share in shares])
