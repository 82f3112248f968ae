"""The least significant differences of a profile, beside its means."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..base.arrays import Floats


def least_table(pairs: pd.DataFrame, against_reference: pd.DataFrame | None) -> pd.DataFrame:
    """Columns ``attribute dunnett tukey level``: from where a difference of means is significant.

    Half the width of the simultaneous limits: of differences from the reference (Dunnett; NaN
    without a reference) and of all pairs (Tukey), adjusted over the samples of an attribute.
    Where comparisons have different standard errors the largest, which is enough for each.
    """
    attributes = pairs["attribute"].unique()
    absent = np.full(len(attributes), np.nan)
    columns = {
        "dunnett": absent if against_reference is None else _half(against_reference, absent.size),
        "tukey": _half(pairs, absent.size),
        "level": pairs["level"].to_numpy()[:: len(pairs) // absent.size],
    }
    return pd.DataFrame({"attribute": attributes, **columns})


def _half(compared: pd.DataFrame, attributes: int) -> Floats:
    """Half the widest limits of each attribute, whose rows stand together, as many for each."""
    width = (compared["high"].to_numpy() - compared["low"].to_numpy()) / 2
    return np.asarray(np.fmax.reduce(width.reshape(attributes, -1), axis=1), float)
