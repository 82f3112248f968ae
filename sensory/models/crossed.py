"""Cross-products of crossed factors, many responses at once, and their profile deviance.

A model ``y = X b + sum Z_k u_k + e`` whose matrices are indicators of factors needs no
matrix with as many rows as there are scores: counts of pairs of levels and sums of
scores carry everything. The factor with the most levels (assessor x sample) has a
diagonal cross-product and is eliminated by divisions; what remains is a small dense
system of the other factors, the fixed levels and the response.

[1] Bates, D. et al. (2015). Journal of Statistical Software 67(1), section 3: the profiled
    deviance in relative standard deviations.
[2] Searle, S.R., Casella, G. and McCulloch, C.E. (1992). Variance Components, chapter 6:
    derivatives of the restricted likelihood. (From memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..base.arrays import Bools, Floats, Ints

_ROUNDING = 1e-14  # of the sum of squares; less is left of it only by rounding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CrossProducts:
    """Counts and sums of a design, for each response.

    Attributes
    ----------
    wide : float array, (responses, levels)
        Scores at each level of the eliminated factor.
    across : float array, (responses, rest, levels)
        Cross-products of the rest with the eliminated factor; the rest are the other
        random factors, the fixed levels and the response, in this order.
    sizes : tuple of int
        Levels of the other random factors.
    fixed : int
        Fixed levels.
    scores : float array, (responses,)
        Number of scores.
    """

    wide: Floats
    across: Floats
    rest: Floats
    sizes: tuple[int, ...]
    fixed: int
    scores: Floats

    def only(self, index: NDArray[np.intp] | Bools) -> CrossProducts:
        """The same for some of the responses."""
        return CrossProducts(
            wide=self.wide[index],
            across=self.across[index],
            rest=self.rest[index],
            sizes=self.sizes,
            fixed=self.fixed,
            scores=self.scores[index],
        )


def cross_products(
    scores: Floats, fixed: Ints, wide: Ints, others: Sequence[Ints]
) -> CrossProducts:
    """Count and sum over the scores that are there.

    Parameters
    ----------
    scores : float array, (rows, responses)
        NaN where missing.
    fixed, wide : int array, (rows,)
        Levels of the fixed factor and of the random factor with the most levels.
    others : sequence of int array
        Levels of the other random factors.
    """
    row, response = np.nonzero(np.isfinite(scores))
    value = scores[row, response]
    codes = [code[row] for code in (*others, fixed)]
    sizes = [int(code.max()) + 1 for code in (*others, fixed)]
    count, levels = scores.shape[1], int(wide.max()) + 1
    starts = np.concatenate([[0], np.cumsum(sizes)])
    last = int(starts[-1])
    across = np.zeros((count, last + 1, levels))
    rest = np.zeros((count, last + 1, last + 1))
    wide_code = wide[row]

    def table(place: Ints, size: int, weights: Floats | None = None) -> Floats:
        key = response * size + place
        return np.bincount(key, weights, minlength=count * size).reshape(count, size).astype(float)

    for i, (code, size) in enumerate(zip(codes, sizes, strict=True)):
        here = slice(starts[i], starts[i + 1])
        across[:, here] = table(code * levels + wide_code, size * levels).reshape(-1, size, levels)
        rest[:, here, last] = rest[:, last, here] = table(code, size, value)
        for j in range(i + 1):
            there = slice(starts[j], starts[j + 1])
            block = table(code * sizes[j] + codes[j], size * sizes[j]).reshape(-1, size, sizes[j])
            rest[:, here, there] = block
            rest[:, there, here] = block.swapaxes(1, 2)
    across[:, last] = table(wide_code, levels, value)
    rest[:, last, last] = np.bincount(response, value**2, minlength=count)
    return CrossProducts(
        wide=table(wide_code, levels),
        across=across,
        rest=rest,
        sizes=tuple(sizes[:-1]),
        fixed=sizes[-1],
        scores=np.isfinite(scores).sum(axis=0).astype(float),
    )


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
        Variance of each random term over the error variance, >= 0; the eliminated
        factor first.
    """
    q, p = sum(products.sizes), products.fixed
    shrink = 1.0 / (1.0 + ratios[:, :1] * products.wide)
    thin = (products.across * shrink[:, None, :]).swapaxes(1, 2)  # Z_c' V_c^-1 rest
    gram = products.rest - ratios[:, :1, None] * (products.across @ thin)
    root = np.sqrt(np.repeat(ratios[:, 1:], products.sizes, axis=1))  # (responses, q)
    small = np.eye(q) + root[:, :, None] * gram[:, :q, :q] * root[:, None, :]
    hat = root[:, :, None] * np.linalg.inv(small) * root[:, None, :]
    pulled = gram[:, q:, :q] @ hat  # (responses, p + 1, q)
    levels = gram[:, q:, q:] - pulled @ gram[:, :q, q:]
    inverse = np.linalg.inv(levels[:, :p, :p])
    means = (inverse @ levels[:, :p, p:])[:, :, 0]
    free = products.scores - p
    left = levels[:, p, p] - (levels[:, p, :p] * means).sum(1)
    error = np.maximum(left, _ROUNDING * products.rest[:, -1, -1]) / free
    deviance = (
        -np.log(shrink).sum(1)
        + np.linalg.slogdet(small)[1]
        - np.linalg.slogdet(inverse)[1]
        + free * np.log(error)
    )
    to_fixed = np.concatenate(
        [-pulled[:, :p].swapaxes(1, 2), np.tile(np.eye(p), (len(free), 1, 1))], 1
    )
    whole = to_fixed @ inverse @ to_fixed.swapaxes(1, 2)
    whole[:, :q, :q] += hat
    trace, square, traces, squares = _terms(products, shrink, thin, gram, whole)
    slopes = _slopes(products, thin, gram, to_fixed, inverse)
    return ProfiledDeviance(
        deviance=deviance,
        error=error,
        trace=trace,
        square=square,
        traces=traces,
        squares=squares,
        inverse=inverse,
        means=means,
        slopes=slopes,
        free=free,
    )


def _terms(
    products: CrossProducts, shrink: Floats, thin: Floats, gram: Floats, whole: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Traces and quadratic forms of each random term and pair of terms.

    With E the other factors and fixed levels and H `whole`, P = V_c^-1 - V_c^-1 E H E' V_c^-1.
    """
    q, m = sum(products.sizes), whole.shape[1]
    terms = 1 + len(products.sizes)
    diagonal = products.wide * shrink
    edge = thin[:, :, :m]
    held = edge @ whole
    own = (held * edge).sum(2)
    inner = edge.swapaxes(1, 2) @ edge
    turned = whole @ inner
    score_c = thin[:, :, m] - (held @ gram[:, :m, m:])[:, :, 0]
    folded = (edge.swapaxes(1, 2) @ score_c[:, :, None])[:, :, 0]

    trace, square = np.empty((2, len(own), terms))
    traces, squares = np.empty((2, len(own), terms, terms))
    trace[:, 0] = (diagonal - own).sum(1)
    square[:, 0] = (score_c**2).sum(1)
    traces[:, 0, 0] = (diagonal**2 - 2 * diagonal * own).sum(1)
    traces[:, 0, 0] += (turned * turned.swapaxes(1, 2)).sum((1, 2))
    squares[:, 0, 0] = (diagonal * score_c**2).sum(1)
    squares[:, 0, 0] -= (folded * (whole @ folded[:, :, None])[:, :, 0]).sum(1)
    if terms == 1:
        return trace, square, traces, squares

    cross = thin[:, :, :q] - held @ gram[:, :m, :q]  # Z_c' P Z_r
    after = gram[:, :q, :m] @ whole
    rest = gram[:, :q, :q] - after @ gram[:, :m, :q]
    score_r = gram[:, :q, m] - (after @ gram[:, :m, m:])[:, :, 0]
    at = np.concatenate([[0], np.cumsum(products.sizes)[:-1]])
    trace[:, 1:] = np.add.reduceat(np.diagonal(rest, axis1=1, axis2=2), at, axis=1)
    square[:, 1:] = np.add.reduceat(score_r**2, at, axis=1)
    traces[:, 0, 1:] = np.add.reduceat((cross**2).sum(1), at, axis=1)
    mixed = (score_c[:, None, :] @ cross)[:, 0] * score_r
    squares[:, 0, 1:] = np.add.reduceat(mixed, at, axis=1)
    traces[:, 1:, 0], squares[:, 1:, 0] = traces[:, 0, 1:], squares[:, 0, 1:]
    both = score_r[:, :, None] * rest * score_r[:, None, :]
    traces[:, 1:, 1:] = np.add.reduceat(np.add.reduceat(rest**2, at, axis=1), at, axis=2)
    squares[:, 1:, 1:] = np.add.reduceat(np.add.reduceat(both, at, axis=1), at, axis=2)
    return trace, square, traces, squares


def _slopes(
    products: CrossProducts, thin: Floats, gram: Floats, to_fixed: Floats, inverse: Floats
) -> Floats:
    """d cov(fixed) / d variance_k = U_k U_k' with U_k = cov X' V^-1 Z_k."""
    q, m = sum(products.sizes), gram.shape[1] - 1
    wide = inverse @ (thin[:, :, :m] @ to_fixed).swapaxes(1, 2)
    parts = [wide @ wide.swapaxes(1, 2)]
    if q:
        other = inverse @ (gram[:, :q, :m] @ to_fixed).swapaxes(1, 2)
        for start, size in zip(np.cumsum([0, *products.sizes]), products.sizes, strict=False):
            block = other[:, :, start : start + size]
            parts.append(block @ block.swapaxes(1, 2))
    return np.stack(parts, 1)
