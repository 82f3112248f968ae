"""Signal models with response bias: yes-no, same-different, sureness grades.

Each has a log-likelihood in d-prime and nuisance parameters; limits are profile
likelihood, found by bisection, so that empty cells give one-sided intervals instead of
failures.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import optimize
from scipy.special import chdtri, log_ndtr, ndtr, ndtri, xlogy

from ..base.arrays import Bools, Floats, Ints

FAR = 12.0
ROOT = np.sqrt(2)


def _least_on(loss: Callable[[float], float], low: float, high: float) -> float:
    """Smallest value of a function of one number with one valley."""
    valley = optimize.minimize_scalar(loss, bounds=(low, high), options={"xatol": 1e-10})
    return float(valley.fun)


def profile_limits(
    profile: Callable[[float], float],
    best: float,
    level: float,
    low: float,
    high: float,
    *,
    top: float | None = None,
    fall: float | None = None,
) -> tuple[float, float]:
    """Where the profile log-likelihood falls by half a chi-square quantile, or by `fall`.

    `best` may lie at `low` or `high` (or be infinite); a side on which the profile never
    falls so far is returned as that bound, infinite when the bound is +-FAR or further.
    `top` is the highest value where it is not the profile at `best`, but beyond the bounds.
    """
    start = float(np.clip(best, low, high))
    drop = float(chdtri(1, 1 - level)) / 2 if fall is None else fall
    target = (profile(start) if top is None else top) - drop

    def excess(value: float) -> float:
        """Signed root of the fall, nearly straight in `value`, minus what is wanted."""
        return float(np.sqrt(max(2 * (target + drop - profile(value)), 0.0)) - np.sqrt(2 * drop))

    for _ in range(12):  # far out, bounded nuisance parameters may not follow any more
        if np.isfinite(best) or excess(start) < 0:
            break
        start /= 2

    def side(outer: float) -> float:
        if np.isinf(best) and best * outer > 0:
            return best
        if excess(outer) <= 0:
            return float(np.copysign(np.inf, outer)) if abs(outer) >= FAR else outer
        if excess(start) >= 0:
            return start
        inside, step = start, 1.0
        while step < abs(outer - start) and excess(start + np.copysign(step, outer - start)) < 0:
            inside, step = start + np.copysign(step, outer - start), 2 * step
        near = start + np.copysign(min(step, abs(outer - start)), outer - start)
        return float(optimize.brentq(excess, inside, near, xtol=1e-9))

    return side(low), side(high)


def yes_no_profile(
    hits: float, misses: float, alarms: float, rejections: float
) -> Callable[[float], float]:
    """Profile log-likelihood of d-prime for yes-no answers, the criterion chosen best."""

    def at(dprime: float) -> float:
        def loss(centre: float) -> float:
            up, down = centre + dprime / 2, centre - dprime / 2
            return -float(
                hits * log_ndtr(up)
                + misses * log_ndtr(-up)
                + alarms * log_ndtr(down)
                + rejections * log_ndtr(-down)
            )

        return -_least_on(loss, -9, 9)

    return at


def same_different_rates(tau: float, dprime: float) -> tuple[float, float]:
    """P(said same) for same and for different pairs under the differencing rule."""
    same = 2 * ndtr(tau / ROOT) - 1
    different = ndtr((tau - dprime) / ROOT) - ndtr((-tau - dprime) / ROOT)
    return float(same), float(different)


def same_different_profile(
    same_same: float, same_different: float, different_same: float, different_different: float
) -> Callable[[float], float]:
    """Profile log-likelihood of d-prime for same-different answers, tau chosen best.

    Arguments: answers 'same' and 'different' to same pairs, then to different pairs.
    """

    def at(dprime: float) -> float:
        def loss(tau: float) -> float:
            same, different = same_different_rates(tau, dprime)
            # what is left of 1 by upper tails, which keep their digits
            over, under = ndtr((dprime - tau) / ROOT), ndtr((-tau - dprime) / ROOT)
            return -float(
                xlogy(same_same, same)
                + xlogy(same_different, 2 * ndtr(-tau / ROOT))
                + xlogy(different_same, different)
                + xlogy(different_different, over + under)
            )

        return -_least_on(loss, 0, 2 * FAR)

    return at


def same_different_estimate(same: float, different: float) -> tuple[float, float]:
    """tau and d-prime from the proportions 'same' for same and for different pairs.

    Both are infinite when every same pair was called same. Where 'same' is no commoner for
    same pairs d-prime is 0, and tau belongs to the share over all pairs, which is then to
    be given as both.
    """
    tau = float(ROOT * ndtri((1 + same) / 2))
    if different >= same:
        return tau, 0.0
    if same >= 1:
        return np.inf, np.inf
    if different <= 0:
        return tau, np.inf
    low, high = 0.0, 40.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (
            (middle, high) if same_different_rates(tau, middle)[1] > different else (low, middle)
        )
    return tau, (low + high) / 2


class GradedLikelihood:
    """Cumulative probit for sureness grades: common thresholds, one shift a product.

    Parameters
    ----------
    table : float array, shape (products, grades)
        Row 0 the reference, whose shift is 0; empty grades are merged away.
    """

    def __init__(self, table: Floats):
        self.table = table[:, table.sum(axis=0) > 0]
        self.products, self.grades = self.table.shape

    def places(self) -> tuple[Ints, Ints]:
        """Places of products and of thresholds, which the likelihood drives apart.

        Products at different places have an infinite distance in d-prime, those at one
        place a finite one, or none that the answers fix where the place is even.

        A product that uses the grades low .. high holds the thresholds between them
        together: as all others run away, none of its answers becomes impossible only if
        these move along with it. Thresholds so chained are one block, an odd place. A
        product with one grade only lies in the block on both sides of the grade, or, where
        the sides belong to different blocks, in the gap between them, an even place. The
        log-likelihood is concave, and rises for ever just where blocks can part [a].

        [a] Rockafellar, R.T. (1970). Convex Analysis, theorem 27.1: directions of
            recession. (From memory.)
        """
        used = self.table > 0
        low, high = used.argmax(axis=1), self.grades - 1 - used[:, ::-1].argmax(axis=1)
        inner = np.arange(self.grades - 2)  # thresholds t and t + 1 are held together
        chained = ((low[:, None] <= inner) & (inner + 1 < high[:, None])).any(axis=0)
        block = 2 * np.concatenate([[0], np.cumsum(~chained)]) + 1
        around = np.concatenate([[-1], block, [block[-1] + 2]])  # below and above each grade
        below, above = around[low], around[low + 1]
        return np.where(low < high, above, (below + above) // 2), block

    def at(self, thresholds: Floats, shifts: Floats) -> float:
        """Log-likelihood for ordered thresholds and the shifts of all products."""
        edges = np.concatenate([[-np.inf], thresholds, [np.inf]])
        place = edges[None, :] - shifts[:, None]
        # differences of whichever tail is small, so that far cells keep their digits
        low, high = place[:, :-1], place[:, 1:]
        mass = np.where(low + high > 0, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
        return float(xlogy(self.table, np.maximum(mass, 1e-300)).sum())

    def fit(self, fixed: dict[int, float] | None = None) -> tuple[Floats, Floats, float]:
        """Thresholds, shifts and log-likelihood at the maximum, some shifts held fixed.

        Newton's steps on the thresholds and shifts themselves, halved until the concave
        log-likelihood rises; where it rises for ever the steps end at `FAR`.
        """
        held = {0: 0.0} | (fixed or {})
        shifts = np.zeros(self.products)
        for product, value in held.items():
            shifts[product] = value
        share = np.cumsum(self.table.sum(axis=0))[:-1] / self.table.sum()
        cuts = ndtri(np.clip(share, 0.01, 0.99))
        cuts = np.maximum.accumulate(cuts + 1e-3 * np.arange(len(cuts)))
        place = np.concatenate([cuts + shifts.mean(), shifts])
        moves = np.array([True] * len(cuts) + [k not in held for k in range(self.products)])
        top = self.at(*self._parts(place))
        for _ in range(200):
            step = self._step(place, moves)
            size = 1.0
            while size > 1e-9:
                trial = np.clip(place + size * step, -2 * FAR, 2 * FAR)
                value = self.at(*self._parts(trial)) if self._ordered(trial) else -np.inf
                if value >= top:
                    break
                size /= 2
            else:
                break
            gain, place, top = value - top, trial, value
            if gain <= 1e-14 * abs(top):
                break
        return (*self._parts(place), top)

    def standard_error(self, product: int) -> float:
        """Of the shift of a product, from the observed information at the maximum."""
        thresholds, shifts, _ = self.fit()
        kept = [k for k in range(self.grades - 1 + self.products) if k != self.grades - 1]
        bend = -self._slopes(thresholds, shifts)[1][np.ix_(kept, kept)]
        variance = np.linalg.pinv(bend)[kept.index(self.grades - 1 + product)]
        return float(np.sqrt(max(variance[kept.index(self.grades - 1 + product)], 0.0)))

    def _parts(self, place: Floats) -> tuple[Floats, Floats]:
        return place[: self.grades - 1], place[self.grades - 1 :]

    def _ordered(self, place: Floats) -> bool:
        return bool((np.diff(place[: self.grades - 1]) > 0).all())

    def _step(self, place: Floats, moves: Bools) -> Floats:
        """Newton's step; a flat direction is left alone by the small ridge."""
        slope, bend = self._slopes(*self._parts(place))
        kept = np.ix_(moves, moves)
        inside = -bend[kept]
        inside[np.diag_indices_from(inside)] += 1e-10 + 1e-9 * np.abs(np.diag(inside))
        step = np.zeros(len(place))
        step[moves] = np.linalg.solve(inside, slope[moves])
        longest = np.abs(step).max()
        return step if longest <= 2 else step * (2 / longest)

    def _slopes(self, thresholds: Floats, shifts: Floats) -> tuple[Floats, Floats]:
        """Gradient and second derivatives, thresholds first, then shifts."""
        edges = np.concatenate([[-np.inf], thresholds, [np.inf]])
        at = edges[None, :] - shifts[:, None]
        low, high = at[:, :-1], at[:, 1:]
        mass = np.where(low + high > 0, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
        mass = np.maximum(mass, 1e-300)
        finite_low, finite_high = (np.where(np.isfinite(x), x, 0.0) for x in (low, high))
        up = np.exp(-(high**2) / 2) / np.sqrt(2 * np.pi) / mass
        down = np.exp(-(low**2) / 2) / np.sqrt(2 * np.pi) / mass
        n = self.table
        both, upper = n * up * down, -n * up * (finite_high + up)
        lower = n * down * (finite_low - down)
        cut, count = self.grades - 1, self.grades - 1 + self.products
        bend = np.zeros((count, count))
        at_cut = np.arange(cut)
        bend[at_cut, at_cut] = upper[:, :-1].sum(0) + lower[:, 1:].sum(0)
        bend[at_cut[1:], at_cut[:-1]] = bend[at_cut[:-1], at_cut[1:]] = both[:, 1:-1].sum(0)
        mixed = -(upper + both)[:, :-1] - (lower + both)[:, 1:]
        bend[cut:, :cut], bend[:cut, cut:] = mixed, mixed.T
        product = np.arange(cut, count)
        bend[product, product] = (upper + lower + 2 * both).sum(1)
        slope = np.concatenate(
            [(n * up)[:, :-1].sum(0) - (n * down)[:, 1:].sum(0), (n * (down - up)).sum(1)]
        )
        return slope, bend
