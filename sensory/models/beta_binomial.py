"""Likelihood of assessors who answer more than once: its maximum and its profiles.

The model stands in `beta_moments`. The maximum and the limits start from a table of the masses
that no answer enters, so that a panel costs a product of it, and end with Newton's steps, those of
many sessions at once; a point that stands still takes no further ones.

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

from ..base.arrays import Bools, Floats, Ints, Numbers
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
    """Log-likelihood of the counts of a panel, of one session or of many.

    Attributes
    ----------
    tables : dict of int to float array
        For each number of replicates the number of assessors with 0, 1 ... correct on the last
        axis, sessions on those before it; all of the same sessions. What is asked of the
        likelihood comes out shaped like the sessions, a number for one.

    The log-likelihood holds no binomial coefficient of who gave which answer beyond that of each
    assessor's own count.
    """

    guess: float
    tables: dict[int, Floats]

    def at(self, mean: ArrayLike, spread: ArrayLike) -> Floats:
        """Log-likelihood on arrays that broadcast, with the sessions too."""
        total: Floats = np.zeros(np.broadcast_shapes(np.shape(mean), np.shape(spread), self._shape))
        with np.errstate(divide="ignore", invalid="ignore"):
            for replicates, table in self.tables.items():
                seen = np.flatnonzero(table.reshape(-1, replicates + 1).any(0))
                logs = np.log(masses(replicates, self.guess, mean, spread)[..., seen])
                total = total + np.where(table[..., seen] > 0, logs * table[..., seen], 0).sum(-1)
        return total

    @property
    def best(self) -> tuple[Numbers, Numbers, Numbers]:
        """Maximum likelihood: mean, spread and the log-likelihood there."""
        place, tops = self._tops
        return (
            self._shaped(place[0, :, MEAN]),
            self._shaped(place[0, :, SPREAD]),
            self._shaped(tops[0]),
        )

    @property
    def best_equal(self) -> tuple[Numbers, Numbers]:
        """Maximum when all assessors are alike (spread 0): mean and log-likelihood."""
        place, tops = self._tops
        return self._shaped(place[1, :, MEAN]), self._shaped(tops[1])

    @cached_property
    def spread_silent(self) -> Numbers:
        """Whether no spread below 1 fits best: all fit alike, or the likelihood rises up to 1."""
        mean, spread, top = self.best
        along = np.linspace(0, 1, 11).reshape(-1, *[1] * len(self._shape))
        flat = np.ptp(self.at(mean, along), axis=0) <= 1e-9 * np.maximum(1.0, np.abs(top))
        return flat | (spread > 1 - 1e-6)

    def profile_mean(self, mean: Floats) -> Floats:
        """Log-likelihood at each `mean`, the spread chosen best for it."""
        return self._profile_on(mean, MEAN)

    def profile_spread(self, spread: Floats) -> Floats:
        """Log-likelihood at each `spread`, the mean chosen best for it."""
        return self._profile_on(spread, SPREAD)

    def limits(self, name: str, level: float) -> tuple[Numbers, Numbers]:
        """Profile-likelihood limits of `mean` or `spread`."""
        drop = float(chdtri(1, 1 - level)) / 2
        low, high = self.crossings([(name, drop, -1), (name, drop, 1)])
        return low, high

    def crossings(self, wanted: Sequence[tuple[str, ArrayLike, int]]) -> Floats:
        """Where a profile lies so much below its top, for each name, drop and side (-1 or 1).

        A drop is a number or shaped like the sessions. Shape (wanted, *sessions); the end, 0 or 1,
        where the profile does not fall so far. The root of twice the fall is nearly straight: a
        Newton step of it, with the other parameter moved by its own, until both stand still; a
        step that leaves the bracket halves it instead.
        """
        sessions = int(np.prod(self._shape, dtype=int))
        along = np.repeat([MEAN if name == "mean" else SPREAD for name, _, _ in wanted], sessions)
        sides = np.repeat([side for _, _, side in wanted], sessions)
        drops = np.concatenate(
            [np.broadcast_to(drop, self._shape).ravel() for _, drop, _ in wanted]
        ).astype(float)
        of = np.tile(np.arange(sessions), len(wanted))
        ends = np.where(sides > 0, 1.0, 0.0)
        place = self._starts(of, along, sides, drops)
        whole = self._reaches(of, along, ends, self._tops[1][0, of] - drops)
        inner = np.flatnonzero(~whole)
        limits = ends.copy()
        limits[inner] = self._crossed(
            place[inner], of[inner], along[inner], sides[inner], drops[inner]
        )
        return limits.reshape(len(wanted), *self._shape)

    def _crossed(self, place: Floats, of: Ints, along: Ints, sides: Ints, drops: Floats) -> Floats:
        """Newton's steps of `crossings` for the points that have a crossing."""
        crossed = np.empty(len(of))
        best, tops = (part[0, of] for part in self._tops)
        inside, outside = best[np.arange(len(of)), along], np.where(sides > 0, 1.0, 0.0)
        state = [np.arange(len(of)), place, of, along, sides, drops, tops, inside, outside]
        for _ in range(_MOST_STEPS):
            which, place, of, along, sides, drops, tops, inside, outside = state
            each, other = np.arange(len(of)), 1 - along
            at = place[each, along]
            value, slope, bend = self._slopes(place, of)
            step = _uphill(place, slope, bend, other)
            value = value + step * (slope[each, other] + bend[each, other, other] * step / 2)
            tilt = slope[each, along] + bend[each, along, other] * step
            sure, kept = np.abs(step) < _SETTLED, value >= tops - drops
            inside = np.where(sure & kept, at, inside)
            outside = np.where(sure & ~kept, at, outside)
            fallen = np.sqrt(np.maximum(2 * (tops - value), 0.0))
            with np.errstate(divide="ignore", invalid="ignore"):
                to = at + (fallen - np.sqrt(2 * drops)) * fallen / tilt
                within = ((to - inside) * (to - outside) <= 0) | (np.abs(to - at) < _NEAR)
                sound = within & (tilt * sides < 0)
            to = np.where(sound, to, (inside + outside) / 2)
            place = place.copy()
            place[each, along], place[each, other] = to, place[each, other] + step
            crossed[which] = to
            still = (np.abs(to - at) < _NEAR) & (np.abs(step) < _NEAR)
            on = ~(still | (np.abs(inside - outside) < _NEAR))
            if not on.any():
                break
            state = [
                part[on] for part in (which, place, of, along, sides, drops, tops, inside, outside)
            ]
        return crossed

    def _reaches(self, of: Ints, along: Ints, ends: Floats, target: Floats) -> Bools:
        """Whether the profile still lies at or above the target at the end of its range."""
        tops = self._ridges[0][along, of]
        known = np.where(ends > 0, tops[:, -1], tops[:, 0])
        reached = np.asarray(known >= target)
        near = np.flatnonzero(~reached & (known > target - _DOUBTFUL))
        reached[near] = self._profile(ends[near], of[near], along[near]) >= target[near]
        return reached

    def _starts(self, of: Ints, along: Ints, sides: Ints, drops: Floats) -> Floats:
        """Crossings by the coarse table, straight in the root of the fall: (points, 2).

        The nodes of a point stand in the order in which it goes outwards, the best place first.
        """
        each, (best, heights) = np.arange(len(of)), (part[0, of] for part in self._tops)
        order = np.where(sides[:, None] > 0, np.arange(len(_NODES)), np.arange(len(_NODES))[::-1])
        at, across = best[each, along], best[each, 1 - along]
        nodes = np.column_stack([at, _NODES[order]])
        tops, others = (part[along[:, None], of[:, None], order] for part in self._ridges)
        others = np.column_stack([across, _NODES[others]])
        fall = np.column_stack([np.zeros(len(of)), heights[:, None] - tops])
        root = np.sqrt(np.maximum(2 * fall, 0.0))
        beyond = sides[:, None] * (nodes - at[:, None]) > 0
        wanted = np.sqrt(2 * drops)
        kept = beyond & (root <= wanted[:, None])
        last = np.where(kept.any(1), nodes.shape[1] - 1 - kept[:, ::-1].argmax(1), 0)
        first = np.where(beyond.any(1), beyond.argmax(1), 0)
        after = np.where(last > 0, np.minimum(last + 1, nodes.shape[1] - 1), first)
        rise = np.maximum(root[each, after] - root[each, last], _LEAST)
        share = np.clip((wanted - root[each, last]) / rise, 0.0, 1.0)
        place = np.empty((len(of), 2))
        for values, axis in ((nodes, along), (others, 1 - along)):
            from_, to = values[each, last], values[each, after]
            place[each, axis] = from_ + share * (to - from_)
        return place

    def _profile_on(self, fixed: ArrayLike, axis: int) -> Floats:
        """The profile at values that broadcast with the sessions."""
        shape = np.broadcast_shapes(np.shape(fixed), self._shape)
        of = np.broadcast_to(np.arange(self._tops[1].shape[1]).reshape(self._shape), shape).ravel()
        at = np.broadcast_to(np.asarray(fixed, float), shape).ravel()
        return self._profile(at, of, np.full(of.shape, axis)).reshape(shape)

    def _profile(self, fixed: Floats, of: Ints, along: Ints) -> Floats:
        each, place = np.arange(len(of)), np.empty((len(of), 2))
        nearest = np.abs(_NODES - fixed[:, None]).argmin(1)
        place[each, along] = fixed
        place[each, 1 - along] = _NODES[self._ridges[1][along, of, nearest]]
        return self._climbed(place, of, np.arange(2) != along[:, None])[1]

    @cached_property
    def _tops(self) -> tuple[Floats, Floats]:
        """Place and height of the maximum, then at spread 0: (2, sessions, 2), (2, sessions)."""
        tops, ridge = self._ridges
        sessions = np.arange(tops.shape[1])
        mean = tops[MEAN].argmax(1)
        start = np.zeros((2, len(sessions), 2))
        start[0, :, MEAN], start[0, :, SPREAD] = _NODES[mean], _NODES[ridge[MEAN, sessions, mean]]
        start[1, :, MEAN] = _NODES[ridge[SPREAD, :, 0]]
        moves = np.broadcast_to([[[True, True]], [[True, False]]], start.shape)
        place, height = self._climbed(
            start.reshape(-1, 2), np.tile(sessions, 2), moves.reshape(-1, 2)
        )
        return place.reshape(start.shape), height.reshape(2, -1)

    def _climbed(self, place: Floats, of: Ints, moves: Bools) -> tuple[Floats, Floats]:
        """Maximum from a place, by Newton's steps of the parameters that move, (points, 2)."""
        place, at = place.copy(), self._slopes(place, of)
        reach, on = np.full(len(place), _REACH), np.arange(len(place))
        for _ in range(_MOST_STEPS if on.size else 0):
            step = _newton_step(place[on], tuple(part[on] for part in at), moves[on], reach[on])
            trial = np.clip(place[on] + step, 0.0, 1.0)
            new = self._slopes(trial, of[on])
            higher = new[0] >= at[0][on]
            place[on[higher]] = trial[higher]
            for part, fresh in zip(at, new, strict=True):
                part[on[higher]] = fresh[higher]
            reach[on[~higher]] /= 4
            on = on[(np.abs(step).max(1) >= _NEAR) & (reach[on] >= _NEAR)]
            if not on.size:
                break
        return place, at[0]

    @cached_property
    def _ridges(self) -> tuple[Floats, Ints]:
        """Of each session, at each node of mean and of spread: the log-likelihood at the best node
        of the other parameter, and which that is, (2, sessions, nodes) each.
        """
        coarse = sum(
            table @ _log_masses(replicates, self.guess).reshape(-1, replicates + 1).T
            for replicates, table in self._flat.items()
        )
        coarse = np.asarray(coarse).reshape(-1, len(_NODES), len(_NODES))  # session, mean, spread
        best = np.stack([coarse.argmax(2), coarse.argmax(1)])
        return np.stack([coarse.max(2), coarse.max(1)]), best

    @cached_property
    def _flat(self) -> dict[int, Floats]:
        """The tables with all sessions on one axis."""
        return {
            replicates: np.asarray(table, float).reshape(-1, replicates + 1)
            for replicates, table in self.tables.items()
        }

    @property
    def _shape(self) -> tuple[int, ...]:
        return next(iter(self.tables.values())).shape[:-1]

    def _shaped(self, values: Floats) -> Numbers:
        return values.reshape(self._shape)[()]

    def _slopes(self, place: Floats, of: Ints) -> Slopes:
        """Log-likelihood of a session each with gradient and second derivatives, at (points, 2)."""
        value, slope = np.zeros(len(place)), np.zeros((len(place), 2))
        bend = np.zeros((len(place), 2, 2))
        for replicates, table in self._flat.items():
            seen = np.flatnonzero(table.any(0))
            weight = table[:, seen][of]
            jet = mass_jets(replicates, self.guess, place[:, MEAN], place[:, SPREAD])[..., seen]
            chance = np.where(weight > 0, np.maximum(jet[0], _LEAST), 1.0)
            rate = jet[1:3] / chance
            value += (np.log(chance) * weight).sum(1)
            slope += (rate * weight).sum(2).T
            for which, (first, other) in enumerate(((0, 0), (0, 1), (1, 1))):
                part = ((jet[3 + which] / chance - rate[first] * rate[other]) * weight).sum(1)
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
    """Number of assessors by replicates and by correct answers.

    `correct` and `replicates` of one shape, assessors on the last axis, sessions before it.

    >>> tabulated(np.array([[2, 0, 1], [2, 2, 1]]), np.full((2, 3), 2))
    {2: array([[1., 1., 1.],
           [0., 1., 2.]])}
    """
    shape = correct.shape[:-1]
    session = np.arange(int(np.prod(shape, dtype=int))).reshape(*shape, 1)
    tables = {}
    for m in np.unique(replicates).tolist():
        cell = (session * (m + 1) + correct)[replicates == m]
        counted = np.bincount(cell, minlength=session.size * (m + 1)).astype(float)
        tables[m] = counted.reshape(*shape, m + 1)
    return tables
