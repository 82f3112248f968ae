"""The forced-choice test: difference and similarity from one count, exact.

[1] After ISO 4120:2021, ISO 10399:2026, ISO 5495:2005: the one-sided binomial tests.
[2] Clopper, C.J. and Pearson, E.S. (1934). Biometrika 26, 404-413: the limits.
[3] Brockhoff, P.B. and Christensen, R.H.B. (2010). Food Quality and Preference 21,
    330-338: the Thurstonian models behind the links. (From memory.)

Why so
------
Most of the time of 100,000 sessions went into columns that nobody read. A result holds the numbers
of the distinct pairs of counts (`counted_pairs`); those of each session are looked up when their
column is first asked for, and kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from ..base.arrays import Numbers
from ..base.checks import correct_of_trials
from ..base.errors import ArgumentError
from ..base.results import Interval, Table
from ..base.shown import Shown
from .counted_pairs import CountedPairs
from .counts import agreed_risks, check_protocol
from .protocols import Protocol
from .verdicts import Agreed


class _OfPairs(Shown):
    """A result whose fields are made of its pairs when they are first asked for."""

    __slots__ = ("_pairs",)

    if not TYPE_CHECKING:  # which knows every field

        def __getattr__(self, name: str) -> Numbers:
            if name not in type(self).__slots__:
                raise AttributeError(f"{type(self).__name__!r} object has no attribute {name!r}")
            value = object.__getattribute__(self, "_pairs").field(name)
            object.__setattr__(self, name, value)
            return value


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChoiceTest(_OfPairs):
    """Result of `choice_test`; each number is a float, or an array shaped like the input.

    Attributes
    ----------
    protocol, correct, trials, alpha, beta, pd_limit, two_sided
        As given.
    p_difference, log_p_difference : float
        Probability of so many correct answers when everybody guesses, and its natural
        logarithm, which stays finite where the probability underflows.
    p_similarity : float
        Probability of so few correct answers when a share `pd_limit` distinguishes.
    p_beyond : float
        Probability of so many correct answers when a share `pd_limit` distinguishes; twice
        that where the question is two-sided.
    p_below_guessing : float
        Probability of so few correct answers when everybody guesses; 1 where the question is
        two-sided. At 0.001 or less similarity is withheld.
    pc, pd, dprime : float
        Proportion correct, proportion of distinguishers, d-prime; the last two floored
        at 0. For a two-sided question pd and d-prime are sizes without direction.
    pd_unfloored : float
        The estimate of pd before the floor; negative below guessing, and for a two-sided
        question where the sample that `correct` counts is the rarer choice.
    pc_limits, pd_limits, dprime_limits : Interval
        Two-sided 95 % limits.
    pc_upper, pd_upper, dprime_upper : float
        One-sided 1 - beta upper limits, the ones that decide on similarity; of the
        commoner choice if two-sided.
    pc_lower, pd_lower, dprime_lower : float
        One-sided 1 - alpha lower limits, the ones that decide on 'beyond the limit'; of the
        commoner choice, at 1 - alpha / 2, if two-sided.
    critical_count, similar_count, beyond_count : int or None
        Where significance begins, where similarity ends, and where 'beyond the limit' begins.
    finding : Finding
    more_assessors : int or None
        When UNDECIDED: by how many the smallest panel with the planned risks is larger
        than this one. None otherwise. A new session of that size, not an addition.
    """

    protocol: Protocol
    correct: Numbers
    trials: Numbers
    alpha: float
    beta: float
    pd_limit: float
    two_sided: bool
    p_difference: Numbers
    log_p_difference: Numbers
    p_similarity: Numbers
    p_beyond: Numbers
    p_below_guessing: Numbers
    pc: Numbers
    pd: Numbers
    pd_unfloored: Numbers
    dprime: Numbers
    pc_limits: Interval
    pd_limits: Interval
    dprime_limits: Interval
    pc_upper: Numbers
    pd_upper: Numbers
    dprime_upper: Numbers
    pc_lower: Numbers
    pd_lower: Numbers
    dprime_lower: Numbers
    critical_count: Numbers
    similar_count: Numbers
    beyond_count: Numbers
    finding: Numbers
    more_assessors: Numbers

    @property
    def pc_at_limit(self) -> float:
        """Proportion correct expected at the agreed limit."""
        return float(self.protocol.pc_at(self.pd_limit))

    @property
    def dprime_limit(self) -> float:
        """The agreed limit as d-prime, the only form that another protocol can use."""
        return float(self.protocol.dprime(self.pc_at_limit))

    def summary(self) -> Table:
        """Estimates with their limits, one row a quantity.

        Raises
        ------
        ArgumentError
            When the result holds several sessions.
        """
        self.check_single("table")
        upper = None if self.two_sided else self.pc_upper
        return Table(
            columns=("quantity", "estimate", "low", "high", "level", "upper limit for similarity"),
            rows=(
                ("proportion correct", self.pc, *self.pc_limits.cells, upper),
                ("proportion of distinguishers", self.pd, *self.pd_limits.cells, self.pd_upper),
                ("d-prime", self.dprime, *self.dprime_limits.cells, self.dprime_upper),
            ),
        )

    @classmethod
    def of_pairs(cls, pairs: CountedPairs, given: Mapping[str, object]) -> ChoiceTest:
        """A result that makes each number of the pairs when it is asked for."""
        result = object.__new__(cls)
        for name, value in (*given.items(), ("_pairs", pairs)):
            object.__setattr__(result, name, value)
        return result

    def check_single(self, what: str) -> None:
        """Raise ArgumentError when the result holds several sessions; `what` is for one."""
        if np.ndim(self.correct):
            raise ArgumentError(
                f"{what} is for one session, this result holds {np.size(self.correct)}; call "
                "choice_test for one of them."
            )

    def __repr__(self) -> str:
        if np.ndim(self.correct):
            return f"<ChoiceTest {self.protocol.name}, {np.size(self.correct)} sessions>"
        return (
            f"<ChoiceTest {self.protocol.name}: {self.correct} of {self.trials} correct, "
            f"{self.finding.name}, p difference {self.p_difference:.3g}, "
            f"p similarity {self.p_similarity:.3g}>"
        )

    def _repr_html_(self) -> str:
        if np.ndim(self.correct):
            return f"<p>{np.size(self.correct)} {self.protocol.name} sessions</p>"
        return f"<p>{self.finding.sentence}</p>{self.summary()._repr_html_()}"


def choice_test(
    protocol: Protocol | str,
    correct: ArrayLike,
    trials: ArrayLike,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    two_sided: bool = False,
) -> ChoiceTest:
    """Does the batch differ from the reference, and is any difference below the limit?

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
        TRIANGLE, DUO_TRIO, PAIRED, THREE_AFC, TETRAD or TWO_OUT_OF_FIVE.
    correct, trials : int or array of int
        Correct answers and answers counted, one an assessor; broadcast together. With
        `two_sided`, `correct` counts the answers for one sample of the pair.
    alpha : float
        Risk of finding a difference where everybody guesses.
    beta : float
        Risk of finding similarity where a share `pd_limit` distinguishes.
    pd_limit : float
        The agreed limit, as a proportion of distinguishers in this protocol.
    two_sided : bool
        Paired comparison without an expected direction.

    Raises
    ------
    ArgumentError
        Counts that are negative, not whole, not finite or correct > trials; risks or
        limit outside (0, 1); a two-sided question where the protocol has one side.

    Notes
    -----
    p_difference = P(X >= correct | trials, guess); p_similarity = P(X <= correct |
    trials, guess + (1 - guess) pd_limit) [1]. Two-sided, the difference takes twice the
    smaller tail and similarity has to hold in both directions. The difference is larger than
    the limit where P(X >= correct | trials, guess + (1 - guess) pd_limit) <= alpha, on each
    side alpha / 2 if two-sided. So few correct answers that guessing gives as few with a chance
    of 0.001 at most show no similarity. Limits are
    Clopper-Pearson [2] carried through the monotone maps to pd and d-prime [3]; they hold
    the truth in 95.0 % of sessions at the least, in 95.9 to 99 % on average (exact, see
    `estimate_dprime`; `tests/calibration/test_coverage.py`). A two-sided 95 % interval may hold
    0 while the one-sided difference is significant: they answer different questions.

    Answers by the same assessor are not independent where a difference exists: use one
    answer an assessor.

    Sessions that share their counts are computed once.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> result = choice_test(TRIANGLE, 14, 24)
    >>> result.finding
    <Finding.DIFFERENT: 'DIFFERENT'>
    >>> round(result.p_difference, 4), round(result.pd, 3)
    (0.0103, 0.375)
    >>> choice_test(TRIANGLE, 10, 24).more_assessors
    42
    """
    protocol = check_protocol(protocol, two_sided)
    alpha, beta, pd_limit = agreed_risks(alpha, beta, pd_limit)
    right, total = correct_of_trials(correct, trials)
    shape = right.shape
    agreed = Agreed(
        protocol=protocol, alpha=alpha, beta=beta, pd_limit=pd_limit, two_sided=two_sided
    )
    given = {
        "protocol": protocol,
        "correct": int(right) if shape == () else right,
        "trials": int(total) if shape == () else total,
        "alpha": alpha,
        "beta": beta,
        "pd_limit": pd_limit,
        "two_sided": two_sided,
    }
    return ChoiceTest.of_pairs(CountedPairs(agreed, right, total), given)
