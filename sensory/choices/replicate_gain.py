"""What tasting again buys against more people, exact.

Tested by running through every combination of answers and by simulation
(`tests/choices/test_replicates.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..base.arrays import Floats
from ..base.checks import one_count, one_number, probability
from ..base.errors import ArgumentError
from ..base.shown import Shown
from ..models.beta_moments import correlation_of_answers, masses
from ..models.binomial import upper_tail
from .counts import check_protocol, critical_counts
from .protocols import Protocol
from .replicates import MOST_REPLICATES


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
    if times > MOST_REPLICATES:
        raise ArgumentError(f"replicates must be at most {MOST_REPLICATES}; got {times}.")
    alpha = probability("alpha", alpha)
    mean = one_number("pd", pd, 0.0, 1.0)
    differ = one_number("spread", spread, 0.0, 0.999)
    guess = float(protocol.guess)
    pc = guess + (1 - guess) * mean
    answers = people * times
    correlation = float(correlation_of_answers(guess, mean, differ))
    total = _sum_of(masses(times, guess, mean, differ), people)
    return ReplicateGain(
        power=_beyond(total, critical_counts(protocol, answers, alpha)),
        power_once=_single(protocol, people, pc, alpha),
        power_people=_single(protocol, answers, pc, alpha),
        equivalent_assessors=answers / (1 + (times - 1) * correlation),
    )


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
