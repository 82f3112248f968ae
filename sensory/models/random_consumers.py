"""Accept or reject by consumers who differ: logistic regression with a random intercept.

logit P(reject) = intercept + slope * distance + own tendency of the consumer, which is normal with
a standard deviation `spread`. The distances may have known errors.

[1] Maximum likelihood by adaptive Gauss-Hermite quadrature of the intercept: Pinheiro, J.C. and
    Bates, D.M. (1995). J. Comput. Graph. Stat. 4, 12-35. (From memory; checked against R's lme4.)
[2] Errors of the distances as parameters of their own, one a sample, with the panel's normal
    likelihood beside that of the consumers: the functional form of errors in variables. (Common
    practice, no source.)

Why so
------
What a plant accepts is a share of its consumers, so the limit is the distance at which the share
*over* consumers is reached, not that of the consumer in the middle. Written as a parameter of
its own it gets profile limits, which stay sensible where the slope is loose. All consumers share
the panel's errors in the distances, so more consumers never make these go away. `spread` ends at
`WIDEST`: where nobody contradicts themselves it has no maximum, and the limit does not hang on it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, expit, log1p, logsumexp

from ..base.arrays import Bools, Floats

WIDEST = 8.0
"""Largest spread of consumers on the logit scale."""
_STEEPEST = 200.0  # slope over the whole range of distances
_ACROSS = 50.0  # the profile is followed as far as so many times the farthest distance
_NODES, _WEIGHTS = np.polynomial.hermite.hermgauss(25)
_LOG_WEIGHTS = np.log(_WEIGHTS) + _NODES**2
_NORMAL = np.arange(-8.0, 8.0 + 1e-9, 0.05)
_MASS = np.exp(-(_NORMAL**2) / 2) / np.exp(-(_NORMAL**2) / 2).sum()
_MOST_STEPS, _NEAR = 100, 1e-11
_FLAT = 0.1  # spread that may be a saddle
_SMALL = 1e-4  # step of the spread for the bend of `cut`
Slopes = tuple[float, Floats, Floats]  # height, gradient, second derivatives
Height = Callable[[Floats], Slopes]


@dataclass(frozen=True, slots=True, kw_only=True)
class RejectionFit:
    """Largest likelihood: the curve, and the distance at which the share over consumers rejects.

    Attributes
    ----------
    intercept, slope, spread : float
        On the logit scale; the slope for one unit of distance.
    errors : tuple of float
        By how many standard errors each distance that has one was moved.
    log_likelihood : float
        Of the answers; with errors of the distances also of these, constants left out.
    limit : float
        Distance at which the share is reached; below 0 or far away where the curve says so.
    p_slope : float
        One-sided, for a rejection that does not rise.
    p_fit : float
        Likelihood ratio against a rejection of its own for each sample; 1 with two samples.
    """

    intercept: float
    slope: float
    spread: float
    errors: tuple[float, ...]
    log_likelihood: float
    limit: float
    p_slope: float
    p_fit: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Rejections:
    """Answers of consumers to samples of known distances.

    Attributes
    ----------
    rejects : float array, (consumers, samples)
        1 for rejected, 0 for accepted, NaN where the consumer did not have the sample.
    distances, se : float array, (samples,)
        With the standard error of each, 0 where it is taken as exact.
    share : float
        Of consumers whose rejection is tolerated.
    """

    rejects: Floats
    distances: Floats
    se: Floats
    share: float
    _patterns: Floats = field(init=False)
    _counts: Floats = field(init=False)
    _unit: float = field(init=False)

    def __post_init__(self) -> None:
        coded = np.where(np.isnan(self.rejects), -1.0, self.rejects)
        patterns, counts = np.unique(coded, axis=0, return_counts=True)
        object.__setattr__(self, "_patterns", patterns)
        object.__setattr__(self, "_counts", counts.astype(float))
        object.__setattr__(self, "_unit", float(np.ptp(self.distances)) or 1.0)

    def fit(self) -> RejectionFit:
        """Maximum likelihood over all parameters."""
        samples, erring = len(self.distances), int((self.se > 0).sum())
        flat, level = over_saddle(self._level, np.array([0.0, 1.0]), _ends(1), 1)
        start = np.array([flat[0] - 0.5, 1.0, max(abs(flat[1]), 0.5), *[0.0] * erring])
        place, height = over_saddle(self._free, start, _ends(2, erring), 2)
        own_start = np.array(
            [*(place[0] + place[1] * self._moved(place[3:])), max(abs(place[2]), 0.5)]
        )
        own = height
        if samples > 2:
            own = over_saddle(self._likelihood, own_start, _ends(samples), samples)[1]
        slope, spread = place[1] / self._unit, abs(place[2])
        p_slope = float(chdtrc(1, max(0.0, 2 * (height - level)))) / 2
        reached = (cut(self.share, spread)[0] - place[0]) / slope if slope else np.inf
        beyond = max(0.0, 2 * (own - height))
        return RejectionFit(
            intercept=float(place[0]),
            slope=float(slope),
            spread=float(spread),
            errors=tuple(map(float, place[3:])),
            log_likelihood=height,
            limit=float(reached),
            p_slope=p_slope if slope > 0 else 1 - p_slope,
            p_fit=float(chdtrc(samples - 2, beyond)) if samples > 2 else 1.0,
        )

    def limits(self, fit: RejectionFit, level: float) -> tuple[float, float]:
        """Profile-likelihood limits of the distance: 0 and infinite where it does not end."""
        target = fit.log_likelihood - float(chdtri(1, 1 - level)) / 2
        spread = max(fit.spread, 0.5)
        place = np.array([fit.limit, fit.slope * self._unit, spread, *fit.errors])
        ends = _ends(2, len(fit.errors))
        ends[0] = 0.0, 0.0  # the limit stands still
        ends[1] = 0.0, _STEEPEST

        def fall(at: float) -> float:
            start = np.array([at, *place[1:]])
            return over_saddle(self._at_limit, start, ends, 2)[1] - target

        return _left(fall, fit.limit, self._unit), _right(fall, fit.limit, self._unit)

    def shares(self, fit: RejectionFit, distances: Floats) -> Floats:
        """Share over consumers that reject at each distance, by the curve."""
        each = fit.intercept + fit.slope * distances[:, None] + fit.spread * _NORMAL
        return np.asarray(expit(each) @ _MASS)

    def _moved(self, errors: Floats) -> Floats:
        """Distances moved by so many of their standard errors, in units of their range."""
        moved = self.distances.astype(float)
        moved[self.se > 0] += errors * self.se[self.se > 0]
        return moved / self._unit

    def _level(self, theta: Floats) -> Slopes:
        """The same rejection for all samples: (intercept, spread)."""
        samples = len(self.distances)
        jacobian = np.zeros((samples + 1, 2))
        jacobian[:-1, 0], jacobian[-1, 1] = 1.0, 1.0
        value, slope, bend = self._likelihood(jacobian @ theta)
        return value, slope @ jacobian, jacobian.T @ bend @ jacobian

    def _free(self, theta: Floats) -> Slopes:
        """The curve: (intercept, slope, spread, errors)."""
        (intercept, slope, spread), errors = theta[:3], theta[3:]
        at = self._moved(errors)
        jacobian, steps = self._jacobian(slope, errors)
        jacobian[:-1, 0], jacobian[:-1, 1] = 1.0, at
        return self._chained(intercept + slope * at, spread, errors, jacobian, steps, np.zeros(0))

    def _at_limit(self, theta: Floats) -> Slopes:
        """The curve by its limit: (limit, slope, spread, errors)."""
        (limit, slope, spread), errors = theta[:3], theta[3:]
        at = self._moved(errors) - limit / self._unit
        level, rise, bend = cut(self.share, spread)
        jacobian, steps = self._jacobian(slope, errors)
        jacobian[:-1, 0], jacobian[:-1, 1] = -slope / self._unit, at
        jacobian[:-1, 2] = rise
        seconds = np.array([-1 / self._unit, bend])
        return self._chained(level + slope * at, spread, errors, jacobian, steps, seconds)

    def _jacobian(self, slope: float, errors: Floats) -> tuple[Floats, Floats]:
        """Of logits and spread by the parameters, as far as both forms share it."""
        samples, known = len(self.distances), np.flatnonzero(self.se > 0)
        steps = np.zeros((samples, len(errors)))
        steps[known, np.arange(len(known))] = self.se[known] / self._unit
        jacobian = np.zeros((samples + 1, 3 + len(errors)))
        jacobian[-1, 2] = 1.0
        jacobian[:-1, 3:] = slope * steps
        return jacobian, steps

    def _chained(
        self,
        logits: Floats,
        spread: float,
        errors: Floats,
        jacobian: Floats,
        steps: Floats,
        seconds: Floats,
    ) -> Slopes:
        """Height in the parameters, with the panel's likelihood of the errors."""
        value, slope, bend = self._likelihood(np.array([*logits, spread]))
        gradient, second = slope @ jacobian, jacobian.T @ bend @ jacobian
        along = slope[:-1] @ steps
        second[1, 3:] += along
        second[3:, 1] += along
        if len(seconds):
            total = float(slope[:-1].sum())
            second[0, 1] += seconds[0] * total
            second[1, 0] += seconds[0] * total
            second[2, 2] += seconds[1] * total
        gradient[3:] -= errors
        second[3:, 3:] -= np.eye(len(errors))
        return value - float(errors @ errors) / 2, gradient, second

    def _likelihood(self, theta: Floats) -> Slopes:
        """Log-likelihood with its slopes by the logit of each sample, and by the spread."""
        logits, spread = theta[:-1], float(theta[-1])
        had, right = self._patterns >= 0, self._patterns == 1
        mode, width = _modes(logits, spread, had, right)
        own = mode[:, None] + np.sqrt(2) * width[:, None] * _NODES  # patterns, nodes
        each = logits[None, :, None] + spread * own[:, None, :]
        chance = expit(each)
        logs = np.where(right[:, :, None], each, 0.0) - np.logaddexp(0.0, each)
        inside = np.where(had[:, :, None], logs, 0.0).sum(1) - own**2 / 2 + _LOG_WEIGHTS
        whole = logsumexp(inside, axis=1)
        after = np.exp(inside - whole[:, None])
        rest = np.where(had[:, :, None], right[:, :, None] - chance, 0.0)
        scores = np.concatenate([rest, (rest.sum(1) * own)[:, None, :]], axis=1)
        curve = np.where(had[:, :, None], chance * (1 - chance), 0.0)
        mean = np.einsum("pkq,pq->pk", scores, after)
        weighted = after * self._counts[:, None]
        bend = np.einsum("pkq,plq->kl", scores * weighted[:, None, :], scores)
        bend -= (mean * self._counts[:, None]).T @ mean
        bend[:-1, :-1] -= np.diag(np.einsum("pkq,pq->k", curve, weighted))
        cross = np.einsum("pkq,pq->k", curve, weighted * own)
        bend[:-1, -1] -= cross
        bend[-1, :-1] -= cross
        bend[-1, -1] -= float((curve.sum(1) * own**2 * weighted).sum())
        value = float(self._counts @ (whole + np.log(width) - np.log(np.pi) / 2))
        return value, self._counts @ mean, bend


def climbed(height: Height, start: Floats, ends: Floats) -> tuple[Floats, float]:
    """Maximum by Newton's steps, damped where they do not gain.

    `ends`, (parameters, 2): lowest and highest value; a parameter whose ends are equal stays.
    """
    fixed = ends[:, 0] == ends[:, 1]
    place, damping = start, 1e-6
    value, slope, bend = height(place)
    for _ in range(_MOST_STEPS):
        held = fixed | ((place <= ends[:, 0]) & (slope < 0)) | ((place >= ends[:, 1]) & (slope > 0))
        step = np.zeros(len(place))
        step[~held] = _step(slope[~held], bend[np.ix_(~held, ~held)], damping)
        to = np.where(fixed, place, np.clip(place + step, ends[:, 0], ends[:, 1]))
        if float(slope @ (to - place)) < _NEAR:
            break
        new = height(to)
        if new[0] >= value:
            place, (value, slope, bend), damping = to, new, damping / 10
        else:
            damping = max(10 * damping, 1e-4)
    return place, value


def over_saddle(height: Height, start: Floats, ends: Floats, at: int) -> tuple[Floats, float]:
    """The maximum, also where the way led to a spread of 0, at which the slope is always 0."""
    tries = [climbed(height, start, ends)]
    if abs(tries[0][0][at]) < _FLAT:
        again = tries[0][0].copy()
        again[at] = 1.0
        tries.append(climbed(height, again, ends))
    return max(tries, key=lambda each: each[1])


def _step(slope: Floats, bend: Floats, damping: float) -> Floats:
    """Newton's step uphill, in a bend that is made concave, two units long at most."""
    size, turned = np.linalg.eigh(-bend)
    safe = np.maximum(np.abs(size), 1e-8) + damping * max(1.0, float(np.abs(size).max(initial=0.0)))
    step = turned @ ((turned.T @ slope) / safe)
    longest = float(np.abs(step).max(initial=0.0))
    return np.asarray(step * min(1.0, 2.0 / longest) if longest > 0 else step)


def _ends(before: int, behind: int = 0) -> Floats:
    """Ends of so many parameters, the spread, and so many others behind it."""
    ends = np.tile([-np.inf, np.inf], (before + 1 + behind, 1))
    ends[before] = -WIDEST, WIDEST
    return ends


def cut(share: float, spread: float) -> tuple[float, float, float]:
    """Logit at which a share over consumers rejects, its slope and its bend by their spread.

    >>> round(cut(0.25, 0.0)[0], 4), round(cut(0.25, 2.0)[0], 4)
    (-1.0986, -1.7827)
    """
    at, rise = _cut(share, spread)
    bend = (_cut(share, spread + _SMALL)[1] - _cut(share, spread - _SMALL)[1]) / (2 * _SMALL)
    return at, rise, bend


def _cut(share: float, spread: float) -> tuple[float, float]:
    plain = float(np.log(share) - log1p(-share))
    at = plain * float(np.sqrt(1 + 0.35 * spread**2))
    low, high = plain - 100.0, plain + 100.0
    for _ in range(_MOST_STEPS):
        chance = expit(at + spread * _NORMAL)
        density = chance * (1 - chance) * _MASS
        over = float(chance @ _MASS) - share
        low, high = (low, at) if over > 0 else (at, high)
        step = min(2.0, max(-2.0, -over / float(density.sum())))
        to = at + step
        at = to if low <= to <= high else (low + high) / 2
        if abs(step) < 1e-13 * (1 + abs(at)):
            break
    return at, -float(density @ _NORMAL) / float(density.sum())


def _modes(logits: Floats, spread: float, had: Bools, right: Bools) -> tuple[Floats, Floats]:
    """Where the integrand of each pattern is highest, and its width there."""
    mode, bend = np.zeros(len(had)), np.ones(len(had))
    for _ in range(_MOST_STEPS):
        chance = np.where(had, expit(logits + spread * mode[:, None]), 0.0)
        tilt = spread * np.where(right, 1 - chance, -chance).sum(1) - mode
        bend = 1 + spread**2 * (chance * (1 - chance)).sum(1)
        step = np.clip(tilt / bend, -1.0, 1.0)
        mode = mode + step
        if np.abs(step).max(initial=0.0) < 1e-7:
            break
    return mode, 1 / np.sqrt(bend)


def _left(fall: Callable[[float], float], top: float, unit: float) -> float:
    if top <= 0 or fall(0.0) >= 0:
        return 0.0
    return float(brentq(fall, 0.0, top, xtol=1e-6 * unit, rtol=1e-7))


def _right(fall: Callable[[float], float], top: float, unit: float) -> float:
    low, high = max(top, 0.0), max(top, 0.0) + unit / 4
    while fall(high) >= 0:
        low, high = high, 2 * high
        if high > _ACROSS * unit:
            return float(np.inf)
    return float(brentq(fall, low, high, xtol=1e-6 * unit, rtol=1e-7))
