"""How often the limits of hit rates hold the truth: exact, by summing over every count.

95 %, rates from 0 to 1 in steps of 0.005:

trials  least   mean
     4  0.9757  0.9924
     6  0.9657  0.9889
    10  0.9615  0.9838
    20  0.9584  0.9769
    40  0.9519  0.9708
"""

import numpy as np
import pandas as pd
from scipy.stats import binom

from sensory.ratings.spikes import spiked_samples

RATES = np.linspace(0, 1, 201)


def by_trials(trials):
    """Least and mean over the rates; an assessor for each number of hits."""
    hits = np.arange(trials + 1)
    who, trial = (code.ravel() for code in np.indices((trials + 1, trials)))
    rows = pd.DataFrame({"assessor": who, "spiked": True, "found": trial < who})
    result = spiked_samples(rows).assessors.sort_values("hits")
    low, high = result["hit_low"].to_numpy(), result["hit_high"].to_numpy()
    chance = binom.pmf(hits, trials, RATES[:, None])
    inside = (low <= RATES[:, None] + 1e-12) & (RATES[:, None] - 1e-12 <= high)
    coverage = (chance * inside).sum(1)
    return coverage.min(), coverage.mean()


def table():
    yield "trials  least   mean"
    for trials in (4, 6, 10, 20, 40):
        least, mean = by_trials(trials)
        yield f"{trials:6}  {least:.4f}  {mean:.4f}"


def test_limits_of_hit_rates(show):
    show(*table())
    assert min(by_trials(trials)[0] for trials in (4, 10, 40)) >= 0.95


if __name__ == "__main__":
    for line in table():
        print(line)
