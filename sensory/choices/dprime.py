"""d-prime from a count, and what a difference in one protocol means in another.

[1] After ASTM E2262: estimating Thurstonian discriminal differences (scope; from memory).
[2] Bi, J., Ennis, D.M. and O'Mahony, M. (1997). How to estimate and use the variance of
    d-prime from difference tests. J. Sensory Studies 12, 87-104. (From memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..base.arrays import Floats, Numbers
from ..base.checks import correct_of_trials, probability, within
from ..base.errors import ArgumentError
from ..base.results import Interval
from ..base.shown import Shown
from ..models.binomial import clopper_pearson, mid_p_limits
from ..models.likelihood import proportion_limits
from .counts import check_protocol
from .protocols import Protocol
from .two_by_two import LimitsBy, check_method

CARRIED = (
    "That assumes that what is perceived scatters normally and alike in both tests, and that the "
    "assessors follow the decision rule of each."
)
"""What carrying a limit to another test by its d-prime takes for granted."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class DprimeEstimate(Shown):
    """Result of `estimate_dprime`; numbers are floats, or arrays shaped like the input.

    Attributes
    ----------
    protocol, correct, trials
        As given.
    estimate : float
        Maximum likelihood over d-prime >= 0: 0 at or below guessing, infinite at 100 %. Signed:
        over all d-prime, below 0 where fewer than half chose the sample expected to have more.
    se : float
        Standard error by the delta method; infinite at or below guessing (signed: at no correct
        answer) and at 100 % correct, where it does not exist.
    limits : Interval
    method : str
        How the limits are found, as given.
    signed : bool
        As given.
    """

    protocol: Protocol
    correct: Numbers
    trials: Numbers
    estimate: Numbers
    se: Numbers
    limits: Interval
    method: LimitsBy
    signed: bool = False

    def limits_at(self, level: float) -> Interval:
        """Limits at another level, found in the same way."""
        return estimate_dprime(
            self.protocol,
            self.correct,
            self.trials,
            level=level,
            method=self.method,
            signed=self.signed,
        ).limits


def estimate_dprime(
    protocol: Protocol | str,
    correct: ArrayLike,
    trials: ArrayLike,
    *,
    level: float = 0.95,
    method: LimitsBy = "exact",
    signed: bool = False,
) -> DprimeEstimate:
    """How far apart the products are, in standard deviations of the percept.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    correct, trials : int or array of int
        Correct answers and answers, one an assessor; broadcast together.
    level : float
        Two-sided confidence level of the limits.
    method : {'exact', 'mid-p', 'profile'}
        Limits from the exact binomial test (Clopper-Pearson), from its mid-p, which are
        shorter, or from the likelihood, relative to its maximum over d-prime >= 0.
    signed : bool
        For the paired comparison, where the other sample may be the stronger: d-prime and limits
        below 0 where it was chosen more often. Limits then hold a d-prime from -4 to 4 as often
        as the table below says for 0 to 4.

    Raises
    ------
    ArgumentError
        As in `choice_test`; level outside (0, 1), another method, or signed for a protocol whose
        answers have no direction.

    Notes
    -----
    Exact coverage of 95 % limits over all protocols, n from 8 to 200 and d-prime from 0 to 4,
    by summing over every count (`tests/calibration/test_coverage.py`):

    ========  ======  =====================
    method    lowest  mean over d-prime
    ========  ======  =====================
    exact     0.950   0.959 to 0.99
    mid-p     0.919   0.951 to 0.98
    profile   0.820   0.947 to 0.97
    ========  ======  =====================

    se = sqrt(pc (1 - pc) / trials) / slope(d-prime) [2]. The slope of triangle, duo-trio,
    tetrad and two-out-of-five is 0 at d-prime 0, so near guessing the limits
    mean anything and se does not; they are the images of limits of the proportion correct.

    Examples
    --------
    >>> from sensory.choices.protocols import PAIRED, TRIANGLE
    >>> dprime = estimate_dprime(TRIANGLE, 18, 24)
    >>> round(dprime.estimate, 3), round(dprime.se, 3), round(dprime.limits.low, 2)
    (2.797, 0.547, 1.64)
    >>> round(estimate_dprime(PAIRED, 7, 24, signed=True).estimate, 3)
    -0.776
    """
    protocol = check_protocol(protocol)
    level = probability("level", level)
    right, total = correct_of_trials(correct, trials)
    x, n = right.astype(float).ravel(), total.astype(float).ravel()
    pc = x / n
    if signed and not protocol.reversible:
        raise ArgumentError("a signed d-prime is that of a paired comparison: use PAIRED.")
    floor = 0.0 if signed else float(protocol.guess)
    estimate = _dprime(protocol, pc, signed)
    inside = (pc > floor) & (pc < 1)
    slope = protocol.slope(np.where(inside, np.abs(estimate), 1.0))
    se = np.where(inside, np.sqrt(pc * (1 - pc) / n) / slope, np.inf)
    low, high = _proportion_limits(floor, x, n, level, method)
    columns = [estimate, se, _dprime(protocol, low, signed), _dprime(protocol, high, signed)]
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
        method=method,
        signed=signed,
    )


def _dprime(protocol: Protocol, pc: Floats, signed: bool) -> Floats:
    """d-prime of a proportion; signed, that of the other sample below guessing."""
    if not signed:
        return protocol.dprime(pc)
    return np.where(pc < 0.5, -protocol.dprime(1 - pc), protocol.dprime(pc))


def _proportion_limits(
    floor: float, correct: Floats, trials: Floats, level: float, method: LimitsBy
) -> tuple[Floats, Floats]:
    check_method(method)
    by_counts = {"exact": clopper_pearson, "mid-p": mid_p_limits}
    if method in by_counts:
        return by_counts[method](correct, trials, level)
    return proportion_limits(correct, trials, level, floor)


def carried_pd(pd: ArrayLike, *, source: Protocol | str, target: Protocol | str) -> Numbers:
    """The proportion of distinguishers in another protocol at the same d-prime.

    A limit in pd belongs to one protocol. This carries it over by way of d-prime, which assumes
    that what is perceived scatters normally and alike in both tests. Between a protocol that
    names an attribute and one that does not it assumes as well that the samples differ in that
    attribute and in nothing else; `panel_plan` offers no such conversion.

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
    source = check_protocol(source)
    target = check_protocol(target)
    guess = float(source.guess)
    pc = guess + (1 - guess) * within("pd", pd, 0.0, 1.0)
    dprime = source.dprime(np.minimum(pc, 1.0))
    carried = target.distinguishers(target.proportion_correct(dprime))
    carried = np.where(dprime > 0, carried, 0.0)  # at guessing rounding leaves 1e-16
    return float(carried) if np.ndim(pd) == 0 else carried
