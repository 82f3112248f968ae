"""Graded answers by assessors who answer more than once.

Why so: two numbers are called d-prime where people differ. The conditional one is the distance
for an assessor, in standard deviations of what that assessor perceives; the marginal one is the
distance over all answers, in which the differences between assessors count as scatter too. So
the marginal one is nearer to 0, and only it is comparable with a test in which each assessor
answers once.

[1] Agresti, A. (2010). Analysis of Ordinal Categorical Data, 2nd ed., chapter 10: random
    effects in cumulative probit models. (From memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from ..base.arrays import Floats
from ..base.checks import counts, probability
from ..base.errors import ArgumentError
from ..base.results import Interval, Table
from ..base.shown import Shown
from ..models.graded import MOST_SD, Fitted, GradedByAssessor
from ..models.signal import FAR, GradedLikelihood, profile_limits
from .two_by_two import ratio_p


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GradedProductByAssessor:
    """One product against the reference; see `sureness_by_assessor`.

    Attributes
    ----------
    dprime, se : float
        Conditional: within an assessor, in standard deviations of the reference's percepts; and
        its standard error. Infinite where the likelihood has no top.
    limits : Interval
        Of the conditional d-prime.
    dprime_marginal, se_marginal : float
        dprime / sqrt(1 + sd_assessor^2): over assessors, comparable with `sureness_test`.
    sd : float
        Standard deviation of the product's percepts; 1 unless `unequal`.
    p_likelihood_ratio : float
        Two-sided, of d-prime 0 in this model, chi-square: for many assessors only.
    """

    dprime: float
    se: float
    limits: Interval
    dprime_marginal: float
    se_marginal: float
    sd: float
    p_likelihood_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SurenessByAssessor(Shown):
    """Result of `sureness_by_assessor`.

    Attributes
    ----------
    assessors, grades : int
        People, and grades in use.
    thresholds : tuple of float
        Between neighbouring grades for an assessor in the middle, the reference at 0.
    sd_assessor : float
        How much the thresholds of assessors differ, standard deviation; 0 where nobody answered
        more than once, infinite where differences without bound explain every answer.
    products : tuple of GradedProductByAssessor
        In the order of the rows after the first.
    """

    assessors: int
    grades: int
    thresholds: tuple[float, ...]
    sd_assessor: float
    products: tuple[GradedProductByAssessor, ...]

    def summary(self) -> Table:
        """One row a product."""
        return Table(
            columns=(
                "product",
                "d-prime, within an assessor",
                "se",
                "low",
                "high",
                "level",
                "d-prime, over assessors",
                "se, over assessors",
                "sd of percepts",
                "p, likelihood ratio",
            ),
            rows=tuple(
                (
                    number,
                    product.dprime,
                    product.se,
                    *product.limits.cells,
                    product.dprime_marginal,
                    product.se_marginal,
                    product.sd,
                    product.p_likelihood_ratio,
                )
                for number, product in enumerate(self.products, start=1)
            ),
        )


def sureness_by_assessor(
    answers: ArrayLike, *, level: float = 0.95, unequal: bool = False
) -> SurenessByAssessor:
    """Graded answers where answers of one person go together.

    Parameters
    ----------
    answers : int array, shape (assessors, 1 + products, grades)
        Of each assessor a table as in `sureness_test`: answers by grade, row 0 the reference. A
        row may be empty where the assessor had none of that sample.
    level : float
        Two-sided confidence level.
    unequal : bool
        Whether percepts of each product scatter by a standard deviation of their own, which takes
        three grades or more; else as those of the reference.

    Raises
    ------
    ArgumentError
        For another shape, impossible counts, fewer than two assessors, a sample or all but one
        grade without answers, or `unequal` with two grades.

    Notes
    -----
    Cumulative probit model with common thresholds and a normal move of them for each assessor,
    integrated out by adaptive quadrature [1]; maximum likelihood. With two grades it is
    `a_not_a_by_assessor`, whose criterion is the threshold. Limits are those of the profile
    likelihood with Student's quantile for the assessors less 1.

    Coverage of 95 % limits of d-prime 0 to 2 with 4 grades and thresholds that differ between
    assessors by 0.4 and 0.8, 8 assessors x 3 and 12 x 2 answers to each sample, 120 sessions of
    each simulated (`tests/calibration/test_coverage.py`): 0.958 to 1; with the chi-square
    quantile 0.908 to 0.950.

    Examples
    --------
    >>> person = [[[2, 1, 0], [0, 2, 1]], [[1, 2, 0], [1, 0, 2]], [[3, 0, 0], [1, 2, 0]]]
    >>> test = sureness_by_assessor(person * 4)
    >>> round(test.products[0].dprime, 2), round(test.products[0].dprime_marginal, 2)
    (1.45, 1.38)
    """
    level = probability("level", level)
    given = _checked(answers)
    kept = given[:, :, given.sum(axis=(0, 1)) > 0]
    if kept.shape[2] < 2:
        raise ArgumentError("all answers have the same grade: nothing can be told apart.")
    if unequal and kept.shape[2] < 3:
        raise ArgumentError("unequal spreads need answers in three grades or more.")
    moves = bool((kept.sum(axis=(1, 2)) > 1).any())
    model = GradedByAssessor(kept, moves=moves, unequal=unequal)
    place = model.fit()
    fitted, covariance = model.fitted(place), model.covariance(place)
    places, _ = GradedLikelihood(kept.sum(axis=0)).places()
    return SurenessByAssessor(
        assessors=int(kept.shape[0]),
        grades=int(kept.shape[2]),
        thresholds=tuple(float(value) for value in fitted.thresholds),
        sd_assessor=_unbounded(fitted.sd_assessor, fitted),
        products=tuple(
            _product(model, place, covariance, k, level, int(places[k] - places[0]))
            for k in range(1, kept.shape[1])
        ),
    )


def _checked(answers: ArrayLike) -> Floats:
    given = counts("answers", answers).astype(float)
    if given.ndim != 3 or given.shape[0] < 2 or given.shape[1] < 2:
        raise ArgumentError(
            "answers must have a table for each of two or more assessors, with a row for the "
            f"reference and for each product; got the shape {given.shape}."
        )
    if (given.sum(axis=(0, 2)) == 0).any():
        raise ArgumentError("the reference and every product need at least one answer.")
    return given[given.sum(axis=(1, 2)) > 0]


def _unbounded(value: float, fitted: Fitted) -> float:
    """Infinite, with its sign, where the criteria of assessors differ without bound."""
    if fitted.sd_assessor < 0.99 * MOST_SD or value == 0:
        return value
    return float(np.copysign(np.inf, value))


def _product(
    model: GradedByAssessor, place: Floats, covariance: Floats, k: int, level: float, apart: int
) -> GradedProductByAssessor:
    """`apart` is not 0 where the answers drive the product and the reference apart for ever."""
    fitted, entry = model.fitted(place), model.entry(k)
    freedom = max(int(model.times.sum()) - 1, 1)
    fall = float(stdtrit(freedom, (1 + level) / 2)) ** 2 / 2
    shift, wide = float(fitted.shifts[k]), fitted.sd_assessor
    root = float(np.sqrt(1 + wide * wide))
    dprime = float(np.copysign(np.inf, apart)) if apart else _unbounded(shift, fitted)
    profile = model.profile(k, place)
    low, high = profile_limits(profile, dprime, level, -2 * FAR, 2 * FAR, top=fitted.top, fall=fall)
    slopes = np.zeros(place.size)  # of the marginal d-prime
    slopes[entry], slopes[-1] = 1 / root, -shift * wide / root**3
    variances = covariance[entry, entry], float(slopes @ covariance @ slopes)
    se, se_marginal = (
        float(np.sqrt(value)) if np.isfinite(dprime) and value > 0 else float("inf")
        for value in variances
    )
    return GradedProductByAssessor(
        dprime=dprime,
        se=se,
        limits=Interval(low=low, high=high, level=level),
        dprime_marginal=dprime if apart else shift / root,
        se_marginal=se_marginal,
        sd=float(fitted.sds[k]),
        p_likelihood_ratio=ratio_p(fitted.top, profile(0.0)),
    )
