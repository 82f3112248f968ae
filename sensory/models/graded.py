"""Graded answers by assessors who answer more than once, each with thresholds of their own.

Cumulative probit: an assessor gives a grade up to j to sample k with the chance
Phi((threshold j - shift k - move of the assessor) / sd k). Moves are normal between assessors
with mean 0, the reference has shift 0 and sd 1.

Why so: given the answers of an assessor the logarithm of the density of the move is concave, so
that it has one top. It is integrated by Gauss-Hermite nodes laid around that top and as wide as
its bend says (adaptive quadrature [1]): nodes that stand still miss the narrow peak of somebody
with many answers.

[1] Pinheiro, J.C. and Bates, D.M. (1995). Approximations to the log-likelihood function in the
    nonlinear mixed-effects model. J. Computational and Graphical Statistics 4, 12-35. (From
    memory.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize
from scipy.special import ndtr, ndtri

from ..base.arrays import Bools, Floats

MOST_SD = 20.0
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(31)
_LOG_WEIGHTS = np.log(_WEIGHTS) + _NODES**2 / 2 - np.log(2 * np.pi) / 2
_ROOT = np.sqrt(2 * np.pi)
_STEPS = {"ftol": 1e-12, "gtol": 1e-7, "maxiter": 400}
_minimize: Any = optimize.minimize  # whose types know no loss that returns its slopes too


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A maximum: thresholds, shifts and sds of the samples, sd of the assessors, its height."""

    thresholds: Floats
    shifts: Floats
    sds: Floats
    sd_assessor: float
    top: float


class GradedByAssessor:
    """Likelihood of graded answers with a random move for each assessor.

    Parameters
    ----------
    counts : float array, shape (assessors, samples, grades)
        Sample 0 the reference; every grade is used by somebody.
    moves : bool
        Whether assessors differ; without, all have the same thresholds.
    unequal : bool
        Whether each sample has an sd of its own.

    Places are one array: the first threshold, logarithms of the steps between thresholds, the
    shifts, the logarithms of the sds, and the sd of the assessors.
    """

    def __init__(self, counts: Floats, *, moves: bool, unequal: bool):
        self.rows, times = np.unique(counts, axis=0, return_counts=True)
        self.times = times.astype(float)
        self.samples, self.grades = counts.shape[1:]
        self.cuts = self.grades - 1
        others = self.samples - 1
        self.free: Bools = np.repeat([True, unequal, moves], [self.cuts + others, others, 1])
        self._starts = self._pooled(counts.sum(axis=0), moves)

    def at(self, place: Floats) -> tuple[float, Floats]:
        """Log-likelihood, without multinomial coefficients, and its slopes."""
        thresholds, shifts, sds, wide = self.parts(place)
        z, weights = self._nodes(thresholds, shifts, sds, wide)
        logs, slopes = self._under(thresholds, shifts, sds, wide, z)
        summed = logs + weights
        most = summed.max(axis=1, keepdims=True)
        share = np.exp(summed - most)
        total = share.sum(axis=1, keepdims=True)
        value = float(self.times @ (most + np.log(total))[:, 0])
        means = np.einsum("i,iq,piq->p", self.times, share / total, slopes)
        return value, self._turned(place, means)

    def fit(self, held: dict[int, float] | None = None, near: Floats | None = None) -> Floats:
        """The place of the maximum, some entries of it held."""
        held = held or {}
        free = self.free.copy()
        free[list(held)] = False
        bounds = np.array([(-60.0, 60.0)] * free.size)
        bounds[1 : self.cuts] = -14.0, 5.0
        bounds[-self.samples : -1] = -4.0, 4.0
        bounds[-1] = 0.0, MOST_SD
        starts = self._starts if near is None else [near]

        def place_of(entries: Floats, start: Floats) -> Floats:
            place = start.copy()
            place[list(held)] = list(held.values())
            place[free] = entries
            return place

        def loss(entries: Floats, start: Floats) -> tuple[float, Floats]:
            value, slopes = self.at(place_of(entries, start))
            return -value, -slopes[free]

        tops = [
            (_minimize(loss, start[free], args=(start,), jac=True, method="L-BFGS-B",
                       bounds=bounds[free], options=_STEPS), start)
            for start in starts
        ]  # fmt: skip
        top, start = min(tops, key=lambda pair: float(pair[0].fun))
        return place_of(top.x, start)

    def fitted(self, place: Floats) -> Fitted:
        """The parts of a place in words."""
        thresholds, shifts, sds, wide = self.parts(place)
        return Fitted(
            thresholds=thresholds,
            shifts=shifts,
            sds=sds,
            sd_assessor=wide,
            top=self.at(place)[0],
        )

    def profile(self, sample: int, near: Floats) -> Callable[[float], float]:
        """Log-likelihood at a shift of one sample, all else chosen best for it."""
        entry = self.entry(sample)
        known = {float(near[entry]): near}

        def at(shift: float) -> float:
            start = known[min(known, key=lambda other: abs(other - shift))].copy()
            if self.free[-1]:
                start[-1] = max(start[-1], 0.2)  # at 0 the likelihood is flat in the sd
            known[shift] = self.fit({entry: shift}, near=start)
            return self.at(known[shift])[0]

        return at

    def covariance(self, place: Floats) -> Floats:
        """Inverse of the observed information, nan where it has none; 0 for what is held."""
        inner = self.free & (np.arange(place.size) != place.size - 1)
        inner[-1] = self.free[-1] and 1e-4 < place[-1] < MOST_SD
        index = np.flatnonzero(inner)
        step = 1e-4 * np.eye(place.size)[index]
        bend = np.array(
            [(self.at(place + by)[1] - self.at(place - by)[1])[index] / 2e-4 for by in step]
        )
        result = np.zeros((place.size, place.size))
        try:
            inverse = np.linalg.inv(-(bend + bend.T) / 2)
        except np.linalg.LinAlgError:
            inverse = np.full(bend.shape, np.nan)
        result[np.ix_(index, index)] = inverse
        return result

    def entry(self, sample: int) -> int:
        """Where the shift of a sample stands in a place."""
        return self.cuts + sample - 1

    def parts(self, place: Floats) -> tuple[Floats, Floats, Floats, float]:
        """Thresholds, shifts, sds of the samples and the sd of the assessors."""
        cuts, others = self.cuts, self.samples - 1
        thresholds = place[0] + np.concatenate([[0.0], np.cumsum(np.exp(place[1:cuts]))])
        shifts = np.concatenate([[0.0], place[cuts : cuts + others]])
        sds = np.exp(np.concatenate([[0.0], place[cuts + others : -1]]))
        return thresholds, shifts, sds, float(place[-1])

    def _turned(self, place: Floats, slopes: Floats) -> Floats:
        """Slopes in the entries of a place from those in thresholds."""
        cuts = self.cuts
        behind = np.cumsum(slopes[:cuts][::-1])[::-1]
        turned = slopes.copy()
        turned[0] = behind[0]
        turned[1:cuts] = behind[1:] * np.exp(place[1:cuts])
        return turned

    def _pooled(self, table: Floats, moves: bool) -> list[Floats]:
        share = np.cumsum(table + 0.5, axis=1)[:, :-1] / (table + 0.5).sum(axis=1, keepdims=True)
        probits = ndtri(share)
        steps = np.log(np.maximum(np.diff(probits.mean(axis=0)), 0.05))
        shifts = (probits[0] - probits[1:]).mean(axis=1)
        pooled = np.concatenate([[probits[0, 0]], steps, shifts, np.zeros(self.samples - 1)])
        return [np.append(pooled, sd) for sd in ((0.3, 1.2) if moves else (0.0,))]

    def _nodes(
        self, thresholds: Floats, shifts: Floats, sds: Floats, wide: float
    ) -> tuple[Floats, Floats]:
        """Nodes for each assessor and the logarithms of their weights."""
        top = np.zeros(len(self.rows))
        bend = np.ones(len(self.rows))
        for _ in range(60 if wide else 0):
            pull, bent = self._pull(thresholds, shifts, sds, wide, top)
            slope, bend = wide * pull - top, 1 + wide * wide * np.maximum(bent, 0)
            move = np.clip(slope / bend, -1.5, 1.5)
            top = top + move
            if np.abs(move).max() < 1e-5:
                break
        scale = 1 / np.sqrt(bend)[:, None]
        z = top[:, None] + scale * _NODES
        return z, _LOG_WEIGHTS + np.log(scale) - z * z / 2

    def _pull(
        self, thresholds: Floats, shifts: Floats, sds: Floats, wide: float, z: Floats
    ) -> tuple[Floats, Floats]:
        """Slope of the logarithm in the move, and how it bends (positive for a top)."""
        low, high = self._edges(thresholds, shifts, sds, wide * z)
        mass = _mass(low, high)
        up, down = _density(high) / mass, _density(low) / mass
        pull = (down - up) / sds[:, None]
        flat_low, flat_high = (np.where(np.isfinite(x), x, 0.0) for x in (low, high))
        bend = (up * flat_high - down * flat_low) / sds[:, None] ** 2 + pull**2
        return (self.rows * pull).sum(axis=(1, 2)), (self.rows * bend).sum(axis=(1, 2))

    def _edges(
        self, thresholds: Floats, shifts: Floats, sds: Floats, moves: Floats
    ) -> tuple[Floats, Floats]:
        """Edges of the grades in sds of each sample; shape of `moves` + (samples, grades)."""
        edges = np.concatenate([[-np.inf], thresholds, [np.inf]])
        at = (edges - shifts[:, None] - moves[..., None, None]) / sds[:, None]
        return at[..., :-1], at[..., 1:]

    def _under(
        self, thresholds: Floats, shifts: Floats, sds: Floats, wide: float, z: Floats
    ) -> tuple[Floats, Floats]:
        """Logarithms at the nodes, and their slopes in thresholds, shifts, log sds and sd."""
        low, high = self._edges(thresholds, shifts, sds, wide * z)
        mass = _mass(low, high)
        counts = self.rows[:, None]
        up, down = (counts * _density(x) / mass for x in (high, low))
        flat_low, flat_high = (np.where(np.isfinite(x), x, 0.0) for x in (low, high))
        by_cut = ((up[..., :-1] - down[..., 1:]) / sds[:, None]).sum(axis=2)
        by_shift = (down - up).sum(axis=3) / sds
        by_sd = (down * flat_low - up * flat_high).sum(axis=3)
        slopes = np.concatenate(
            [by_cut, by_shift[..., 1:], by_sd[..., 1:], (by_shift.sum(axis=2) * z)[..., None]],
            axis=2,
        )
        return (counts * np.log(mass)).sum(axis=(2, 3)), np.moveaxis(slopes, 2, 0)


def _mass(low: Floats, high: Floats) -> Floats:
    """Chance between two edges, from whichever tails are small."""
    upper = low + high > 0
    mass = np.where(upper, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
    return np.maximum(mass, 1e-300)


def _density(x: Floats) -> Floats:
    return np.asarray(np.exp(-x * x / 2) / _ROOT)
