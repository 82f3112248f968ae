"""Limits of a distance from two independent counts, by inverting an exact test.

The chances of both counts depend on the distance d-prime and on one number more, which nobody
asks for: where people draw the line. A limit is the distance at which a table at least as far
out as the one seen has, wherever the line lies, a chance of at most the tail. So limits hold
the distance at least as often as they say.

Why so: how far out a table is, is told by its own profile-likelihood limit. Limits by that order
are the shortest that keep the level for it [1], and tables are ordered as the likelihood orders
them [2]. Tables as far out as the one seen need no profile of their own: those whose likelihood
falls at least as far at its limit. 'Wherever the line lies' means within the exact limits of
both shares at a 25th of the tail, which is taken off the tail in return [3]: lines at which
everybody says yes to everything would otherwise widen the limits of every panel.

[1] Buehler, R.J. (1957). Confidence intervals for the product of two binomial parameters.
    J. Amer. Statist. Assoc. 52, 482-493.
[2] Kabaila, P. and Lloyd, C.J. (2003). The efficiency of Buehler confidence limits.
    Statistics & Probability Letters 65, 21-28.
[3] Berger, R.L. and Boos, D.D. (1994). P values maximized over a confidence set for the
    nuisance parameter. J. Amer. Statist. Assoc. 89, 1012-1016.
(All from memory.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize
from scipy.special import betainc, gammaln, ndtr, ndtri, xlogy

from ..base.arrays import Bools, Floats, Ints
from .binomial import clopper_pearson
from .signal import FAR, ROOT

MOST_ANSWERS = 2000
"""Answers of both kinds together for which every table is summed."""

_LINES = 5.0  # how far beyond the means of the percepts people may draw the line
_ALL = np.array([0.0, 1.0])
_GOLDEN = (np.sqrt(5) - 1) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Chances of both counts.

    Attributes
    ----------
    at : callable
        Of where the line is drawn and the distance: chance of a first 'yes', of a first 'no', of a
        second 'yes' and of a second 'no', each with its own digits.
    matched : callable
        Of a first share and a distance: the second share that fits both exactly.
    span : callable
        Of the distance, and of the least and largest first and second share: between which ends
        the line lies.
    least : float
        Smallest distance there is.
    """

    at: Callable[[Floats, float], tuple[Floats, Floats, Floats, Floats]]
    matched: Callable[[Floats, float], Floats]
    span: Callable[[float, Floats, Floats], tuple[float, float]]
    least: float


def _yes_no(line: Floats, dprime: float) -> tuple[Floats, Floats, Floats, Floats]:
    up, down = line + dprime / 2, line - dprime / 2
    return ndtr(up), ndtr(-up), ndtr(down), ndtr(-down)


def _yes_no_span(dprime: float, first: Floats, second: Floats) -> tuple[float, float]:
    up, down = ndtri(first) - dprime / 2, ndtri(second) + dprime / 2
    far = _LINES + abs(dprime) / 2
    return float(max(up[0], down[0], -far)), float(min(up[1], down[1], far))


YES_NO = Rates(
    at=_yes_no,
    matched=lambda share, dprime: np.asarray(ndtr(ndtri(share) - dprime)),
    span=_yes_no_span,
    least=-FAR,
)


def _same_different(line: Floats, dprime: float) -> tuple[Floats, Floats, Floats, Floats]:
    """The line is the probit of the share 'same' of same pairs, and tau follows from it."""
    tau = -ROOT * ndtri(ndtr(-line) / 2)
    near, far = (tau - dprime) / ROOT, (-tau - dprime) / ROOT
    other, other_no = ndtr(near) - ndtr(far), ndtr(-near) + ndtr(far)
    return ndtr(line), ndtr(-line), np.maximum(other, 0.0), np.minimum(other_no, 1.0)


def _same_different_matched(share: Floats, dprime: float) -> Floats:
    tau = ROOT * ndtri((1 + share) / 2)
    return np.asarray(ndtr((tau - dprime) / ROOT) - ndtr((-tau - dprime) / ROOT))


def _same_different_span(dprime: float, first: Floats, _second: Floats) -> tuple[float, float]:
    ends = ndtri(first)
    return float(max(ends[0], -_LINES)), float(min(ends[1], _LINES + dprime))


SAME_DIFFERENT = Rates(
    at=_same_different,
    matched=_same_different_matched,
    span=_same_different_span,
    least=0.0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """All tables of two counts.

    Attributes
    ----------
    rates : Rates
    first, second : int
        Answers of the first and of the second kind.
    """

    rates: Rates
    first: int
    second: int

    def limit(
        self, table: tuple[int, int], start: float, tail: float, side: int, mid: bool
    ) -> float:
        """The limit below (`side` 1) or above (-1) of the distance.

        `start` is the profile-likelihood limit. With `mid` the table seen counts half.
        """
        if not np.isfinite(start) or start <= self.rates.least:
            return start
        beyond = self._beyond(table, start, side)
        doubt = 0.0 if mid else tail / 25
        shares = [
            np.array([low, high])
            for low, high in (
                clopper_pearson(count, of, 1 - max(tail / 25, 1e-12) / 2)
                for count, of in zip(table, (self.first, self.second), strict=True)
            )
        ]

        def excess(dprime: float) -> float:
            """Logarithm of the largest chance of tables so far out, over the tail."""
            chance = self._largest(dprime, shares, beyond, side, table if mid else None)
            return float(np.log(max(chance, 1e-300) / (tail - doubt)))

        return _crossing(excess, start, -side, (self.rates.least, FAR))

    def _beyond(self, table: tuple[int, int], dprime: float, side: int) -> Ints:
        """For each first count the outermost second one that is still as far out as the table.

        Counted from 0 with side 1 and from all with side -1; -1 where there is none.
        """
        cut = side * self._root(np.array([table[0]]), np.array([table[1]]), dprime) - 1e-6
        counts = np.arange(self.first + 1)
        low, high = np.full(counts.shape, -1), np.full(counts.shape, self.second)
        while (low < high).any():
            middle = np.maximum((low + high + 1) // 2, 0)
            second = middle if side > 0 else self.second - middle
            inside = side * self._root(counts, second, dprime) >= cut
            low = np.where(inside & (low < high), middle, low)
            high = np.where(inside, high, np.maximum(middle - 1, low))
        return low

    def _root(self, first: Ints, second: Ints, dprime: float) -> Floats:
        """Signed root of twice the fall of the likelihood, above 0 for larger estimates."""
        n, m = self.first, self.second
        cells = np.stack([first, n - first, second, m - second]).astype(float)
        a, b = first / n, second / m
        flat = (b >= a) if self.rates.least == 0 else np.zeros(a.shape, bool)
        pooled = (first + second) / (n + m)
        shares = np.stack([np.where(flat, pooled, a), np.where(flat, pooled, b)])
        top = xlogy(cells, np.stack([shares[0], 1 - shares[0], shares[1], 1 - shares[1]])).sum(0)
        fall = np.maximum(top - self._profile(cells, dprime), 0.0)
        further = b < self.rates.matched(a, dprime)
        return np.where(further & ~flat, 1.0, -1.0) * np.sqrt(2 * fall)

    def _profile(self, cells: Floats, dprime: float) -> Floats:
        """Highest log-likelihood of each table at the distance, by golden sections."""

        def value(line: Floats) -> Floats:
            return xlogy(cells, np.maximum(self.rates.at(line, dprime), 1e-300)).sum(0)

        low, high = (np.full(cells.shape[1], end) for end in self.rates.span(dprime, _ALL, _ALL))
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        for _ in range(40):
            rises = value(left) < value(right)
            low, high = np.where(rises, left, low), np.where(rises, high, right)
            left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        return value((low + high) / 2)

    def _largest(
        self,
        dprime: float,
        shares: list[Floats],
        beyond: Ints,
        side: int,
        half: tuple[int, int] | None,
    ) -> float:
        """The largest chance of the tables beyond, wherever the line is drawn."""
        low, high = self.rates.span(dprime, *shares)
        if low > high:  # no line puts both shares within their limits
            return 0.0
        number = int(4 * (high - low) * np.sqrt(max(self.first, self.second))) + 2
        lines, step = np.linspace(low, high, number, retstep=True)
        chances = self._chances(lines, dprime, beyond, side, half)
        best = lines[np.argsort(chances)[-4:]]  # the tops may lie between the lines looked at
        near = np.clip(best[:, None] + step * np.linspace(-1, 1, 9), low, high).ravel()
        return float(max(chances.max(), self._chances(near, dprime, beyond, side, half).max()))

    def _chances(
        self, lines: Floats, dprime: float, beyond: Ints, side: int, half: tuple[int, int] | None
    ) -> Floats:
        yes, no, other_yes, other_no = (chance[:, None] for chance in self.rates.at(lines, dprime))
        first = _masses(np.arange(self.first + 1), self.first, yes, no)
        tail = _at_most(beyond, self.second, other_no if side > 0 else other_yes)
        chances: Floats = (first * tail).sum(1)
        if half is not None:
            seen = _masses(np.array([half[1]]), self.second, other_yes, other_no)[:, 0]
            chances = chances - first[:, half[0]] * seen / 2
        return chances


def _masses(counts: Ints, trials: int, yes: Floats, no: Floats) -> Floats:
    ways = gammaln(trials + 1) - gammaln(counts + 1) - gammaln(trials - counts + 1)
    return np.exp(ways + xlogy(counts, yes) + xlogy(trials - counts, no))


def _at_most(counts: Ints, trials: int, no: Floats) -> Floats:
    """P(X <= counts) from the chance of a 'no'."""
    inside: Bools = (counts >= 0) & (counts < trials)
    k = np.where(inside, counts, 0)
    return np.where(inside, betainc(trials - k, k + 1, no), counts >= trials)


def _crossing(
    excess: Callable[[float], float], start: float, way: int, ends: tuple[float, float]
) -> float:
    """Where the excess, which falls the `way` (1 up, -1 down), is 0; an end, or infinite."""
    there, back = (ends[1], ends[0]) if way > 0 else (ends[0], ends[1])
    outer = inner = start
    step = 0.25
    while excess(outer) > 0:
        if outer == there:
            return there if abs(there) < FAR else float(np.copysign(np.inf, there))
        inner, outer, step = outer, float(np.clip(outer + way * step, *ends)), 2 * step
    while inner == outer or excess(inner) < 0:
        if inner == back:
            return back
        inner, step = float(np.clip(inner - way * step, *ends)), 2 * step
    return float(optimize.brentq(excess, outer, inner, xtol=1e-7))


def exact_limits(
    rates: Rates,
    table: tuple[int, int],
    answers: tuple[int, int],
    level: float,
    profile: tuple[float, float],
    *,
    mid: bool = False,
) -> tuple[float, float]:
    """Limits of the distance at a two-sided level, half of the rest on each side.

    Parameters
    ----------
    rates : Rates
        `YES_NO` or `SAME_DIFFERENT`.
    table, answers : pair of int
        'Yes' of the first and second kind, and answers of both kinds.
    level : float
    profile : pair of float
        Profile-likelihood limits at that level, which order the tables.
    mid : bool
        Whether the table seen counts half: shorter, and holding the level on average only.

    Examples
    --------
    >>> low, high = exact_limits(YES_NO, (9, 2), (12, 12), 0.95, (0.53993, 2.83973))
    >>> round(low, 2), round(high, 2)
    (0.35, 2.86)
    """
    tables = Tables(rates=rates, first=answers[0], second=answers[1])
    tail = (1 - level) / 2
    low, high = (
        tables.limit(table, start, tail, side, mid)
        for start, side in zip(profile, (1, -1), strict=True)
    )
    return low, high
