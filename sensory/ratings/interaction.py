"""Where assessors disagreed on the samples, and who causes it.

The interaction of assessor and sample is what is left when some assessors are harsher and some
samples stronger: the order or the size of the differences is not the same for everybody.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..base.arrays import Floats, Name
from ..base.results import several
from ..models.multiplicity import benjamini_hochberg
from .flags import p_words

_MOST_NAMED, _TIMES = 3, 2.0  # who is named has at least twice an even share


def false_discovery(p: Floats) -> Floats:
    """p adjusted over the attributes in which it could be told; NaN elsewhere."""
    told = np.isfinite(p)
    adjusted = np.full(p.shape, np.nan)
    if told.any():
        adjusted[told] = benjamini_hochberg(p[told])
    return adjusted


def main_causes(shares: pd.Series[float]) -> list[Name]:
    """Who has at least twice an even share of the interaction, at most three, largest first.

    >>> main_causes(pd.Series([0.1, 0.62, 0.08, 0.2], ["Ada", "Bo", "Cy", "Di"]))
    ['Bo']
    """
    largest = shares.sort_values(ascending=False, kind="stable")
    return list(largest.index[largest >= _TIMES / len(shares)][:_MOST_NAMED])


def interaction_says(
    attributes: pd.DataFrame, assessors: pd.DataFrame, alpha: float
) -> tuple[str, ...]:
    """A sentence for each attribute on which assessors disagreed, else one for all.

    `attributes`, `assessors`: tables of the scorecard.
    """
    told = attributes[attributes["interaction_p"].notna()]
    if told.empty:
        return ()
    shown = told[told["interaction_p_false_discovery"] <= alpha]
    if shown.empty:
        number = several(len(told), "attribute")
        return (f"No disagreement between assessors was shown on {number} (assessor x sample).",)
    return tuple(
        f"Assessors disagreed on {row['attribute']} (assessor x sample, "
        f"{p_words(row['interaction_p_false_discovery'])}): "
        f"{_causes(shares_of(assessors, row['attribute']))}"
        for row in shown.to_dict("records")
    )


def shares_of(assessors: pd.DataFrame, attribute: Name) -> pd.Series[float]:
    """Share of each assessor in the interaction of one attribute."""
    mine = assessors[assessors["attribute"] == attribute]
    return pd.Series(mine["interaction_share"].to_numpy(dtype=float), list(mine["assessor"]))


def _causes(shares: pd.Series[float]) -> str:
    names = main_causes(shares)
    even = f"an even share is {_percent(1 / len(shares))}"
    if not names:
        top = shares.index[int(shares.argmax())]
        return f"it is spread over the panel, {_percent(shares[top])} at most ({top}; {even})."
    first, *others = names
    parts = [f"{first} accounts for {_percent(shares[first])}"]
    parts += [f"{name} for {_percent(shares[name])}" for name in others]
    return f"{_listed(parts)} of it ({even})."


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
