"""Forced-choice tests in which assessors answer more than once.

Under guessing the pooled count is binomial whoever gave the answers, so the pooled
difference test stands. Estimates, limits and similarity do not: people differ. They come
from the chance-corrected beta-binomial, see `sensory.models.beta_binomial`.

Why so
------
Sessions whose assessors answered alike are computed once, as in `choice_test`; the others together,
in parts of bounded memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, chdtri, stdtrit

from ..base.arrays import Floats, Ints, Numbers
from ..base.checks import correct_of_trials
from ..base.errors import ArgumentError
from ..base.findings import findings_of
from ..base.results import Interval, Table
from ..base.shown import Shown
from ..models.beta_binomial import ReplicateLikelihood, tabulated
from ..models.beta_moments import correlation_of_answers
from ..models.binomial import lower_tail, upper_tail
from .counts import agreed_risks, check_protocol, critical_counts
from .protocols import Protocol
from .verdicts import WITHHELD

FEWEST_ASSESSORS = 8
MOST_REPLICATES = 40
_SPREAD = "spread between assessors"
_MOST_TERMS = 40_000  # of the masses of sessions that are computed together


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ReplicatedTest(Shown):
    """Result of `replicated_choice_test`; each number is a float, or an array of the sessions.

    Attributes
    ----------
    protocol, alpha, beta, pd_limit
        As given.
    assessors : int
        People of a session.
    correct, trials : int
        Correct answers and answers of all of them.
    p_difference : float
        Exact binomial tail of the pooled count.
    pd, spread : float
        Maximum likelihood: mean proportion of distinguishing among assessors, and how
        much they differ (0 alike, 1 some always and others never). spread is nan where it
        cannot be estimated: where all values fit alike, or the likelihood rises up to 1.
    pd_limits, spread_limits : Interval
        Profile-likelihood limits, 95 %; those of pd widened for few people, those of spread
        stated where it cannot be estimated as well.
    pd_upper : float
        One-sided 1 - beta profile-likelihood upper limit of pd.
    pd_lower : float
        One-sided 1 - alpha profile-likelihood lower limit of pd.
    p_overdispersion : float
        Likelihood ratio against assessors who are alike, on the boundary mixture
        1/2 chi2(0) + 1/2 chi2(1).
    """

    protocol: Protocol
    alpha: float
    beta: float
    pd_limit: float
    assessors: int
    correct: Numbers
    trials: Numbers
    p_difference: Numbers
    pd: Numbers
    spread: Numbers
    pd_limits: Interval
    spread_limits: Interval
    pd_upper: Numbers
    pd_lower: Numbers
    p_overdispersion: Numbers
    finding: Numbers

    @property
    def spread_unknown(self) -> str | None:
        """Why the spread between assessors is not estimated; None where it is.

        Raises ArgumentError when the result holds several sessions.
        """
        self.check_single("spread_unknown")
        if not np.isnan(self.spread):
            return None
        low, high = self.spread_limits.low, self.spread_limits.high
        return (
            f"How much assessors differ cannot be estimated from these answers: anything from "
            f"{low:.2f} to {high:.2f} (0 alike, 1 some always and others never) fits them."
        )

    @property
    def similarity_withheld(self) -> str | None:
        """Why nothing is said about the limit, whatever it is; None where it may be."""
        if self.assessors >= FEWEST_ASSESSORS:
            return None
        return (
            f"With fewer than {FEWEST_ASSESSORS} assessors neither similarity nor a difference "
            "beyond the limit is concluded from replicates."
        )

    def summary(self) -> Table:
        """Estimates with their limits; no spread where it cannot be estimated.

        Raises
        ------
        ArgumentError
            When the result holds several sessions.
        """
        self.check_single("table")
        rows = self.quantities
        if self.spread_unknown:
            rows = tuple((row[0], None, *row[2:]) if row[0] == _SPREAD else row for row in rows)
        return Table(columns=("quantity", "estimate", "low", "high", "level"), rows=rows)

    @property
    def quantities(self) -> tuple[tuple[Numbers, ...], ...]:
        """Name, estimate, limits and their level of what was estimated, a row each."""
        return (
            ("mean proportion of distinguishers", self.pd, *self.pd_limits.cells),
            (_SPREAD, self.spread, *self.spread_limits.cells),
            ("upper limit for similarity", self.pd_upper, None, self.pd_upper, 1 - self.beta),
            ("p of the pooled difference test", self.p_difference, None, None, None),
            ("p of the test that assessors are alike", self.p_overdispersion, None, None, None),
        )

    def check_single(self, what: str) -> None:
        """Raise ArgumentError when the result holds several sessions; `what` is for one."""
        if np.ndim(self.p_difference):
            raise ArgumentError(
                f"{what} is for one session, this result holds {np.size(self.p_difference)}; call "
                "replicated_choice_test for one of them."
            )

    def __repr__(self) -> str:
        if np.ndim(self.p_difference):
            return f"<ReplicatedTest {self.protocol.name}, {np.size(self.p_difference)} sessions>"
        return Shown.__repr__(self)


def replicated_choice_test(
    protocol: Protocol | str,
    correct: ArrayLike,
    replicates: ArrayLike,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
) -> ReplicatedTest:
    """Difference and similarity when each assessor answers several times.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    correct : sequence or array of int
        Correct answers of each assessor: assessors on the last axis, sessions on those before it.
    replicates : int, or sequence or array of int
        Answers of each assessor, broadcast with `correct`; in each session at least one assessor
        with two or more.
    alpha, beta, pd_limit
        As in `choice_test`; pd_limit is about the mean of the assessors.

    Raises
    ------
    ArgumentError
        For impossible counts, nobody with two answers, fewer than two assessors, or more
        than 40 answers by one person.

    Notes
    -----
    Similarity is shown when the profile-likelihood upper limit of the mean lies at or
    below pd_limit, a difference beyond the limit when the lower one lies above it. Both take
    Student's t with assessors - 1 degrees of freedom for the normal quantile. Exact risks at the
    limit for 0.05, triangle 12 x 3 and 8 x 4, duo-trio 20 x 2 and 16 x 3: similar 0.017 to 0.037,
    beyond 0.021 to 0.049 for a spread up to 0.5, to 0.074 where some always and the others never
    notice. With fewer than 8 assessors neither is concluded.
    So few correct answers that guessing gives as few with a chance of 0.001 at most show no
    similarity.

    The two-sided limits of pd take Student's t too, with the number of answers less 1, each
    person's counted as m / (1 + (m - 1) rho), rho as in `replicate_gain`: as many as people
    when each always answers alike. With 8 assessors x 4, triangle, pd 0.3 to 0.7 and spread
    up to 0.5 they hold the truth in 93.9 to 98.0 % of sessions, with the chi-square
    quantile in 89.9 to 96.8 %; where some always and the others never notice (spread 1) in
    91 % at the least, as 8 people are then 8 answers.

    The limits of the spread hold it in 94.4 to 100 % of sessions, exact over all sessions of these
    four panels, pd 0.05 to 0.9, spread 0 to 1 (`tests/calibration/test_coverage.py`). They are
    wide: from the answers of few people little is known of how much these differ.

    Exact coverage over the same grid, with pd 0: the 95 % limits of pd 91.0 to 99.5 % (8 x 4), 91.8
    (16 x 3), 93.4 (12 x 3) and 94.3 % (duo-trio 20 x 2) at the least, 96.3 to 96.8 % on average.
    `pd_upper`, for 95 %, holds it in 96.0 % at the least. `pd_lower`, for 95 %, falls short: 91.2
    to 98.1 % up to pd 0.7, and with 20 x 2 at pd 0.9 only 87 % where people are alike and 79 %
    where some always and the others never notice.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> test = replicated_choice_test(TRIANGLE, [2, 1, 0, 3, 1, 1, 2, 0, 1, 1, 2, 0], 3)
    >>> test.correct, test.trials, test.finding.name
    (14, 36, 'UNDECIDED')
    >>> round(test.pd, 2), round(test.pd_limits.high, 2)
    (0.08, 0.37)
    >>> many = replicated_choice_test(TRIANGLE, [[2, 1, 0, 3, 1, 1, 2, 0], [3] * 8], 3)
    >>> many.correct.tolist(), [finding.name for finding in many.finding]
    ([10, 24], ['UNDECIDED', 'BEYOND_LIMIT'])
    """
    protocol = check_protocol(protocol)
    alpha, beta, pd_limit = agreed_risks(alpha, beta, pd_limit)
    right, given = _answers(correct, replicates)
    shape = right.shape[:-1]
    first, back = _distinct(right, given)
    right, given = (counts.reshape(-1, counts.shape[-1])[first] for counts in (right, given))
    numbers = _numbers(protocol, right, given, alpha, beta)
    finding = _findings(protocol, numbers, right.shape[1], alpha, pd_limit)

    def out(column: NDArray[Any]) -> Numbers:
        return column[back].reshape(shape) if shape else column.item()

    shown = {name: out(column) for name, column in numbers.items()}
    limits = {
        f"{name}_limits": Interval(
            low=shown.pop(f"{name}_low"), high=shown.pop(f"{name}_high"), level=0.95
        )
        for name in ("pd", "spread")
    }
    return ReplicatedTest(
        protocol=protocol,
        alpha=alpha,
        beta=beta,
        pd_limit=pd_limit,
        assessors=int(right.shape[1]),
        finding=out(finding),
        **limits,
        **shown,
    )


def _answers(correct: ArrayLike, replicates: ArrayLike) -> tuple[Ints, Ints]:
    """The counts, checked, assessors on the last axis."""
    right, given = correct_of_trials(correct, replicates)
    if right.ndim < 1 or right.shape[-1] < 2:
        raise ArgumentError("correct must be a sequence with one count for each assessor.")
    once = given.max(axis=-1) < 2
    if once.any():
        place = ", ".join(str(part) for part in np.argwhere(once)[0])
        where = f" in correct[{place}]" if place else ""
        raise ArgumentError(f"nobody answered more than once{where}: use choice_test.")
    if given.max() > MOST_REPLICATES:
        raise ArgumentError(
            f"replicates must be at most {MOST_REPLICATES} a person; got {given.max()}."
        )
    return right, given


def _distinct(right: Ints, given: Ints) -> tuple[Ints, Ints]:
    """The first session of each set of answers that occurs, and which set each session has.

    Who of the assessors gave which answers does not count.
    """
    answers = np.sort(given * (MOST_REPLICATES + 1) + right, axis=-1)
    sets = answers.reshape(-1, answers.shape[-1])
    _, first, back = np.unique(sets, axis=0, return_index=True, return_inverse=True)
    return first, back.ravel()


def _numbers(
    protocol: Protocol, right: Ints, given: Ints, alpha: float, beta: float
) -> dict[str, NDArray[Any]]:
    """All numbers of sessions, (sessions, assessors), a part of them at a time."""
    guess, total, trials = float(protocol.guess), right.sum(axis=1), given.sum(axis=1)
    at_once = max(_MOST_TERMS // (int(given.max()) + 1) ** 2, 1)
    parts = [
        _estimates(
            guess, right[start : start + at_once], given[start : start + at_once], alpha, beta
        )
        for start in range(0, len(right), at_once)
    ]
    numbers: dict[str, NDArray[Any]] = {
        name: np.concatenate([part[name] for part in parts]) for name in parts[0]
    }
    return numbers | {
        "correct": total,
        "trials": trials,
        "p_difference": upper_tail(total, trials, guess),
    }


def _estimates(
    guess: float, right: Ints, given: Ints, alpha: float, beta: float
) -> dict[str, Floats]:
    """What the likelihood says of sessions."""
    likelihood = ReplicateLikelihood(guess=guess, tables=tabulated(right, given))
    pd, spread, top = likelihood.best
    names = ("pd_upper", "pd_lower", "pd_low", "pd_high", "spread_low", "spread_high")
    limits = _limits(likelihood, right.shape[1], alpha, beta)
    ratio = np.maximum(2 * (top - likelihood.best_equal[1]), 0.0)
    return dict(zip(names, limits, strict=True)) | {
        "pd": pd,
        "spread": np.where(likelihood.spread_silent, np.nan, spread),
        "p_overdispersion": np.where(ratio < 1e-9, 1.0, chdtrc(1, ratio) / 2),
    }


def _findings(
    protocol: Protocol,
    numbers: dict[str, NDArray[Any]],
    assessors: int,
    alpha: float,
    pd_limit: float,
) -> NDArray[np.object_]:
    total, trials = numbers["correct"], numbers["trials"]
    different = np.ma.filled(total >= critical_counts(protocol, trials, alpha), False)
    likely = lower_tail(total, trials, float(protocol.guess)) > WITHHELD
    enough = assessors >= FEWEST_ASSESSORS
    similar = (numbers["pd_upper"] <= pd_limit) & likely
    beyond = different & (numbers["pd_lower"] > pd_limit)
    return findings_of(different, similar & enough, beyond & enough)


def _limits(likelihood: ReplicateLikelihood, people: int, alpha: float, beta: float) -> Floats:
    """One-sided upper and lower limit of the mean, and both limits of mean and of spread.

    Two-sided limits of the mean take the freedom of as many answers as these carry.
    """
    correlation = correlation_of_answers(likelihood.guess, *likelihood.best[:2])
    carried = sum(
        table.sum(-1) * m / (1 + (m - 1) * correlation) for m, table in likelihood.tables.items()
    )
    several, every = np.maximum(carried, 2.0), np.full(np.shape(carried), float(people))
    tails = np.minimum([beta, alpha, 0.025, 0.025], 0.5)
    freedom = np.stack([every, every, several, several]) - 1
    quantile = -stdtrit(freedom, tails.reshape(-1, *[1] * every.ndim))
    drops = [*(quantile**2 / 2), *[float(chdtri(1, 0.05)) / 2] * 2]
    names, sides = ["mean"] * 4 + ["spread"] * 2, (1, -1, -1, 1, -1, 1)
    return likelihood.crossings(list(zip(names, drops, sides, strict=True)))
