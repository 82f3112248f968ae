"""The search for causes: which candidate explains most, and whether chance would as well.

[1] Raudenbush, S.W. (1985), as in `models.known_error`: known errors and a scatter of batches.
[2] Westfall, P.H. and Young, S.S. (1993). Resampling-Based Multiple Testing: the largest of many
    statistics that go together. (From memory.)

Why so
------
Candidates go together: a lot in use for a month is nearly the span of that month. Counting them
would charge far too much, so the largest statistic of a family is simulated, and the number of
independent tests that gives the same 95 % point stands for the family. The far tail is then that
of so many tests: smooth, where a share of simulated rows ends at one in a thousand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ..base.arrays import Floats
from ..models.known_error import KnownErrorFit, known_error_fit
from .cause_candidates import TIME, Candidate
from .cause_columns import CauseData

_DRAWS = 1000
_MOST_NAMED = 8
_QUANTILE = 0.95
_LEAST_LEFT = 1e-6
"""Share of a candidate that must be left beside the causes already named."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """One round of the search: the candidates as they stand beside the causes named so far.

    Attributes
    ----------
    fit : KnownErrorFit
    z : float array, (candidates,)
        Score statistics; 0 for those that cannot be seen beside the named ones.
    p : float array, (candidates,)
        Adjusted for all candidates of all families.
    """

    fit: KnownErrorFit
    z: Floats
    p: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Search:
    """The causes named, in the order of their naming, with the rounds; the last named none."""

    named: tuple[int, ...]  # places among the candidates
    steps: tuple[Step, ...]


def first_design(data: CauseData) -> Floats:
    """What is taken out first: the usual level, and the drift of the reference."""
    usual = np.ones((data.tasted, 1))
    if data.drift is None or np.ptp(data.drift) == 0:
        return usual
    return np.column_stack([usual, data.drift - data.drift.min()])


def search(data: CauseData, candidates: list[Candidate], *, alpha: float, seed: int) -> Search:
    """Name causes one by one until the next could well be chance."""
    rows = [each.members[: data.tasted] for each in candidates]
    columns = np.array(rows, float).reshape(-1, data.tasted).T
    families = np.array([each.factor for each in candidates])
    offered = np.ones(len(candidates), bool)
    rng = np.random.default_rng(seed)
    design = first_design(data)
    named: list[int] = []
    steps: list[Step] = []
    while True:
        steps.append(_step(data, design, columns, families, offered, rng))
        p = steps[-1].p
        if not len(p) or p.min() > alpha or len(named) == _MOST_NAMED:
            return Search(named=tuple(named), steps=tuple(steps))
        best = _best(steps[-1], families)
        named.append(best)
        design = np.column_stack([design, columns[:, best]])
        offered[best] = False
        if families[best] == TIME:  # a span is named once, not cut into its parts
            crossing = columns[columns[:, best] > 0].any(0)
            offered &= ~(crossing & (families == TIME))


def _best(step: Step, families: Floats) -> int:
    """The smallest p; on record before a mere span where p is 0 to the computer."""
    return int(np.lexsort((-np.abs(step.z), families == TIME, step.p))[0])


def _step(
    data: CauseData,
    design: Floats,
    columns: Floats,
    families: Floats,
    offered: np.ndarray,
    rng: np.random.Generator,
) -> Step:
    fit = known_error_fit(data.values, data.se, design, [np.eye(data.tasted)])
    near = fit.projection @ columns
    left = (columns * near).sum(0)
    whole = (columns / np.diag(fit.total)[:, None]).sum(0)
    seen = offered & (left > _LEAST_LEFT * whole)
    scale = np.sqrt(np.where(seen, left, 1.0))
    z = np.where(seen, near.T @ data.values / scale, 0.0)
    noise = np.linalg.cholesky(fit.total) @ rng.standard_normal((data.tasted, _DRAWS))
    p = np.ones(len(z))
    names = sorted({str(name) for name in families[seen]})
    for name in names:
        own = np.flatnonzero(seen & (families == name))
        largest = np.abs((near[:, own] / scale[own]).T @ noise).max(0)
        p[own] = _of_many(_two_sided(z[own]), _tests(largest))
    return Step(fit=fit, z=z, p=_of_many(p, max(1, len(names))))


def _tests(largest: Floats) -> float:
    """How many independent tests have the same 95 % point of the largest."""
    single = float(_two_sided(np.asarray(np.quantile(largest, _QUANTILE))))
    return max(1.0, float(np.log(_QUANTILE) / np.log1p(-single)))


def _two_sided(z: Floats) -> Floats:
    return np.asarray(2 * ndtr(-np.abs(z)))


def _of_many(p: Floats, tests: float) -> Floats:
    """The chance that the smallest of so many independent p is as small."""
    with np.errstate(divide="ignore"):  # p of 1
        return np.asarray(-np.expm1(tests * np.log1p(-p)))
