"""From the tests of a batch to a recommended disposition, with its reasons and true risk.

Why so
------
Several tests of a batch: the least favourable finding. Similarity keeps beta, since each test has
to show it; false alarms add up, which the reasons say.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Table, several
from ..base.shown import Shown
from ..catalogue.choices_read import turned_round
from ..catalogue.outcome import Outcome
from ..catalogue.outcome_words import TURNED_ROUND, overall
from ..ratings.scorecard import PanelScorecard
from .batch_parts import Result, panel_state, part_of
from .batches import Batch, Clearance, Disposition
from .disposition_table import (
    Attempt,
    ClearanceState,
    PanelState,
    ReferenceUse,
    clearance_state,
    entry_at,
    recommended,
)
from .reference_state import ReferenceState
from .rule import ReleaseRule
from .tasted import REPEATED, Tasted, as_planned


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFinding(Shown):
    """What is recommended for a batch; see `batch_finding`.

    Attributes
    ----------
    batch : str
        Number, where the clearance names it.
    finding : Finding or None
        All tests together; None where the batch has not been tasted.
    disposition : Disposition
        Recommended.
    blocked : bool
        Whether clearance, reference or panel stand against release.
    reasons : tuple of str
        The first one decided.
    clearance : ClearanceState
    panel : PanelState
    reference : ReferenceUse
    attempt : Attempt
    attempts : int
        Tastings of this question so far, aborted ones included.
    true_risk : float or None
        Chance that a batch at the limit passes at least once in so many tastings; that of
        the plan where they are planned; None where it has not been tasted.
    decides : str
        The role that decides.
    headline : str
        The finding in words; where tastings were repeated without a plan, every one of them, all
        answers together, and the true risk of tasting until it passes.
    """

    batch: str
    finding: Finding | None
    disposition: Disposition
    blocked: bool
    reasons: tuple[str, ...]
    clearance: ClearanceState
    panel: PanelState
    reference: ReferenceUse
    attempt: Attempt
    attempts: int
    true_risk: float | None
    decides: str
    headline: str

    @property
    def repeated(self) -> bool:
        """Whether it was tasted again without a plan, so that no single finding speaks for it."""
        return self.attempt in REPEATED

    @property
    def sentence(self) -> str:
        """The recommendation, and who decides."""
        return f"{self.disposition.sentence} This is a recommendation; {self.decides} decides."

    def summary(self) -> Table:
        """The recommendation with what it stands on."""
        rows = [
            ("batch", self.batch),
            ("finding", self.headline),
            ("recommended", self.disposition.value),
            ("clearance", self.clearance.value),
            ("panel", self.panel.value),
            ("reference", self.reference.value),
            ("tastings of this question", self.attempts),
            ("chance that a batch at the limit passes", self.true_risk),
            *(("because", reason) for reason in self.reasons),
            ("decides", self.decides),
        ]
        return Table(columns=("what", "is"), rows=tuple(rows))

    def __repr__(self) -> str:
        finding = "not tasted" if self.finding is None else self.finding.value
        blocked = ", blocked" if self.blocked else ""
        return f"<BatchFinding {self.batch}: {finding}, {self.disposition.value}{blocked}>"


def batch_finding(
    results: Sequence[Result],
    *,
    rule: ReleaseRule,
    clearance: Clearance | None,
    panel: PanelScorecard | Mapping[str, float] | None = None,
    earlier: Sequence[Result | None] = (),
    sample: Hashable | None = None,
    reference: ReferenceState | None = None,
    batch: Batch | None = None,
) -> BatchFinding:
    """May this batch go out? All its tests put together, and a recommendation.

    Parameters
    ----------
    results : sequence of ChoiceTest, SessionFinding, DifferenceFromControl or Profile
        Of one tasting; the test that the rule names has to be among them. Empty where the
        batch has not been tasted.
    rule : ReleaseRule
    clearance : Clearance or None
    panel : PanelScorecard or mapping of attribute to float, optional
        Scorecard of that day, or its smallest differences. Needed for rated tests: a block
        that could be avoided by leaving it out would be none. A forced choice carries its own
        risks.
    earlier : sequence of results or None
        What the rule's test said in earlier tastings of the same question, in order; None
        for an aborted one.
    sample : name of a sample, optional
        Which one the batch is, where rated tests hold several.
    reference : ReferenceState, optional
        That of the reference on that day; one that may not be used blocks release.
    batch : Batch, optional
        The clearance has to be its own: rework does not inherit that of what went into it.

    Returns
    -------
    BatchFinding

    Raises
    ------
    ArgumentError
        Where the rule's test is missing or there twice, was judged at other risks or another
        limit than agreed, `sample` has to be said, or the clearance is of another batch.

    Notes
    -----
    The finding is the least favourable of all tests. So similarity keeps beta, since every test
    has to show it; the risk of a false alarm is up to the sum of the alphas, which is said.

    With a planned retest the counts of the plan decide on the rule's test, as long as the sizes
    are the planned ones with one answer an assessor. Else its tasting is read by itself, and
    another one is not planned.

    The true risk is that of passing at the limit at least once: for a forced choice with one
    answer an assessor exact from `retest_risk`, else 1 - (1 - beta)^k for k tastings, the most
    it can be when they are independent.

    Examples
    --------
    >>> from sensory.choices.forced_choice import choice_test
    >>> from sensory.choices.protocols import TRIANGLE
    >>> rule = ReleaseRule(test="TRIANGLE", limit=0.30, assessors=66)
    >>> cleared = Clearance(batch="PE-14", food_safe=True, food_safe_by="food safety",
    ...     food_safe_on="2026-05-02", allergens=(), allergens_by="QA", allergens_on="2026-05-02")
    >>> result = choice_test(TRIANGLE, 22, 66)
    >>> batch_finding([result], rule=rule, clearance=cleared)
    <BatchFinding PE-14: SIMILAR, RELEASE>
    >>> batch_finding([result], rule=rule, clearance=None).reasons[0]
    'Clearance by food safety and the declaration of allergens are missing.'
    """
    number = _number(batch, clearance)
    parts = [part_of(result, rule, sample) for result in results]
    before = [None if result is None else part_of(result, rule, sample) for result in earlier]
    attempt, notes = Attempt.SINGLE, list[str]()
    tasted = None
    if parts:
        at = _own(parts, rule)
        attempt, parts[at], notes = _placed(parts[at], before, rule)
        tasted = Tasted(own=parts[at], before=before, attempt=attempt, rule=rule, parts=parts)
    finding = overall([part.finding for part in parts]) if parts else None
    sees, coarse = panel_state(parts, panel)
    cleared = clearance_state(clearance)
    use = _use(reference)
    state = (finding, cleared, sees, attempt, use)
    entry = entry_at(*state)
    risk = tasted.true_risk() if tasted else None
    reasons = [entry.reason] if entry.reason else []
    reasons += [*coarse, *(part.because for part in parts), *notes]
    reasons += tasted.risks() if tasted else ()
    if tasted and cleared is not ClearanceState.CLEARED:
        reasons.append("It is not cleared, so what its tasting showed does not count yet.")
    reasons += _of_reference(reference)
    return BatchFinding(
        batch=number,
        finding=finding,
        disposition=recommended(*state, rule),
        blocked=entry.blocked,
        reasons=tuple(reasons),
        clearance=cleared,
        panel=sees,
        reference=use,
        attempt=attempt,
        attempts=len(before) + bool(parts),
        true_risk=risk,
        decides=rule.decides,
        headline=tasted.headline(finding) if tasted and finding else "not tasted",
    )


def _of_reference(reference: ReferenceState | None) -> list[str]:
    """How the reference took over without a tasting, and why it may not be used."""
    if reference is None:
        return []
    barring = () if reference.usable else reference.problems
    return [f"Reference: {line}" for line in (*barring, *reference.took_over)]


def _number(batch: Batch | None, clearance: object) -> str:
    """Number of the batch, where batch or clearance name it."""
    if clearance is not None and not isinstance(clearance, Clearance):
        raise ArgumentError(f"clearance must be a Clearance or None; got {clearance!r}.")
    if batch is None:
        return "" if clearance is None else clearance.batch
    if clearance is not None and clearance.batch != batch.number:
        raise ArgumentError(
            f"clearance must be that of batch {batch.number}; got that of {clearance.batch}."
        )
    return batch.number


def _use(reference: ReferenceState | None) -> ReferenceUse:
    if reference is None:
        return ReferenceUse.NOT_STATED
    return ReferenceUse.USABLE if reference.usable else ReferenceUse.NOT_USABLE


def _own(parts: Sequence[Outcome], rule: ReleaseRule) -> int:
    """Where the rule's test stands."""
    for test, count in Counter(part.test for part in parts).items():
        if count > 1:
            raise ArgumentError(
                f"results hold {count} of {test}: give earlier tastings as earlier, so that they "
                "are counted."
            )
    for at, part in enumerate(parts):
        if part.test == rule.test:
            return at
    raise ArgumentError(
        f"results must hold the test that the rule names, {rule.test}; got "
        f"{', '.join(part.test for part in parts)}."
    )


def _placed(
    own: Outcome, before: Sequence[Outcome | None], rule: ReleaseRule
) -> tuple[Attempt, Outcome, list[str]]:
    """Which attempt it is, the rule's test as the plan reads it, and remarks."""
    if len(before) > 1:
        return Attempt.BEYOND, own, []
    plan, first, counts = rule.retest, before[0] if before else own, own.counts
    if plan is None or first is None or not as_planned(first, rule, plan.first):
        return (
            (Attempt.UNPLANNED, own, []) if before else (Attempt.SINGLE, own, _departs(own, rule))
        )
    decided = plan.decide(first.counts.correct)
    if not before:
        turned = turned_round(counts.correct, counts.trials, plan.protocol)
        attempt = Attempt.OPEN if decided is None and not turned else Attempt.SINGLE
        return attempt, _by_plan(own, rule, decided, counts.correct, counts.trials), []
    if decided is not None or not as_planned(own, rule, plan.second):
        return Attempt.UNPLANNED, own, []
    decided = plan.decide(first.counts.correct, counts.correct)
    total = first.counts.correct + counts.correct, first.counts.trials + counts.trials
    return Attempt.SECOND, _by_plan(own, rule, decided, *total), []


def _by_plan(
    own: Outcome, rule: ReleaseRule, decided: Finding | None, correct: int, trials: int
) -> Outcome:
    """The rule's test by the counts of the plan; none is similar the wrong way round."""
    words = f"By the plan: {correct} of {several(trials, 'answer')} correct"
    if rule.protocol is not None and turned_round(correct, trials, rule.protocol):
        return replace(own, finding=Finding.UNDECIDED, because=f"{words}. {TURNED_ROUND}")
    shows = "the second tasting is due" if decided is None else decided.heading.lower()
    return replace(own, finding=decided or Finding.UNDECIDED, because=f"{words}, {shows}.")


def _departs(own: Outcome, rule: ReleaseRule) -> list[str]:
    """In what the tasting is not the one that was agreed."""
    lines = []
    if own.people != rule.assessors:
        lines.append(
            f"{rule.assessors} were agreed and {own.people} came: the risks are those of "
            f"{own.people}."
        )
    if own.counts.replicated:
        lines.append("Some assessors answered more than once.")
    if lines and rule.retest is not None:
        lines.append(
            "So the counts of the plan do not hold: the tasting is read by itself, and a second "
            "one is not planned."
        )
    return lines
