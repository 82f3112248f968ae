"""How often the 95 % limits of batches over time hold the truth, in simulated lines.

As printed by `python` on this file, seed 2026:

batch by its own limits (assessors behind se)
  5: 0.878
  8: 0.909
  12: 0.924
  20: 0.935
place of a change (batches, step in standard deviations)
  12, 1.0: 0.975
  12, 2.0: 0.988
  20, 1.0: 0.980
  20, 2.0: 0.973
  40, 1.0: 0.975
place of a change in counts (answers, batches, d-prime before and after)
  triangle, 12, 12, 0.5, 2.0: 0.990
  triangle, 24, 12, 0.5, 2.0: 0.998
  triangle, 24, 20, 0.5, 1.5: 0.978
  duo-trio, 24, 20, 0.5, 2.0: 0.988
total at every look (answers, batches, d-prime)
  triangle, 12, 12, 0.0: 0.990
  triangle, 24, 40, 0.0: 0.995
  triangle, 24, 40, 1.0: 0.993
  duo-trio, 24, 40, 2.0: 1.000
mean of a line (batches, scatter beside noise of 0.3)
  5, 0.3: 1.000
  8, 0.3: 0.965
  20, 0.3: 0.960
  8, 0.0: 1.000
"""

from unittest.mock import patch

import numpy as np
import pandas as pd
from scipy.special import ndtri, stdtr

from sensory.choices.protocols import DUO_TRIO, TRIANGLE
from sensory.models.change_points import step_in_mean, step_in_proportion
from sensory.models.confidence_sequence import always_limits
from sensory.release import trend_lines
from sensory.release.trend import trend

SEED = 2026
FEW = {"shuffles": 9, "seed": 1}  # orders behind the p of a change, which is not looked at here


def of_batch(assessors):
    """Share of batches within their own limits, exact: se from so many differences."""
    return (1 - 2 * stdtr(assessors - 1, -ndtri(0.975)),)


def of_mean(batches, scatter, lines=200, noise=0.3):
    """Share of lines that hold where the batches lie in the long run."""
    rng = np.random.default_rng([SEED, batches, round(10 * scatter)])
    estimate = rng.normal(0, np.hypot(scatter, noise), lines * batches)
    line, batch = np.divmod(np.arange(lines * batches), batches)
    rows = pd.DataFrame({"line": line, "batch": batch, "estimate": estimate, "se": noise})
    with patch.object(trend_lines, "FEWEST_FOR_CHANGE", 1000):
        table = trend(rows).lines
    return (((table["low"] <= 0) & (table["high"] >= 0)).mean(),)


def of_change(batches, step, lines=400):
    """Share of lines whose `first` to `last` hold the first batch of the new level; step in
    standard deviations of a point."""
    rng = np.random.default_rng([SEED, batches, round(10 * step)])
    place, held = batches // 2, 0
    for _ in range(lines):
        values = rng.normal(np.where(np.arange(batches) >= place, step, 0.0), 1)
        change = step_in_mean(values, np.ones(batches), level=0.95, **FEW)
        held += change.low <= place <= change.high
    return (held / lines,)


def of_change_in_counts(protocol, answers, batches, before, after, lines=400):
    """The same for counts, d-prime before and after."""
    rng = np.random.default_rng([SEED, batches, answers, round(10 * after)])
    place, held, trials = batches // 2, 0, np.full(batches, float(answers))
    pc = protocol.proportion_correct(np.where(np.arange(batches) >= place, after, before))
    for _ in range(lines):
        correct = rng.binomial(answers, pc).astype(float)
        change = step_in_proportion(correct, trials, level=0.95, **FEW)
        held += change.low <= place <= change.high
    return (held / lines,)


def of_all_looks(protocol, answers, batches, dprime, lines=400):
    """Share of lines in which the limits of the total hold after every batch."""
    rng = np.random.default_rng([SEED, batches, answers, round(10 * dprime)])
    pc = float(protocol.proportion_correct([dprime])[0])
    correct = rng.binomial(answers, pc, (lines, batches)).cumsum(1).astype(float)
    trials = np.broadcast_to(answers * np.arange(1.0, batches + 1), correct.shape)
    low, high = always_limits(correct.ravel(), trials.ravel(), 0.95)
    inside = (low <= pc) & (pc <= high)
    return (inside.reshape(correct.shape).all(1).mean(),)


PARTS = {
    "batch by its own limits (assessors behind se)": (of_batch, [(5,), (8,), (12,), (20,)]),
    "place of a change (batches, step in standard deviations)": (
        of_change,
        [(12, 1.0), (12, 2.0), (20, 1.0), (20, 2.0), (40, 1.0)],
    ),
    "place of a change in counts (answers, batches, d-prime before and after)": (
        of_change_in_counts,
        [(TRIANGLE, 12, 12, 0.5, 2.0), (TRIANGLE, 24, 12, 0.5, 2.0), (TRIANGLE, 24, 20, 0.5, 1.5),
         (DUO_TRIO, 24, 20, 0.5, 2.0)],
    ),
    "total at every look (answers, batches, d-prime)": (
        of_all_looks,
        [(TRIANGLE, 12, 12, 0.0), (TRIANGLE, 24, 40, 0.0), (TRIANGLE, 24, 40, 1.0),
         (DUO_TRIO, 24, 40, 2.0)],
    ),
    "mean of a line (batches, scatter beside noise of 0.3)": (
        of_mean,
        [(5, 0.3), (8, 0.3), (20, 0.3), (8, 0.0)],
    ),
}  # fmt: skip


def table():
    for name, (measured, settings) in PARTS.items():
        yield name
        for setting in settings:
            words = ", ".join(getattr(part, "name", str(part)) for part in setting)
            yield f"  {words}: " + " ".join(f"{share:.3f}" for share in measured(*setting))


def test_limits_of_batches_over_time(show):
    show(*table())


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)
