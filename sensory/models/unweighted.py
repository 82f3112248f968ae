"""Mean squares of a panel with gaps: the means of the cells, each counted once.

Scores of one assessor for one sample are a cell. Its mean, freed of the occasions on which it was
scored, takes part once, however many scores it holds, and once more or not at all with gaps:
sample + assessor + interaction, by least squares over the cells that are filled.

[1] Yates, F. (1934). Journal of the American Statistical Association 29, 51-66: unweighted means.
    (From memory.)
[2] Searle, S.R. (1987). Linear Models for Unbalanced Data, chapter 4. (From memory.)

Why so
------
On complete scores this is the analysis of variance of `mean_squares`, number for number, so nothing
jumps when one score is lost. It takes all cells to scatter alike, which cells with fewer scores do
not: where one sample of four is scored once and the others twice, F keeps its risk (0.050 to 0.055
for 0.05), t of that sample does by the scatter of the two (0.038 to 0.046, `pair_scatter`) and
would not by that of all (0.066 to 0.076; `tests/calibration/test_gap_levels.py`). An assessor who
scored few samples says something about the differences between these only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..base.arrays import Bools, Floats, Ints
from .mean_squares import (
    ASSESSOR,
    BOTH,
    OCCASION,
    SAMPLE,
    MeanSquares,
    Noise,
    fit_by_squares,
)
from .mixed import ERROR

_LEAST_JOINED = 1e-9  # eigenvalue of what the cells say, per cell; less, and they fall in two


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CellMeans:
    """Means of the cells, for each response.

    Attributes
    ----------
    mean : float array, (responses, assessors, samples)
        Less `centre` and the effects of occasions; 0 where empty.
    number : float array, (responses, assessors, samples)
        Scores of each cell.
    centre : float array, (responses,)
        Mean of all scores.
    error_ss, error_df : float array, (responses,)
        Within cells and occasions.
    occasion_ms, occasion_noise : float array, (responses,)
        Mean square of the occasions, and the variance of one of their effects over that of error.
    occasions : int
    usable : bool array, (responses,)
        Whether samples, assessors and occasions can be told apart, with freedom left.
    """

    mean: Floats
    number: Floats
    centre: Floats
    error_ss: Floats
    error_df: Floats
    occasion_ms: Floats
    occasion_noise: Floats
    occasions: int
    usable: Bools

    def only(self, index: NDArray[np.intp]) -> CellMeans:
        """The same for some of the responses."""
        return CellMeans(
            mean=self.mean[index],
            number=self.number[index],
            centre=self.centre[index],
            error_ss=self.error_ss[index],
            error_df=self.error_df[index],
            occasion_ms=self.occasion_ms[index],
            occasion_noise=self.occasion_noise[index],
            occasions=self.occasions,
            usable=self.usable[index],
        )


def cell_means(scores: Floats, assessor: Ints, sample: Ints, occasion: Ints) -> CellMeans:
    """Means of the cells that hold scores.

    Parameters
    ----------
    scores : float array, (rows, responses)
        NaN where missing.
    assessor, sample, occasion : int array, (rows,)
        Levels; all 0 where there is one occasion.
    """
    levels = (int(assessor.max()) + 1, int(sample.max()) + 1, int(occasion.max()) + 1)
    cell = assessor * levels[1] + sample
    centre = np.nanmean(scores, 0)
    there = np.isfinite(scores)
    score = np.where(there, scores - centre, 0.0)
    number = _sums(cell, there.astype(float), levels[0] * levels[1])
    mean = _sums(cell, score, levels[0] * levels[1]) / np.maximum(number, 1)
    effect, noise, told = np.zeros((levels[2], len(centre))), np.zeros(len(centre)), None
    if levels[2] > 1:
        effect, noise, told = _occasions(cell, occasion, there, score, number, mean)
        mean = mean - _sums(cell, there * effect[occasion], len(mean)) / np.maximum(number, 1)
    residual = np.where(there, score - mean[cell] - effect[occasion], 0.0)
    filled, free = (number > 0).sum(0), levels[2] - 1
    shape = (len(centre), levels[0], levels[1])
    error_df = (number.sum(0) - filled - free).astype(float)
    usable = _joined(number.T.reshape(shape))
    with np.errstate(divide="ignore", invalid="ignore"):
        occasion_ms = (effect**2).sum(0) / (free * noise)
    return CellMeans(
        mean=mean.T.reshape(shape),
        number=number.T.reshape(shape),
        centre=centre,
        error_ss=(residual**2).sum(0),
        error_df=error_df,
        occasion_ms=occasion_ms,
        occasion_noise=noise,
        occasions=levels[2],
        usable=usable if told is None else usable & told & (error_df > 0),
    )


def _sums(code: Ints, values: Floats, levels: int) -> Floats:
    """Sums of the rows of each level, (levels, responses)."""
    width = values.shape[1]
    place = (code[:, None] * width + np.arange(width)).ravel()
    sums = np.bincount(place, values.ravel(), minlength=levels * width)
    return np.asarray(sums, float).reshape(levels, width)


def _occasions(
    cell: Ints, occasion: Ints, there: Bools, score: Floats, number: Floats, mean: Floats
) -> tuple[Floats, Floats, Bools]:
    """Effects of occasions within cells, (occasions, responses), their noise, whether told."""
    count = int(occasion.max()) + 1
    cells, width = number.shape
    held = _sums(cell * count + occasion, there.astype(float), cells * count)
    held = held.reshape(cells, count, width)
    share = held / np.maximum(number, 1)[:, None]
    each = held.sum(0)
    known = each.T[:, :, None] * np.eye(count) - np.einsum("cor,cpr->rop", share, held)
    right = _sums(occasion, score, count) - (held * mean[:, None]).sum(0)
    total = each.sum(0)
    told = np.linalg.eigvalsh(known)[:, 1] > _LEAST_JOINED * total
    inverse = _inverse(np.where(told[:, None, None], known, np.eye(count)), total / count**2)
    effect = (inverse @ right.T[:, :, None])[:, :, 0].T
    return effect, np.einsum("roo->r", inverse) / (count - 1), told


def _inverse(known: Floats, weight: Floats) -> Floats:
    """Inverse of matrices whose rows sum to 0, on all that sums to 0."""
    size, level = known.shape[1], weight[:, None, None]
    return np.linalg.inv(known + level) - 1 / (size**2 * level)


def _between(number: Floats) -> tuple[Floats, Floats, Floats]:
    """Filled cells, their share within the assessor, and what they say about samples."""
    filled = (number > 0).astype(float)
    share = filled / np.maximum(filled.sum(2, keepdims=True), 1)
    known = filled.sum(1)[:, :, None] * np.eye(number.shape[2]) - filled.swapaxes(1, 2) @ share
    return filled, share, known


def _joined(number: Floats) -> Bools:
    """Whether the filled cells join all samples, with freedom left for the interaction."""
    filled, _, known = _between(number)
    cells, assessors = filled.sum((1, 2)), filled.any(2).sum(1)
    least = np.linalg.eigvalsh(known)[:, 1]
    free = cells - assessors - number.shape[2] + 1
    return np.asarray((least > _LEAST_JOINED * cells) & (free > 0))


def unweighted_squares(cells: CellMeans) -> MeanSquares:
    """Mean squares of usable responses, in units of single scores.

    Sums of squares are times the harmonic mean of the scores in a cell, so that those of complete
    scores come out. The interaction is told from error where every response has `error_df` above
    0; otherwise the two are one.

    Examples
    --------
    >>> scores = np.array([1.0, 3.0, 2.0, 2.0, 6.0, 4.0, 5.0, 8.0])[:, None]
    >>> codes = np.repeat([0, 1, 2], [3, 3, 2]), np.array([0, 1, 2, 0, 1, 2, 0, 1])
    >>> table = unweighted_squares(cell_means(scores, *codes, np.zeros(8, int)))
    >>> table.df, table.fit.means.round(2)  # the third assessor missed the last sample
    (array([[2., 2., 3.]]), array([[2.67, 5.67, 4.17]]))
    """
    filled, share, known = _between(cells.number)
    count, samples = filled.sum((1, 2)), filled.shape[2]
    scored = filled.sum(2)
    assessors = (scored > 0).sum(1).astype(float)
    inverse = _inverse(known, count / samples**2)
    level = (cells.mean * share).sum(2)
    right = (filled * (cells.mean - level[:, :, None])).sum(1)
    sample = (inverse @ right[:, :, None])[:, :, 0]
    assessor = level - (share @ sample[:, :, None])[:, :, 0]
    left = filled * (cells.mean - assessor[:, :, None] - sample[:, None])
    middle = assessor.sum(1) / assessors
    apart = np.where(scored > 0, assessor - middle[:, None], 0.0)
    plain, noise = _noise(share, scored, assessors, inverse)
    each = count / np.where(filled > 0, 1 / np.maximum(cells.number, 1), 0.0).sum((1, 2))
    rows = {
        SAMPLE: ((sample * right).sum(1) * each, np.full(len(count), samples - 1.0)),
        ASSESSOR: ((apart**2).sum(1) / noise * each, assessors - 1),
        BOTH: ((left**2).sum((1, 2)) * each, count - assessors - samples + 1),
    }
    if cells.occasions > 1:
        free = np.full(len(count), cells.occasions - 1.0)
        rows[OCCASION] = (cells.occasion_ms * free, free)
    told = bool((cells.error_df > 0).all())
    rows[ERROR] = (cells.error_ss, cells.error_df) if told else rows.pop(BOTH)
    ss, df = (np.stack([row[part] for row in rows.values()], 1) for part in (0, 1))
    means = sample + (middle + cells.centre)[:, None]
    known_by = Noise(
        cells=plain,
        # no mean is known better than by its cells
        shared=np.minimum(noise / assessors, np.einsum("rss->rs", plain).min(1)),
        assessor=noise,
        occasion=cells.occasion_noise,
        occasions=cells.occasions,
        each=each,
    )
    return MeanSquares(
        sources=tuple(rows),
        ss=ss,
        df=df,
        fit=fit_by_squares(means, tuple(rows), ss / df, df, known_by),
        cells=np.where(filled > 0, cells.mean, np.nan),
        each=each,
    )


def _noise(
    share: Floats, scored: Floats, assessors: Floats, inverse: Floats
) -> tuple[Floats, Floats]:
    """Covariance of the means without assessors, and variance of an assessor's effect.

    Both over the variance of a cell; the effect's is the mean over assessors, about their mean.
    """
    size = share.shape[2]
    own = np.where(scored > 0, 1 / np.maximum(scored, 1), 0.0).sum(1)
    centre = share.sum(1) / assessors[:, None]
    turn = np.eye(size) - centre[:, None, :]
    covariance = turn @ inverse @ turn.swapaxes(1, 2) + (own / assessors**2)[:, None, None]
    gram = share.swapaxes(1, 2) @ share
    gram -= assessors[:, None, None] * centre[:, :, None] * centre[:, None, :]
    noise = own * (1 - 1 / assessors) + (gram * inverse).sum((1, 2))
    return covariance, noise / (assessors - 1)
