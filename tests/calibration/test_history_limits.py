"""How often limits of what history shows hold the truth: 95 % quantile, and share beyond a limit.

Points: true distances normal with mean 0.5 and standard deviation 0.3, noise 0.15 or 0.3; the
limit looked at is 1.0. Counts: gamma with mean 1 and standard deviation 0.5, 48 triangles a batch;
the limit is 1.8.

With 200 rows (counts: 100):

    points: batches noise | quantile, share beyond
      10   0.3 | 0.965 0.965
      30  0.15 | 0.960 0.960
      30   0.3 | 0.945 0.940
      80   0.3 | 0.935 0.935
    counts: batches | quantile, share beyond
      12 | 0.980 0.990
      40 | 0.930 0.930
"""

import numpy as np
import pytest
from scipy.stats import gamma, norm

from sensory.choices.protocols import TRIANGLE
from sensory.models.joint_dprime import Counts
from sensory.models.true_spread import of_counts, of_estimates


def normal_row(batches, noise, rows, seed=2):
    rng = np.random.default_rng([seed, batches, int(100 * noise)])
    true, se = norm(0.5, 0.3), np.full(batches, noise)
    fits = (of_estimates(rng.normal(0.5, np.hypot(0.3, noise), batches), se) for _ in range(rows))
    return shares(fits, float(true.ppf(0.95)), 1.0, float(true.sf(1.0)), rows)


def counted_row(batches, rows, seed=3):
    rng = np.random.default_rng([seed, batches])
    true = gamma(4, scale=0.25)
    fits = (
        of_counts(
            Counts(
                links=(TRIANGLE.proportion_correct,) * batches,
                guesses=np.full(batches, 1 / 3),
                correct=rng.binomial(
                    48, TRIANGLE.proportion_correct(rng.gamma(4, 0.25, batches))
                ).astype(float),
                trials=np.full(batches, 48.0),
            )
        )
        for _ in range(rows)
    )
    return shares(fits, float(true.ppf(0.95)), 1.8, float(true.sf(1.8)), rows)


def shares(fits, quantile, limit, beyond, rows):
    held = np.zeros(2)
    for fit in fits:
        low, high = fit.quantile_limits(0.95, 0.95)
        held[0] += low <= quantile <= high
        low, high = fit.beyond_limits(limit, 0.95)
        held[1] += low <= beyond <= high
    return held / rows


def table(rows=200):
    yield "points: batches noise | quantile, share beyond"
    for batches, noise in ((10, 0.3), (30, 0.15), (30, 0.3), (80, 0.3)):
        held = normal_row(batches, noise, rows)
        yield f"{batches:4} {noise:5} | {held[0]:.3f} {held[1]:.3f}"
    yield "counts: batches | quantile, share beyond"
    for batches in (12, 40):
        held = counted_row(batches, rows // 2)
        yield f"{batches:4} | {held[0]:.3f} {held[1]:.3f}"


@pytest.mark.parametrize("noise", [0.15, 0.3])
def test_limits_hold_what_they_claim(show, noise):
    held = normal_row(30, noise, 200)
    show(f"noise {noise}: {held}")
    assert held.min() > 0.95 - 3 * (0.95 * 0.05 / 200) ** 0.5


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)
