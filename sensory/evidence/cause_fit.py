"""The causes named, together in one mixed model: how much each moved batches, how well known.

Why so
------
Lots are random: the other lots of a material scatter, and a cause has limits against that scatter.
The lot that is named itself has a column of its own and no part in the scatter. A factor of two or
three values has no scatter worth the name and enters only when it is named. The share of a cause is
what the scatter of the batches, noise of the panel taken off, would gain without it: the shares of
causes that overlap add up to less than their joint share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from ..base.arrays import Floats
from ..models.known_error import KnownErrorFit, known_error_fit
from .cause_candidates import Candidate
from .cause_columns import CauseData
from .cause_search import first_design

FEWEST_LEVELS = 4
"""Values of a factor from which its others are random."""
OWN = "batches themselves"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JointFit:
    """The mixed model with the drift and the causes named.

    Attributes
    ----------
    fit : KnownErrorFit
        Columns: usual level, drift where there is one, causes.
    design : float array, (tasted, columns)
    terms : tuple of str
        Of the variances: the batches themselves, then factors.
    df : float
        Batches less columns.
    scatter_before, scatter : float
        Standard deviations of the batches, noise of the panel taken off, without and with causes.
    """

    fit: KnownErrorFit
    design: Floats
    terms: tuple[str, ...]
    df: float
    scatter_before: float
    scatter: float

    def effect(self, column: int, level: float) -> dict[str, float]:
        """Estimate of a column with its limits."""
        estimate = float(self.fit.coefficients[column])
        se = float(np.sqrt(self.fit.covariance[column, column]))
        half = se * float(stdtrit(self.df, (1 + level) / 2))
        p = float(2 * stdtr(self.df, -abs(estimate) / se))
        numbers = {"estimate": estimate, "se": se, "df": self.df}
        return numbers | {"low": estimate - half, "high": estimate + half, "level": level, "p": p}


def joint_fit(data: CauseData, named: Sequence[Candidate]) -> JointFit:
    """Fit all causes together.

    Raises nothing for causes that overlap: the search names none that the others explain wholly.
    """
    design = _with(data, named)
    alone = [np.eye(data.tasted)]
    groups, terms = _groups(data, named)
    before = _scatter(data, np.ones((data.tasted, 1)))
    after = _scatter(data, design)
    return JointFit(
        fit=known_error_fit(data.values, data.se, design, alone + groups),
        design=design,
        terms=(OWN, *terms),
        df=float(data.tasted - design.shape[1]),
        scatter_before=before**0.5,
        scatter=after**0.5,
    )


def share_of(data: CauseData, joint: JointFit, column: int) -> float:
    """Share of the scatter between batches that a column takes off as the last one."""
    if joint.scatter_before == 0:
        return 0.0
    left = _scatter(data, np.delete(joint.design, column, 1))
    return max(0.0, left - joint.scatter**2) / joint.scatter_before**2


def kept_causes(
    data: CauseData, named: Sequence[Candidate], *, alpha: float
) -> tuple[list[Candidate], JointFit]:
    """The causes that still matter beside the others, and their fit."""
    left = list(named)
    while True:
        joint = joint_fit(data, left)
        first = joint.design.shape[1] - len(left)
        p = [joint.effect(first + at, 0.95)["p"] for at in range(len(left))]
        if not p or max(p) <= alpha:
            return left, joint
        left.pop(int(np.argmax(p)))


def _with(data: CauseData, named: Sequence[Candidate]) -> Floats:
    columns = [each.members[: data.tasted].astype(float) for each in named]
    return np.column_stack([first_design(data), *columns])


def _scatter(data: CauseData, design: Floats) -> float:
    fit = known_error_fit(data.values, data.se, design, [np.eye(data.tasted)])
    return float(fit.variances[0])


def _groups(data: CauseData, named: Sequence[Candidate]) -> tuple[list[Floats], list[str]]:
    """Indicators of the values of each factor, those named left out."""
    groups, terms = [], []
    for factor in data.factors:
        own = {each.value for each in named if each.factor == factor}
        levels = [value for value in data.levels(factor) if value not in own]
        if FEWEST_LEVELS <= len(levels) < data.tasted:
            columns = [data.members(factor, value)[: data.tasted] for value in levels]
            groups.append(np.array(columns, float).T)
            terms.append(factor)
    return groups, terms
