"""Cells and groups taken out of a mixed model by divisions: their cost is linear in groups.

A group (assessor) has a block of its own in the covariance of the scores, which falls into cells
(assessor x sample). With n scores in each of its cells, r_c and r_g the variances of cells and
groups over error, u = n / (1 + r_c n) and h = r_g / (1 + r_g sum u), the inverse seen from the
cells of a group is K = diag(u) - h u u' (Woodbury's identity, twice). All that the restricted
likelihood and its derivatives need is K, K^2 and K^3 summed over groups, and these are a diagonal
and products of u, u^2 and u^3.

Why so
------
Only the terms that cross the groups (occasions, samples) stay in a dense system, so twice the
assessors take twice the time; with assessors in that system it took eight times, and 200 of them
with 30 samples several minutes. Attributes with the same gaps share their counts, not their u and
h: their variances differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..base.arrays import Bools, Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CrossProducts:
    """Counts and sums of a design, for each response.

    Attributes
    ----------
    number : float array, (responses, groups, fixed)
        Scores of each cell.
    sums : float array, (responses, groups, fixed, rest + 1)
        Scores of each cell at each level of the other random factors, then their sum.
    inner : float array, (responses, rest + 1, rest + 1)
        Cross-products of the other random factors and the response.
    sizes : tuple of int
        Levels of each of the other random factors.
    cells : bool
        Whether cells have a random term.
    order : tuple of int
        Places, among the random factors as given, of cells (if they have a term), of groups and of
        the others.
    scores : float array, (responses,)
        Number of scores.
    """

    number: Floats
    sums: Floats
    inner: Floats
    sizes: tuple[int, ...]
    cells: bool
    order: tuple[int, ...]
    scores: Floats

    def only(self, index: NDArray[np.intp] | Bools) -> CrossProducts:
        """The same for some of the responses."""
        return CrossProducts(
            number=self.number[index],
            sums=self.sums[index],
            inner=self.inner[index],
            sizes=self.sizes,
            cells=self.cells,
            order=self.order,
            scores=self.scores[index],
        )


class EliminatedTerm(NamedTuple):
    """What a term Z contributes, W = Z' V_n^-1 Z, F = Z' V_n^-1 E, for each response.

    own, norm : tr W and tr W^2; gram, third : F'F and F'WF; square, form : s's and s'Ws with
    s = Z'Py; folded : F's.
    """

    own: Floats
    norm: Floats
    gram: Floats
    third: Floats
    square: Floats
    form: Floats
    folded: Floats


class SharedTerm(NamedTuple):
    """The same of cells and groups together, with W between the two."""

    norm: Floats
    third: Floats
    form: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Eliminated:
    """The design with cells and groups taken out.

    Attributes
    ----------
    gram : float array, (responses, m + 1, m + 1)
        E' V_n^-1 E; E are the other random factors, the fixed levels and the response.
    logs : float array, (responses,)
        log det V_n.
    """

    products: CrossProducts
    gram: Floats
    logs: Floats
    shrink: Floats
    u: Floats
    h: Floats
    share: Floats  # of a group's sum that its term leaves, (responses, groups)
    total: Floats
    cell: Floats

    def terms(self, whole: Floats) -> tuple[list[EliminatedTerm], SharedTerm | None]:
        """Contributions of cells (if they have a term) and of groups; H is `whole`."""
        score_c, score_g = self._scores(whole)
        group = self._group(score_g)
        if not self.products.cells:
            return [group], None
        cells = self._cells(score_c)
        return [cells, group], self._shared(score_c, score_g)

    def _scores(self, whole: Floats) -> tuple[Floats, Floats]:
        """Z'Py of cells (responses, groups, fixed) and groups (responses, groups)."""
        m = whole.shape[1]
        effect = (whole @ self.gram[:, :m, m:])[:, None]  # (responses, 1, m, 1)
        q = m - self.u.shape[2]
        left = self.products.sums[..., -1] - self.products.number * effect[:, :, q:, 0]
        if q:
            left = left - (self.products.sums[..., :-1] @ effect[:, :, :q])[..., 0]
        thin = left * self.shrink
        total = thin.sum(2)
        return thin - self.u * (self.h * total)[:, :, None], self.share * total

    def _by(self, values: Floats) -> Floats:
        """K times values of the cells, (responses, groups, fixed, columns)."""
        u = self.u[..., None]
        pulled = self.h[:, :, None] * (u * values).sum(2)
        return np.asarray(u * (values - pulled[:, :, None]))

    def _cells(self, score: Floats) -> EliminatedTerm:
        u, h, q = self.u, self.h[:, :, None], self.cell.shape[3] - 1
        square, cube = u**2, u**3
        s2, s3 = square.sum(2, keepdims=True), cube.sum(2, keepdims=True)
        edge = self.cell[..., :q]
        once = self._by(edge)
        second = _sides(u, -h * square + h**2 * s2 * u / 2, square.sum(1))
        bent = -h * cube + h**2 * s2 * square + (h**2 * s3 - h**3 * s2**2) * u / 2
        third = _sides(u, bent, cube.sum(1)) - square.swapaxes(1, 2) @ (h * square)
        turned = self._by(score[..., None])[..., 0]
        flat, after = (
            part.reshape(len(u), score[0].size, q).swapaxes(1, 2) for part in (edge, once)
        )
        across = flat @ score.reshape(len(u), score[0].size, 1)
        return EliminatedTerm(
            own=(u - h * square).sum((1, 2)),
            norm=(s2 - 2 * h * s3 + h**2 * s2**2).sum((1, 2)),
            gram=_framed(flat @ flat.swapaxes(1, 2), once.sum(1), second),
            third=_framed(flat @ after.swapaxes(1, 2), self._by(once).sum(1), third),
            square=(score**2).sum((1, 2)),
            form=(score * turned).sum((1, 2)),
            folded=np.concatenate([across[:, :, 0], turned.sum(1)], 1),
        )

    def _edge(self) -> Floats:
        """F of the groups, (responses, groups, m)."""
        share = self.share[:, :, None]
        return np.concatenate([share * self.total[..., :-1], share * self.u], 2)

    def _group(self, score: Floats) -> EliminatedTerm:
        edge, own = self._edge(), self.share * self.u.sum(2)
        across = edge.swapaxes(1, 2)
        return EliminatedTerm(
            own=own.sum(1),
            norm=(own**2).sum(1),
            gram=across @ edge,
            third=across @ (own[:, :, None] * edge),
            square=(score**2).sum(1),
            form=(own * score**2).sum(1),
            folded=(across @ score[:, :, None])[:, :, 0],
        )

    def _shared(self, score_c: Floats, score_g: Floats) -> SharedTerm:
        """W holds share u, each cell with its own group."""
        u, share = self.u, self.share[:, :, None]
        square = u**2
        s2 = square.sum(2)
        pulled = (u[..., None] * self.cell[..., :-1]).sum(2)
        cells = np.concatenate([pulled, square - (self.h * s2)[:, :, None] * u], 2)
        return SharedTerm(
            norm=(self.share**2 * s2).sum(1),
            third=self._edge().swapaxes(1, 2) @ (share * cells),
            form=(self.share * score_g * (u * score_c).sum(2)).sum(1),
        )


def eliminated(products: CrossProducts, ratios: Floats) -> Eliminated:
    """Take out cells and groups at ratios of their variances to error, in this order.

    Examples
    --------
    Two assessors, two samples, each scored once; assessors with the variance of error:

    >>> products = CrossProducts(
    ...     number=np.ones((1, 2, 2)), sums=np.array([[[[1.0], [3.0]], [[2.0], [6.0]]]]),
    ...     inner=np.array([[[50.0]]]), sizes=(), cells=False, order=(0,), scores=np.array([4.0]),
    ... )
    >>> eliminated(products, np.array([[1.0]])).gram[0].round(3)  # samples, then the scores
    array([[ 1.333, -0.667, -1.   ],
           [-0.667,  1.333,  5.   ],
           [-1.   ,  5.   , 23.333]])
    """
    number, cells = products.number, products.cells
    ratio_c = ratios[:, :1] if cells else np.zeros((len(ratios), 1))
    ratio_g = ratios[:, [int(cells)]]
    shrink = 1.0 / (1.0 + ratio_c[:, :, None] * number)
    u = number * shrink
    share = 1.0 / (1.0 + ratio_g * u.sum(2))
    h = ratio_g * share
    thin = products.sums * shrink[..., None]
    total = thin.sum(2)
    weighed = h[:, :, None] * u
    cell = thin - weighed[..., None] * total[:, :, None]
    flat, lost = (part.reshape(len(u), -1, total.shape[2]) for part in (products.sums, thin))
    inner = products.inner - ratio_c[:, :, None] * (flat.swapaxes(1, 2) @ lost)
    inner -= total.swapaxes(1, 2) @ (h[:, :, None] * total)
    fixed = _on_diagonal(u.sum(1)) - u.swapaxes(1, 2) @ weighed
    return Eliminated(
        products=products,
        gram=_bordered(inner, cell.sum(1), fixed),
        logs=-np.log(shrink).sum((1, 2)) - np.log(share).sum(1),
        shrink=shrink,
        u=u,
        h=h,
        share=share,
        total=total,
        cell=cell,
    )


def _on_diagonal(values: Floats) -> Floats:
    return np.asarray(values[:, :, None] * np.eye(values.shape[1]))


def _sides(u: Floats, bent: Floats, diagonal: Floats) -> Floats:
    """Diagonal plus u'bent and its transpose, summed over groups."""
    half = u.swapaxes(1, 2) @ bent
    return _on_diagonal(diagonal) + half + half.swapaxes(1, 2)


def _framed(others: Floats, between: Floats, fixed: Floats) -> Floats:
    """A symmetric matrix from its blocks: other factors, fixed by other factors, fixed levels."""
    top = np.concatenate([others, between.swapaxes(1, 2)], 2)
    return np.concatenate([top, np.concatenate([between, fixed], 2)], 1)


def _bordered(inner: Floats, between: Floats, fixed: Floats) -> Floats:
    """Blocks of the other factors and the response, put around those of the fixed levels."""
    q, m = inner.shape[1] - 1, inner.shape[1] - 1 + fixed.shape[1]
    whole = np.empty((len(inner), m + 1, m + 1))
    whole[:, :m, :m] = _framed(inner[:, :q, :q], between[:, :, :q], fixed)
    whole[:, :q, m], whole[:, q:m, m] = inner[:, :q, q], between[:, :, q]
    whole[:, m, :m], whole[:, m, m] = whole[:, :m, m], inner[:, q, q]
    return whole
