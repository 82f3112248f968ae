"""Mean squares of a complete balanced panel: the closed form of the mixed model.

Every assessor scores every sample equally often, and equally often on every occasion.
The covariance of the sample means is then a sum of mean squares, each known with its
degrees of freedom (Satterthwaite 1946, Biometrics Bulletin 2, 110-114).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..base.arrays import Floats
from .mixed import ERROR, MixedFit

SAMPLE, ASSESSOR, BOTH, OCCASION = "sample", "assessor", "assessor x sample", "occasion"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeanSquares:
    """Analysis of variance of a complete balanced panel.

    Attributes
    ----------
    sources : tuple of str
        ``sample``, ``assessor``, ``assessor x sample`` and ``occasion`` where they can be
        told from error, then ``error``.
    ss, df : float array, (responses, sources)
        `df` (sources,) where it is the same for all responses.
    fit : MixedFit
        Sample against interaction, whatever the sizes of the mean squares.
    cells : float array, (responses, assessors, samples)
        Means of the scores of each assessor for each sample, less a constant; NaN without any.
    each : float array, (responses,), or float
        Scores in a cell.
    """

    sources: tuple[str, ...]
    ss: Floats
    df: Floats
    fit: MixedFit
    cells: Floats
    each: Floats | float

    @property
    def ms(self) -> Floats:
        return self.ss / self.df


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Noise:
    """How well means and effects are known by the cells, for each response or for all.

    Attributes
    ----------
    cells : float array, (responses, samples, samples) or (samples, samples)
        Covariance of the sample means over the variance of a cell mean, without assessors.
    shared : float array or float
        The part of it that the assessors' mean square stands for.
    assessor : float array or float
        Variance of an assessor's effect over that of a cell mean.
    occasion : float array or float
        Variance of an occasion's effect over that of error.
    occasions : int
    each : float array or float
        Scores in a cell.
    """

    cells: Floats
    shared: Floats | float
    assessor: Floats | float
    occasion: Floats | float
    occasions: int
    each: Floats | float


def mean_squares(scores: Floats) -> MeanSquares:
    """Sums of squares and the fit that goes with them.

    Parameters
    ----------
    scores : float array, (assessors, samples, occasions, repeats, responses)
        Complete. With one occasion there is no term for it; with one score a sample in
        all, the interaction is the error.

    Notes
    -----
    Samples are tested against the interaction even where this lies below error. Variances
    below zero are reported as zero; standard errors take the mean squares as they are.
    Where all variances are positive this equals restricted maximum likelihood.

    Examples
    --------
    >>> scores = np.array([[1.0, 3.0, 2.0], [2.0, 6.0, 4.0]])[:, :, None, None, None]
    >>> table = mean_squares(scores)
    >>> table.sources, table.ss.round(2), table.df
    (('sample', 'assessor', 'error'), array([[9., 6., 1.]]), array([2., 1., 2.]))
    """
    assessors, samples, occasions, repeats, _ = scores.shape
    each = occasions * repeats
    total = assessors * samples * each
    middle = scores - scores.mean((0, 1, 2, 3))
    cell = middle.mean((2, 3))
    sample, assessor, occasion = (
        middle.mean((0, 2, 3)),
        middle.mean((1, 2, 3)),
        middle.mean((0, 1, 3)),
    )
    both = cell - assessor[:, None] - sample[None]
    within = middle - cell[:, :, None, None]
    if occasions > 1:
        within = within - occasion[None, None, :, None]
    rows = {
        SAMPLE: ((sample**2).sum(0) * total / samples, samples - 1),
        ASSESSOR: ((assessor**2).sum(0) * total / assessors, assessors - 1),
        BOTH: ((both**2).sum((0, 1)) * each, (assessors - 1) * (samples - 1)),
        OCCASION: ((occasion**2).sum(0) * total / occasions, occasions - 1),
    }
    free = total - assessors * samples - (occasions - 1)
    rows[ERROR] = ((within**2).sum((0, 1, 2, 3)), free)
    if not free:
        rows[ERROR] = rows.pop(BOTH)
    rows = {source: row for source, row in rows.items() if row[1]}
    ss = np.stack([row[0] for row in rows.values()], 1)
    df = np.array([row[1] for row in rows.values()], float)
    sources = tuple(rows)
    fit = fit_by_squares(
        scores.mean((0, 2, 3)).T,
        sources,
        ss / df,
        df,
        Noise(
            cells=np.eye(samples) / assessors,
            shared=1 / (assessors * samples),
            assessor=1 / samples,
            occasion=occasions / total,
            occasions=occasions,
            each=each,
        ),
    )
    cells = np.moveaxis(cell, 2, 0)
    return MeanSquares(sources=sources, ss=ss, df=df, fit=fit, cells=cells, each=float(each))


def fit_by_squares(
    means: Floats, sources: tuple[str, ...], ms: Floats, df: Floats, noise: Noise
) -> MixedFit:
    """Covariance of the means as a sum of mean squares, and variances by their expectations.

    Occasions below error add nothing, as a variance of zero does.
    """
    at = {source: place for place, source in enumerate(sources)}
    error, both, assessor = at[ERROR], at.get(BOTH, at[ERROR]), at[ASSESSOR]
    each, shared = _matrices(noise.each), _matrices(noise.shared)
    slopes = np.zeros((len(ms), len(sources), *noise.cells.shape[-2:]))
    slopes[:, both] += (noise.cells - shared) / each
    slopes[:, assessor] += shared / each
    variances = {ASSESSOR: (ms[:, assessor] - ms[:, both]) * noise.assessor / noise.each}
    if BOTH in at:
        variances[BOTH] = (ms[:, both] - ms[:, error]) / noise.each
    if OCCASION in at:
        above = ms[:, at[OCCASION]] > ms[:, error]
        part = _matrices(above * noise.occasion / noise.occasions)
        slopes[:, at[OCCASION]] += part
        slopes[:, error] -= part
        variances[OCCASION] = (ms[:, at[OCCASION]] - ms[:, error]) * noise.occasion
    variances[ERROR] = ms[:, error]
    spread = np.zeros((len(ms), len(sources), len(sources)))
    np.einsum("akk->ak", spread)[:] = 2 * ms**2 / df
    return MixedFit(
        terms=tuple(variances),
        variances=np.maximum(np.stack(list(variances.values()), 1), 0.0),
        means=means,
        covariance=np.einsum("ak,akij->aij", ms, slopes),
        slopes=slopes,
        spread=spread,
        deviance=np.full(len(ms), np.nan),
    )


def _matrices(number: Floats | float) -> Floats:
    """A number for each response, or for all, to go with matrices."""
    return np.reshape(number, (-1, 1, 1))
