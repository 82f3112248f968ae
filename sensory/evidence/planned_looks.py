"""Looks at a total of choice tests, planned beforehand: small panels that add up over days.

Why so
------
Whoever tests a growing total after each session and stops at the first p below 0.05 finds a
difference that is not there far more often. Two roads are honest: limits for however many looks,
which are wide, or looks whose sizes are agreed before the first session, each with its own count.
A plan is for one test: with several, no count could be stated beforehand. It says when a difference
is shown. Similarity is not concluded from a total, since the same people may come back; under
pure guessing it does not matter whose guesses are counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Ints
from ..base.checks import counts as whole_numbers
from ..base.checks import one_number, probability
from ..base.errors import ArgumentError
from ..base.results import Table, digits, p_digits
from ..base.shown import Told
from ..choices.counts import check_protocol
from ..choices.protocols import Protocol
from ..models.joint_dprime import FARTHEST
from ..models.spent_looks import crossed_by, crossings, kept_values, spent

MOST_LOOKS, MOST_ANSWERS = 20, 1000
_STEP = 0.05
_GRID = np.arange(0.0, FARTHEST + _STEP / 2, _STEP)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class PlannedLooks(Told):
    """Result of `planned_looks`.

    Attributes
    ----------
    protocol, alpha
        As given.
    sizes : tuple of int
        Answers that each look adds.
    planned : int
        Answers that were planned in all.
    different_from : tuple of int
        Right answers in all from which a difference is shown at each look; one more than there are
        answers where no count shows it yet.
    spent : tuple of float
        Chance of having called a difference by each look where everybody guesses; exact.
    """

    protocol: Protocol
    sizes: tuple[int, ...]
    planned: int
    alpha: float
    different_from: tuple[int, ...]
    spent: tuple[float, ...]

    @property
    def trials(self) -> tuple[int, ...]:
        """Answers in all at each look."""
        return tuple(int(total) for total in np.cumsum(self.sizes))

    def shown_by(self, dprime: float) -> tuple[float, ...]:
        """Chance that a difference of this d-prime is shown by each look; exact.

        >>> [round(chance, 3) for chance in planned_looks("triangle", [12, 12, 12]).shown_by(1.5)]
        [0.079, 0.304, 0.61]
        """
        at = one_number("dprime", dprime, 0.0, FARTHEST)
        pc = float(self.protocol.proportion_correct(at))
        chances = crossed_by(_ints(self.sizes), _ints(self.different_from), pc)
        return tuple(float(chance) for chance in chances)

    def with_sizes(self, sizes: Sequence[int]) -> PlannedLooks:
        """The same plan after looks of other sizes than planned: somebody was absent, or came.

        The error is spent by the share of the planned answers that are there, so the counts
        follow; no more than `alpha` is spent, whatever the sizes. Who is there must not depend on
        what was found.

        Raises ArgumentError for more looks than were planned.
        """
        if len(sizes) > len(self.sizes):
            raise ArgumentError(
                f"{len(self.sizes)} looks were planned; got {len(sizes)}. Later ones need a plan "
                "of their own."
            )
        return _planned(self.protocol, tuple(sizes), self.alpha, self.planned)

    def limits(self, correct: Sequence[int], level: float) -> list[tuple[float, float]]:
        """Limits of d-prime after each look, which hold at all planned looks together.

        Parameters
        ----------
        correct : sequence of int
            Right answers at each look by itself; the sizes are those of the plan.
        level : float
            Two-sided.

        Notes
        -----
        d-primes that a test with looks of these sizes would not have refused by then, upwards or
        downwards, half the error each, to steps of 0.05 outwards. They hold if all looks share
        one d-prime.

        Examples
        --------
        >>> planned_looks("triangle", [24, 24]).limits([14, 15], 0.95)
        [(0.0, 3.3), (1.2, 2.8)]
        """
        pc = np.minimum(np.asarray(self.protocol.proportion_correct(_GRID), float), 1 - 1e-12)
        so_far = np.cumsum(self.sizes).astype(float)
        allowed = spent(so_far, float(self.planned), (1 - level) / 2)
        totals = np.cumsum(correct).astype(np.int64)
        kept = kept_values(_ints(self.sizes), totals, pc, allowed)
        return [_ends(row) for row in kept]

    def says(self) -> tuple[str, ...]:
        """The plan in sentences."""
        counts = "; ".join(
            f"after {trials} answers from {least} right"
            if least <= trials
            else f"after {trials} answers from no count yet"
            for trials, least in zip(self.trials, self.different_from, strict=True)
        )
        return (
            f"{len(self.sizes)} looks of {', '.join(map(str, self.sizes))} answers by "
            f"{self.protocol.name}: a difference is shown {counts}.",
            f"Where nobody notices anything, the chance of calling one at any look is "
            f"{p_digits(self.spent[-1])} (exact, at most {self.alpha:g}).",
        )

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What such a plan does not answer."""
        return (
            "It shows a difference or leaves it open. Similarity is not concluded from a total: "
            "the same people may come back.",
            "It holds for looks that were agreed before the first session. An absent assessor "
            "changes nothing, as long as nobody stays away because of a result.",
        )

    def table_of_looks(self) -> pd.DataFrame:
        """``look trials different_from p``: p is the chance spent by then."""
        return pd.DataFrame(
            {
                "look": range(1, len(self.sizes) + 1),
                "trials": self.trials,
                "different_from": self.different_from,
                "p": self.spent,
            }
        )

    def summary(self) -> Table:
        """One row a look."""
        columns = ("answers in all", "difference from", "chance by guessing so far")
        chances = (float(f"{chance:.2g}") for chance in self.spent)
        rows = zip(self.trials, self.different_from, chances, strict=True)
        return Table(columns=columns, rows=tuple(rows))

    def __repr__(self) -> str:
        return (
            f"<PlannedLooks: {self.protocol.name}, {', '.join(map(str, self.sizes))} answers; "
            f"chance of a false alarm {digits(self.spent[-1], 2)}>"
        )


def planned_looks(
    protocol: Protocol | str, sizes: Sequence[int], *, alpha: float = 0.05
) -> PlannedLooks:
    """From how many right answers is a difference shown, if one looks after each session?

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    sizes : sequence of int
        Answers that each session adds, 2 to 20 sessions, 1000 answers in all at the most. They are
        agreed before the first session.
    alpha : float
        Risk of calling a difference at any look where there is none.

    Raises
    ------
    ArgumentError
        One session; sizes that are no counts; more answers than are planned for; looks at which no
        count could ever show a difference.

    Notes
    -----
    By each look at most alpha times the square of the share of answers is spent. The counts are
    the least that keep this, exact over all paths of the total (convolution of binomials). Limits
    from `limits` held the true d-prime at all looks in 95.2 to 98.8 % of rows for a level of
    95 %, by enumeration (`tests/calibration/test_planned_looks.py`).

    Examples
    --------
    >>> plan = planned_looks("triangle", [12, 12, 12])
    >>> plan.different_from, plan.spent[-1] <= 0.05
    ((9, 14, 18), True)
    """
    protocol, alpha = check_protocol(protocol), probability("alpha", alpha)
    added = whole_numbers("sizes", sizes, at_least=1)
    if added.ndim != 1 or not 2 <= added.size <= MOST_LOOKS:
        raise ArgumentError(f"sizes must be 2 to {MOST_LOOKS} numbers of answers, one a session.")
    if added.sum() > MOST_ANSWERS:
        raise ArgumentError(f"sizes may add up to {MOST_ANSWERS}; got {added.sum()}.")
    plan = _planned(protocol, tuple(map(int, added)), alpha, int(added.sum()))
    if plan.different_from[-1] > plan.trials[-1]:
        raise ArgumentError(
            f"{plan.trials[-1]} answers cannot show a difference at alpha {alpha:g}: more answers "
            "are needed."
        )
    return plan


def _planned(
    protocol: Protocol, sizes: tuple[int, ...], alpha: float, planned: int
) -> PlannedLooks:
    added = _ints(sizes)
    allowed = spent(np.cumsum(added).astype(float), float(planned), alpha)
    counts, chances = crossings(added, np.array([float(protocol.guess)]), allowed)
    return PlannedLooks(
        protocol=protocol,
        sizes=sizes,
        planned=planned,
        alpha=alpha,
        different_from=tuple(map(int, counts[0])),
        spent=tuple(map(float, chances[0])),
    )


def _ends(kept: Bools) -> tuple[float, float]:
    """Ends of the d-primes that are kept, a step outwards."""
    places = np.flatnonzero(kept)
    if not places.size:  # every one is refused: the row does not fit one d-prime
        return float("nan"), float("nan")
    low, high = float(_GRID[places[0]]), float(_GRID[places[-1]])
    most = float("inf") if high >= FARTHEST - _STEP / 2 else round(high + _STEP, 2)
    return max(0.0, round(low - _STEP, 2)), most


def _ints(numbers: Sequence[int]) -> Ints:
    return np.array(numbers, np.int64)
