"""The two-stage plan: the honest form of 'taste again until it passes'.

Both risks are exact over all paths.

Why so
------
The counts for 'beyond the limit' follow from the plan and are not stored: half of alpha at most is
spent after the first tasting and the rest after the second, so that a batch at the limit is found
beyond it with a chance of alpha at most over both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..base.arrays import Floats
from ..base.checks import one_count, one_number
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Table
from ..base.shown import Shown
from ..models.binomial import least_count, most_count
from ..models.stages import Outcomes, binomial_masses, walk
from .counts import agreed_risks, check_protocol
from .protocols import Protocol
from .size import panel_size


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class TwoStagePlan(Shown):
    """Result of `two_stage_plan`.

    Attributes
    ----------
    protocol, alpha, beta, pd_limit
        As given.
    first, second : int
        Answers in the first tasting and, if it does not decide, in the second.
    similar_first, different_first : int
        The first tasting stops as SIMILAR with up to, as DIFFERENT from so many correct.
    different_total : int
        After the second tasting the total decides: DIFFERENT from so many correct, else
        SIMILAR. From `beyond_from` on DIFFERENT is BEYOND_LIMIT.
    """

    protocol: Protocol
    alpha: float
    beta: float
    pd_limit: float
    first: int
    second: int
    similar_first: int
    different_first: int
    different_total: int

    def outcomes(self, pd: float) -> Outcomes:
        """Exact chances and expected number of answers when a share `pd` distinguishes.

        Raises ArgumentError when pd is not one number in [0, 1].
        """
        return walk(
            [self.first, self.second],
            [self.similar_first, self.different_total - 1],
            [self.different_first, self.different_total],
            float(self.protocol.pc_at(one_number("pd", pd, 0.0, 1.0))),
            self.beyond_from,
        )

    @property
    def beyond_from(self) -> tuple[int, int]:
        """From how many correct the difference is larger than the limit: first tasting, total."""
        return _beyond_from(
            (self.first, self.second),
            self.similar_first,
            (self.different_first, self.different_total),
            float(self.protocol.pc_at(self.pd_limit)),
            self.alpha,
        )

    @property
    def false_alarm(self) -> float:
        """Chance of DIFFERENT when everybody guesses; at most alpha."""
        return self.outcomes(0.0).different

    @property
    def wrong_pass(self) -> float:
        """Chance of SIMILAR when a share `pd_limit` distinguishes; at most beta."""
        return self.outcomes(self.pd_limit).similar

    @property
    def wrong_rejection(self) -> float:
        """Chance of BEYOND_LIMIT when a share `pd_limit` distinguishes; at most alpha."""
        return self.outcomes(self.pd_limit).beyond

    @property
    def expected(self) -> float:
        """Expected answers, the mean of 'nothing changed' and 'at the limit'."""
        return (self.outcomes(0.0).expected + self.outcomes(self.pd_limit).expected) / 2

    def decide(self, correct_first: int, correct_second: int | None = None) -> Finding | None:
        """The finding so far; None means that the second tasting is due.

        Raises ArgumentError for impossible counts, or a second tasting after the first decided.

        Examples
        --------
        >>> from sensory.choices.protocols import TRIANGLE
        >>> plan = two_stage_plan(TRIANGLE, most=60, pd_limit=0.4)
        >>> plan.decide(4), plan.decide(plan.different_first).name
        (<Finding.SIMILAR: 'SIMILAR'>, 'DIFFERENT')
        """
        x = _possible("correct_first", correct_first, self.first)
        stopped, beyond = None, self.beyond_from
        if x <= self.similar_first:
            stopped = Finding.SIMILAR
        elif x >= self.different_first:
            stopped = Finding.BEYOND_LIMIT if x >= beyond[0] else Finding.DIFFERENT
        if correct_second is None:
            return stopped
        if stopped is not None:
            raise ArgumentError(
                f"the first tasting with {x} correct already ended as {stopped.name}: "
                "the plan has no second tasting then."
            )
        total = x + _possible("correct_second", correct_second, self.second)
        if total < self.different_total:
            return Finding.SIMILAR
        return Finding.BEYOND_LIMIT if total >= beyond[1] else Finding.DIFFERENT

    def summary(self) -> Table:
        """The counts as a table to pin to the wall."""
        first, both = f"{self.first} answers", f"{self.first + self.second} answers in all"
        stops = []  # a plan may have no count that ends the first tasting one way
        if self.similar_first >= 0:
            stops.append((first, f"{self.similar_first} or fewer", "SIMILAR, stop"))
        far_first, far_total = self.beyond_from
        for counts, finding in _upwards(self.different_first, far_first, self.first):
            stops.append((first, counts, f"{finding}, stop"))
        last = min(self.different_first - 1, self.first)
        between = f"{self.similar_first + 1} to {last}"
        return Table(
            columns=("after", "correct", "then"),
            rows=(
                *stops,
                (first, between, f"serve {self.second} more"),
                (both, f"{self.different_total - 1} or fewer", "SIMILAR"),
                *(
                    (both, counts, finding)
                    for counts, finding in _upwards(
                        self.different_total, far_total, self.first + self.second
                    )
                ),
            ),
        )


def _upwards(different: int, beyond: int, most: int) -> list[tuple[str, str]]:
    """Counts with their finding from the first significant one on."""
    rows = []
    if different <= min(beyond - 1, most):
        words = f"{different} or more" if beyond > most else f"{different} to {beyond - 1}"
        rows.append((words, Finding.DIFFERENT.value))
    if beyond <= most:
        rows.append((f"{beyond} or more", Finding.BEYOND_LIMIT.value))
    return rows


@lru_cache(maxsize=256)
def _beyond_from(
    sizes: tuple[int, int], similar: int, different: tuple[int, int], at_limit: float, alpha: float
) -> tuple[int, int]:
    """See `TwoStagePlan.beyond_from`; one more than there are answers where no count shows it."""
    masses, more = (binomial_masses(size, at_limit) for size in sizes)
    above = _above(masses)
    first = max(int(np.argmax(above <= alpha / 2)), different[0])
    count = np.arange(masses.size)
    going = np.where((count > similar) & (count < different[0]), masses, 0.0)
    tail = _above(np.convolve(going, more))
    return first, max(int(np.argmax(tail <= alpha - above[first])), different[1])


def two_stage_plan(
    protocol: Protocol | str,
    *,
    most: int,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
) -> TwoStagePlan:
    """The plan with the smallest expected number of answers under a cap.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    most : int
        Most answers in both tastings together, 2 to 400.
    alpha, beta, pd_limit
        As in `choice_test`; both risks hold for the plan as a whole.

    Returns
    -------
    TwoStagePlan
        It always decides. The mean of the expected numbers at 'nothing changed' and 'at
        the limit' is smallest among plans with such counts; ties go to the smaller first
        tasting.

    Raises
    ------
    ArgumentError
        When no plan under the cap keeps both risks, with the size that one tasting needs.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> plan = two_stage_plan(TRIANGLE, most=60, pd_limit=0.4)
    >>> plan.first + plan.second <= 60, plan.false_alarm <= 0.05, plan.wrong_pass <= 0.05
    (True, True, True)
    >>> plan.expected < 40  # what a single tasting needs
    True
    """
    protocol = check_protocol(protocol)
    alpha, beta, pd_limit = agreed_risks(alpha, beta, pd_limit)
    cap = one_count("most", most, at_least=2)
    if cap > 400:
        raise ArgumentError(f"most must be at most 400; got {cap}.")
    search = _Search(protocol, alpha, beta, pd_limit, cap)
    for total in range(2, cap + 1):
        if not search.hopeless(total):
            search.look(total)
    if search.best is None:
        once = panel_size(protocol, alpha=alpha, beta=beta, pd=pd_limit).assessors
        raise ArgumentError(
            f"no two-stage plan with {cap} answers or fewer keeps both risks at this limit; "
            f"one single tasting needs {once}. Raise most, the limit or a risk."
        )
    first, second, low, high, total = search.best
    return TwoStagePlan(
        protocol=protocol,
        alpha=alpha,
        beta=beta,
        pd_limit=pd_limit,
        first=first,
        second=second,
        similar_first=low,
        different_first=high,
        different_total=total,
    )


class _Search:
    """Every pair of sizes that can still be cheaper, each with its best counts."""

    def __init__(self, protocol: Protocol, alpha: float, beta: float, pd_limit: float, cap: int):
        self.guess, self.at_limit = float(protocol.guess), float(protocol.pc_at(pd_limit))
        self.alpha, self.beta = alpha, beta
        self.best: tuple[int, int, int, int, int] | None = None
        self.cost = np.inf
        sizes = np.arange(cap + 1)
        self._critical = least_count(sizes, protocol.guess, alpha)
        self._similar = most_count(sizes, protocol.pc_at(pd_limit), beta)
        self._null = [binomial_masses(size, self.guess) for size in range(cap + 1)]
        self._limit = [binomial_masses(size, self.at_limit) for size in range(cap + 1)]
        self._goes_on = np.array([self._least_going_on(size) for size in range(cap + 1)])

    def hopeless(self, total: int) -> bool:
        """Whether no rule on so many answers keeps both risks, whatever it looks at.

        By Neyman and Pearson none beats the count of correct answers with a lottery at
        the edge.
        """
        critical = int(self._critical[total])
        null, limit = self._null[total], self._limit[total]
        if critical == 0:
            return False
        lottery = (self.alpha - null[critical:].sum()) / null[critical - 1]
        missed = limit[:critical].sum() - min(lottery, 1.0) * limit[critical - 1]
        return bool(missed > self.beta + 1e-12)

    def look(self, total: int) -> None:
        """Try every first tasting of so many answers that can still be cheaper."""
        firsts = np.arange(1, total)
        least = firsts + (total - firsts) * self._goes_on[1:total]
        for first in firsts[least < self.cost]:
            if least[first - 1] < self.cost:
                self._counts(int(first), total)

    def _least_going_on(self, first: int) -> float:
        """The least share that needs a second tasting, mean of both truths.

        The first tasting alone may not spend more than the whole of each risk.
        """
        x = np.arange(first + 1)
        open_counts = (x > self._similar[first]) & (x < self._critical[first])
        masses = (self._null[first] + self._limit[first]) / 2
        return float(masses[open_counts].sum()) * (1 - 1e-12)

    def _counts(self, first: int, answers: int) -> None:
        """The cheapest counts of these two sizes.

        For each count that stops as SIMILAR the smallest one that may stop as DIFFERENT is
        both the cheapest and the least wrong pass, so only these are compared. Early stops
        move a little risk both ways: totals just around the single test's are tried.
        """
        second, null, limit = answers - first, self._null[first], self._limit[first]
        critical, similar = int(self._critical[answers]), int(self._similar[answers])
        around = min(critical, similar + 1) - 2, max(critical, similar + 1) + 1
        total = np.arange(max(around[0], 1), min(around[1], answers) + 1)[:, None]
        missing = np.clip(total - np.arange(first + 1), 0, second + 1)
        over = _upto(null * _above(self._null[second])[missing])
        under = _upto(limit * _upto(self._limit[second])[missing])
        alarm = _above(null) + over  # when all between 0 and this count goes on
        low = np.arange(-1, first)  # stop as SIMILAR up to here
        spare = self.alpha + over[:, :-1]
        falls = zip(-alarm, -spare, strict=True)
        high = np.array([np.searchsorted(row, wanted) for row, wanted in falls])
        high = np.maximum(high, low + 2)
        sound = (high <= first + 1) & (low < high - 1)
        high = np.minimum(high, first + 1)
        missed = _upto(limit)[:-1] + np.take_along_axis(under, high, axis=1) - under[:, :-1]
        between = _upto((null + limit) / 2)
        cost = first + second * np.maximum(between[high] - between[:-1], 0.0)
        cost = np.where(sound & (missed <= self.beta), cost, np.inf)
        at = np.unravel_index(int(np.argmin(cost)), cost.shape)
        if cost[at] < self.cost - 1e-9:
            self.cost = float(cost[at])
            self.best = (first, second, int(low[at[1]]), int(high[at]), int(total[at[0], 0]))


def _upto(masses: Floats) -> Floats:
    """Sum of the masses below index k, for k = 0 .. size, along the last axis."""
    sums = np.cumsum(masses, axis=-1)
    return np.concatenate([np.zeros_like(sums[..., :1]), sums], axis=-1)


def _above(masses: Floats) -> Floats:
    """Sum of the masses from index k on, for k = 0 .. size."""
    return np.concatenate([np.cumsum(masses[::-1])[::-1], [0.0]])


def _possible(name: str, value: int, most: int) -> int:
    count = one_count(name, value)
    if count > most:
        raise ArgumentError(f"{name} must be at most {most}, the answers served; got {count}.")
    return count
