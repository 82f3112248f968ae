"""The numbers of a forced-choice test at the distinct pairs of counts of many sessions.

Why so
------
Distinct pairs are computed once: sessions of a panel are of few sizes, and most pairs of correct
answers and answers come again. Tests and findings are computed at once; estimates with their
limits, more than half of the work, when they are first asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..base.arrays import Ints, Numbers
from ..base.findings import Finding
from ..base.results import Interval
from ..models import binomial
from .risks import next_deciding_size
from .verdicts import Agreed, below_guessing, edges_of, finding_at

Columns = Mapping[str, NDArray[np.generic]]


class CountedPairs:
    """The numbers of the distinct pairs of counts, and which pair each session has.

    `correct`, `trials`: of each session, checked and of one shape.
    """

    def __init__(self, agreed: Agreed, correct: Ints, trials: Ints) -> None:
        self._agreed, self._shape = agreed, correct.shape
        self._trials, self._correct, self._back = _occurring(trials.ravel(), correct.ravel())
        self._tests = _tests(agreed, self._correct, self._trials)

    def field(self, name: str) -> Numbers:
        """What a field of the result holds: a number, an array shaped like the sessions, limits."""
        if not name.endswith("_limits"):
            return self._column(name)
        what = name.removesuffix("_limits")
        low, high = self._column(f"{what}_low"), self._column(f"{what}_high")
        return Interval(low=low, high=high, level=0.95)

    def _column(self, name: str) -> Numbers:
        numbers = (self._tests if name in self._tests else self._estimates)[name]
        if self._shape == ():
            return _scalar(numbers[0])
        return numbers[self._back].reshape(self._shape)

    @cached_property
    def _estimates(self) -> Columns:
        return _estimates(self._agreed, self._correct, self._trials)


def _occurring(trials: Ints, correct: Ints) -> tuple[Ints, Ints, NDArray[np.intp]]:
    """The pairs of counts that occur, by size, and where each session's is.

    Those that occur are flagged in a table of all pairs, which takes no sorting; sorted where
    this table would be much longer than the sessions.
    """
    width = int(trials.max()) + 1
    key = trials * width + correct
    if width * width > 64 * key.size + 4096:
        pairs, back = np.unique(key, return_inverse=True)
    else:
        flags = np.zeros(width * width, bool)
        flags[key] = True
        pairs = np.flatnonzero(flags)
        place = np.empty(flags.size, np.intp)
        place[pairs] = np.arange(pairs.size)
        back = place[key]
    n, x = np.divmod(pairs, width)
    return n, x, back


def _tests(agreed: Agreed, x: Ints, n: Ints) -> Columns:
    protocol, two_sided = agreed.protocol, agreed.two_sided
    guess, at_limit = float(protocol.guess), float(protocol.pc_at(agreed.pd_limit))
    common = _commoner(agreed, x, n)
    tail = binomial.upper_tail(common, n, guess)
    log_tail = binomial.log_of_tail(tail, common, n, guess)
    beyond = binomial.upper_tail(common, n, at_limit)
    below, edges = below_guessing(agreed, x, n), edges_of(agreed, n)
    finding = finding_at(agreed, x, n, edges, below)
    return {
        "p_difference": np.minimum(2 * tail, 1.0) if two_sided else tail,
        "log_p_difference": np.minimum(log_tail + np.log(2), 0.0) if two_sided else log_tail,
        "p_similarity": binomial.lower_tail(common, n, at_limit),
        "p_beyond": np.minimum(2 * beyond, 1.0) if two_sided else beyond,
        "p_below_guessing": below,
        "pc": x / n,
        "critical_count": edges.critical,
        "similar_count": edges.similar,
        "beyond_count": edges.beyond,
        "finding": finding,
        "more_assessors": _more(agreed, n, finding == Finding.UNDECIDED),
    }


def _more(agreed: Agreed, n: Ints, undecided: NDArray[np.bool_]) -> NDArray[np.generic]:
    """By how many the next deciding panel is larger, masked where it is not asked for."""
    more = np.full(n.shape, -1)
    if undecided.any():
        size = next_deciding_size(
            agreed.protocol,
            n[undecided],
            agreed.alpha,
            agreed.beta,
            agreed.pd_limit,
            agreed.two_sided,
        )
        more[undecided] = np.where(size > 0, size - n[undecided], -1)
    return np.ma.masked_array(more, mask=more < 0)


def _commoner(agreed: Agreed, x: Ints, n: Ints) -> Ints:
    """Answers for the commoner choice, where the question is two-sided."""
    return np.maximum(x, n - x) if agreed.two_sided else x


def _estimates(agreed: Agreed, x: Ints, n: Ints) -> Columns:
    protocol, two_sided = agreed.protocol, agreed.two_sided
    common = _commoner(agreed, x, n)
    low, high = binomial.clopper_pearson(x, n, 0.95)
    upper = binomial.upper_limit(common, n, agreed.beta)
    lower = binomial.lower_limit(common, n, agreed.alpha / (2 if two_sided else 1))
    pc = common / n
    size_low, size_high = low, high
    if two_sided:  # size without direction: distance from an even split
        size_low = np.maximum(np.maximum(low, 1 - high), 0.5)
        size_high = np.maximum(high, 1 - low)
    several = np.concatenate([pc, size_low, size_high, upper, lower])
    dprime = protocol.dprime(several).reshape(5, -1)
    pd = protocol.distinguishers(several).reshape(5, -1)
    floored = np.maximum(pd, 0.0)
    return {
        "pd": floored[0],
        "pd_unfloored": protocol.distinguishers(x / n),
        "dprime": dprime[0],
        "pc_low": low,
        "pc_high": high,
        "pd_low": floored[1],
        "pd_high": floored[2],
        "dprime_low": dprime[1],
        "dprime_high": dprime[2],
        "pc_upper": upper,
        "pd_upper": floored[3],
        "dprime_upper": dprime[3],
        "pc_lower": lower,
        "pd_lower": floored[4],
        "dprime_lower": dprime[4],
    }


def _scalar(value: object) -> Numbers:
    if value is np.ma.masked:
        return None
    return value.item() if isinstance(value, np.generic) else value
