"""Use of the scale: what of the interaction is only wider or narrower scoring.

[1] Brockhoff, P.M., Schlich, P. and Skovgaard, I. (2015). Food Quality and Preference 39,
    156-166: the mixed assessor model. (From memory.)
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import fdtrc

from ..base.arrays import Bools, Floats
from .fitting import FittedPanel

SCALING, DISAGREEMENT = "scaling", "disagreement"


def scaling_tables(panel: FittedPanel) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The interaction split into scaling and disagreement, and the slopes behind it.

    Each assessor's deviations are regressed on the panel's sample means [1]. A slope of 2
    says twice as wide as the panel; the slopes average 1. Scaling has assessors - 1 degrees
    of freedom, disagreement (assessors - 1)(samples - 2), and sample is tested against
    disagreement alone. Where samples hardly differ the slopes are noise: read this only
    for attributes whose samples differ.

    Returns
    -------
    scaling : DataFrame
        ``attribute source ss df ms against df_error statistic p`` with the sources
        sample, scaling and disagreement.
    slopes : DataFrame
        ``attribute assessor estimate se df``.

    Notes
    -----
    Unequal numbers of replicates enter with their harmonic mean (unweighted means). An
    attribute with an empty cell of assessor and sample or with equal sample means is left
    out, and so are all when there are two samples only, since scaling is then the whole
    interaction.
    """
    cells, numbers = _cells(panel)
    assessors, samples, _ = cells.shape
    usable = np.flatnonzero(_usable(cells, numbers))
    cells, numbers = cells[:, :, usable], numbers[:, :, usable]
    each = 1 / (1 / numbers).mean((0, 1)) if usable.size else np.ones(0)
    level = cells.mean(0)
    profile = level - level.mean(0)
    spread = (profile**2).sum(0)
    both = cells - cells.mean(1, keepdims=True) - profile[None]
    lean = (both * profile).sum(1) / spread  # (assessors, attributes): slope - 1
    ss = {
        "sample": each * assessors * spread,
        SCALING: each * spread * (lean**2).sum(0),
    }
    whole = each * (both**2).sum((0, 1))
    rest = whole - ss[SCALING]
    ss[DISAGREEMENT] = np.where(rest > 1e-12 * whole, rest, 0.0)  # less is rounding
    df = {"sample": samples - 1, SCALING: assessors - 1}
    df[DISAGREEMENT] = (assessors - 1) * (samples - 2)
    names = [panel.table.attributes[place] for place in usable]
    noise = ss[DISAGREEMENT] / max(df[DISAGREEMENT], 1)
    slopes = pd.DataFrame(
        {
            "attribute": [name for name in names for _ in range(assessors)],
            "assessor": list(panel.table.assessors) * len(names),
            "estimate": 1 + lean.T.ravel(),
            "se": np.repeat(np.sqrt(noise / (each * spread)), assessors),
            "df": float(df[DISAGREEMENT]),
        }
    )
    return _variance(names, ss, df, *_error(panel, usable)), slopes


def _usable(cells: Floats, numbers: Floats) -> Bools:
    """Attributes with slopes to be had."""
    full = (numbers > 0).all((0, 1)) & (cells.shape[1] > 2)
    level = np.where(full, cells, 0.0).mean(0)
    size = np.abs(np.where(full, cells, 0.0)).max((0, 1))
    return np.asarray(full & (np.ptp(level, axis=0) > 1e-12 * size))


def _error(panel: FittedPanel, usable: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Mean square of error and its degrees of freedom; NaN where it cannot be told."""
    there = np.isfinite(panel.grid.scores)
    _, numbers = _cells(panel)
    occasions = len(getattr(panel.table, f"{panel.occasion}s")) - 1 if panel.occasion else 0
    free = there.sum(0) - (numbers > 0).sum((0, 1)) - occasions
    told = panel.gathered(lambda group: np.full(len(group.places), group.interaction, float)) > 0
    df = np.where(told, free, np.nan)
    return panel.repeatability[usable] ** 2, df[usable].astype(float)


def _variance(
    names: list[object],
    ss: dict[str, Floats],
    df: dict[str, int],
    error: Floats,
    df_error: Floats,
) -> pd.DataFrame:
    ms = {source: ss[source] / max(df[source], 1) for source in ss}
    blocks = []
    for order, source in enumerate(ss):
        last = source == DISAGREEMENT
        below = np.where(np.isnan(df_error), np.nan, error) if last else ms[DISAGREEMENT]
        free = df_error if last else np.full(len(names), float(df[DISAGREEMENT]))
        with np.errstate(divide="ignore", invalid="ignore"):
            statistic = ms[source] / below
        block = {
            "attribute": names,
            "source": source,
            "ss": ss[source],
            "df": float(df[source]),
            "ms": ms[source],
            "against": "error" if last else DISAGREEMENT,
            "df_error": free,
            "statistic": statistic,
            "p": fdtrc(df[source], free, statistic),
            "_order": np.arange(len(names)) * 3 + order,
        }
        blocks.append(pd.DataFrame(block))
    table = pd.concat(blocks).sort_values("_order", ignore_index=True)
    return table.drop(columns="_order")


def _cells(panel: FittedPanel) -> tuple[Floats, Floats]:
    """Mean and number of the scores of each assessor and sample, (assessors, samples, ...)."""
    table, grid = panel.table, panel.grid
    shape = (len(table.assessors), len(table.samples), len(table.attributes))
    there = np.isfinite(grid.scores)
    code = grid.assessor * shape[1] + grid.sample
    total, numbers = (
        np.zeros((shape[0] * shape[1], shape[2])),
        np.zeros((shape[0] * shape[1], shape[2])),
    )
    np.add.at(total, code, np.where(there, grid.scores, 0.0))
    np.add.at(numbers, code, there)
    with np.errstate(invalid="ignore"):
        return (total / numbers).reshape(shape), numbers.reshape(shape)
