"""Same-different: are the two samples of a pair the same?

[1] After ASTM E2139: same-different test; one pair an assessor (scope; from memory).
[2] Macmillan, N.A. and Creelman, C.D. (2005). Detection Theory, 2nd ed., chapter 9: the
    differencing rule. (From memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..base.checks import probability
from ..base.results import Interval, Table
from ..base.shown import Shown
from ..models import signal
from ..models.two_rates import SAME_DIFFERENT
from .two_by_two import (
    LimitsBy,
    dprime_limits,
    dprime_table,
    fisher_one_sided,
    fisher_two_sided,
    likelihood_ratio,
    one_of,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SameDifferentTest(Shown):
    """Result of `same_different`.

    Attributes
    ----------
    said_same_of_same, same_pairs, said_same_of_different, different_pairs : int
        As given.
    dprime : float
        0 when 'same' is no commoner for same pairs; infinite at empty cells.
    se : float
        Standard error by the delta method; infinite at d-prime 0 and where d-prime is.
    tau : float
        Difference of percepts from which on people say 'different'; infinite when every
        same pair was called same. At d-prime 0 both kinds of pair share it: that of all
        pairs together.
    limits : Interval
        Of d-prime; by profile likelihood relative to the maximum over d-prime >= 0.
    method : str
        How the limits were found.
    p_fisher : float
        One-sided: 'same' is said of same pairs more often.
    p_two_sided : float
        Fisher's, of the two-by-two table.
    p_likelihood_ratio : float
        Two-sided, of the two-by-two table, for many answers only: see `a_not_a`.
    """

    said_same_of_same: int
    same_pairs: int
    said_same_of_different: int
    different_pairs: int
    dprime: float
    se: float
    tau: float
    limits: Interval
    method: LimitsBy
    p_fisher: float
    p_two_sided: float
    p_likelihood_ratio: float

    def summary(self) -> Table:
        """d-prime with its limits, tau and tests."""
        bias = ("tau", self.tau)
        own = (self.dprime, self.se)
        return dprime_table(own, self.limits, bias, self.p_fisher, self.p_two_sided)


def same_different(
    said_same_of_same: int,
    same_pairs: int,
    said_same_of_different: int,
    different_pairs: int,
    *,
    level: float = 0.95,
    method: LimitsBy = "exact",
) -> SameDifferentTest:
    """Difference between two products from same-different answers, one pair an assessor.

    Parameters
    ----------
    said_same_of_same, same_pairs : int
        'Same' answers to pairs of like samples, and such pairs served.
    said_same_of_different, different_pairs : int
        'Same' answers to pairs of the two products, and such pairs served.
    level : float
        Two-sided confidence level of the limits.
    method : {'exact', 'mid-p', 'profile'}
        As in `a_not_a`.

    Raises
    ------
    ArgumentError
        For impossible counts or level, or another method.

    Notes
    -----
    Exact coverage of 95 % limits for the numbers of `a_not_a`, d-prime from 0 to 4, by summing
    over every table (`tests/calibration/test_coverage.py`): exact 0.953 at the least and 0.970 to
    0.994 in the mean over where people draw the line, mid-p 0.938 and 0.965 to 0.990, profile
    0.846 and 0.945 to 0.982; with 1000 + 1000 pairs profile 0.946 to 0.975. Where the answers
    are the wrong way round, so that not even d-prime 0 explains them, the limits from the exact
    test are 0 and 0.

    Differencing rule [2]: 'same' when the percepts differ by less than tau, so that
    P(same | same) = 2 Phi(tau / sqrt2) - 1 and
    P(same | different) = Phi((tau - d) / sqrt2) - Phi((-tau - d) / sqrt2).

    Examples
    --------
    >>> test = same_different(28, 40, 12, 40)
    >>> round(test.tau, 3), round(test.dprime, 3)
    (1.466, 2.188)
    """
    level = probability("level", level)
    a, n = one_of("said_same_of_same", said_same_of_same, "same_pairs", same_pairs)
    b, m = one_of(
        "said_same_of_different", said_same_of_different, "different_pairs", different_pairs
    )
    pooled = (a + b) / (n + m)
    shares = (a / n, b / m) if a * m > b * n else (pooled, pooled)
    tau, dprime = signal.same_different_estimate(*shares)
    profile = signal.same_different_profile(a, n - a, b, m - b)
    limits, used = dprime_limits(SAME_DIFFERENT, (a, n, b, m), profile, dprime, level, method)
    return SameDifferentTest(
        said_same_of_same=a,
        same_pairs=n,
        said_same_of_different=b,
        different_pairs=m,
        dprime=dprime,
        se=_standard_error(dprime, tau, (a / n, n), (b / m, m)),
        tau=tau,
        limits=limits,
        method=used,
        p_fisher=fisher_one_sided(a, n, b, m),
        p_two_sided=fisher_two_sided(a, n, b, m),
        p_likelihood_ratio=likelihood_ratio(a, n, b, m),
    )


def _standard_error(
    dprime: float, tau: float, same: tuple[float, int], different: tuple[float, int]
) -> float:
    """From the variances of both shares; tau follows from the first, d-prime from tau and both."""
    if not (0 < dprime < np.inf):
        return float("inf")
    near, far = _density((tau - dprime) / signal.ROOT), _density((tau + dprime) / signal.ROOT)
    by_dprime = (far - near) / signal.ROOT  # slope of the second share in d-prime
    by_tau = (near + far) / signal.ROOT
    tau_slope = signal.ROOT / (2 * _density(tau / signal.ROOT))  # of tau in the first share
    variances = [share * (1 - share) / number for share, number in (same, different)]
    spread = variances[0] * (by_tau * tau_slope) ** 2 + variances[1]
    return float(np.sqrt(spread) / abs(by_dprime))


def _density(x: float) -> float:
    return float(np.exp(-x * x / 2) / np.sqrt(2 * np.pi))
