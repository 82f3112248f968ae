"""Screening of candidates: who passes, why, and the risk that somebody passes by luck."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import prod

from ..base.errors import ArgumentError
from ..base.results import Table
from ..base.shown import Shown
from .screening_rules import Answer, Judgement, Rule, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One candidate.

    Attributes
    ----------
    verdict : Verdict
        FAIL when a part is failed, PASS when all are passed, else GO_ON.
    parts : tuple of (str, Judgement or None)
        By part; None where the candidate has not taken it yet.
    """

    assessor: str
    verdict: Verdict
    parts: tuple[tuple[str, Judgement | None], ...]

    @property
    def reasons(self) -> tuple[str, ...]:
        """What decided: the failed parts, else those still open, else all."""
        for verdict in (Verdict.FAIL, Verdict.GO_ON):
            if self.verdict is verdict:
                return tuple(_said(name, part) for name, part in self.parts if _is(part, verdict))
        return tuple(_said(name, part) for name, part in self.parts)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Screening(Shown):
    """Result of `screening`.

    Attributes
    ----------
    rules : tuple of (str, Rule)
    candidates : tuple of Candidate
        In the order given.
    """

    rules: tuple[tuple[str, Rule], ...]
    candidates: tuple[Candidate, ...]

    @property
    def passed(self) -> tuple[str, ...]:
        """Names of those who passed every part."""
        return tuple(
            candidate.assessor for candidate in self.candidates if candidate.verdict is Verdict.PASS
        )

    @property
    def wrong_pass(self) -> float:
        """Chance that a candidate who is unfit in every part passes all of them.

        The product of the risks: parts are answered independently where nothing is known.
        """
        return prod(rule.wrong_pass for _, rule in self.rules)

    @property
    def wrong_pass_by_one(self) -> float:
        """Largest chance that a candidate who is unfit in one part only passes it by luck."""
        return max(rule.wrong_pass for _, rule in self.rules)

    @property
    def any_wrong_pass(self) -> float:
        """Chance of one or more wrong passes, were every candidate unfit in every part."""
        return 1 - (1 - self.wrong_pass) ** len(self.candidates)

    def summary(self) -> Table:
        """A row for each candidate and part."""
        rows = tuple(
            (
                candidate.assessor,
                candidate.verdict.value,
                name,
                (part.verdict if part else Verdict.GO_ON).value,
                part.result if part else None,
                part.needed if part else None,
                part.p_luck if part else None,
                part.reason if part else "Not taken yet.",
            )
            for candidate in self.candidates
            for name, part in candidate.parts
        )
        columns = ("assessor", "verdict", "part", "part verdict", "result", "needed", "p", "reason")
        return Table(columns=columns, rows=rows)

    def risks(self) -> Table:
        """The risk of a wrong pass by part and together, with the source of the settings."""
        rows = [(name, rule.wrong_pass, rule.source) for name, rule in self.rules]
        rows.append(("all parts", self.wrong_pass, "product of the parts"))
        rows.append(("all parts, any candidate", self.any_wrong_pass, "all of them unfit"))
        return Table(columns=("part", "wrong pass", "source"), rows=tuple(rows))

    def _repr_html_(self) -> str:
        return self.summary()._repr_html_() + self.risks()._repr_html_()


def screening(rules: Mapping[str, Rule], answers: Mapping[str, Mapping[str, Answer]]) -> Screening:
    """Judge candidates by the rules agreed before.

    Parameters
    ----------
    rules : mapping of str to Rule
        Name of each part, and its rule from `choice_rule`, `matching_rule` or `order_rule`.
    answers : mapping of str to mapping
        For each candidate the answers by part: right or wrong in the order of tasting;
        number of right matches; names from the weakest to the strongest. A part that has
        not been taken is left out or None.

    Raises
    ------
    ArgumentError
        For no rule, no candidate, a part without a rule, or an answer that its rule cannot
        take; the message names candidate and part.

    Notes
    -----
    Passing needs every part, so that each part keeps its own risk for candidates who are
    unfit in it alone, and the risks multiply for those who are unfit in all. Taking a part
    again until it is passed is not covered: after m tries a risk r becomes 1 - (1 - r)^m.

    Examples
    --------
    >>> from sensory.panel.screening_rules import choice_rule, matching_rule, order_rule
    >>> rules = {
    ...     "triangles": choice_rule(),
    ...     "matching": matching_rule(5, offered=8),
    ...     "sweetness": order_rule(["2 %", "4 %", "6 %", "8 %"]),
    ... }
    >>> right = ["2 %", "4 %", "6 %", "8 %"]
    >>> result = screening(rules, {
    ...     "Ada": {"triangles": [True] * 9, "matching": 4, "sweetness": right},
    ...     "Ben": {"triangles": [True, False, True], "matching": 5},
    ...     "Cleo": {"matching": 2},
    ... })
    >>> [(candidate.assessor, candidate.verdict.value) for candidate in result.candidates]
    [('Ada', 'pass'), ('Ben', 'go on'), ('Cleo', 'fail')]
    >>> result.candidates[2].reasons
    ('matching: 2 of 5 matches right, 4 are needed.',)
    >>> f"{result.wrong_pass:.1e}", round(result.wrong_pass_by_one, 3)
    ('1.5e-05', 0.167)
    """
    _check(rules, answers)
    names = tuple(rules)
    candidates = []
    for assessor, given in answers.items():
        parts = tuple((name, _judged(rules[name], given, assessor, name)) for name in names)
        candidates.append(Candidate(assessor=str(assessor), verdict=_together(parts), parts=parts))
    return Screening(rules=tuple(rules.items()), candidates=tuple(candidates))


def _check(rules: Mapping[str, Rule], answers: Mapping[str, Mapping[str, Answer]]) -> None:
    if not isinstance(rules, Mapping) or not rules:
        raise ArgumentError("rules must name at least one part and its rule.")
    if not isinstance(answers, Mapping) or not answers:
        raise ArgumentError("answers must hold at least one candidate.")
    for name, rule in rules.items():
        if not isinstance(rule, Rule):
            raise ArgumentError(
                f"rules[{name!r}] must come from choice_rule, matching_rule or order_rule; "
                f"got {rule!r}."
            )
    for assessor, given in answers.items():
        if not isinstance(given, Mapping):
            raise ArgumentError(f"answers of {assessor} must be a mapping by part; got {given!r}.")
        strange = [str(name) for name in given if name not in rules]
        if strange:
            raise ArgumentError(
                f"answers of {assessor} hold {', '.join(strange)}, for which there is no rule; "
                f"the parts are {', '.join(rules)}."
            )


def _judged(rule: Rule, given: Mapping[str, Answer], assessor: str, name: str) -> Judgement | None:
    if given.get(name) is None:
        return None
    try:
        return rule.decide(given[name])  # type: ignore[arg-type]  # wrong answers raise
    except ArgumentError as error:
        raise ArgumentError(f"{assessor}, {name}: {error}") from error
    except TypeError as error:
        raise ArgumentError(
            f"{assessor}, {name}: {given[name]!r} is no answer to this part."
        ) from error


def _together(parts: tuple[tuple[str, Judgement | None], ...]) -> Verdict:
    verdicts = {part.verdict if part else Verdict.GO_ON for _, part in parts}
    for verdict in (Verdict.FAIL, Verdict.GO_ON):
        if verdict in verdicts:
            return verdict
    return Verdict.PASS


def _is(part: Judgement | None, verdict: Verdict) -> bool:
    return (part.verdict if part else Verdict.GO_ON) is verdict


def _said(name: str, part: Judgement | None) -> str:
    return f"{name}: {part.reason if part else 'not taken yet.'}"
