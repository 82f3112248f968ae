"""What each test of a batch shows of it, and whether the panel could have seen its limit."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import replace
from math import isnan

import numpy as np

from ..base.errors import ArgumentError
from ..base.findings import Finding, finding_of
from ..catalogue.outcome import Comparison, Outcome
from ..catalogue.outcome_of import outcome_of
from ..catalogue.outcome_words import TURNED_ROUND, chance, overall
from ..catalogue.tests import find_kind
from ..choices.forced_choice import ChoiceTest
from ..choices.session_finding import SessionFinding
from ..evidence.grading_rule import share_words
from ..ratings.control import SCORE, DifferenceFromControl
from ..ratings.profile import Profile
from ..ratings.scorecard import PanelScorecard
from .disposition_table import PanelState
from .rule import ReleaseRule

Result = ChoiceTest | SessionFinding | DifferenceFromControl | Profile | Outcome


def part_of(result: Result, rule: ReleaseRule, sample: Hashable | None) -> Outcome:
    """What a result shows of the batch alone, as the rule reads it.

    Raises ArgumentError for something else than a result, several sessions in one, a sample that
    has to be named, or the rule's own test with other risks or another limit.
    """
    if isinstance(result, ChoiceTest) and np.ndim(result.correct):
        raise ArgumentError("results must hold one session each; got several in one.")
    outcome = outcome_of(result)
    kind = find_kind(outcome.test)
    name, terms = kind.name, kind.release
    if terms is None:
        raise ArgumentError(f"results: {name} says nothing about a release.")
    if terms.by == "share":
        return _choice(outcome, rule, name)
    agreed = dict(rule.margins) or {SCORE: float(rule.limit or 0.0)}
    if terms.by == "votes":  # its limit stands in the spiked samples
        agreed = {}
    if not outcome.comparisons:  # nothing could be computed, so nothing was judged
        return replace(outcome, because=f"{name}: {outcome.because}", margins=agreed)
    if outcome.test == rule.test:
        _agreed(rule, alpha=(outcome.alpha, rule.alpha))
        if outcome.beta is not None:
            _agreed(rule, beta=(outcome.beta, rule.beta))
        if rule.margins:
            _agreed(rule, margins=(outcome.margins, agreed))
        for size in () if rule.margins else outcome.margins.values():
            _agreed(rule, limit=(size, rule.limit))
    compared = _of_sample(outcome.comparisons, sample)
    finding, words = _JUDGED[terms.by](outcome, compared, rule)
    return replace(outcome, finding=finding, because=f"{name}: {words}.", comparisons=compared)


def panel_state(parts: Sequence[Outcome], panel: object) -> tuple[PanelState, list[str]]:
    """Whether the panel could have seen the limits of the rated tests, and why not.

    Raises ArgumentError for a panel that is neither a scorecard nor numbers by attribute.
    """
    smallest = _smallest(panel)
    limits = [(name, size) for part in parts for name, size in part.margins.items()]
    if not limits:
        return PanelState.NOT_NEEDED, []
    too_coarse = [
        f"{name}: the panel sees {smallest[name]:.2f} at best, the limit is {size:g}."
        for name, size in limits
        if smallest.get(name, float("nan")) > size
    ]
    if too_coarse:
        return PanelState.BLIND, too_coarse
    absent = [name for name, _ in limits if isnan(smallest.get(name, float("nan")))]
    if absent:
        return PanelState.NOT_SHOWN, [f"Not in the scorecard of that day: {', '.join(absent)}."]
    return PanelState.SEES, []


def _smallest(panel: object) -> dict[str, float]:
    if panel is None:
        return {}
    if isinstance(panel, PanelScorecard):
        table = panel.attributes
        sizes = zip(table["attribute"], table["smallest_difference"], strict=True)
        return {str(name): float(size) for name, size in sizes}
    if isinstance(panel, Mapping) and all(
        isinstance(size, (int, float)) and not isinstance(size, bool) and not size < 0
        for size in panel.values()
    ):
        return {str(name): float(size) for name, size in panel.items()}
    raise ArgumentError(
        "panel must be the scorecard of that day, or its smallest difference by attribute; got "
        f"{panel!r}."
    )


def _agreed(rule: ReleaseRule, **given: tuple[object, object]) -> None:
    """Refuse the rule's own test with anything but what was agreed."""
    for name, (came, agreed) in given.items():
        if came != agreed:
            raise ArgumentError(
                f"results: the {rule.test} was judged at {name} {came}, the rule says {agreed}; "
                "what was agreed before tasting counts."
            )


def _choice(outcome: Outcome, rule: ReleaseRule, name: str) -> Outcome:
    if outcome.test == rule.test:
        if any(each.two_sided for each in outcome.comparisons):
            raise ArgumentError("results: a release rule looks in one direction; got two-sided.")
        _agreed(
            rule,
            alpha=(outcome.alpha, rule.alpha),
            beta=(outcome.beta, rule.beta),
            pd_limit=(outcome.limit, rule.limit),
        )
    warned = outcome.warnings or ((TURNED_ROUND,) if outcome.turned else ())
    return replace(outcome, because=" ".join((f"{name}: {outcome.because}", *warned)))


Judged = tuple[Finding, str]


def _beyond_control(outcome: Outcome, compared: Sequence[Comparison], rule: ReleaseRule) -> Judged:
    told = [
        each.why
        or f"{each.estimate:.2f} points above the blind control ({chance(each.p or 0.0)}), upper "
        f"limit {each.upper:.2f}, tolerated {each.margin:g}"
        for each in compared
    ]
    return overall([each.finding for each in compared]), "; ".join(told)


def _profile(outcome: Outcome, compared: Sequence[Comparison], rule: ReleaseRule) -> Judged:
    """Different where p (Dunnett, Holm) is at most alpha; similar where all are equivalent."""
    moved = [each for each in compared if each.p is not None and each.p <= outcome.alpha]
    open_ones = [each for each in compared if each.p_within is None or each.p_within > rule.beta]
    told = [f"{each.attribute} {each.estimate:+.2f}" for each in moved]
    words = (
        f"moved significantly: {', '.join(told)}" if told else "no attribute moved significantly"
    )
    named = [
        f"{each.attribute or each.sample} ({each.why.rstrip('.')})" if each.why else each.attribute
        for each in open_ones
    ]
    words += (
        f"; not shown to be within a margin: {', '.join(named)}"
        if named
        else "; every attribute is within its margin"
    )
    far = [each.attribute for each in compared if each.finding is Finding.BEYOND_LIMIT]
    words += f"; beyond its margin: {', '.join(far)}" if far else ""
    return finding_of(bool(told), not named, bool(far)), words


def _voted(outcome: Outcome, compared: Sequence[Comparison], rule: ReleaseRule) -> Judged:
    told = [
        each.why
        or f"called out by {100 * each.estimate:.0f} % of the graders; a good batch gets as many "
        f"such votes with a chance of {share_words(each.p or 0.0)}, one at the limit as few with "
        f"{share_words(each.p_within or 0.0)}"
        for each in compared
    ]
    return overall([each.finding for each in compared]), "; ".join(told)


_JUDGED = {"votes": _voted, "points": _beyond_control, "margins": _profile}


def _of_sample(
    comparisons: Sequence[Comparison], sample: Hashable | None
) -> tuple[Comparison, ...]:
    """The comparisons of the sample that is the batch."""
    there = list(dict.fromkeys(each.sample for each in comparisons))
    name = there[0] if sample is None and len(there) == 1 else str(sample)
    if name not in there:
        raise ArgumentError(
            f"sample must say which one the batch is: {', '.join(there)}; got {sample}."
        )
    return tuple(each for each in comparisons if each.sample == name)
