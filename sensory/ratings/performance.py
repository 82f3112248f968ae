"""Numbers on each assessor and on the panel: discrimination, repeatability, agreement.

Arrays are (assessors, samples, attributes) or (assessors, attributes); every attribute
is computed at once.

[1] After ISO 11132:2021, performance of a panel: its scope names what is looked at; the text was
    not checked, and no formula is taken from it.
[2] McGraw, K.O. and Wong, S.P. (1996). Psychological Methods 1, 30-46: intraclass
    correlations ICC(A,1), ICC(C,1), ICC(C,k).
[3] Kendall, M.G. and Babington Smith, B. (1939). Annals of Mathematical Statistics 10,
    275-287: coefficient of concordance; with ties by Friedman's corrected statistic.
[4] After ISO 5725-2:2019, consistency between laboratories (h), here with the one left out of the
    scatter: t with others - 1 degrees of freedom. (From memory.)
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, fdtrc, nctdtr, ndtri, stdtr, stdtrit

from ..base.arrays import Bools, Floats
from ..models.roots import falling_roots
from ..models.studentized import along_df
from .contrasts import pair_weights
from .fitting import FittedPanel
from .tables import RatingTable

DECIMALS = 10  # of cell means before they are ranked: floating noise breaks ties
_NOTHING = 1e-20  # of the total sum of squares
_SMOOTH_DF = 4.0  # from here on noncentralities are interpolated
_MOST_SWEEPS, _SETTLED = 500, 1e-12  # of the levels; complete cells need two sweeps


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """Scores of each assessor and sample, brought down to what the indicators need.

    Attributes
    ----------
    mean : float array, (assessors, samples, attributes)
        NaN where there is no score; rounded to 10 decimals.
    number : float array, (assessors, samples, attributes)
        Scores behind each mean.
    within : float array, (assessors, attributes)
        Sum of squares of the scores about the means of their cells.
    free : float array, (assessors, attributes)
        Degrees of freedom of `within`; 0 without replicates.
    """

    mean: Floats
    number: Floats
    within: Floats
    free: Floats


def cells(table: RatingTable, session: int | None = None) -> Cells:
    """Cell means and the scatter of replicates about them, of all sessions or of one place."""
    grid = table.grid()
    assessors, samples = len(table.assessors), len(table.samples)
    width = grid.scores.shape[1]
    there = np.isfinite(grid.scores)
    if session is not None:
        there &= (grid.session == session)[:, None]
    middle = np.nanmean(grid.scores, 0)
    scores = np.where(there, grid.scores - middle, 0.0)
    flat = ((grid.assessor * samples + grid.sample)[:, None] * width + np.arange(width)).ravel()

    def summed(values: NDArray[np.generic]) -> Floats:
        total = np.bincount(flat, values.ravel().astype(float), assessors * samples * width)
        return np.asarray(total.reshape(assessors, samples, width), float)

    number, total = summed(there), summed(scores)
    with np.errstate(invalid="ignore"):
        mean = total / number
    left = np.where(there, scores - mean[grid.assessor, grid.sample], 0.0)
    return Cells(
        mean=np.round(mean + middle, DECIMALS),
        number=number,
        within=summed(left**2).sum(1),
        free=(number - (number > 0)).sum(1),
    )


def discrimination(of: Cells) -> dict[str, Floats]:
    """One-way F of sample over the assessor's own replicates: ``statistic df df_error p``.

    NaN without replicates. Scores that never vary tell nothing apart: F 0, p 1; samples
    that differ and repeats that never do: F infinite, p 0.
    """
    centre = np.nansum(of.mean * of.number, 1) / np.maximum(of.number.sum(1), 1)
    between = np.nansum(of.number * (of.mean - centre[:, None]) ** 2, 1)
    df = (of.number > 0).sum(1) - 1.0
    total = between + of.within
    exact = of.within <= _NOTHING * np.maximum(total, 1e-300)
    alike = between <= _NOTHING * np.nanmax(np.abs(of.mean), 1, initial=1e-300) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = (between / df) / (of.within / of.free)
        statistic = np.where(exact, np.where(alike, 0.0, np.inf), statistic)
        p = np.where(np.isinf(statistic), 0.0, fdtrc(df, of.free, statistic))
    tested = (of.free > 0) & (df > 0)
    return {
        "statistic": np.where(tested, statistic, np.nan),
        "df": np.where(tested, df, np.nan),
        "df_error": np.where(tested, of.free, np.nan),
        "p": np.where(tested, p, np.nan),
    }


def repeatability(of: Cells) -> dict[str, Floats]:
    """``sd`` of the assessor's replicates, and its ``ratio`` to the others' with ``p``.

    `p` is one-sided: F of the assessor's variance over the pooled variance of the others.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = of.within / of.free
        free = of.free.sum(0) - of.free
        others = (of.within.sum(0) - of.within) / free
        ratio = np.where((variance > 0) | (others > 0), variance / others, 1.0)
        p = np.where(np.isinf(ratio), 0.0, fdtrc(of.free, free, ratio))
    told = (of.free > 0) & (free > 0)
    return {
        "sd": np.sqrt(np.where(of.free > 0, variance, np.nan)),
        "sd_df": of.free,
        "sd_ratio": np.sqrt(np.where(told, ratio, np.nan)),
        "sd_p": np.where(told, p, np.nan),
    }


def agreement(of: Cells, alpha: float) -> dict[str, Floats]:
    """The assessor's cell means against the mean of the other assessors.

    Returns
    -------
    dict of float array, (assessors, attributes)
        ``samples`` compared; correlation ``r`` with its one-sided ``r_p`` (of no agreement,
        in the direction of its sign), rank correlation ``rank_r``; ``slope`` with
        ``slope_low slope_high`` at 1 - alpha and ``slope_p`` of slope 1; ``bias``, mean
        of own less others, with two-sided ``bias_p`` over samples; ``bias_sd``, the bias in
        standard deviations between the means of the others, with two-sided ``level_p`` of
        such a distance between one assessor and the others [4]; ``throughout``, 1 where own
        is on the same side of the others for every sample.

    Notes
    -----
    The assessor is left out of the mean that he or she is compared with. Where a cell is
    empty the mean is of those who scored the sample. Fewer than three samples, or scores that
    do not vary, give NaN.
    """
    own = of.mean
    here = np.isfinite(own)
    number = here.sum(0)
    with np.errstate(divide="ignore", invalid="ignore"):
        others = (np.nansum(own, 0) - own) / (number - 1)
    usable = here & (number > 1)[None]
    own, others = np.where(usable, own, np.nan), np.where(usable, others, np.nan)
    count = usable.sum(1).astype(float)
    r, slope, slope_se = regression(own, others, count)
    rank_r, _, _ = regression(
        _ranks(own), _ranks(np.asarray(np.round(others, DECIMALS), float)), count
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        t_r = np.abs(r) * np.sqrt((count - 2) / np.maximum(1 - r**2, 0.0))
        half = slope_se * stdtrit(count - 2, 1 - alpha / 2)
        slope_p = 2 * stdtr(count - 2, -np.abs(slope - 1) / slope_se)
    return {
        "samples": count,
        "r": r,
        "r_p": stdtr(count - 2, -t_r),
        "rank_r": rank_r,
        "slope": slope,
        "slope_low": slope - half,
        "slope_high": slope + half,
        "slope_p": slope_p,
        **_bias(own - others, of.mean, count),
    }


def _bias(apart: Floats, mean: Floats, count: Floats) -> dict[str, Floats]:
    with np.errstate(divide="ignore", invalid="ignore"):
        bias = np.nansum(apart, 1) / count
        spread = np.nansum((apart - bias[:, None]) ** 2, 1) / (count - 1)
        t = np.abs(bias) / np.sqrt(spread / count)
        level = np.nansum(mean, 1) / np.isfinite(mean).sum(1)
        between, many = _spread_of_others(level)
        side = np.nansum(np.sign(apart), 1)
        return {
            "bias": bias,
            "bias_p": 2 * stdtr(count - 1, -t),
            "bias_sd": bias / between,
            "level_p": 2 * stdtr(many - 1, -np.abs(bias / between) / np.sqrt(1 + 1 / many)),
            "throughout": (np.abs(side) == count).astype(float),
        }


def _spread_of_others(level: Floats) -> tuple[Floats, Floats]:
    """Standard deviation between the means of the other assessors, and how many they are."""
    there = np.isfinite(level)
    middle = np.nansum(level, 0) / there.sum(0)
    part = np.where(there, level - middle, 0.0)
    number = there.sum(0) - there
    total, square = part.sum(0) - part, (part**2).sum(0) - part**2
    spread = np.sqrt(np.maximum(square - total**2 / number, 0.0) / (number - 1))
    return np.asarray(spread, float), np.asarray(number, float)


def regression(y: Floats, x: Floats, count: Floats) -> tuple[Floats, Floats, Floats]:
    """Correlation, slope of y on x and its standard error, along the second axis.

    Both NaN in the same places; NaN where there are fewer than three points.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        dx = x - (np.nansum(x, 1) / count)[:, None]
        dy = y - (np.nansum(y, 1) / count)[:, None]
        sxx, syy = np.nansum(dx**2, 1), np.nansum(dy**2, 1)
        sxy = np.nansum(dx * dy, 1)
        flat_x = sxx <= 1e-18 * np.nansum(x**2, 1)
        flat_y = syy <= 1e-18 * np.nansum(y**2, 1)
        slope = np.where(flat_x | (count < 3), np.nan, sxy / sxx)
        r = np.where(flat_y, np.nan, np.clip(slope * np.sqrt(sxx / syy), -1.0, 1.0))
        left = np.maximum(syy - slope * sxy, 0.0)
        return r, slope, np.sqrt(left / (count - 2) / sxx)


def _ranks(values: Floats) -> Floats:
    above = (values[:, :, None] > values[:, None]).sum(2)
    same = (values[:, :, None] == values[:, None]).sum(2)
    return np.where(np.isfinite(values), above + (same + 1) / 2, np.nan)


def interaction_shares(of: Cells) -> Floats:
    """Share of each assessor in the interaction, (assessors, attributes); 1 together.

    Squares of what is left of the cell means when level of assessor and of sample are taken off,
    least squares with equal weights of the cells that are there. NaN where nothing is left. One
    assessor of n can have (n - 1) / n at most, since the others' sample means hold part of it.
    """
    left, size = of.mean, np.nanmax(np.abs(of.mean), (0, 1), initial=1e-300)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # an assessor without any score
        for _ in range(_MOST_SWEEPS):
            before, left = left, left - np.nanmean(left, 1, keepdims=True)
            left = left - np.nanmean(left, 0)
            if np.nanmax(np.abs(left - before) / size) < _SETTLED:
                break
    square = np.nansum(left**2, 1)
    whole = square.sum(0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(whole > _NOTHING * size**2, square / whole, np.nan)


def intraclass(of: Cells) -> dict[str, Floats]:
    """Intraclass correlations of the cell means [2]: ``icc icc_consistency icc_panel``.

    ICC(A,1), one assessor with differences in level counted as disagreement; ICC(C,1),
    without; ICC(C,k), of the mean of the whole panel, which is 1 - 1/F of sample. NaN where
    a cell is empty.
    """
    mean = of.mean
    assessors, samples, _ = mean.shape
    level, person = mean.mean(0), mean.mean(1)
    grand = level.mean(0)
    left = mean - level[None] - person[:, None] + grand
    ms_sample = assessors * ((level - grand) ** 2).sum(0) / (samples - 1)
    ms_person = samples * ((person - grand) ** 2).sum(0) / (assessors - 1)
    ms_left = (left**2).sum((0, 1)) / (samples - 1) / (assessors - 1)
    steady = ms_sample + (assessors - 1) * ms_left
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = ms_sample - ms_left
        return {
            "icc": apart / (steady + assessors * (ms_person - ms_left) / samples),
            "icc_consistency": apart / steady,
            "icc_panel": apart / ms_sample,
        }


def concordance(of: Cells) -> dict[str, Floats]:
    """Kendall's W of the ranked cell means, ties corrected [3]: ``kendall_w kendall_p``.

    `kendall_p` from chi-square = assessors (samples - 1) W. NaN where a cell is empty.
    """
    assessors, samples, _ = of.mean.shape
    ranks = _ranks(of.mean)
    tied = (of.mean[:, :, None] == of.mean[:, None]).sum(2)
    ties = (tied**2 - 1.0).sum((0, 1))  # equals the sum of t^3 - t over groups of ties
    spread = ((ranks.sum(0) - assessors * (samples + 1) / 2) ** 2).sum(0)
    full = not_empty(of)
    with np.errstate(divide="ignore", invalid="ignore"):
        most = assessors**2 * (samples**3 - samples) - assessors * ties
        w = np.where(full, 12 * spread / most, np.nan)
    return {"kendall_w": w, "kendall_p": chdtrc(samples - 1, assessors * (samples - 1) * w)}


def not_empty(of: Cells) -> Bools:
    """Attributes for which every assessor scored every sample."""
    return np.asarray((of.number > 0).all((0, 1)))


def smallest_difference(panel: FittedPanel, alpha: float, power: float) -> Floats:
    """True difference between two samples that a two-sided t-test finds with such power.

    Noncentral t at the standard error and degrees of freedom of the model, which for a
    complete panel are those of the interaction: n = assessors x replicates scores a mean.
    The scatter of this session is taken as true. One comparison; with several samples
    against the reference Dunnett needs more. With gaps, for the pair that is known worst.
    """
    _, weights = pair_weights(len(panel.table.samples))
    if all(group.complete for group in panel.groups):
        weights = weights[:1]
    _, se, df = panel.contrasts(weights)
    return (se * noncentrality(df.ravel(), alpha, power).reshape(se.shape)).max(1)


def noncentrality(df: Floats, alpha: float, power: float) -> Floats:
    """Noncentrality of t at which a two-sided test reaches the power.

    Where many degrees of freedom are asked for it is interpolated between few (`along_df`);
    from 4 on it is so smooth in 1 / df that 1e-9 of it is kept.
    """
    sizes = np.empty(len(df))
    few = df < _SMOOTH_DF
    sizes[few] = _noncentrality(df[few], alpha, power)
    sizes[~few] = along_df(lambda some: _noncentrality(some, alpha, power), df[~few])
    return sizes


def _noncentrality(df: Floats, alpha: float, power: float) -> Floats:
    """The same at each df; the normal quantile of the power is nearly straight in it."""
    critical, wanted = -stdtrit(df, alpha / 2), ndtri(1 - power)

    def short(place: Floats) -> Floats:
        # The other tail is below 1e-8 from 5 on, and NaN further out in scipy 1.17.
        other = np.where(place < 5, nctdtr(df, np.minimum(place, 5.0), -critical), 0.0)
        missed = nctdtr(df, place, critical) - other
        return np.asarray(ndtri(np.fmax(missed, 1e-300)) - wanted)  # NaN: nothing is missed

    low: Floats = np.zeros(len(df))
    high: Floats = np.asarray(critical + 40.0, float)
    while (far := short(high) > 0).any():
        high = np.where(far, 2 * high, high)
    return falling_roots(short, low, high)
