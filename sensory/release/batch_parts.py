"""What each test of a batch says, in one form, and whether the panel could have seen its limit."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from math import isnan
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..catalogue.controlled import DIFFERENCE_FROM_CONTROL
from ..catalogue.rated import PROFILE
from ..catalogue.reading import TURNED, TURNED_ROUND, chance, of_two, overall
from ..choices.forced_choice import ChoiceTest
from ..choices.protocols import Protocol
from ..choices.session_finding import SessionFinding, session_finding
from ..models.binomial import lower_tail
from ..ratings.control import DifferenceFromControl
from ..ratings.profile import Profile
from ..ratings.scorecard import PanelScorecard
from .disposition_table import PanelState
from .rule import ReleaseRule

Result = ChoiceTest | SessionFinding | DifferenceFromControl | Profile


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One test of the batch.

    Attributes
    ----------
    test : str
        Key of the protocol or method.
    finding : Finding
    because : str
    alpha : float
        With which a difference was looked for.
    limits : mapping of attribute to float
        Of rated tests, in points of the scale; empty for a forced choice.
    people : int
        How many assessors or answers of a forced choice.
    correct, trials : int
        Of a forced choice, else 0.
    one_each : bool
        Whether every assessor gave one answer only.
    """

    test: str
    finding: Finding
    because: str
    alpha: float
    limits: Mapping[Any, float]
    people: int
    correct: int = 0
    trials: int = 0
    one_each: bool = True


def part_of(result: Any, rule: ReleaseRule, sample: Hashable | None) -> Part:
    """What a result says about the batch.

    Raises
    ------
    ArgumentError
        For something else than a result, several sessions in one, a sample that has to be
        named, or the rule's own test with other risks or another limit.
    """
    if isinstance(result, ChoiceTest):
        if np.ndim(result.correct):
            raise ArgumentError("results must hold one session each; got several in one.")
        result = _read(result)
    if isinstance(result, SessionFinding):
        return _choice(result, rule)
    if isinstance(result, DifferenceFromControl):
        return _beyond_control(result, rule, sample)
    if isinstance(result, Profile):
        return _profile(result, rule, sample)
    raise ArgumentError(
        "results must be choice tests, session findings, differences from control or profiles; "
        f"got {type(result).__name__}."
    )


def panel_state(parts: list[Part], panel: Any) -> tuple[PanelState, list[str]]:
    """Whether the panel could have seen the limits of the rated tests, and why not.

    Raises
    ------
    ArgumentError
        For a panel that is neither a scorecard nor numbers by attribute.
    """
    smallest = _smallest(panel)
    limits = [(name, size) for part in parts for name, size in part.limits.items()]
    if not limits:
        return PanelState.NOT_NEEDED, []
    too_coarse = [
        f"{name}: the panel sees {smallest[name]:.2f} at best, the limit is {size:g}."
        for name, size in limits
        if smallest.get(name, float("nan")) > size
    ]
    if too_coarse:
        return PanelState.BLIND, too_coarse
    absent = [str(name) for name, _ in limits if isnan(smallest.get(name, float("nan")))]
    if absent:
        return PanelState.NOT_SHOWN, [f"Not in the scorecard of that day: {', '.join(absent)}."]
    return PanelState.SEES, []


def turned_round(correct: int, trials: int, protocol: Protocol) -> bool:
    """Whether so few correct answers can hardly come from guessing."""
    return float(lower_tail(correct, trials, float(protocol.guess))) <= TURNED


def _smallest(panel: Any) -> dict[Any, float]:
    if panel is None:
        return {}
    if isinstance(panel, PanelScorecard):
        table = panel.attributes
        return dict(zip(table["attribute"], table["smallest_difference"], strict=True))
    if isinstance(panel, Mapping) and all(
        isinstance(size, (int, float)) and not isinstance(size, bool) and not size < 0
        for size in panel.values()
    ):
        return {name: float(size) for name, size in panel.items()}
    raise ArgumentError(
        "panel must be the scorecard of that day, or its smallest difference by attribute; got "
        f"{panel!r}."
    )


def _read(test: ChoiceTest) -> SessionFinding:
    return session_finding(
        test.protocol,
        test.correct,
        test.trials,
        alpha=test.alpha,
        beta=test.beta,
        pd_limit=test.pd_limit,
        two_sided=test.two_sided,
    )


def _agreed(rule: ReleaseRule, **given: tuple[Any, Any]) -> None:
    """Refuse the rule's own test with anything but what was agreed."""
    for name, (came, agreed) in given.items():
        if came != agreed:
            raise ArgumentError(
                f"results: the {rule.test} was judged at {name} {came}, the rule says {agreed}; "
                "what was agreed before tasting counts."
            )


def _choice(found: SessionFinding, rule: ReleaseRule) -> Part:
    test = found.test
    if test.protocol is rule.protocol:
        if test.two_sided:
            raise ArgumentError("results: a release rule looks in one direction; got two-sided.")
        _agreed(
            rule,
            alpha=(test.alpha, rule.alpha),
            beta=(test.beta, rule.beta),
            pd_limit=(test.pd_limit, rule.limit),
        )
    because = f"{test.protocol.name}: {found.because}"
    if turned_round(test.correct, test.trials, test.protocol) and not test.two_sided:
        because += f" {TURNED_ROUND}"
    return Part(
        test=test.protocol.key,
        finding=found.finding,
        because=because,
        alpha=test.alpha,
        limits=MappingProxyType({}),
        people=test.trials,
        correct=test.correct,
        trials=test.trials,
        one_each=found.replicated is None,
    )


def _beyond_control(
    result: DifferenceFromControl, rule: ReleaseRule, sample: Hashable | None
) -> Part:
    if rule.by == "points":
        _agreed(rule, alpha=(result.alpha, rule.alpha), beta=(result.beta, rule.beta))
        for size in result.limits.values():
            _agreed(rule, limit=(size, rule.limit))
    table = result.against_control
    rows = table[table["sample"] == _batch(table["sample"], sample)].to_dict("records")
    said = [
        f"{row['estimate']:.2f} beyond the blind control ({chance(row['p_adjusted'])}), upper "
        f"limit {row['upper']:.2f}, tolerated {result.limits[row['attribute']]:g}"
        for row in rows
    ]
    return Part(
        test=DIFFERENCE_FROM_CONTROL.key,
        finding=overall([Finding(row["finding"]) for row in rows]),
        because=f"{DIFFERENCE_FROM_CONTROL.name}: {'; '.join(said)}.",
        alpha=result.alpha,
        limits=result.limits,
        people=len(result.scores.assessors),
    )


def _profile(result: Profile, rule: ReleaseRule, sample: Hashable | None) -> Part:
    """Different where p (Dunnett, Holm) is at most alpha; similar where all are equivalent."""
    if rule.by == "margins":
        _agreed(
            rule,
            alpha=(result.alpha, rule.alpha),
            margins=(dict(result.margins), dict(rule.margins)),
        )
    if result.against_reference is None:
        raise ArgumentError("results: the profile has no reference to compare the batch with.")
    compared = result.against_reference
    name = _batch(compared["sample"], sample)
    compared = compared[compared["sample"] == name]
    moved = compared[compared["p_holm"] <= result.alpha]
    equal = result.equivalence if result.equivalence is not None else pd.DataFrame()
    shown = set()
    if len(equal):
        mine = equal[(equal["sample"] == name) & (equal["p"] <= rule.beta)]
        shown = set(mine["attribute"])
    open_ones = [str(one) for one in result.table.attributes if one not in shown]
    said = [f"{row['attribute']} {row['estimate']:+.2f}" for row in moved.to_dict("records")]
    words = f"moved: {', '.join(said)}" if said else "no attribute moved significantly"
    words += (
        f"; not shown to be within a margin: {', '.join(open_ones)}"
        if open_ones
        else "; every attribute is within its margin"
    )
    return Part(
        test=PROFILE.key,
        finding=of_two(bool(said), not open_ones),
        because=f"{PROFILE.name}: {words}.",
        alpha=result.alpha,
        limits=result.margins,
        people=len(result.table.assessors),
    )


def _batch(names: pd.Series[Any], sample: Hashable | None) -> Any:
    """Which sample is the batch."""
    there = list(dict.fromkeys(names))
    if sample is None and len(there) == 1:
        return there[0]
    if sample not in there:
        raise ArgumentError(
            f"sample must say which one the batch is: {', '.join(map(str, there))}; got {sample}."
        )
    return sample
