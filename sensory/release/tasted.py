"""All tastings of a batch together: what was tasted, its pooled count and its true risk."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import prod

from ..base.findings import Finding
from ..base.results import several
from ..catalogue.outcome import Outcome
from ..catalogue.outcome_words import short_chance
from ..choices.protocols import Protocol
from ..choices.retests import retest_risk
from ..models.binomial import upper_tail
from .disposition_table import Attempt
from .rule import ReleaseRule

REPEATED = (Attempt.UNPLANNED, Attempt.BEYOND)
"""Attempts that no plan foresaw."""


def as_planned(own: Outcome | None, rule: ReleaseRule, answers: int) -> bool:
    """Whether it is the rule's test with so many answers, one an assessor."""
    return (
        own is not None
        and own.test == rule.test
        and own.counts.trials == answers
        and not own.counts.replicated
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tasted:
    """The rule's test with what was tasted before it, and the other tests beside it."""

    own: Outcome
    before: Sequence[Outcome | None]
    attempt: Attempt
    rule: ReleaseRule
    parts: Sequence[Outcome]

    def true_risk(self) -> float:
        """Chance that a batch at the limit passes at least once."""
        plan, rule = self.rule.retest, self.rule
        if plan is not None:
            by_plan = not self.before and as_planned(self.own, rule, plan.first)
            if by_plan or self.attempt is Attempt.SECOND:
                return plan.wrong_pass
        alone = not any(part and part.counts.replicated for part in (*self.before, *self.parts))
        if rule.protocol is None or not alone:  # no exact chance: each tasting keeps beta
            return float(1 - (1 - rule.beta) ** (1 + len(self.before)))
        return self.passes(rule.protocol, "similar")

    def passes(self, protocol: Protocol, passes: str) -> float:
        """Chance that a batch at the limit passes at least one of the tastings."""
        rule, limit = self.rule, float(self.rule.limit or 0.0)
        sizes = Counter(
            part.counts.trials if part and part.counts.trials else rule.assessors
            for part in (*self.before, self.own)
        )
        risks = {"alpha": rule.alpha, "beta": rule.beta, "pd_limit": limit}
        return 1 - prod(
            1 - retest_risk(protocol, size, tries=n, pd=limit, passes=passes, **risks).passes_any
            for size, n in sizes.items()
        )

    def headline(self, finding: Finding) -> str:
        """The finding; of tastings that were repeated without a plan, all of them."""
        if self.attempt not in REPEATED:
            return finding.sentence
        return (
            f"{self.together()} A batch at the limit passes at least one of "
            f"{several(len(self.before) + 1, 'tasting')} with a chance of "
            f"{100 * self.true_risk():.1f} %."
        )

    def together(self) -> str:
        """Every tasting of the rule's test in its order, and the answers of all of them."""
        tastings = (*self.before, self.own)
        told = "; then ".join(
            "aborted" if each is None else each.line().lower() for each in tastings
        )
        words = f"Tasted {len(tastings)} times, not as planned: {told}."
        counts = [each.counts for each in tastings if each is not None and each.counts.trials]
        if self.rule.protocol is None or not counts:
            return words
        correct, trials = sum(at.correct for at in counts), sum(at.trials for at in counts)
        p = float(upper_tail(correct, trials, float(self.rule.protocol.guess)))
        return (
            f"{words} Together {correct} of {trials} correct, {short_chance(p)} for a difference."
        )

    def risks(self) -> Iterator[str]:
        """Unplanned tastings with their true risk, and several tests with theirs."""
        rule = self.rule
        if self.attempt in REPEATED:
            yield self.together()
            yield (
                f"In {several(len(self.before) + 1, 'tasting')}, aborted ones counted, a batch at "
                "the limit is found similar at least once with a chance of "
                f"{self.true_risk():.3f}; agreed was {rule.beta:g} at most."
            )
            if rule.protocol is not None:
                naive = self.passes(rule.protocol, "not significant")
                yield (
                    "Were 'not significant' taken for a pass, it would pass with a chance of "
                    f"{naive:.3f}."
                )
        if len(self.parts) > 1:
            total = min(sum(part.alpha for part in self.parts), 1.0)
            yield (
                f"{len(self.parts)} tests together, the least favourable finding counts: an "
                "unchanged batch is found different by one of them with a chance of up to "
                f"{total:.2g}."
            )
