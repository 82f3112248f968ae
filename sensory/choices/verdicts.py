"""From a count to its finding, and the exact chance of each finding: one rule for every face.

Why so
------
Few correct answers are no pass. Where guessing gives so few, or fewer, with a chance of `WARNED`
or less, the finding carries a warning; at `WITHHELD` or less similarity is withheld: codes, order
or direction are wrong. The first is one session in twenty with nothing wrong at all, too many to
withhold every such pass; the second is one in a thousand. A two-sided question has no wrong
direction.

Beyond the limit is the test of a difference with the limit in place of guessing, on as many sides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..base.arrays import Floats, Ints, Numbers
from ..base.findings import Finding, findings_of
from ..models.binomial import lower_tail, upper_tail
from .counts import beyond_counts, critical_counts, similar_counts
from .protocols import Protocol

WARNED, WITHHELD = 0.05, 0.001


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Agreed:
    """What was agreed before tasting, checked: which count shows what hangs on it alone."""

    protocol: Protocol
    alpha: float
    beta: float
    pd_limit: float
    two_sided: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """The counts at which findings change, by size; masked where there is no such count.

    Attributes
    ----------
    critical, beyond : masked array of int
        From how many correct a difference is significant, and beyond the limit; of the commoner
        choice where the question is two-sided.
    similar : masked array of int
        Up to how many similarity is shown.
    """

    critical: Numbers
    similar: Numbers
    beyond: Numbers

    def at(self, places: NDArray[np.intp]) -> Edges:
        """Those of the sizes at some places."""
        return Edges(
            critical=self.critical[places], similar=self.similar[places], beyond=self.beyond[places]
        )

    def of_first(self) -> tuple[int | None, int | None, int | None]:
        """Critical, similar and beyond count of the first size; None where there is none."""
        first = (part[0] for part in (self.critical, self.similar, self.beyond))
        critical, similar, beyond = (None if at is np.ma.masked else int(at) for at in first)
        return critical, similar, beyond


def edges_of(agreed: Agreed, trials: Ints) -> Edges:
    """The counts of sessions of these sizes, an array; each size is looked up once."""
    if trials.size > 1:
        sizes, back = np.unique(trials, return_inverse=True)
        if sizes.size < trials.size:
            return _edges(agreed, sizes).at(back.reshape(trials.shape))
    return _edges(agreed, trials)


def _edges(agreed: Agreed, trials: Ints) -> Edges:
    protocol, limit, sides = agreed.protocol, agreed.pd_limit, agreed.two_sided
    similar = similar_counts(protocol, trials, agreed.beta, limit)
    if sides:  # the commoner choice is never below half
        similar = np.ma.masked_where(2 * np.ma.filled(similar, -1) < trials, similar)
    return Edges(
        critical=critical_counts(protocol, trials, agreed.alpha, two_sided=sides),
        similar=similar,
        beyond=beyond_counts(protocol, trials, agreed.alpha, limit, two_sided=sides),
    )


def below_guessing(agreed: Agreed, correct: ArrayLike, trials: ArrayLike) -> Floats:
    """Chance of so few correct answers when everybody guesses; 1 for a two-sided question."""
    if agreed.two_sided:
        return np.ones(np.broadcast_shapes(np.shape(correct), np.shape(trials)))
    return lower_tail(correct, trials, float(agreed.protocol.guess))


def finding_at(
    agreed: Agreed,
    correct: Ints,
    trials: Ints,
    edges: Edges | None = None,
    below: Floats | None = None,
) -> NDArray[np.object_]:
    """The finding of each count.

    `edges` of `trials` and `below`, the chances of so few by guessing, where they are known.
    """
    at = edges_of(agreed, trials) if edges is None else edges
    shown = np.maximum(correct, trials - correct) if agreed.two_sided else correct
    withheld = (below_guessing(agreed, correct, trials) if below is None else below) <= WITHHELD
    return findings_of(
        np.ma.filled(shown >= at.critical, False),
        np.ma.filled(shown <= at.similar, False) & ~withheld,
        np.ma.filled(shown >= at.beyond, False),
    )


def runs_of(agreed: Agreed, trials: int) -> list[tuple[Finding, int, int]]:
    """Runs of counts with one finding each: the finding, and the first and last count.

    >>> from sensory.choices.protocols import TRIANGLE
    >>> agreed = Agreed(protocol=TRIANGLE, alpha=0.05, beta=0.05, pd_limit=0.3)
    >>> [(finding.value, first, last) for finding, first, last in runs_of(agreed, 66)][1:]
    [('SIMILAR', 11, 28), ('DIFFERENT', 29, 42), ('BEYOND_LIMIT', 43, 66)]
    """
    shown = finding_at(agreed, np.arange(trials + 1), np.full(1, trials))
    ends = np.flatnonzero(np.append(shown[1:] != shown[:-1], True)).tolist()
    starts = [0, *(end + 1 for end in ends[:-1])]
    return [(shown[last], first, last) for first, last in zip(starts, ends, strict=True)]


def chances_at(agreed: Agreed, trials: int, pc: ArrayLike) -> dict[Finding, Floats]:
    """Exact chance of each finding where an answer is correct with probability `pc`.

    The chance of a run of counts is a tail, or the difference of two.
    """
    at = np.asarray(pc, float)
    chances = {finding: np.zeros(at.shape) for finding in Finding}
    for finding, first, last in runs_of(agreed, trials):
        chances[finding] += _run(first, last, trials, at)
    return chances


def _run(first: int, last: int, trials: int, pc: Floats) -> Floats:
    """Chance of first .. last correct answers."""
    if first == 0:
        return lower_tail(last, trials, pc)
    above = upper_tail(first, trials, pc)
    if last == trials:
        return above
    return np.maximum(above - upper_tail(last + 1, trials, pc), 0.0)
