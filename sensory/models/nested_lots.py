"""The difference of two arms, each of several lots, scored by the same assessors.

Cell means y of assessor i for lot j of arm a: ``mu_a + lot_j + assessor_i + (assessor x arm)_ia +
(assessor x lot)_ij``, the last with the error of repeats in it.

[1] Satterthwaite, F.E. (1946). Biometrics Bulletin 2, 110-114: sums of mean squares.

Why so
------
Two things would change with another trial: the lots and the assessors. The variance of the
difference adds both, and takes away once what both hold. It is never put below either of them: a
variance of lots that comes out below 0 is bad luck, not knowledge that lots are all alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..base.arrays import Bools, Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArmDifference:
    """The other arm less the first, for each attribute, (attributes,).

    Attributes
    ----------
    estimate, se, df : float array
    of_lots, of_assessors, of_cells : float array
        Mean squares, all in the unit of a cell mean's variance: between lots within arms, of the
        assessors' own differences, and within.
    lot_variance, own_variance : float array
        Between lots of an arm, and of an assessor's own true difference; never below 0, and 0
        where each arm is one lot.
    lot_df : int
        Degrees of freedom between lots; 0 where each arm is one lot.
    """

    estimate: Floats
    se: Floats
    df: Floats
    of_lots: Floats
    of_assessors: Floats
    of_cells: Floats
    lot_variance: Floats
    own_variance: Floats
    lot_df: int


def arm_difference(cells: Floats, other: Bools) -> ArmDifference:
    """Compare two arms.

    Parameters
    ----------
    cells : float array, (attributes, assessors, lots)
        Mean score of each assessor for each lot; no gap, two assessors or more.
    other : bool array, (lots,)
        Which lots belong to the other arm.

    Examples
    --------
    >>> cells = np.array([[[1.0, 2.0, 4.0, 5.0], [2.0, 2.0, 5.0, 4.0], [1.0, 3.0, 4.0, 6.0]]])
    >>> result = arm_difference(cells, np.array([False, False, True, True]))
    >>> result.estimate.round(3), result.se.round(3), result.df.round(2)
    (array([2.833]), array([0.601]), array([2.]))
    """
    people = cells.shape[1]
    counts = np.array([int((~other).sum()), int(other.sum())])
    weight = float((1 / counts).sum())
    lot_df = int(counts.sum()) - 2
    own = cells[..., other].mean(-1) - cells[..., ~other].mean(-1)  # (attributes, assessors)
    estimate = own.mean(-1)
    of_assessors = own.var(-1, ddof=1) / weight
    of_lots = of_cells = np.zeros(len(cells))
    if lot_df:
        arms = np.where(other, 1, 0)
        means = cells.mean(1)
        centre = np.stack([means[:, ~other].mean(1), means[:, other].mean(1)])[arms].T
        of_lots = people * ((means - centre) ** 2).sum(1) / lot_df
        within = np.stack([cells[..., ~other].mean(-1), cells[..., other].mean(-1)])[arms]
        rest = cells - np.moveaxis(within, 0, -1) - (means - centre)[:, None, :]
        of_cells = (rest**2).sum((1, 2)) / ((people - 1) * lot_df)
    square, df = _added(of_lots, of_assessors, of_cells, people, lot_df)
    return ArmDifference(
        estimate=estimate,
        se=np.sqrt(square * weight / people),
        df=df,
        of_lots=of_lots,
        of_assessors=of_assessors,
        of_cells=of_cells,
        lot_variance=np.maximum(of_lots - of_cells, 0.0) / people,
        own_variance=np.maximum(of_assessors - of_cells, 0.0) * weight * bool(lot_df),
        lot_df=lot_df,
    )


def _added(
    of_lots: Floats, of_assessors: Floats, of_cells: Floats, people: int, lot_df: int
) -> tuple[Floats, Floats]:
    """Both mean squares less the one within, never below either, and its freedom [1]."""
    free = float(people - 1)
    if not lot_df:
        return of_assessors, np.full(len(of_assessors), free)
    whole = np.maximum(of_lots + of_assessors - of_cells, np.maximum(of_lots, of_assessors))
    noise = of_lots**2 / lot_df + of_assessors**2 / free + of_cells**2 / (free * lot_df)
    df = whole**2 / np.maximum(noise, 1e-300)
    return whole, np.clip(df, min(lot_df, free), lot_df + free)
