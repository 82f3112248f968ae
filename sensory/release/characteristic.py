"""What a release rule does to batches of each true difference, and what a month costs.

Why so
------
Characteristic of difference from control is one integral over the estimated scatter
(`models/paired.py`), because significance and similarity are not disjoint; each alone is a
noncentral t (the test). It supposes the agreed scatter at every truth and one batch a session.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from ..base.arrays import Floats
from ..base.checks import within
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Table
from ..base.shown import Shown
from ..choices.protocols import Protocol
from ..choices.two_stage import TwoStagePlan
from ..models.paired import paired_chances
from .batches import Disposition

Scale = Literal["pd", "dprime", "points"]

EXACT = "Exact: binomial, over every outcome."
NORMAL = (
    "Exact for one batch beside the blind control whose differences are normal with the agreed "
    "scatter at every truth, which is an approximation: small differences scatter less."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Characteristic(Shown):
    """What a rule does to batches of each true difference; see `ReleaseRule.characteristic`."""

    truths: Floats
    scale: str  # unit of the truths; points of the scale are beyond the blind control
    # chances that release is recommended, that the batch is held, and that it is rejected or
    # reworked; they add up to 1
    passes: Floats
    holds: Floats
    rejects: Floats
    second: Floats  # chance that the planned second tasting is due
    answers: Floats  # expected answers a batch
    findings: Mapping[Finding, Floats]  # chance of each finding; those that cannot be are 0
    stands_on: str  # how the numbers came about

    def summary(self) -> Table:
        """One row a truth."""
        columns = ("passes", "holds", "rejects", "second", "answers")
        return self._rows(
            ("passes", "held", "rejected", "retested", "answers"),
            [getattr(self, name) for name in columns],
        )

    def by_finding(self) -> Table:
        """The chance of each finding, one row a truth."""
        names = tuple(finding.heading.lower() for finding in self.findings)
        return self._rows(names, list(self.findings.values()))

    def _rows(self, names: tuple[str, ...], columns: list[Floats]) -> Table:
        rows = zip(self.truths, *columns, strict=True)
        return Table(
            columns=(f"true {self.scale}", *names),
            rows=tuple(tuple(float(cell) for cell in row) for row in rows),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthlyTastings:
    """What a month of batches costs; see `ReleaseRule.tastings`."""

    batches: float
    truth: float
    tastings: float  # expected number, second ones included
    answers: float
    passes: float  # expected number of batches, as are the next two
    holds: float
    rejects: float


def as_distinguishers(protocol: Protocol, truth: Floats, scale: str) -> Floats:
    """Bools in pd or d-prime as proportions of distinguishers."""
    if scale == "pd":
        return within("truths", truth, 0.0, 1.0)
    pd = protocol.distinguishers(protocol.proportion_correct(truth))
    return np.clip(pd, 0.0, 1.0)


def paired_findings(
    truth: Floats,
    *,
    assessors: int,
    scatter: float | None,
    limit: float,
    alpha: float,
    beta: float,
) -> dict[Finding, Floats]:
    """Chance of each finding of one batch in difference from control.

    Raises ArgumentError where the scatter is not given.
    """
    if scatter is None:
        raise ArgumentError(
            "scatter is needed: the standard deviation of the differences of assessors, batch "
            "less blind control."
        )
    chances = paired_chances(
        truth, scatter=scatter, assessors=assessors, limit=limit, alpha=alpha, beta=beta
    )
    return {
        Finding.DIFFERENT: chances.different,
        Finding.SIMILAR: chances.similar,
        Finding.DIFFERENT_WITHIN_LIMIT: chances.both,
        Finding.BEYOND_LIMIT: chances.beyond,
        Finding.UNDECIDED: chances.neither,
    }


def staged(
    truth: Floats,
    scale: str,
    pd: Floats,
    plan: TwoStagePlan,
    dispositions: Mapping[Finding, Disposition],
) -> Characteristic:
    """Of a rule with a planned second tasting, over every path of both."""
    ends = [plan.outcomes(float(share)) for share in pd]
    chances = {
        Finding.DIFFERENT: np.array([end.different - end.beyond for end in ends]),
        Finding.BEYOND_LIMIT: np.array([end.beyond for end in ends]),
        Finding.SIMILAR: np.array([end.similar for end in ends]),
    }
    second = np.array([(end.expected - plan.first) / plan.second for end in ends])
    return summed(
        truth, scale, chances, dispositions, plan.first, EXACT, np.maximum(second, 0.0), plan.second
    )


def summed(
    truth: Floats,
    scale: str,
    chances: Mapping[Finding, Floats | float],
    dispositions: Mapping[Finding, Disposition],
    assessors: int,
    stands_on: str,
    second: Floats | None = None,
    more: int = 0,
) -> Characteristic:
    """Chances of findings added up by what is done at each."""

    def total(*wanted: Disposition) -> Floats:
        parts = [np.asarray(p) for f, p in chances.items() if dispositions[f] in wanted]
        return np.clip(sum(parts, np.zeros(truth.shape)), 0.0, 1.0)

    none = np.zeros(truth.shape)
    again = none if second is None else second
    return Characteristic(
        truths=truth,
        scale=scale,
        passes=total(Disposition.RELEASE),
        holds=total(Disposition.HOLD),
        rejects=total(Disposition.REJECT, Disposition.REWORK),
        second=again,
        answers=assessors + more * again,
        findings=MappingProxyType({each: np.asarray(chances.get(each, none)) for each in Finding}),
        stands_on=stands_on,
    )
