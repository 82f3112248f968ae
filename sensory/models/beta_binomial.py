"""Likelihood of assessors who answer more than once: its maximum and its profiles.

The model stands in `beta_moments`. The maximum and the limits start from a table of the masses
that no answer enters, so that a panel costs a product of it, and end with Newton's steps.

[1] Self, S.G. and Liang, K.-Y. (1987). J. Amer. Stat. Assoc. 82, 605-610: the mixture of
    chi-squares on the boundary. (From memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from ..base.arrays import Bools, Floats, Ints
from .beta_moments import mass_jets, masses

MEAN, SPREAD = 0, 1
Slopes = tuple[Floats, ...]  # value (points,), gradient (points, 2), second derivatives
_NODES = (1 - np.cos(np.linspace(0, np.pi, 41))) / 2  # closer towards 0 and 1
_REACH = 0.08  # longest step
_NEAR, _SETTLED = 1e-10, 1e-5  # of a step: nothing, and little enough to trust a profile
_MOST_STEPS = 60
_DOUBTFUL = 5.0  # of log-likelihood: the coarse table may be as far below a profile
_LEAST = 1e-300


@dataclass(frozen=True, kw_only=True, eq=False)
class ReplicateLikelihood:
    """Log-likelihood of the counts of a panel.

    Attributes
    ----------
    tables : dict of int to float array
        For each number of replicates the number of assessors with 0, 1 ... correct.

    The log-likelihood holds no binomial coefficient of who gave which answer beyond that of each
    assessor's own count.
    """

    guess: float
    tables: dict[int, Floats]

    def at(self, mean: ArrayLike, spread: ArrayLike) -> Floats:
        """Log-likelihood on arrays that broadcast."""
        total: Floats = np.zeros(np.broadcast_shapes(np.shape(mean), np.shape(spread)))
        with np.errstate(divide="ignore", invalid="ignore"):
            for replicates, table in self.tables.items():
                seen = np.flatnonzero(table)
                logs = np.log(masses(replicates, self.guess, mean, spread)[..., seen])
                total = total + logs @ table[seen]
        return total

    @property
    def best(self) -> tuple[float, float, float]:
        """Maximum likelihood: mean, spread and the log-likelihood there."""
        place, tops = self._tops
        return float(place[0, MEAN]), float(place[0, SPREAD]), float(tops[0])

    @property
    def best_equal(self) -> tuple[float, float]:
        """Maximum when all assessors are alike (spread 0): mean and log-likelihood."""
        place, tops = self._tops
        return float(place[1, MEAN]), float(tops[1])

    @cached_property
    def spread_silent(self) -> bool:
        """Whether no spread below 1 fits best: all fit alike, or the likelihood rises up to 1."""
        mean, spread, top = self.best
        flat = np.ptp(self.at(mean, np.linspace(0, 1, 11))) <= 1e-9 * max(1.0, abs(top))
        return bool(flat or spread > 1 - 1e-6)

    def profile_mean(self, mean: Floats) -> Floats:
        """Log-likelihood at each `mean`, the spread chosen best for it."""
        return self._profile(mean, MEAN)

    def profile_spread(self, spread: Floats) -> Floats:
        """Log-likelihood at each `spread`, the mean chosen best for it."""
        return self._profile(spread, SPREAD)

    def limits(self, name: str, level: float) -> tuple[float, float]:
        """Profile-likelihood limits of `mean` or `spread`."""
        drop = float(chdtri(1, 1 - level)) / 2
        low, high = self.crossings([(name, drop, -1), (name, drop, 1)])
        return low, high

    def crossings(self, wanted: Sequence[tuple[str, float, int]]) -> Floats:
        """Where a profile lies so much below its top, for each name, drop and side (-1 or 1).

        The end, 0 or 1, where the profile does not fall so far. The root of twice the fall is
        nearly straight: a Newton step of it, with the other parameter moved by its own, until both
        stand still; a step that leaves the bracket halves it instead.
        """
        names, drops, sides = (np.array(part) for part in zip(*wanted, strict=True))
        along = np.where(names == "mean", MEAN, SPREAD)
        each, other, top = np.arange(len(along)), 1 - along, self.best[2]
        ends = np.where(sides > 0, 1.0, 0.0)
        whole = self._reaches(along, ends, top - drops)
        place = self._starts(along, sides, drops)
        inside, outside = np.array(self.best)[along], ends.copy()
        for _ in range(_MOST_STEPS):
            at = place[each, along]
            value, slope, bend = self._slopes(place)
            step = _uphill(place, slope, bend, other)
            value = value + step * (slope[each, other] + bend[each, other, other] * step / 2)
            tilt = slope[each, along] + bend[each, along, other] * step
            sure, kept = np.abs(step) < _SETTLED, value >= top - drops
            inside = np.where(sure & kept, at, inside)
            outside = np.where(sure & ~kept, at, outside)
            fallen = np.sqrt(np.maximum(2 * (top - value), 0.0))
            with np.errstate(divide="ignore", invalid="ignore"):
                to = at + (fallen - np.sqrt(2 * drops)) * fallen / tilt
                within = ((to - inside) * (to - outside) <= 0) | (np.abs(to - at) < _NEAR)
                sound = within & (tilt * sides < 0)
            to = np.where(sound, to, (inside + outside) / 2)
            place[each, along], place[each, other] = to, place[each, other] + step
            still = (np.abs(to - at) < _NEAR) & (np.abs(step) < _NEAR)
            if (whole | still | (np.abs(inside - outside) < _NEAR)).all():
                break
        return np.where(whole, ends, place[each, along])

    def _reaches(self, along: Ints, ends: Floats, target: Floats) -> Bools:
        """Whether the profile still lies at or above the target at the end of its range."""
        coarse = np.stack([self._coarse.max(1), self._coarse.max(0)])
        known = np.where(ends > 0, coarse[along, -1], coarse[along, 0])
        reached = np.asarray(known >= target)
        for axis in (MEAN, SPREAD):
            near = np.flatnonzero((along == axis) & ~reached & (known > target - _DOUBTFUL))
            if near.size:
                reached[near] = self._profile(ends[near], axis) >= target[near]
        return reached

    def _starts(self, along: Ints, sides: Ints, drops: Floats) -> Floats:
        """Crossings by the coarse table, straight in the root of the fall: (wanted, 2)."""
        place = np.empty((len(along), 2))
        for row, (axis, side, drop) in enumerate(zip(along, sides, drops, strict=True)):
            table = self._coarse if axis == MEAN else self._coarse.T
            beyond = np.flatnonzero(side * (_NODES - self.best[axis]) > 0)[::side]
            nodes = np.concatenate([[self.best[axis]], _NODES[beyond]])
            others = np.concatenate([[self.best[1 - axis]], _NODES[table[beyond].argmax(1)]])
            tops = np.concatenate([[self.best[2]], table[beyond].max(1)])
            root = np.sqrt(np.maximum(2 * (self.best[2] - tops), 0.0))
            last = int(np.flatnonzero(root <= np.sqrt(2 * drop)).max(initial=0))
            after = min(last + 1, len(nodes) - 1)
            rise = max(root[after] - root[last], 1e-300)
            share = np.clip((np.sqrt(2 * drop) - root[last]) / rise, 0.0, 1.0)
            place[row, axis] = nodes[last] + share * (nodes[after] - nodes[last])
            place[row, 1 - axis] = others[last] + share * (others[after] - others[last])
        return place

    def _profile(self, fixed: Floats, axis: int) -> Floats:
        table = self._coarse if axis == MEAN else self._coarse.T
        place = np.empty((fixed.size, 2))
        place[:, axis] = fixed
        place[:, 1 - axis] = _NODES[table[np.abs(_NODES - fixed[:, None]).argmin(1)].argmax(1)]
        return self._climbed(place, np.arange(2) != np.full((fixed.size, 1), axis))[1]

    @cached_property
    def _tops(self) -> tuple[Floats, Floats]:
        """Place and height of the maximum, and of that at spread 0: (2, 2) and (2,)."""
        mean, spread = np.unravel_index(int(self._coarse.argmax()), self._coarse.shape)
        alike = int(self._coarse[:, 0].argmax())
        start = np.array([[_NODES[mean], _NODES[spread]], [_NODES[alike], 0.0]])
        return self._climbed(start, np.array([[True, True], [True, False]]))

    def _climbed(self, place: Floats, moves: Bools) -> tuple[Floats, Floats]:
        """Maximum from a place, by Newton's steps of the parameters that move, (points, 2)."""
        at = self._slopes(place)
        reach = np.full(len(place), _REACH)
        for _ in range(_MOST_STEPS):
            step = _newton_step(place, at, moves, reach)
            trial = np.clip(place + step, 0.0, 1.0)
            new = self._slopes(trial)
            higher = new[0] >= at[0]
            place = np.where(higher[:, None], trial, place)
            at = tuple(
                np.where(higher.reshape(-1, *[1] * (part.ndim - 1)), part, old)
                for part, old in zip(new, at, strict=True)
            )
            reach = np.where(higher, reach, reach / 4)
            if (np.abs(step).max(1) < _NEAR).all() or reach.max() < _NEAR:
                break
        return place, at[0]

    @cached_property
    def _coarse(self) -> Floats:
        """Log-likelihood at all pairs of nodes, mean by spread."""
        return np.asarray(
            sum(
                _log_masses(replicates, self.guess) @ table
                for replicates, table in self.tables.items()
            )
        )

    def _slopes(self, place: Floats) -> Slopes:
        """Log-likelihood with gradient and second derivatives, at (points, 2)."""
        value, slope = np.zeros(len(place)), np.zeros((len(place), 2))
        bend = np.zeros((len(place), 2, 2))
        for replicates, table in self.tables.items():
            seen = np.flatnonzero(table)
            jet = mass_jets(replicates, self.guess, place[:, MEAN], place[:, SPREAD])[..., seen]
            chance, weight = np.maximum(jet[0], _LEAST), table[seen]
            rate = jet[1:3] / chance
            value += np.log(chance) @ weight
            slope += (rate @ weight).T
            for which, (first, other) in enumerate(((0, 0), (0, 1), (1, 1))):
                part = (jet[3 + which] / chance - rate[first] * rate[other]) @ weight
                bend[:, first, other] += part
                bend[:, other, first] = bend[:, first, other]
        return value, np.nan_to_num(slope), np.nan_to_num(bend)


def _uphill(place: Floats, slope: Floats, bend: Floats, axis: Ints) -> Floats:
    """Newton's step of one parameter towards its best value, within [0, 1]."""
    each = np.arange(len(axis))
    at, tilt, curve = place[each, axis], slope[each, axis], bend[each, axis, axis]
    step = np.where(curve < 0, -tilt / np.where(curve < 0, curve, 1.0), np.sign(tilt) * _REACH)
    return np.clip(at + np.clip(step, -_REACH, _REACH), 0.0, 1.0) - at


def _newton_step(place: Floats, at: Slopes, moves: Bools, reach: Floats) -> Floats:
    """Newton's step of what moves and is not pressed against its end; uphill where not concave."""
    _, slope, bend = at
    held = ~moves | ((place <= 0) & (slope <= 0)) | ((place >= 1) & (slope >= 0))
    tilt = np.where(held, 0.0, slope)
    curve = -np.where(held[:, :, None] | held[:, None, :], -np.eye(2), bend)
    size = np.sqrt(np.maximum(np.abs(np.einsum("pkk->pk", curve)), _LEAST))
    scaled = curve / (size[:, :, None] * size[:, None, :])
    least = np.linalg.eigvalsh(scaled)[:, 0]
    scaled += np.maximum(1e-6 - least, 0.0)[:, None, None] * np.eye(2)
    step = np.linalg.solve(scaled, (tilt / size)[:, :, None])[:, :, 0] / size
    longest = np.abs(step).max(1)
    return np.asarray(step * np.minimum(1.0, reach / np.maximum(longest, _LEAST))[:, None])


@lru_cache(maxsize=64)
def _log_masses(replicates: int, guess: float) -> Floats:
    """Logarithm of the masses at all pairs of nodes; nothing in it hangs on the answers."""
    chances = masses(replicates, guess, _NODES[:, None], _NODES)
    return np.log(np.maximum(chances, _LEAST))


def tabulated(correct: Ints, replicates: Ints) -> dict[int, Floats]:
    """Number of assessors by replicates and by correct answers."""
    return {
        int(m): np.bincount(correct[replicates == m], minlength=int(m) + 1).astype(float)
        for m in np.unique(replicates)
    }
