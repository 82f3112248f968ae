"""Invented ballots as several tests of this folder need them."""

import numpy as np
import pandas as pd


def tidy(scores, attribute=None, samples=None, attributes=None):
    """Scores by assessors, samples, replicates and, if named, attributes as tidy ballots."""
    scores = np.asarray(scores, float)
    a, s, r, *k = (code.ravel() for code in np.indices(scores.shape))
    columns = {
        "assessor": [f"A{i:02}" for i in a],
        "sample": [samples[i] if samples else f"S{i:02}" for i in s],
        "replicate": r + 1,
        "score": scores.ravel(),
    }
    if attributes:
        columns["attribute"] = [attributes[i] for i in k[0]]
    return pd.DataFrame(columns if attribute is None else columns | {"attribute": attribute})


def with_cell(ballots, row, column, value):
    """The same ballots with one cell changed."""
    ballots = ballots.astype(object)
    ballots.loc[row, column] = value
    return ballots
