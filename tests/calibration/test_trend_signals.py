"""Prints how often a trend signals falsely, and how late it sees a change.

Batches are independent and normal, standard deviation 0.3, panel's noise 0.2 and unequal
between days (0.1 to 0.3). The limits come from the first `base` batches, as they do at work;
the published run lengths take them as known.
"""

import numpy as np
import pytest

from sensory.choices.protocols import TRIANGLE
from sensory.release.choice_trend import trend_of_choices
from sensory.release.trend import trend

from .shared import tidy

LINES, AFTER = 400, 40


def batches(base, shift, seed, slope=0.0):
    rng = np.random.default_rng(seed)
    points = base + AFTER
    se = rng.uniform(0.1, 0.3, (LINES, points))
    later = np.maximum(np.arange(points) - base + 1, 0)
    estimate = rng.normal(0, 0.3, (LINES, points)) + se * rng.normal(size=(LINES, points))
    return tidy("line batch", estimate=estimate + shift * (later > 0) + slope * later, se=se)


def waits(points, base):
    """Share of lines with a signal in the 40 batches after the base, and the median wait."""
    later = points[points["batch"] >= base]
    found = later[later["signals"] != ""].groupby("line")["batch"].min() - base + 1
    wait = found.reindex(range(LINES), fill_value=AFTER + 1)
    return len(found) / LINES, wait.median()


@pytest.mark.parametrize("base", [8, 12, 20, 40])
def test_signals_of_scores(base, show):
    """Sizes are in standard deviations of a point, 0.36."""
    said = []
    for size in (0.0, 0.5, 1.0, 2.0, 3.0):
        frame = batches(base, size * 0.36, seed=base)
        for rules in (("limit",), ("limit", "nine on one side")):
            result = trend(frame, base=base, rules=rules)
            share, median = waits(result.points, base)
            clear = result.change["clear"].mean()
            said.append(
                f"  shift {size}: {' and '.join(rules)} with the weighted mean: signal in "
                f"{share:.2f} of lines, median wait {median:g}; change clear {clear:.2f}"
            )
            if size == 0:
                assert clear <= 0.08
            if size == 3.0:
                assert share > 0.95
    show(f"limits from {base} batches, then {AFTER} more", *said)


@pytest.mark.parametrize("base", [12, 20])
def test_signals_of_a_slow_drift(base, show):
    frame = batches(base, 0.0, seed=base, slope=0.036)
    share, median = waits(trend(frame, base=base).points, base)
    assert share > 0.9
    show(f"drift of 0.1 sd a batch, base {base}: seen in {share:.2f}, median wait {median:g}")


@pytest.mark.parametrize("trials", [12, 24])
def test_signals_of_choices(trials, show):
    base, said = 20, []
    for later in (0.40, 0.50, 0.60):
        rng = np.random.default_rng(trials)
        pc = np.where(np.arange(base + AFTER) < base, 0.40, later)
        frame = tidy("line batch", correct=rng.binomial(trials, pc, (LINES, base + AFTER)))
        result = trend_of_choices(frame.assign(trials=trials), protocol=TRIANGLE, base=base)
        share, median = waits(result.points, base)
        clear = result.change["clear"].mean()
        said.append(
            f"  0.40 to {later:.2f}: signal in {share:.2f}, median wait {median:g}; "
            f"change clear {clear:.2f}"
        )
        if later == 0.40:
            assert clear <= 0.08
    show(f"triangle, {trials} assessors, limits from {base} batches, then {AFTER} more", *said)
