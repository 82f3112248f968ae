"""The least significant differences of a profile, beside its means."""

from __future__ import annotations

import pandas as pd


def least_table(pairs: pd.DataFrame, against_reference: pd.DataFrame | None) -> pd.DataFrame:
    """Columns ``attribute dunnett tukey level``: from where a difference of means is significant.

    Half the width of the simultaneous limits: of differences from the reference (Dunnett; NaN
    without a reference) and of all pairs (Tukey), adjusted over the samples of an attribute.
    Where comparisons have different standard errors the largest, which is enough for each.
    """
    table = pairs.drop_duplicates("attribute")[["attribute", "level"]].set_index("attribute")
    table["dunnett"] = float("nan") if against_reference is None else _half(against_reference)
    table["tukey"] = _half(pairs)
    return table.reset_index()[["attribute", "dunnett", "tukey", "level"]]


def _half(compared: pd.DataFrame) -> pd.Series:
    width = (compared["high"] - compared["low"]) / 2
    return width.groupby(compared["attribute"], sort=False).max()
