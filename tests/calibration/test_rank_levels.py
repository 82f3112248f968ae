"""Prints true levels of the ranking test by simulation.

Ranks come from normal scores; with ties the scores are cut into whole numbers. A family is
all pairs of samples that are truly alike; a false alarm is any of them called different.
"""

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import rankdata

from sensory.ratings.ranking import ranking_test

PANELS = 1000
NAMES = "ABCDEF"
# At a true level of 5 % a share above this comes by chance once in about 30,000 runs.
MOST = 0.05 + 4 * np.sqrt(0.05 * 0.95 / PANELS)


def frame(scores):
    ranks = np.apply_along_axis(rankdata, 1, scores)
    people, samples = np.indices(ranks.shape)
    return pd.DataFrame(
        {
            "assessor": [f"{n:03}" for n in people.ravel()],
            "sample": [NAMES[n] for n in samples.ravel()],
            "rank": ranks.ravel(),
        }
    )


def shares(people, truth, tied, rng):
    """Share of panels with a false alarm, by each way of comparing; and Friedman's."""
    alike = {
        (NAMES[i], NAMES[j]) for i, j in combinations(range(len(truth)), 2) if truth[i] == truth[j]
    }
    found = {"Friedman": 0, "closed": 0, "each alone": 0, "Bonferroni": 0, "range": 0}
    for _ in range(PANELS):
        scores = rng.normal(truth, 1, (people, len(truth)))
        test = ranking_test(frame(np.rint(scores) if tied else scores))
        family = [row for row in test.pairs.records() if (row["sample"], row["other"]) in alike]
        limit = test.least_differences.by_range
        found["Friedman"] += test.friedman.p <= 0.05
        found["closed"] += any(row["p_adjusted"] <= 0.05 for row in family)
        found["each alone"] += any(row["one_pair"] for row in family)
        found["Bonferroni"] += any(row["all_pairs"] for row in family)
        found["range"] += limit is not None and any(abs(r["estimate"]) >= limit for r in family)
    return {name: count / PANELS for name, count in found.items()}


@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize("people", [8, 15])
def test_levels(people, tied, show):
    rng = np.random.default_rng(people + tied)
    lines = [f"{people} assessors, {'with' if tied else 'no'} ties"]
    for truth in ([0.0] * 4, [0.0, 0.0, 0.0, 2.5], [0.0, 0.0, 2.0, 2.0]):
        found = shares(people, np.array(truth), tied, rng)
        lines.append(f"  {truth}: " + "  ".join(f"{n} {s:.3f}" for n, s in found.items()))
        assert found["closed"] <= MOST
        if len(set(truth)) == 1:
            assert found["Friedman"] <= MOST
            assert found["range"] <= MOST + 0.01 * tied  # a large-sample value with ties
    show(*lines)
