"""Links from d-prime to the proportion of correct answers, one for each decision rule.

Every percept is a unit-variance normal; the two products differ by d on one
dimension. References:

[1] Ennis, J.M., Ennis, D.M., Yip, D. and O'Mahony, M. (1998). Thurstonian models for
    variants of the method of tetrads. Brit. J. Math. Stat. Psych. 51, 205-215.
[2] Ennis, D.M. (1993). The power of sensory discrimination methods.
    J. Sensory Studies 8, 353-370.
[3] David, H.A. and Trivedi, M.C. (1962). Pair, triangle and duo-trio tests.
    Virginia Polytechnic Institute, Technical Report 55.

(References are cited from memory; the formulas were checked by simulation of each
decision rule and by mpmath, see tests/models/.)

Triangle, 3-AFC and tetrad reduce to bivariate normal orthants with correlation 1/2 or
sqrt(3)/2, hence to Owen's T function; the usual integrals are the check in tests/models/.
Two-out-of-five keeps an integral over fixed nodes. Error below 1e-12 for d in [0, 10].

Why so
------
Links by Owen's T. Triangle, 3-AFC and tetrad are bivariate normal orthants, so `1 - 4 T(d/√6,
√3)`, `Φ(h) - 2 T(h, 1/√3)` and `1 - 8 T(h, 1/√3)` with `h = d/√2` replace quadrature: exact to
rounding and faster. The integrals are the tests. Two-out-of-five has no such form: a product rule
feeds a Chebyshev series.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy
from numpy.polynomial.chebyshev import Chebyshev
from numpy.typing import ArrayLike

from ..base.arrays import Floats
from ..base.checks import within

_STEP = 0.2
_Z = np.arange(-45, 46) * _STEP
_Z_WEIGHT = np.exp(-_Z * _Z / 2) / np.sqrt(2 * np.pi) * _STEP
_T, _T_RAW = np.polynomial.legendre.leggauss(80)
_HALF, _HALF_WEIGHT = 5.0 * (_T + 1.0), 5.0 * _T_RAW  # nodes and weights on [0, 10]
_FARTHEST = 40.0


def _phi(z: Floats) -> Floats:
    return np.exp(-z * z / 2) / np.sqrt(2 * np.pi)


def _triangle(d: Floats) -> Floats:
    # The odd one is the percept farthest from the other two; the integral of [2],
    # 2 int_0^inf [Phi(-z sqrt3 + d sqrt(2/3)) + Phi(-z sqrt3 - d sqrt(2/3))] phi(z) dz.
    return 1 - 4 * scipy.special.owens_t(d / np.sqrt(6), np.sqrt(3))


def _triangle_slope(d: Floats) -> Floats:
    h = d / np.sqrt(6)
    return 4 / np.sqrt(6) * _phi(h) * (scipy.special.ndtr(np.sqrt(3) * h) - 0.5)


def _duo_trio(d: Floats) -> Floats:
    # The sample nearer to the reference; [3].
    a, b = scipy.special.ndtr(d / np.sqrt(2)), scipy.special.ndtr(d / np.sqrt(6))
    return 1 - a - b + 2 * a * b


def _duo_trio_slope(d: Floats) -> Floats:
    s, t = d / np.sqrt(2), d / np.sqrt(6)
    return _phi(s) / np.sqrt(2) * (2 * scipy.special.ndtr(t) - 1) + _phi(t) / np.sqrt(6) * (
        2 * scipy.special.ndtr(s) - 1
    )


def _paired(d: Floats) -> Floats:
    return scipy.special.ndtr(d / np.sqrt(2))


def _paired_slope(d: Floats) -> Floats:
    return _phi(d / np.sqrt(2)) / np.sqrt(2)


def _three_afc(d: Floats) -> Floats:
    # The strongest percept is the odd sample's: int Phi(z)^2 phi(z - d) dz.
    h = d / np.sqrt(2)
    return scipy.special.ndtr(h) - 2 * scipy.special.owens_t(h, 1 / np.sqrt(3))


def _three_afc_slope(d: Floats) -> Floats:
    h = d / np.sqrt(2)
    return np.sqrt(2) * _phi(h) * scipy.special.ndtr(h / np.sqrt(3))


def _tetrad(d: Floats) -> Floats:
    # Grouped rightly when one pair lies wholly below the other [1]:
    # 1 - 2 int phi(z) [2 Phi(z) Phi(z - d) - Phi(z - d)^2] dz.
    return 1 - 8 * scipy.special.owens_t(d / np.sqrt(2), 1 / np.sqrt(3))


def _tetrad_slope(d: Floats) -> Floats:
    h = d / np.sqrt(2)
    return 8 / np.sqrt(2) * _phi(h) * (scipy.special.ndtr(h / np.sqrt(3)) - 0.5)


# Two-out-of-five. Rule: put the five percepts in order; the two lowest are the pair if
# the gap above them is larger than the gap below the two highest, else the two highest.
# With the three alike as N(0,1) and the pair as N(d,1), let v be the middle one of the
# three and v + w the highest. The pair is found on top when its lower member exceeds
# (v + w) + w, with density 6 phi(v) phi(v + w) Phi(v) for (v, w); at the bottom by
# symmetry with -d. Hence pc(d) = T(d) + T(-d),
# T(d) = 6 int int phi(v) phi(v + w) Phi(v) Phi(d - v - 2 w)^2 dw dv.
_V = _Z[:, None]


@lru_cache(maxsize=1)
def _pair_nodes() -> tuple[Floats, Floats]:
    """Weights and nodes of that integral."""
    weight = (
        6 * _Z_WEIGHT[:, None] * scipy.special.ndtr(_V) * _phi(_V + _HALF) * _HALF_WEIGHT
    ).ravel()
    node = (_V + 2 * _HALF).ravel()
    kept = weight > 1e-19
    return weight[kept], node[kept]


def pair_of_five(d: Floats) -> Floats:
    """The double integral above on its product nodes: 3362 terms for each d."""
    weight, node = _pair_nodes()
    up, down = scipy.special.ndtr(d[:, None] - node), scipy.special.ndtr(-d[:, None] - node)
    return (up**2 + down**2) @ weight


def pair_of_five_slope(d: Floats) -> Floats:
    """Derivative of `pair_of_five`."""
    weight, node = _pair_nodes()
    up, down = d[:, None] - node, -d[:, None] - node
    return 2 * (scipy.special.ndtr(up) * _phi(up) - scipy.special.ndtr(down) * _phi(down)) @ weight


@lru_cache(maxsize=2)
def _series(function: Callable[[Floats], Floats]) -> Chebyshev:
    # The integral is entire in d: a Chebyshev series reproduces it to rounding error.
    return Chebyshev.interpolate(function, 160, domain=[0.0, _FARTHEST])


def _two_out_of_five(d: Floats) -> Floats:
    return _series(pair_of_five)(d)


def _two_out_of_five_slope(d: Floats) -> Floats:
    return _series(pair_of_five_slope)(d)


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """A monotone map from d-prime in [0, inf) to the proportion correct in [guess, 1).

    Attributes
    ----------
    guess : float
        Proportion correct at d-prime 0.
    curve, curve_slope : callable
        The map and its derivative on one-dimensional arrays.
    """

    guess: float
    curve: Callable[[Floats], Floats]
    curve_slope: Callable[[Floats], Floats]

    def proportion_correct(self, dprime: ArrayLike) -> Floats:
        """Proportion correct at `dprime` >= 0, same shape; 1 at infinity."""
        d = within("dprime", dprime, 0.0, np.inf)
        return np.where(np.isinf(d), 1.0, np.clip(self._apply(self.curve, d), self.guess, 1.0))

    def slope(self, dprime: ArrayLike) -> Floats:
        """Derivative of the proportion correct with respect to d-prime."""
        d = within("dprime", dprime, 0.0, np.inf)
        return np.maximum(self._apply(self.curve_slope, d), 0.0)

    def dprime(self, pc: ArrayLike) -> Floats:
        """d-prime at proportion correct `pc`: 0 at or below guessing, infinite at 1.

        A safeguarded Newton iteration on all elements at once: a step that leaves the
        bracket is replaced by its midpoint.
        """
        shape = np.shape(pc)
        target = within("pc", pc, 0.0, 1.0).ravel()
        inside = (target > self.guess) & (target < 1.0)
        result = np.where(target >= 1.0, np.inf, 0.0)
        if inside.any():
            result[inside] = self._solve(target[inside])
        return result.reshape(shape)

    def _solve(self, target: Floats) -> Floats:
        d = _start(self, target)
        low, high = np.zeros_like(d), np.full_like(d, _FARTHEST)
        active = np.arange(d.size)
        for _ in range(100):
            here, aim = d[active], target[active]
            gap = self._apply(self.curve, here) - aim
            low[active] = np.where(gap <= 0, here, low[active])
            high[active] = np.where(gap >= 0, here, high[active])
            with np.errstate(divide="ignore", invalid="ignore"):
                step = here - gap / self._apply(self.curve_slope, here)
            step = np.where(gap == 0, here, step)
            inside = (step >= low[active]) & (step <= high[active])
            step = np.where(inside, step, (low[active] + high[active]) / 2)
            d[active] = step
            # the error left is about curvature / (2 slope), at most 1 / d + d, times the step^2
            left = (step - here) ** 2 * (1 / np.maximum(step, 1e-300) + step)
            narrow = high[active] - low[active] <= 1e-15 * (1 + step)
            active = active[~narrow & (~inside | (left > 1e-16 * (1 + step)))]
            if not active.size:
                break
        return d

    def _apply(self, function: Callable[[Floats], Floats], dprime: ArrayLike) -> Floats:
        flat = np.minimum(np.asarray(dprime, float).ravel(), _FARTHEST)
        return function(flat).reshape(np.shape(dprime))


@lru_cache(maxsize=16)
def _start_table(link: Link) -> tuple[Floats, Floats, Floats]:
    grid = np.concatenate([np.linspace(0, 6, 1201), np.linspace(6.02, 14, 400)])
    return grid, np.maximum.accumulate(link.curve(grid)), link.curve_slope(grid)


def _start(link: Link, target: Floats) -> Floats:
    """d-prime to some 10 digits: cubic between the points of a table, by their slopes."""
    grid, values, slopes = _start_table(link)
    i = np.clip(np.searchsorted(values, target) - 1, 0, grid.size - 2)
    left, right = grid[i], grid[i + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = values[i + 1] - values[i]
        t = (target - values[i]) / wide
        bend = wide * (t * (1 - t) ** 2 / slopes[i] - t * t * (1 - t) / slopes[i + 1])
        start = left + (right - left) * t * t * (3 - 2 * t) + bend
    # at guessing, where slopes are 0, and beyond the table a step of Newton has to do more
    sound = (start >= left) & (start <= right)
    return np.where(sound, start, (left + right) / 2)


TRIANGLE_LINK = Link(1 / 3, _triangle, _triangle_slope)
DUO_TRIO_LINK = Link(1 / 2, _duo_trio, _duo_trio_slope)
PAIRED_LINK = Link(1 / 2, _paired, _paired_slope)
THREE_AFC_LINK = Link(1 / 3, _three_afc, _three_afc_slope)
TETRAD_LINK = Link(1 / 3, _tetrad, _tetrad_slope)
TWO_OUT_OF_FIVE_LINK = Link(1 / 10, _two_out_of_five, _two_out_of_five_slope)
