"""How often causes are named where there is none, and their limits where there are.

Means, deviations and what is named come from `explain_batches` on simulated years: two lines, two
materials whose lots change at different times, dates.
"""

import numpy as np
import pandas as pd

from sensory.evidence.causes import explain_batches


def year(rng, batches, *, lots=0.0, moved=0.0, scatter=0.2):
    """Batches of two lines; `lots` is the scatter of lots, `moved` what one lot adds."""
    days = pd.date_range("2026-01-05", periods=batches, freq="3D").strftime("%Y-%m-%d")
    se = rng.uniform(0.12, 0.28, batches)
    sugar = np.arange(batches) * 8 // batches
    fruit = (np.arange(batches) + 4) * 6 // (batches + 4)
    line = rng.integers(0, 2, batches)
    true = rng.normal(0.1, scatter, batches) + rng.normal(0, lots, 8)[sugar] + moved * (sugar == 5)
    return pd.DataFrame(
        {
            "batch": [f"B{at}" for at in range(batches)],
            "date": days,
            "estimate": rng.normal(true, se),
            "se": se,
            "line": np.where(line, "line 2", "line 1"),
            "sugar lot": [f"S{at}" for at in sugar],
            "fruit lot": [f"F{at}" for at in fruit],
        }
    )


def row_of(batches, scatter, lots, moved, rows, seed):
    rng = np.random.default_rng([seed, batches])
    named = right = held = wrong = 0
    for _ in range(rows):
        result = explain_batches(year(rng, batches, lots=lots, moved=moved, scatter=scatter))
        table = result.causes
        own = table[table["named"]]
        named += len(own) > 0
        lot = own[own["value"] == "S5"]
        wrong += len(own) > len(lot)
        if len(lot):
            right += 1
            held += lot["low"].iloc[0] <= moved <= lot["high"].iloc[0]
    return named / rows, right / rows, held / max(right, 1), wrong / rows


def table(rows=60):
    yield "batches scatter of lots moved | any named | lot named | limits hold | other named"
    for batches in (24, 60):
        for scatter, lots, moved in ((0.2, 0, 0), (0.0, 0, 0), (0.2, 0, 0.6), (0.2, 0.1, 0.9)):
            numbers = row_of(batches, scatter, lots, moved, rows, 7)
            shown = " | ".join(f"{number:9.3f}" for number in numbers)
            yield f"{batches:7} {scatter:7} {lots:7} {moved:5} | {shown}"


def test_causes_are_named_as_seldom_by_chance_as_agreed(show):
    named, *_ = row_of(24, 0.2, 0.0, 0.0, 200, 7)
    show(*table())
    assert named < 0.05 + 3 * (0.05 * 0.95 / 200) ** 0.5


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)
