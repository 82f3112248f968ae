"""What a series serves and asks, and what its answers show by its rule.

[1] Concentrations common in the selection of assessors. (Common practice, no source.)

Why so
------
A triangle is served in each of its six orders equally often, in random blocks of six, since
somebody who always names the middle cup should gain nothing. Codes are used once in a series.
A question that was not answered is left out of a triangle series and never counted as wrong; in
the other series the whole set is judged together, so they wait until each question has an answer;
of an odour it may be that there is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..base.errors import RecordError
from ..base.results import several
from ..base.spelling import key_of
from ..choices.protocols import TRIANGLE
from ..serving.chance import Draw
from ..serving.codes import blinding_codes
from .scale_rule import HIGHEST, LOWEST, TWICE, ScaleRule, SeriesRule, scale_rule
from .screening_rules import (
    ChoiceRule,
    Judgement,
    OrderRule,
    Verdict,
    choice_rule,
    matching_rule,
    order_rule,
)
from .series import NO_ANSWER, Cup, PlannedSample, ScreeningRules, Series, TakenSeries

SAMPLES_FROM = (
    "Concentrations offered: common in the selection of assessors (common practice, no source)."
)
_MOST_AT_ONCE, _MOST_TWICE = 12, 6


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesKind:
    """What a series is about.

    `samples`: offered at first, weakest first in a ranking.
    `needs`: in words, which samples it takes.
    """

    series: Series
    title: str
    samples: tuple[PlannedSample, ...]
    needs: str


def _some(*lines: tuple[str, str]) -> tuple[PlannedSample, ...]:
    return tuple(PlannedSample(name=name, made=made) for name, made in lines)


KINDS = {
    kind.series: kind
    for kind in (
        SeriesKind(
            series=Series.TRIANGLES,
            title="Triangles: noticing a difference",
            samples=_some(("water", "water"), ("sour", "citric acid, 0.6 g in 1 l of water")),
            needs="two samples",
        ),
        SeriesKind(
            series=Series.TASTES,
            title="Basic tastes: recognising what was tasted before",
            samples=_some(
                ("sweet", "sucrose, 16 g in 1 l of water"),
                ("sour", "citric acid, 1 g in 1 l of water"),
                ("salty", "sodium chloride, 5 g in 1 l of water"),
                ("bitter", "caffeine, 0.5 g in 1 l of water"),
                ("water", "water"),
            ),
            needs="three to twelve samples",
        ),
        SeriesKind(
            series=Series.ODOURS,
            title="Odours: naming what is smelled",
            samples=_some(
                ("lemon", "lemon oil on a strip"),
                ("clove", "ground clove"),
                ("almond", "bitter almond flavouring on a strip"),
                ("vanilla", "vanilla extract"),
                ("peppermint", "peppermint oil on a strip"),
                ("orange", ""),
                ("cinnamon", ""),
                ("smoke", ""),
            ),
            needs="three to twelve samples, and at least one name without a sample",
        ),
        SeriesKind(
            series=Series.STRENGTHS,
            title="Ranking: putting strengths into order",
            samples=_some(
                ("0.10 g/l", "citric acid, 0.10 g in 1 l of water"),
                ("0.15 g/l", "citric acid, 0.15 g in 1 l of water"),
                ("0.22 g/l", "citric acid, 0.22 g in 1 l of water"),
                ("0.34 g/l", "citric acid, 0.34 g in 1 l of water"),
            ),
            needs="three to twelve samples, the weakest first",
        ),
        SeriesKind(
            series=Series.SCALE,
            title="Scale use: scoring strengths, each twice",
            samples=_some(
                ("20 g/l", "sucrose, 20 g in 1 l of water"),
                ("40 g/l", "sucrose, 40 g in 1 l of water"),
                ("70 g/l", "sucrose, 70 g in 1 l of water"),
                ("110 g/l", "sucrose, 110 g in 1 l of water"),
            ),
            needs="three to six samples, the weakest first",
        ),
    )
}


def rule_of(series: Series, rules: ScreeningRules, samples: Sequence[PlannedSample]) -> SeriesRule:
    """The rule of a series with these numbers and samples.

    Raises ArgumentError or RecordError for numbers or samples that it cannot take.
    """
    served = [each.name for each in samples if each.made.strip()]
    _check(series, samples, served)
    if series is Series.TRIANGLES:
        return choice_rule(
            TRIANGLE,
            unfit=rules.unfit,
            fit=rules.fit,
            alpha=rules.alpha,
            beta=rules.beta,
            most=rules.most,
        )
    if series is Series.SCALE:
        return scale_rule(served, pairs=rules.pairs, reach=rules.reach)
    if series is Series.STRENGTHS:
        return order_rule(served, most_inversions=rules.inversions)
    if series is Series.TASTES:
        return matching_rule(len(served), share=rules.tastes)
    rule = matching_rule(len(served), offered=len(samples), share=rules.odours)
    return replace(rule, source="from memory, no text checked: about 65 % of the names")


def _check(series: Series, samples: Sequence[PlannedSample], served: Sequence[str]) -> None:
    needs = KINDS[series].needs
    two = series is Series.TRIANGLES
    most = _MOST_TWICE if series is Series.SCALE else _MOST_AT_ONCE
    if (len(served) != 2) if two else not 3 <= len(served) <= most:
        raise RecordError(f"This series takes {needs}; got {several(len(served), 'sample')}.")
    if series is not Series.ODOURS and len(served) < len(samples):
        bare = next(each.name for each in samples if not each.made.strip())
        raise RecordError(f"Say how {bare} is made: only odours have names without a sample.")
    if series is Series.ODOURS and len(served) == len(samples):
        raise RecordError(f"This series takes {needs}, or the last odour gives itself away.")
    if len({key_of(each.name) for each in samples}) < len(samples):
        raise RecordError("Each sample needs a name of its own.")


def cups_of(
    series: Series, rules: ScreeningRules, samples: Sequence[PlannedSample], seed: int
) -> tuple[tuple[Cup, ...], ...]:
    """The cups by set, with their codes; the same seed gives the same."""
    served = [each.name for each in samples if each.made.strip()]
    if series is not Series.TRIANGLES:
        order = Draw(seed, "order").shuffled(served * (TWICE if series is Series.SCALE else 1))
        codes = blinding_codes(len(order), draw=Draw(seed, "codes"))
        return (_coded(order, codes),)
    draw, orders = Draw(seed, "orders"), list[str]()
    while len(orders) < rules.most:
        orders += draw.shuffled(TRIANGLE.orders)
    names = dict(zip("AB", served, strict=True))
    coded = _codes(3 * rules.most, seed)
    return tuple(
        _coded([names[letter] for letter in order], coded[3 * at : 3 * at + 3])
        for at, order in enumerate(orders[: rules.most])
    )


def _codes(count: int, seed: int) -> list[str]:
    """Codes for every triangle, each three apart; a long series begins anew when all were used."""
    codes: list[str] = []
    while len(codes) < count:
        draw = Draw(seed, "codes", str(len(codes)))
        codes += blinding_codes(3 * min((count - len(codes)) // 3, 280), draw=draw)
    return codes


def _coded(names: Sequence[str], codes: Sequence[str]) -> tuple[Cup, ...]:
    return tuple(Cup(code=code, sample=name) for code, name in zip(codes, names, strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A question of a series: what is asked, and which answers there are."""

    label: str
    answers: tuple[str, ...]


def questions(taken: TakenSeries) -> tuple[Asked, ...]:
    """The questions of a series in their order."""
    if taken.series is Series.TRIANGLES:
        return tuple(
            Asked(label=f"Set {number}", answers=tuple(cup.code for cup in cups))
            for number, cups in enumerate(taken.cups, 1)
        )
    (cups,) = taken.cups
    codes = tuple(sorted(cup.code for cup in cups))
    if taken.series is Series.TASTES:
        return tuple(Asked(label=each.name, answers=codes) for each in taken.samples)
    if taken.series is Series.ODOURS:
        names = tuple(sorted(each.name for each in taken.samples))
        return tuple(Asked(label=cup.code, answers=(*names, NO_ANSWER)) for cup in cups)
    if taken.series is Series.SCALE:
        scores = tuple(map(str, range(LOWEST, HIGHEST + 1)))
        return tuple(Asked(label=cup.code, answers=scores) for cup in cups)
    last = len(cups)
    ends = {1: " (weakest)", last: " (strongest)"}
    return tuple(
        Asked(label=f"Place {place}{ends.get(place, '')}", answers=codes)
        for place in range(1, last + 1)
    )


def checked_answers(taken: TakenSeries, answers: Sequence[str]) -> tuple[str, ...]:
    """The answers of a series, empty ones where none came yet.

    Raises RecordError for an answer that its question does not have, or that is given twice where
    each may be given once.
    """
    asked = questions(taken)
    given = tuple(str(each or "") for each in answers)
    if len(given) > len(asked):
        raise RecordError(f"There are {several(len(asked), 'question')}; got {len(given)} answers.")
    for question, answer in zip(asked, given, strict=False):
        if answer and answer not in question.answers:
            allowed = ", ".join(question.answers)
            raise RecordError(f"{question.label}: {answer} is none of {allowed}.")
    if taken.series not in (Series.TRIANGLES, Series.SCALE):
        known = [each for each in given if each and each != NO_ANSWER]
        if twice := next((each for each in known if known.count(each) > 1), ""):
            raise RecordError(f"{twice} is given twice; each may be given once.")
    return given


def judged(taken: TakenSeries) -> Judgement | None:
    """What the answers show by the rule; None as long as nothing can be said."""
    rule = rule_of(taken.series, taken.rules, taken.samples)
    if isinstance(rule, ChoiceRule):
        right = [
            answer == _odd(cups)
            for cups, answer in zip(taken.cups, taken.answers, strict=False)
            if answer
        ]
        return rule.decide(right) if right else None
    if len([each for each in taken.answers if each]) < len(questions(taken)):
        return None
    (cups,) = taken.cups
    holds = {cup.code: cup.sample for cup in cups}
    if isinstance(rule, ScaleRule):
        scores = map(float, taken.answers)
        return rule.decide([(cup.sample, score) for cup, score in zip(cups, scores, strict=True)])
    if taken.series is Series.STRENGTHS:
        return rule.decide([holds[code] for code in taken.answers])  # type: ignore[arg-type]
    if taken.series is Series.TASTES:
        wanted = [each.name for each in taken.samples]
        given = [holds.get(code, "") for code in taken.answers]
    else:
        wanted, given = [cup.sample for cup in cups], list(taken.answers)
    right_ones = sum(name == answer for name, answer in zip(wanted, given, strict=True))
    return rule.decide(right_ones)  # type: ignore[arg-type]


def _odd(cups: Sequence[Cup]) -> str:
    """The code of the cup that is unlike the two others."""
    samples = [cup.sample for cup in cups]
    return next(cup.code for cup in cups if samples.count(cup.sample) == 1)


def due(taken: TakenSeries, most: int = 6) -> int:
    """How many questions are asked so far: all, or of triangles some beyond the last answer."""
    asked = len(taken.cups) if taken.series is Series.TRIANGLES else len(questions(taken))
    if taken.series is not Series.TRIANGLES:
        return asked
    last = max((at for at, each in enumerate(taken.answers, 1) if each), default=0)
    verdict = judged(taken)
    if verdict is not None and verdict.verdict is not Verdict.GO_ON:
        return last
    return min(asked, last + most)


def rule_says(rule: SeriesRule, tries: int = 0) -> tuple[str, ...]:
    """The rule and its exact risks in sentences, for the next of so many tries before."""
    if isinstance(rule, ChoiceRule):
        needed = rule.plan.outcomes(rule.plan.pd_limit).expected
        lines = [
            f"After each answer the rule says pass, fail or go on, for {rule.plan.most} triangles "
            f"at most; {needed:.0f} on average for somebody right in {_percent(rule.fit)}.",
            f"Who is right in {_percent(rule.unfit)} passes with a chance of "
            f"{_percent(rule.wrong_pass)}, who is right in {_percent(rule.fit)} fails with one of "
            f"{_percent(rule.wrong_fail)}, and who only guesses passes with one of "
            f"{_percent(rule.lucky_pass)}: exact, over all ways that a series can go.",
        ]
    elif isinstance(rule, ScaleRule):
        lines = [
            f"Passes with {rule.needed} of {rule.compared} pairs of cups scored in the right order "
            f"and {_percent(rule.reach)} of the scale used; with scores in random order the chance "
            f"is {_percent(rule.wrong_pass)} at most."
        ]
    elif isinstance(rule, OrderRule):
        lines = [
            f"Passes with at most {several(rule.most_inversions, 'pair')} the wrong way round; by "
            f"guessing alone the chance is {_percent(rule.wrong_pass)}."
        ]
    else:
        lines = [
            f"Passes with {rule.needed} of {rule.labels} right; by guessing alone the chance is "
            f"{_percent(rule.wrong_pass)}."
        ]
    if tries:
        once, any_try = rule.wrong_pass, luck(rule.wrong_pass, tries + 1)
        lines.append(
            f"This would be try {tries + 1}: the chance that somebody who should fail passes in "
            f"one of them is {_percent(any_try)}, not {_percent(once)}, were all by this rule."
        )
    return (
        *lines,
        f"Source of the usual numbers: {rule.source}. The plant may change them in Settings.",
    )


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %"


def luck(wrong_pass: float, tries: int) -> float:
    """Chance that somebody who should fail passes in one of so many tries.

    >>> round(luck(0.038, 2), 4)
    0.0746
    """
    return 1 - (1 - wrong_pass) ** tries
