"""Screening by use of the scale: strengths that are known, each served twice and scored blind.

[1] Share of pairs in the right order and of the scale used: common practice, no source.
[2] Jonckheere, A.R. (1954). Biometrika 41, 133-145: the distribution of the number of pairs in
    order where all orders are equally likely. (From memory.)

Why so
------
There is no true score of a strength, only a true order: so pairs of cups count whose strengths
differ, equal scores as not in order. Who puts everything into order within one point has not used
the scale, hence the second number. Both are conventions that the plant changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import ceil, comb

from ..base.checks import as_fraction, one_count, probability
from ..base.errors import ArgumentError
from .screening_rules import Judgement, Rule, Verdict

TWICE = 2
LOWEST, HIGHEST = 0, 10
_FEWEST, _MOST = 3, 6


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleRule:
    """Strengths to be scored; see `scale_rule`.

    Attributes
    ----------
    order : tuple of str
        Strengths, the weakest first, each in two cups.
    pairs, reach : float
        Share of pairs needed in the right order; share of the scale needed between the mean of
        the weakest and that of the strongest.
    needed : int
        Pairs needed in the right order.
    """

    order: tuple[str, ...]
    pairs: float
    reach: float
    needed: int
    source: str = "common practice, no source: share of pairs in order and of the scale used"

    @property
    def compared(self) -> int:
        """Pairs of cups whose strengths differ."""
        return comb(TWICE * len(self.order), 2) - len(self.order)

    @property
    def wrong_pass(self) -> float:
        """The most that the chance of passing can be with scores in random order."""
        return pairs_by_luck(len(self.order), self.needed)

    def decide(self, answer: Sequence[tuple[str, float]]) -> Judgement:
        """By cup: its strength and its score.

        Raises ArgumentError where a strength has not two scores on the scale.
        """
        if sorted(name for name, _ in answer) != sorted(TWICE * self.order):
            raise ArgumentError(f"answer needs two scores of each of {', '.join(self.order)}.")
        if wrong := [score for _, score in answer if not LOWEST <= score <= HIGHEST]:
            raise ArgumentError(f"Scores lie from {LOWEST} to {HIGHEST}; got {wrong[0]:g}.")
        place = {name: at for at, name in enumerate(self.order)}
        right = sum(
            (place[first] - place[second]) * (score - other) > 0
            for (first, score), (second, other) in combinations(answer, 2)
        )
        low, high = (
            sum(score for name, score in answer if name == end) / TWICE
            for end in (self.order[0], self.order[-1])
        )
        used = (high - low) / (HIGHEST - LOWEST)
        passed = right >= self.needed and used >= self.reach
        return Judgement(
            verdict=Verdict.PASS if passed else Verdict.FAIL,
            result=right,
            needed=self.needed,
            p_luck=pairs_by_luck(len(self.order), right),
            reason=(
                f"{right} of {self.compared} pairs in order, {self.needed} needed; "
                f"{100 * used:.0f} % of the scale between the weakest and the strongest, "
                f"{100 * self.reach:.0f} % needed."
            ),
        )


def scale_rule(order: Sequence[str], *, pairs: float = 0.90, reach: float = 0.40) -> ScaleRule:
    """Strengths that are each served twice, in random order, and scored from 0 to 10.

    Parameters
    ----------
    order : sequence of str
        3 to 6 names, the weakest first.
    pairs, reach : float
        Conventions of [1].

    Raises
    ------
    ArgumentError
        For impossible numbers or names.

    Examples
    --------
    >>> rule = scale_rule(["20 g/l", "40 g/l", "70 g/l", "110 g/l"])
    >>> rule.needed, rule.compared, round(rule.wrong_pass, 4)
    (22, 24, 0.0052)
    """
    names = (order,) if isinstance(order, str) else tuple(map(str, order))
    if not _FEWEST <= len(names) <= _MOST or len(set(names)) < len(names):
        raise ArgumentError(
            f"order must hold {_FEWEST} to {_MOST} different names; got {', '.join(names)}."
        )
    wanted = as_fraction(pairs if pairs == 1 else probability("pairs", pairs))
    used = reach if reach == 1 else probability("reach", reach)
    compared = comb(TWICE * len(names), 2) - len(names)
    return ScaleRule(order=names, pairs=float(wanted), reach=used, needed=ceil(wanted * compared))


def pairs_by_luck(strengths: int, right: int) -> float:
    """Chance that at least so many pairs are in order where all orders are equally likely.

    Equal scores count as not in order, so with them the chance is smaller.

    >>> pairs_by_luck(2, 4), pairs_by_luck(2, 0)
    (0.16666666666666666, 1.0)
    """
    one_count("strengths", strengths, at_least=1)
    counts = [1]
    for before in range(TWICE, TWICE * strengths, TWICE):
        added = [0] * (TWICE * before + 1)  # the two new cups lie above a and b of those before
        for a in range(before + 1):
            for b in range(a, before + 1):
                added[a + b] += 1
        new = [0] * (len(counts) + len(added) - 1)
        for at, count in enumerate(counts):
            for more, ways in enumerate(added):
                new[at + more] += count * ways
        counts = new
    return sum(counts[max(right, 0) :]) / sum(counts)


SeriesRule = Rule | ScaleRule
