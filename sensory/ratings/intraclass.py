"""Intraclass correlations of cell means, each with its 95 % limits.

[1] McGraw, K.O. and Wong, S.P. (1996). Psychological Methods 1, 30-46: tables 4 and 7. (From
    memory; pingouin gives the same numbers in the tests.)

Why so
------
Each closing of a profile and each page of months asks for them: pingouin would load plotting
libraries, a second of a core, and fit a general analysis of variance to each attribute.
"""

from __future__ import annotations

import warnings
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.special import fdtrc, fdtri

from ..base.arrays import Floats

KINDS = ("ICC(1,1)", "ICC(A,1)", "ICC(C,1)", "ICC(1,k)", "ICC(A,k)", "ICC(C,k)")
_TAIL = 0.975
_DECIMALS = 2  # of the limits
_NOTHING = 1e-24  # of the mean square of samples and assessors


class _Squares(NamedTuple):
    """Mean squares of a table of samples by assessors."""

    samples: int
    assessors: int
    sample: float
    assessor: float
    left: float

    @property
    def rest(self) -> int:
        return (self.samples - 1) * (self.assessors - 1)

    @property
    def within(self) -> float:
        """What lies within a sample, level of the assessors and the rest together."""
        free = self.assessors - 1
        return (self.assessor * free + self.left * self.rest) / (free + self.rest)


def intraclass_table(means: Floats) -> pd.DataFrame:
    """Intraclass correlations of a table without gaps.

    Parameters
    ----------
    means : float array, (samples, assessors)

    Returns
    -------
    DataFrame
        ``kind estimate statistic df df_error p low high``, a row of each of `KINDS`: one way,
        absolute agreement and consistency [1], of one assessor and of the mean of all; limits of
        95 %, rounded to two decimals.

    Examples
    --------
    >>> table = intraclass_table(np.array([[2.0, 3, 2], [5, 6, 7], [8, 9, 9], [4, 4, 5]]))
    >>> table.loc[:2, ["kind", "estimate", "low", "high"]].round(3)
           kind  estimate   low  high
    0  ICC(1,1)     0.933  0.70   1.0
    1  ICC(A,1)     0.934  0.65   1.0
    2  ICC(C,1)     0.959  0.76   1.0
    """
    of = _squares(means)
    n, k, df = of.samples, of.assessors, of.samples - 1
    within, more = of.within, (of.assessor - of.left) / n
    with np.errstate(all="ignore"):
        ms = np.array([of.sample, of.left, of.assessor, within])
        sample, left, _, within = ms
        agreed = (sample - left) / (sample + (k - 1) * left + k * more)
        icc = [
            (sample - within) / (sample + (k - 1) * within),
            agreed,
            (sample - left) / (sample + (k - 1) * left),
            (sample - within) / sample,
            (sample - left) / (sample + more),
            (sample - left) / sample,
        ]
        f, free = [sample / within, sample / left], [n * (k - 1), of.rest]
        low, high = _absolute(of, agreed)
        whole = [each * k / (1 + each * (k - 1)) for each in (low, high)]
        one_way, steady = (_ratios(f[place], df, free[place]) for place in (0, 1))
        single = [(ends - 1) / (ends + (k - 1)) for ends in (one_way, steady)]
        limits = np.array(
            [single[0], (low, high), single[1], 1 - 1 / one_way, whole, 1 - 1 / steady]
        ).round(_DECIMALS)
    ratios, freedom = np.array([f[0], f[1], f[1]] * 2), np.array([free[0], free[1], free[1]] * 2)
    return pd.DataFrame(
        {
            "kind": KINDS,
            "estimate": icc,
            "statistic": ratios,
            "df": df,
            "df_error": freedom,
            "p": fdtrc(df, freedom, ratios),
            "low": limits[:, 0],
            "high": limits[:, 1],
        }
    )


def by_pingouin(means: Floats) -> pd.DataFrame:
    """The same table as pingouin gives it."""
    import pingouin  # brings plotting libraries

    sample, assessor = np.indices(means.shape)
    columns = {"sample": sample.ravel(), "assessor": assessor.ravel(), "score": means.ravel()}
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore", DeprecationWarning)
        warnings.simplefilter("ignore", FutureWarning)
        return pingouin.intraclass_corr(
            pd.DataFrame(columns), targets="sample", raters="assessor", ratings="score"
        )


def _squares(means: Floats) -> _Squares:
    samples, assessors = means.shape
    grand = means.mean()
    level, person = means.mean(1) - grand, means.mean(0) - grand
    left = means - grand - level[:, None] - person
    sample = assessors * float(level @ level) / (samples - 1)
    assessor = samples * float(person @ person) / (assessors - 1)
    rest = float((left**2).sum()) / (samples - 1) / (assessors - 1)
    if rest <= _NOTHING * (sample + assessor):
        rest = 0.0
    return _Squares(samples, assessors, sample, assessor, rest)


def _ratios(f: float, df: int, free: int) -> Floats:
    """Lower and upper limit of a ratio of variances that is estimated as `f`."""
    return np.array([f / fdtri(df, free, _TAIL), f * fdtri(free, df, _TAIL)])


def _absolute(of: _Squares, agreed: float) -> tuple[float, float]:
    """Limits of absolute agreement, with Satterthwaite's degrees of freedom [1]."""
    n, k, sample, person, left = of.samples, of.assessors, of.sample, of.assessor, of.left
    ratio = np.float64(person) / left
    rest = n * (1 + (k - 1) * agreed) - k * agreed
    v = of.rest * (k * agreed * ratio + rest) ** 2
    v /= (n - 1) * k**2 * agreed**2 * ratio**2 + rest**2
    upper, lower = fdtri(n - 1, v, _TAIL), fdtri(v, n - 1, _TAIL)
    between = k * person + (k * n - k - n) * left
    return (
        n * (sample - upper * left) / (upper * between + n * sample),
        n * (lower * sample - left) / (between + n * lower * sample),
    )
