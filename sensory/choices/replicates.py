"""Forced-choice tests in which assessors answer more than once.

Under guessing the pooled count is binomial whoever gave the answers, so the pooled
difference test stands. Estimates, limits and similarity do not: people differ. They come
from the chance-corrected beta-binomial, see `sensory.models.beta_binomial`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, chdtri, stdtrit

from ..base.arrays import Floats, Ints
from ..base.checks import correct_of_trials, one_count, one_number, probability
from ..base.errors import ArgumentError
from ..base.findings import Finding, finding_of
from ..base.results import Interval, Table
from ..base.shown import Shown
from ..models.beta_binomial import ReplicateLikelihood, tabulated
from ..models.beta_moments import masses
from ..models.binomial import lower_tail, upper_tail
from .counts import agreed_risks, check_protocol, critical_counts
from .protocols import Protocol
from .verdicts import WITHHELD

FEWEST_ASSESSORS = 8
_MOST_REPLICATES = 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ReplicatedTest(Shown):
    """Result of `replicated_choice_test`.

    Attributes
    ----------
    protocol, alpha, beta, pd_limit
        As given.
    assessors, correct, trials : int
        People, and correct answers and answers of all of them.
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
    correct: int
    trials: int
    p_difference: float
    pd: float
    spread: float
    pd_limits: Interval
    spread_limits: Interval
    pd_upper: float
    pd_lower: float
    p_overdispersion: float
    finding: Finding

    @property
    def spread_unknown(self) -> str | None:
        """Why the spread between assessors is not estimated; None where it is."""
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
        """Estimates with their limits; no spread where it cannot be estimated."""
        spread = None if self.spread_unknown else self.spread
        return Table(
            columns=("quantity", "estimate", "low", "high", "level"),
            rows=(
                ("mean proportion of distinguishers", self.pd, *self.pd_limits.cells),
                ("spread between assessors", spread, *self.spread_limits.cells),
                ("upper limit for similarity", self.pd_upper, None, self.pd_upper, 1 - self.beta),
                ("p of the pooled difference test", self.p_difference, None, None, None),
                ("p of the test that assessors are alike", self.p_overdispersion, None, None, None),
            ),
        )


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
    correct : sequence of int
        Correct answers of each assessor.
    replicates : int or sequence of int
        Answers of each assessor; at least one assessor with two or more.
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
    """
    protocol = check_protocol(protocol)
    alpha, beta, pd_limit = agreed_risks(alpha, beta, pd_limit)
    right, given = correct_of_trials(correct, replicates)
    if right.ndim != 1 or right.size < 2:
        raise ArgumentError("correct must be a sequence with one count for each assessor.")
    if given.max() < 2:
        raise ArgumentError("nobody answered more than once: use choice_test.")
    if given.max() > _MOST_REPLICATES:
        raise ArgumentError(
            f"replicates must be at most {_MOST_REPLICATES} a person; got {given.max()}."
        )
    likelihood = ReplicateLikelihood(guess=float(protocol.guess), tables=tabulated(right, given))
    pd, spread, top = likelihood.best
    total, trials = int(right.sum()), int(given.sum())
    critical = critical_counts(protocol, trials, alpha)
    upper, lower, pd_limits, spread_limits = _limits(likelihood, given, alpha, beta)
    guess = float(protocol.guess)
    enough = right.size >= FEWEST_ASSESSORS
    different = critical is not None and total >= critical
    similar = upper <= pd_limit and float(lower_tail(total, trials, guess)) > WITHHELD
    ratio = max(2 * (top - likelihood.best_equal[1]), 0.0)
    return ReplicatedTest(
        protocol=protocol,
        alpha=alpha,
        beta=beta,
        pd_limit=pd_limit,
        assessors=int(right.size),
        correct=total,
        trials=trials,
        p_difference=float(upper_tail(total, trials, guess)),
        pd=pd,
        spread=float("nan") if likelihood.spread_silent else spread,
        pd_limits=pd_limits,
        spread_limits=spread_limits,
        pd_upper=upper,
        pd_lower=lower,
        p_overdispersion=1.0 if ratio < 1e-9 else float(chdtrc(1, ratio)) / 2,
        finding=finding_of(
            different, similar and enough, different and lower > pd_limit and enough
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ReplicateGain(Shown):
    """What tasting again buys; see `replicate_gain`.

    Attributes
    ----------
    power : float
        Power of the pooled difference test with replicates.
    power_once : float
        The same people answering once.
    power_people : float
        As many answers, each by another person.
    equivalent_assessors : float
        How many people answering once carry the same information about the mean.
    """

    power: float
    power_once: float
    power_people: float
    equivalent_assessors: float


def replicate_gain(
    protocol: Protocol | str,
    *,
    assessors: int,
    replicates: int,
    pd: float,
    spread: float,
    alpha: float = 0.05,
) -> ReplicateGain:
    """What 12 assessors tasting twice buy against 24 tasting once, exact.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    assessors, replicates : int
        People, and answers of each.
    pd, spread : float
        Mean proportion of distinguishing, and how much people differ, from 0 to 1
        and to 0.999.
    alpha : float

    Raises
    ------
    ArgumentError
        For impossible counts, more than 40 replicates, or an impossible pd or spread.

    Notes
    -----
    The total is the sum of beta-binomial counts, convolved. The equivalent number divides
    the answers by 1 + (replicates - 1) rho, rho the correlation of two answers by one
    person: (1 - guess)^2 pd (1 - pd) spread / (pc (1 - pc)).

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> gain = replicate_gain(TRIANGLE, assessors=12, replicates=2, pd=0.5, spread=0.5)
    >>> round(gain.power_once, 2), round(gain.power, 2), round(gain.power_people, 2)
    (0.63, 0.91, 0.93)
    >>> round(gain.equivalent_assessors, 1)
    19.2
    """
    protocol = check_protocol(protocol)
    people = one_count("assessors", assessors, at_least=1)
    times = one_count("replicates", replicates, at_least=1)
    if times > _MOST_REPLICATES:
        raise ArgumentError(f"replicates must be at most {_MOST_REPLICATES}; got {times}.")
    alpha = probability("alpha", alpha)
    mean = one_number("pd", pd, 0.0, 1.0)
    differ = one_number("spread", spread, 0.0, 0.999)
    guess = float(protocol.guess)
    pc = guess + (1 - guess) * mean
    answers = people * times
    correlation = _correlation(guess, mean, differ)
    total = _sum_of(masses(times, guess, mean, differ), people)
    return ReplicateGain(
        power=_beyond(total, critical_counts(protocol, answers, alpha)),
        power_once=_single(protocol, people, pc, alpha),
        power_people=_single(protocol, answers, pc, alpha),
        equivalent_assessors=answers / (1 + (times - 1) * correlation),
    )


def _limits(
    likelihood: ReplicateLikelihood, given: Ints, alpha: float, beta: float
) -> tuple[float, float, Interval, Interval]:
    """One-sided upper and lower limit of the mean, and both limits of mean and of spread.

    Two-sided limits of the mean take the freedom of as many answers as these carry.
    """
    people = float(given.size)
    correlation = _correlation(likelihood.guess, *likelihood.best[:2])
    carried = max(float((given / (1 + (given - 1) * correlation)).sum()), 2.0)
    tails = np.minimum([beta, alpha, 0.025, 0.025], 0.5)
    quantile = -stdtrit(np.array([people, people, carried, carried]) - 1, tails)
    drops = [*(quantile**2 / 2).tolist(), *[float(chdtri(1, 0.05)) / 2] * 2]
    names, sides = ["mean"] * 4 + ["spread"] * 2, (1, -1, -1, 1, -1, 1)
    limits = likelihood.crossings(list(zip(names, drops, sides, strict=True))).tolist()
    return *limits[:2], _interval(*limits[2:4]), _interval(*limits[4:])


def _interval(low: float, high: float) -> Interval:
    return Interval(low=low, high=high, level=0.95)


def _correlation(guess: float, mean: float, spread: float) -> float:
    pc = guess + (1 - guess) * mean
    return (1 - guess) ** 2 * mean * (1 - mean) * spread / (pc * (1 - pc)) if mean < 1 else 0.0


def _sum_of(mass: Floats, times: int) -> Floats:
    total = np.ones(1)
    for _ in range(times):
        total = np.convolve(total, mass)
    return total


def _beyond(total: Floats, critical: int | None) -> float:
    return 0.0 if critical is None else min(float(total[critical:].sum()), 1.0)


def _single(protocol: Protocol, trials: int, pc: float, alpha: float) -> float:
    critical = critical_counts(protocol, trials, alpha)
    return 0.0 if critical is None else float(upper_tail(critical, trials, pc))
