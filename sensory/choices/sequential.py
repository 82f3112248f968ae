"""The sequential plan: decide after each ballot, as early as possible.

[1] Wald, A. (1947). Sequential Analysis. Wiley: the probability ratio test.
[2] After ISO 16820:2019: sequential analysis for triangle, duo-trio, 2-AFC and 3-AFC.

Wald's lines promise his nominal risks only nearly. Here the operating characteristic and
the expected number come from an exact recursion over all paths, truncation included.

Why so
------
It never ends as BEYOND_LIMIT: it stops at the first ballot that shows a difference, and so before
its size could be shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor, log

from ..base.checks import as_fraction, one_count, one_number, truth, within
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Table
from ..base.shown import Shown
from ..models.stages import Outcomes, walk
from .counts import agreed_risks, check_protocol
from .protocols import Protocol


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SequentialPlan(Shown):
    """Result of `sequential_plan`.

    Attributes
    ----------
    protocol, alpha, beta, pd_limit, most, pd_null
        As given; alpha and beta are Wald's nominal risks.
    similar_to, different_from : tuple of int
        After ballot k + 1 the test stops as SIMILAR with up to, as DIFFERENT from so many
        correct answers; -1 and k + 2 where it cannot stop yet.
    """

    protocol: Protocol
    alpha: float
    beta: float
    pd_limit: float
    most: int
    similar_to: tuple[int, ...]
    different_from: tuple[int, ...]
    pd_null: float = 0.0

    def outcomes(self, pd: float) -> Outcomes:
        """Exact chances and expected number of ballots when a share `pd` distinguishes.

        Raises ArgumentError when pd is not one number in [0, 1].
        """
        return walk(
            [1] * self.most,
            list(self.similar_to),
            list(self.different_from),
            float(self.protocol.pc_at(one_number("pd", pd, 0.0, 1.0))),
        )

    @property
    def false_alarm(self) -> float:
        """True chance of DIFFERENT when a share `pd_null` distinguishes, by default nobody."""
        return self.outcomes(self.pd_null).different

    @property
    def wrong_pass(self) -> float:
        """True chance of SIMILAR when a share `pd_limit` distinguishes."""
        return self.outcomes(self.pd_limit).similar

    def decide(self, answers: Sequence[bool]) -> tuple[Finding | None, int]:
        """The finding after the answers so far, and after which ballot it stopped.

        Parameters
        ----------
        answers : sequence of bool
            Correct or not, in the order in which they came.

        Returns
        -------
        finding, ballots : Finding or None, int
            None while another ballot is due; UNDECIDED when the cap is reached. Answers
            after the stop are not looked at.

        Raises ArgumentError when there is no sequence of answers, or one is not True or False.

        Examples
        --------
        >>> from sensory.choices.protocols import DUO_TRIO
        >>> plan = sequential_plan(DUO_TRIO, alpha=0.1, beta=0.1, pd_limit=0.4, most=60)
        >>> plan.decide([True] * 7)
        (<Finding.DIFFERENT: 'DIFFERENT'>, 7)
        """
        try:
            given = list(answers)
        except TypeError:
            raise ArgumentError(
                f"answers must be a sequence of True and False; got {answers!r}."
            ) from None
        right = 0
        for place, answer in enumerate(given[: self.most]):
            right += truth(f"answers[{place}]", answer)
            if right <= self.similar_to[place]:
                return Finding.SIMILAR, place + 1
            if right >= self.different_from[place]:
                return Finding.DIFFERENT, place + 1
        reached = min(len(given), self.most)
        return (Finding.UNDECIDED if reached == self.most else None), reached

    def summary(self) -> Table:
        """The counts ballot by ballot, as a table to pin to the wall."""
        rows = [
            (number, None if low < 0 else low, None if high > number else high)
            for number, (low, high) in enumerate(
                zip(self.similar_to, self.different_from, strict=True), start=1
            )
        ]
        return Table(columns=("ballots", "SIMILAR up to", "DIFFERENT from"), rows=tuple(rows))


def sequential_plan(
    protocol: Protocol | str,
    *,
    most: int,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    pd_null: float = 0.0,
) -> SequentialPlan:
    """Stopping counts of Wald's probability ratio test, cut off at `most` ballots.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    most : int
        Ballots after which the test ends undecided, 1 to 2,000.
    alpha, beta : float
        Wald's nominal risks; the true ones are `false_alarm` and `wrong_pass`.
    pd_limit : float
        The difference to be found, as in `choice_test`.
    pd_null : float
        The difference that alpha speaks of, from 0 to below pd_limit: 0 is guessing; more
        where some distinguishing is not enough, as in the screening of assessors.

    Raises
    ------
    ArgumentError
        For impossible arguments, alpha + beta of 1 or more, where the lines cross, or
        pd_null at or above pd_limit.

    Notes
    -----
    With p0 at pd_null and p1 at the limit, it stops as DIFFERENT when
    (p1/p0)^x ((1-p1)/(1-p0))^(n-x) >= (1-beta)/alpha and as SIMILAR when it is at most
    beta/(1-alpha) [1]. A point exactly on a line stops; whether it lies there is settled
    in rational arithmetic.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> plan = sequential_plan(TRIANGLE, most=100, pd_limit=0.5)
    >>> round(plan.false_alarm, 4)
    0.0303
    """
    protocol = check_protocol(protocol)
    alpha, beta, pd_limit = agreed_risks(alpha, beta, pd_limit)
    cap = one_count("most", most, at_least=1)
    if cap > 2000:
        raise ArgumentError(f"most must be at most 2,000; got {cap}.")
    if alpha + beta >= 1:
        raise ArgumentError(f"alpha + beta must lie below 1; got {alpha + beta:g}.")
    pd_null = float(within("pd_null", pd_null, 0.0, 1.0))
    if pd_null >= pd_limit:
        raise ArgumentError(
            f"pd_null must lie below pd_limit; got {pd_null:g} and pd_limit {pd_limit:g}."
        )
    a, b = as_fraction(alpha), as_fraction(beta)
    lines = _Lines(protocol.pc_at(pd_null), protocol.pc_at(pd_limit))
    upper, lower = (1 - b) / a, b / (1 - a)
    return SequentialPlan(
        protocol=protocol,
        alpha=alpha,
        beta=beta,
        pd_limit=pd_limit,
        pd_null=pd_null,
        most=cap,
        similar_to=tuple(max(lines.at_most(n, lower), -1) for n in range(1, cap + 1)),
        different_from=tuple(min(lines.at_least(n, upper), n + 1) for n in range(1, cap + 1)),
    )


class _Lines:
    """Counts at which the probability ratio meets a bound, ties settled exactly."""

    def __init__(self, null: Fraction, limit: Fraction):
        self.right, self.wrong = limit / null, (1 - limit) / (1 - null)
        self.step = log(self.right) - log(self.wrong)

    def at_least(self, n: int, bound: Fraction) -> int:
        """Smallest x with ratio >= bound."""
        x = floor(self._crossing(n, bound))
        while self._ratio_below(n, x, bound):
            x += 1
        while not self._ratio_below(n, x - 1, bound):
            x -= 1
        return x

    def at_most(self, n: int, bound: Fraction) -> int:
        """Largest x with ratio <= bound."""
        x = self.at_least(n, bound)
        return x if self._log_gap(n, x, bound) == 0 else x - 1

    def _ratio_below(self, n: int, x: int, bound: Fraction) -> bool:
        return self._log_gap(n, x, bound) < 0

    def _crossing(self, n: int, bound: Fraction) -> float:
        return (log(bound) - n * log(self.wrong)) / self.step

    def _log_gap(self, n: int, x: int, bound: Fraction) -> float:
        """Log of ratio over bound; exactly 0 on the line."""
        gap = x * log(self.right) + (n - x) * log(self.wrong) - log(bound)
        if abs(gap) > 1e-9:
            return gap
        exact = self.right**x * self.wrong ** (n - x) - bound
        return 0.0 if exact == 0 else (1.0 if exact > 0 else -1.0)
