"""A - not A: does the sample belong to the known reference A?

[1] After ISO 8588:2017; its scope excludes conclusions of similarity.
[2] Macmillan, N.A. and Creelman, C.D. (2005). Detection Theory, 2nd ed.: d-prime and
    criterion of the yes-no design. (From memory.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from ..base.arrays import Ints
from ..base.checks import counts, probability
from ..base.errors import ArgumentError
from ..base.results import Interval, Table
from ..base.shown import Shown
from ..models import signal
from ..models.binomial import upper_tail
from ..models.clustered import CLUSTERED_FAR, ClusteredYesNo
from ..models.two_rates import YES_NO
from .two_by_two import (
    LimitsBy,
    by_assessor_one_sided,
    dprime_limits,
    dprime_table,
    fisher_one_sided,
    fisher_two_sided,
    likelihood_ratio,
    one_of,
    ratio_p,
)

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ANotATest(Shown):
    """Result of `a_not_a`.

    Attributes
    ----------
    hits, a_served, false_alarms, not_a_served : int
        'A' said of A samples, A samples served, and the same of not-A samples.
    dprime : float
        z(hit rate) - z(false-alarm rate); keeps its sign, infinite at empty cells.
    se : float
        By the delta method; infinite where d-prime is.
    limits : Interval
        Of d-prime.
    method : str
        How the limits were found.
    criterion : float
        -(z(hit rate) + z(false-alarm rate)) / 2: positive when people are slow to say A.
    p_fisher : float
        One-sided: 'A' is said of A samples more often.
    p_two_sided : float
        Fisher's, two-sided: at or below 0.05 in 5 % of sessions without a difference at most.
    p_likelihood_ratio : float
        Two-sided, chi-square with one degree of freedom, for many answers only: of 12 + 12
        without a difference up to 7.8 % give 0.05 or less.
    """

    hits: int
    a_served: int
    false_alarms: int
    not_a_served: int
    dprime: float
    se: float
    limits: Interval
    method: LimitsBy
    criterion: float
    p_fisher: float
    p_two_sided: float
    p_likelihood_ratio: float

    def summary(self) -> Table:
        """d-prime with its limits, bias and tests."""
        bias = ("criterion", self.criterion)
        own = (self.dprime, self.se)
        return dprime_table(own, self.limits, bias, self.p_fisher, self.p_two_sided)


def a_not_a(
    hits: int,
    a_served: int,
    false_alarms: int,
    not_a_served: int,
    *,
    level: float = 0.95,
    method: LimitsBy = "exact",
) -> ANotATest:
    """Difference between A and not-A from one answer an assessor.

    Parameters
    ----------
    hits, a_served : int
        'A' answers to A samples, and A samples served.
    false_alarms, not_a_served : int
        'A' answers to not-A samples, and not-A samples served.
    level : float
        Two-sided confidence level of the limits.
    method : {'exact', 'mid-p', 'profile'}
        Limits from an exact test over every table, from its mid-p, which are shorter, or from the
        profile likelihood, which is taken beyond 2000 answers in any case.

    Returns
    -------
    ANotATest
        There is no finding of similarity: the standard excludes it [1].

    Raises
    ------
    ArgumentError
        For impossible counts or level, or another method.

    Notes
    -----
    Exact coverage of 95 % limits for 8 + 8, 12 + 12, 24 + 24 and 10 + 30 answers, d-prime from 0
    to 4 and criteria from -1.5 to 1.5, by summing over every table
    (`tests/calibration/test_coverage.py`):

    ========  ======  =====================
    method    lowest  mean over criteria
    ========  ======  =====================
    exact     0.953   0.959 to 0.996
    mid-p     0.927   0.954 to 0.994
    profile   0.835   0.918 to 0.997
    ========  ======  =====================

    With 1000 + 1000 answers the profile likelihood covers d-prime in 94.3 to 98.0 %.

    Equal-variance normal percepts with one criterion [2]. Where the same assessors judged
    both kinds of sample the answers are not independent: use `a_not_a_by_assessor`.

    Examples
    --------
    >>> test = a_not_a(32, 40, 14, 40)
    >>> round(test.dprime, 3), round(test.criterion, 3), test.p_fisher < 0.001
    (1.227, -0.228, True)
    """
    level = probability("level", level)
    h, n = one_of("hits", hits, "a_served", a_served)
    f, m = one_of("false_alarms", false_alarms, "not_a_served", not_a_served)
    zh, zf = float(ndtri(h / n)), float(ndtri(f / m))
    dprime = 0.0 if h / n == f / m else zh - zf
    inside = np.isfinite([zh, zf]).all()
    profile = signal.yes_no_profile(h, n - h, f, m - f)
    limits, used = dprime_limits(YES_NO, (h, n, f, m), profile, dprime, level, method)
    return ANotATest(
        hits=h,
        a_served=n,
        false_alarms=f,
        not_a_served=m,
        dprime=dprime,
        se=float(np.sqrt(_variance(h / n, zh, n) + _variance(f / m, zf, m))) if inside else np.inf,
        limits=limits,
        method=used,
        criterion=-(zh + zf) / 2 if inside else float("nan"),
        p_fisher=fisher_one_sided(h, n, f, m),
        p_two_sided=fisher_two_sided(h, n, f, m),
        p_likelihood_ratio=likelihood_ratio(h, n, f, m),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ClusteredANotATest(Shown):
    """Result of `a_not_a_by_assessor`.

    Attributes
    ----------
    dprime : float
        Conditional on the assessor, from the model with a criterion for each; 0 when the
        same answer was given to everything.
    dprime_marginal : float
        dprime / sqrt(1 + sd_criterion^2): comparable with `a_not_a`. Finite where only
        the spread of the criteria has no bound.
    se, se_marginal : float
        Standard errors of both, from the observed information; infinite where they do not exist.
    limits : Interval
        Of the conditional d-prime: profile likelihood with Student's quantile for the assessors
        less 1.
    sd_criterion : float
        Standard deviation of the criterion between assessors; infinite where criteria
        that differ without bound explain every answer, nan where nothing fixes it.
    p_exact : float
        One-sided: A said of A more often, given how often each assessor said A.
    p_likelihood_ratio : float
        Two-sided, of d-prime 0 in that model, chi-square: for many assessors only.
    a_only, not_a_only : int or None
        Assessors who said A of the A sample only, and of the not-A sample only; None
        unless each judged exactly one of both.
    p_mcnemar : float or None
        Exact, one-sided: A said of A more often.
    """

    assessors: int
    dprime: float
    dprime_marginal: float
    se: float
    se_marginal: float
    limits: Interval
    sd_criterion: float
    p_exact: float
    p_likelihood_ratio: float
    a_only: int | None
    not_a_only: int | None
    p_mcnemar: float | None


def a_not_a_by_assessor(answers: ArrayLike, *, level: float = 0.95) -> ClusteredANotATest:
    """A - not A where assessors answer more than once: answers of one person go together.

    Parameters
    ----------
    answers : int array, shape (assessors, 4)
        Of each assessor: hits, A samples, false alarms, not-A samples. From tidy ballots
        by `a_not_a_counts`.
    level : float

    Raises
    ------
    ArgumentError
        For another shape, impossible counts, or fewer than two assessors.

    Notes
    -----
    Probit model with a normal criterion for each assessor, integrated around the top of
    each. d-prime is infinite where the likelihood has no top: when no A sample was called
    'not A' or no other sample 'A', and when each assessor gave one answer to all samples
    of a kind and nobody was the other way round. Where each judged one sample of both
    kinds, McNemar's exact test needs no model.

    Coverage of 95 % limits, 12 assessors x 2 answers to each sample, criteria that differ by 0.8,
    d-prime 0, 1 and 2, 80 sessions of each simulated: 0.975 to 0.988, with the chi-square
    quantile 0.925 to 0.975 (`tests/calibration/test_coverage.py`).

    Examples
    --------
    >>> test = a_not_a_by_assessor([[1, 1, 0, 1]] * 12 + [[0, 1, 1, 1]] * 3 + [[1, 1, 1, 1]] * 5)
    >>> test.a_only, test.not_a_only, round(test.p_mcnemar, 4)
    (12, 3, 0.0176)
    """
    level = probability("level", level)
    table = counts("answers", answers)
    if table.ndim != 2 or table.shape[1] != 4 or table.shape[0] < 2:
        raise ArgumentError(
            "answers must have a row for each of two or more assessors: hits, A samples, "
            f"false alarms, not-A samples; got the shape {table.shape}."
        )
    if (table[:, 0] > table[:, 1]).any() or (table[:, 2] > table[:, 3]).any():
        raise ArgumentError("answers 'A' must not exceed the samples served.")
    if not (table[:, 1].sum() and table[:, 3].sum()):
        raise ArgumentError("samples of both kinds have to be served.")
    cells = np.stack(
        [table[:, 0], table[:, 1] - table[:, 0], table[:, 2], table[:, 3] - table[:, 2]], axis=1
    ).astype(float)
    model = ClusteredYesNo(cells)
    dprime, marginal, sd, top = model.infinite() or model.best()
    se, se_marginal = (
        _errors(model) if np.isfinite(dprime) and np.isfinite(sd) else (np.inf, np.inf)
    )
    fall = float(stdtrit(table.shape[0] - 1, (1 + level) / 2)) ** 2 / 2
    silent = dprime == 0 and not np.isfinite(sd)  # the same answer to both kinds by everybody
    low, high = (
        (-np.inf, np.inf)
        if silent
        else signal.profile_limits(
            model.profile, dprime, level, -CLUSTERED_FAR, CLUSTERED_FAR, top=top, fall=fall
        )
    )
    both = a_only = not_a_only = None
    if (table[:, [1, 3]] == 1).all():
        a_only = int(((table[:, 0] == 1) & (table[:, 2] == 0)).sum())
        not_a_only = int(((table[:, 0] == 0) & (table[:, 2] == 1)).sum())
        discordant = a_only + not_a_only
        both = float(upper_tail(a_only, discordant, 0.5)) if discordant else 1.0
    return ClusteredANotATest(
        assessors=int(table.shape[0]),
        dprime=dprime,
        dprime_marginal=marginal,
        se=se,
        se_marginal=se_marginal,
        limits=Interval(low=low, high=high, level=level),
        sd_criterion=sd,
        p_exact=by_assessor_one_sided(table),
        p_likelihood_ratio=1.0 if silent else ratio_p(top, model.profile(0.0)),
        a_only=a_only,
        not_a_only=not_a_only,
        p_mcnemar=both,
    )


def _errors(model: ClusteredYesNo) -> tuple[float, float]:
    """Standard errors of the conditional and of the marginal d-prime."""
    dprime, centre, sd, _ = model.fit()
    covariance = model.covariance(dprime, centre, sd)
    root = np.sqrt(1 + sd * sd)
    slopes = np.array([1 / root, 0.0, -dprime * sd / root**3])
    variances = covariance[0, 0], float(slopes @ covariance @ slopes)
    own, marginal = (float(np.sqrt(v)) if v > 0 else float("inf") for v in variances)
    return own, marginal


def a_not_a_counts(ballots: pd.DataFrame) -> Ints:
    """Counts of each assessor from tidy ballots.

    Parameters
    ----------
    ballots : DataFrame
        One row an answer: `assessor`, `sample` ('A' or 'B') and `answer` ('A' or 'not A').
        Rows without an answer are left out.

    Returns
    -------
    int array, shape (assessors, 4)
        Hits, A samples, false alarms, not-A samples, assessors in sorted order. Summed
        over rows they are the arguments of `a_not_a`.

    Raises
    ------
    ArgumentError
        For a missing column or another sample or answer.
    """
    for name in ("assessor", "sample", "answer"):
        if name not in ballots:
            raise ArgumentError(f"ballots must have a column {name!r}.")
    kept = ballots.loc[ballots["answer"].notna() & (ballots["answer"] != "")]
    if strange := sorted(set(kept["sample"]) - {"A", "B"}):
        raise ArgumentError(f"sample must be 'A' or 'B'; got {strange[0]!r}.")
    if strange := sorted(set(kept["answer"]) - {"A", "not A"}):
        raise ArgumentError(f"answer must be 'A' or 'not A'; got {strange[0]!r}.")
    yes, is_a = kept["answer"] == "A", kept["sample"] == "A"
    columns = {"hits": yes & is_a, "a": is_a, "alarms": yes & ~is_a, "not_a": ~is_a}
    return kept.assign(**columns).groupby("assessor")[list(columns)].sum().to_numpy(int)


def _variance(rate: float, z: float, n: int) -> float:
    return float(rate * (1 - rate) / (n * np.exp(-z * z) / (2 * np.pi)))
