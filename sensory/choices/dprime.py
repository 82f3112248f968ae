"""d-prime from a count, and what a difference in one protocol means in another.

[1] ASTM E2262: estimating Thurstonian discriminal differences (scope; from memory).
[2] Bi, J., Ennis, D.M. and O'Mahony, M. (1997). How to estimate and use the variance of
    d-prime from difference tests. J. Sensory Studies 12, 87-104. (From memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..base.arrays import Numbers
from ..base.checks import correct_of_trials, probability, within
from ..base.results import Interval
from ..models.likelihood import proportion_limits
from .counts import check_protocol
from .protocols import Protocol


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DprimeEstimate:
    """Result of `estimate_dprime`; numbers are floats, or arrays shaped like the input.

    Attributes
    ----------
    protocol, correct, trials
        As given.
    estimate : float
        Maximum likelihood over d-prime >= 0: 0 at or below guessing, infinite at 100 %.
    se : float
        Standard error by the delta method; infinite at or below guessing and at 100 %
        correct, where it does not exist.
    limits : Interval
        Profile-likelihood limits, relative to the maximum over d-prime >= 0.
    """

    protocol: Protocol
    correct: Numbers
    trials: Numbers
    estimate: Numbers
    se: Numbers
    limits: Interval

    def limits_at(self, level: float) -> Interval:
        """Profile-likelihood limits at another level."""
        return estimate_dprime(self.protocol, self.correct, self.trials, level=level).limits


def estimate_dprime(
    protocol: Protocol, correct: ArrayLike, trials: ArrayLike, *, level: float = 0.95
) -> DprimeEstimate:
    """How far apart the products are, in standard deviations of the percept.

    Parameters
    ----------
    protocol : Protocol
    correct, trials : int or array of int
        Correct answers and answers, one an assessor; broadcast together.
    level : float
        Two-sided confidence level of the limits.

    Raises
    ------
    ArgumentError
        As in `choice_test`; level outside (0, 1).

    Notes
    -----
    se = sqrt(pc (1 - pc) / trials) / slope(d-prime) [2]. The slope of triangle, duo-trio,
    tetrad and two-out-of-five is 0 at d-prime 0, so near guessing only the profile
    limits mean anything; they are the image of the likelihood interval of the
    proportion correct.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> dprime = estimate_dprime(TRIANGLE, 18, 24)
    >>> round(dprime.estimate, 3), round(dprime.se, 3), round(dprime.limits.low, 2)
    (2.797, 0.547, 1.76)
    """
    check_protocol(protocol)
    level = probability("level", level)
    right, total = correct_of_trials(correct, trials)
    x, n = right.astype(float).ravel(), total.astype(float).ravel()
    pc = x / n
    estimate = protocol.dprime(pc)
    inside = (pc > float(protocol.guess)) & (pc < 1)
    slope = protocol.slope(np.where(inside, estimate, 1.0))
    se = np.where(inside, np.sqrt(pc * (1 - pc) / n) / slope, np.inf)
    low, high = proportion_limits(x, n, level, float(protocol.guess))
    columns = [estimate, se, protocol.dprime(low), protocol.dprime(high)]
    shaped = [
        float(column[0]) if right.shape == () else column.reshape(right.shape) for column in columns
    ]
    return DprimeEstimate(
        protocol=protocol,
        correct=correct,
        trials=trials,
        estimate=shaped[0],
        se=shaped[1],
        limits=Interval(low=shaped[2], high=shaped[3], level=level),
    )


def carried_pd(pd: ArrayLike, *, source: Protocol, target: Protocol) -> Numbers:
    """The proportion of distinguishers in another protocol at the same d-prime.

    A limit in pd belongs to one protocol. This carries it over by way of d-prime.

    Parameters
    ----------
    pd : float or array of float
        Proportion of distinguishers in `source`, in [0, 1]; 0 carries to 0 and 1 to 1.
    source, target : Protocol

    Raises
    ------
    ArgumentError
        When pd is no number in [0, 1], or source or target no protocol.

    Examples
    --------
    >>> from sensory.choices.protocols import DUO_TRIO, PAIRED, TRIANGLE
    >>> round(carried_pd(0.30, source=TRIANGLE, target=DUO_TRIO), 3)
    0.374
    >>> round(carried_pd(0.30, source=TRIANGLE, target=PAIRED), 3)
    0.753
    """
    check_protocol(source)
    check_protocol(target)
    guess = float(source.guess)
    pc = guess + (1 - guess) * within("pd", pd, 0.0, 1.0)
    dprime = source.dprime(np.minimum(pc, 1.0))
    carried = target.distinguishers(target.proportion_correct(dprime))
    carried = np.where(dprime > 0, carried, 0.0)  # at guessing rounding leaves 1e-16
    return float(carried) if np.ndim(pd) == 0 else carried
