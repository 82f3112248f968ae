"""Cross-products of crossed factors, many responses at once, and their profile deviance.

A model ``y = X b + sum Z_k u_k + e`` whose matrices are indicators of factors needs no
matrix with as many rows as there are scores: counts of pairs of levels and sums of
scores carry everything. Scores of one group (assessor) for one fixed level (sample) are a
cell; the terms of cells and groups are eliminated by divisions (`eliminated.py`), and what
remains is a small dense system of the other factors, the fixed levels and the response.

[1] Bates, D. et al. (2015). Journal of Statistical Software 67(1), section 3: the profiled
    deviance in relative standard deviations.
[2] Searle, S.R., Casella, G. and McCulloch, C.E. (1992). Variance Components, chapter 6:
    derivatives of the restricted likelihood. (From memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.arrays import Bools, Floats, Ints
from .eliminated import CrossProducts, EliminatedTerm, SharedTerm, eliminated

_ROUNDING = 1e-14  # of the sum of squares; less is left of it only by rounding


def cross_products(scores: Floats, fixed: Ints, random: Sequence[Ints]) -> CrossProducts:
    """Count and sum over the scores that are there.

    Parameters
    ----------
    scores : float array, (rows, responses)
        NaN where missing.
    fixed : int array, (rows,)
        Levels of the fixed factor.
    random : sequence of int array, (rows,)
        Levels of each random factor. The factor of the cells is one whose levels are the pairs of
        the levels of another and of the fixed factor; this other is then the group, otherwise
        the factor with the most levels.
    """
    cells, group, others = _parts(fixed, random)
    row, response = np.nonzero(np.isfinite(scores))
    value, width = scores[row, response], scores.shape[1]
    groups, levels = int(random[group].max()) + 1, int(fixed.max()) + 1
    cell = random[group][row] * levels + fixed[row]
    codes = [random[place][row] for place in others]
    sizes = [int(code.max()) + 1 for code in codes]
    starts = np.concatenate([[0], np.cumsum(sizes)]).astype(int)
    last = int(starts[-1])
    sums = np.empty((width, groups * levels, last + 1))
    inner = np.zeros((width, last + 1, last + 1))

    def table(place: Ints, size: int, weights: Floats | None = None) -> Floats:
        key = response * size + place
        return np.bincount(key, weights, minlength=width * size).reshape(width, size).astype(float)

    for i, (code, size) in enumerate(zip(codes, sizes, strict=True)):
        here = slice(starts[i], starts[i + 1])
        counts = table(cell * size + code, groups * levels * size)
        sums[:, :, here] = counts.reshape(width, -1, size)
        inner[:, here, last] = inner[:, last, here] = table(code, size, value)
        for j in range(i + 1):
            there = slice(starts[j], starts[j + 1])
            block = table(code * sizes[j] + codes[j], size * sizes[j]).reshape(-1, size, sizes[j])
            inner[:, here, there] = block
            inner[:, there, here] = block.swapaxes(1, 2)
    sums[:, :, last] = table(cell, groups * levels, value)
    inner[:, last, last] = np.bincount(response, value**2, minlength=width)
    return CrossProducts(
        number=table(cell, groups * levels).reshape(width, groups, levels),
        sums=sums.reshape(width, groups, levels, last + 1),
        inner=inner,
        sizes=tuple(sizes),
        cells=cells is not None,
        order=(*(() if cells is None else (cells,)), group, *others),
        scores=np.isfinite(scores).sum(axis=0).astype(float),
    )


def _parts(fixed: Ints, random: Sequence[Ints]) -> tuple[int | None, int, list[int]]:
    """Places of the factor of the cells, of the groups, and of the others."""
    places = range(len(random))
    by_size = sorted(places, key=lambda k: -int(random[k].max()))
    for cells in by_size:
        for group in by_size:
            pair = random[group] * (int(fixed.max()) + 1) + fixed
            if group != cells and _same(random[cells], pair):
                return cells, group, [k for k in places if k not in (cells, group)]
    return None, by_size[0], [k for k in places if k != by_size[0]]


def _same(code: Ints, other: Ints) -> bool:
    """Whether two factors part the rows alike."""
    both = np.unique(np.stack([code, other]), axis=1).shape[1]
    return both == len(np.unique(code)) == len(np.unique(other))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProfiledDeviance:
    """The restricted deviance at ratios of variances to the error variance.

    With P the projection that the restricted likelihood uses, at error variance 1:

    Attributes
    ----------
    deviance : float array, (responses,)
        -2 log restricted likelihood with the error variance at its best, without constants.
    error : float array, (responses,)
        That error variance, y'Py / (scores - fixed levels).
    trace, square : float array, (responses, terms)
        tr(P V_k) and y'P V_k P y.
    traces, squares : float array, (responses, terms, terms)
        tr(P V_k P V_l) and y'P V_k P V_l P y.
    inverse : float array, (responses, fixed, fixed)
        Covariance of the fixed levels at error variance 1.
    slopes : float array, (responses, terms, fixed, fixed)
        Derivative of the covariance of the fixed levels by each variance.
    free : float array, (responses,)
        Scores less fixed levels.
    """

    deviance: Floats
    error: Floats
    trace: Floats
    square: Floats
    traces: Floats
    squares: Floats
    inverse: Floats
    means: Floats
    slopes: Floats
    free: Floats

    def only(self, index: Bools) -> ProfiledDeviance:
        """The same for some of the responses."""
        return ProfiledDeviance(**{name: getattr(self, name)[index] for name in self.__slots__})

    def where(self, index: Bools, other: ProfiledDeviance) -> ProfiledDeviance:
        """This for some of the responses, the other for the rest."""
        picked = {}
        for name in self.__slots__:
            mine, theirs = getattr(self, name), getattr(other, name)
            picked[name] = np.where(index.reshape(-1, *[1] * (mine.ndim - 1)), mine, theirs)
        return ProfiledDeviance(**picked)


def profile_deviance(products: CrossProducts, ratios: Floats) -> ProfiledDeviance:
    """Deviance and everything its first two derivatives need.

    Parameters
    ----------
    ratios : float array, (responses, terms)
        Variance of each random term over the error variance, >= 0; terms as given to
        `cross_products`.
    """
    q, p = sum(products.sizes), products.number.shape[2]
    turned = ratios[:, products.order]
    wide = eliminated(products, turned)
    gram, given = wide.gram, 1 + products.cells
    root = np.sqrt(np.repeat(turned[:, given:], products.sizes, axis=1))  # (responses, q)
    small = np.eye(q) + root[:, :, None] * gram[:, :q, :q] * root[:, None, :]
    hat = root[:, :, None] * np.linalg.inv(small) * root[:, None, :]
    pulled = gram[:, q:, :q] @ hat  # (responses, p + 1, q)
    levels = gram[:, q:, q:] - pulled @ gram[:, :q, q:]
    inverse = np.linalg.inv(levels[:, :p, :p])
    means = (inverse @ levels[:, :p, p:])[:, :, 0]
    free = products.scores - p
    left = levels[:, p, p] - (levels[:, p, :p] * means).sum(1)
    error = np.maximum(left, _ROUNDING * products.inner[:, -1, -1]) / free
    logs = wide.logs + np.linalg.slogdet(small)[1] - np.linalg.slogdet(inverse)[1]
    to_fixed = np.concatenate(
        [-pulled[:, :p].swapaxes(1, 2), np.tile(np.eye(p), (len(free), 1, 1))], 1
    )
    whole = to_fixed @ inverse @ to_fixed.swapaxes(1, 2)
    whole[:, :q, :q] += hat
    terms, shared = wide.terms(whole)
    trace, square, traces, squares = _terms(products.sizes, gram, whole, terms, shared)
    back = np.argsort(products.order)
    return ProfiledDeviance(
        deviance=logs + free * np.log(error),
        error=error,
        trace=trace[:, back],
        square=square[:, back],
        traces=traces[:, back][:, :, back],
        squares=squares[:, back][:, :, back],
        inverse=inverse,
        means=means,
        slopes=_slopes(products.sizes, gram, terms, to_fixed @ inverse)[:, back],
        free=free,
    )


def _terms(
    sizes: tuple[int, ...],
    gram: Floats,
    whole: Floats,
    wide: Sequence[EliminatedTerm],
    shared: SharedTerm | None,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Traces and quadratic forms of each random term and pair of terms.

    With E the other factors and fixed levels, V_n the covariance by cells and groups, and H
    `whole`: P = V_n^-1 - V_n^-1 E H E' V_n^-1.
    """
    q, m, first = sum(sizes), whole.shape[1], len(wide)
    count = first + len(sizes)
    trace, square = np.empty((2, len(whole), count))
    traces, squares = np.empty((2, len(whole), count, count))
    turned = [whole @ term.gram for term in wide]
    folded = [(whole @ term.folded[:, :, None])[:, :, 0] for term in wide]
    for k, term in enumerate(wide):
        trace[:, k] = term.own - np.trace(turned[k], axis1=1, axis2=2)
        square[:, k] = term.square
        traces[:, k, k] = term.norm - 2 * (whole * term.third).sum((1, 2))
        traces[:, k, k] += (turned[k] * turned[k].swapaxes(1, 2)).sum((1, 2))
        squares[:, k, k] = term.form - (term.folded * folded[k]).sum(1)
    if shared is not None:
        both = shared.norm - 2 * (whole * shared.third).sum((1, 2))
        both += (turned[0] * turned[1].swapaxes(1, 2)).sum((1, 2))
        traces[:, 0, 1] = traces[:, 1, 0] = both
        squares[:, 0, 1] = shared.form - (wide[0].folded * folded[1]).sum(1)
        squares[:, 1, 0] = squares[:, 0, 1]
    if not q:
        return trace, square, traces, squares

    at = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(int)
    turn = np.eye(m)[:, :q] - whole @ gram[:, :m, :q]  # E turn is what P leaves of E's factors
    rest = gram[:, :q, :m] @ turn
    score = (turn.swapaxes(1, 2) @ gram[:, :m, m:])[:, :, 0]
    trace[:, first:] = np.add.reduceat(np.diagonal(rest, axis1=1, axis2=2), at, axis=1)
    square[:, first:] = np.add.reduceat(score**2, at, axis=1)
    for k, term in enumerate(wide):
        across = (turn * (term.gram @ turn)).sum(1)
        traces[:, k, first:] = np.add.reduceat(across, at, axis=1)
        mixed = (term.folded[:, None, :] @ turn)[:, 0] * score
        squares[:, k, first:] = np.add.reduceat(mixed, at, axis=1)
        traces[:, first:, k], squares[:, first:, k] = traces[:, k, first:], squares[:, k, first:]
    pair = score[:, :, None] * rest * score[:, None, :]
    traces[:, first:, first:] = np.add.reduceat(np.add.reduceat(rest**2, at, axis=1), at, axis=2)
    squares[:, first:, first:] = np.add.reduceat(np.add.reduceat(pair, at, axis=1), at, axis=2)
    return trace, square, traces, squares


def _slopes(
    sizes: tuple[int, ...], gram: Floats, wide: Sequence[EliminatedTerm], known: Floats
) -> Floats:
    """d cov(fixed) / d variance_k = U_k U_k' with U_k = cov X' V^-1 Z_k."""
    q, m = sum(sizes), known.shape[1]
    parts = [known.swapaxes(1, 2) @ term.gram @ known for term in wide]
    if q:
        other = known.swapaxes(1, 2) @ gram[:, :m, :q]
        for start, size in zip(np.cumsum([0, *sizes]), sizes, strict=False):
            block = other[:, :, start : start + size]
            parts.append(block @ block.swapaxes(1, 2))
    return np.stack(parts, 1)
