"""The table behind a recommended disposition: finding, clearance, reference, panel, attempt.

Rows are read from the top, and the first that fits counts. `disposition_table` writes out
every combination.

Why so
------
The disposition is a table read from the top (`disposition_table.ROWS`): clearance first, then
reference, panel and attempt, then the rule. All 1800 combinations stand in the test as letters
written by hand. A rated test without the scorecard of its day is blocked from release: a block
that could be avoided by leaving an argument out would be none. A forced choice needs no
scorecard, since its size carries both risks. A panel that was blind, or a reference past its
date, decides nothing, not even rejection.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import product

from ..base.findings import Finding
from ..base.results import Table
from .batches import Clearance, Disposition
from .rule import ReleaseRule


class ClearanceState(StrEnum):
    """What food safety and the declaration of allergens say."""

    CLEARED = "CLEARED"
    NO_SAFETY_DECISION = "NO_SAFETY_DECISION"
    NO_ALLERGENS = "NO_ALLERGENS"
    NEITHER = "NEITHER"
    REFUSED = "REFUSED"


class PanelState(StrEnum):
    """Whether the panel of that day could have seen the limit."""

    SEES = "SEES"
    BLIND = "BLIND"
    NOT_SHOWN = "NOT_SHOWN"
    NOT_NEEDED = "NOT_NEEDED"


class ReferenceUse(StrEnum):
    """Whether batches may be compared with the reference on that day."""

    USABLE = "USABLE"
    NOT_USABLE = "NOT_USABLE"
    NOT_STATED = "NOT_STATED"


class Attempt(StrEnum):
    """Which tasting of the same question it is, and whether it was planned."""

    SINGLE = "SINGLE"  # it decides: no retest is planned, or the first tasting ended the plan
    OPEN = "OPEN"  # the first of two, which does not decide
    SECOND = "SECOND"  # the planned second one
    UNPLANNED = "UNPLANNED"  # a second one that no plan foresaw
    BEYOND = "BEYOND"  # a third or later one


State = tuple[Finding | None, ClearanceState, PanelState, Attempt, ReferenceUse]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What is recommended at one combination."""

    disposition: Disposition | None  # None: as the release rule says for the finding
    blocked: bool = False  # whether clearance, reference or panel stand against any release
    reason: str = ""  # empty where the rule speaks


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: where each column is empty or holds the state, `entry` counts."""

    entry: Entry
    findings: tuple[Finding | None, ...] = ()
    clearances: tuple[ClearanceState, ...] = ()
    panels: tuple[PanelState, ...] = ()
    attempts: tuple[Attempt, ...] = ()
    references: tuple[ReferenceUse, ...] = ()

    def fits(self, *state: *State) -> bool:
        """Whether the row speaks of this combination."""
        columns = (self.findings, self.clearances, self.panels, self.attempts, self.references)
        return all(not column or at in column for column, at in zip(columns, state, strict=True))


def _blocked(reason: str) -> Entry:
    return Entry(disposition=Disposition.HOLD, blocked=True, reason=reason)


def _held(reason: str) -> Entry:
    return Entry(disposition=Disposition.HOLD, reason=reason)


_FAVOURABLE = (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT)
_NOT_DIFFERENT = (*_FAVOURABLE, Finding.UNDECIDED)

ROWS = (
    Row(
        clearances=(ClearanceState.REFUSED,),
        entry=_blocked("Food safety refused the batch; no sensory finding changes that."),
    ),
    Row(
        clearances=(ClearanceState.NEITHER,),
        entry=_blocked("Clearance by food safety and the declaration of allergens are missing."),
    ),
    Row(
        clearances=(ClearanceState.NO_SAFETY_DECISION,),
        entry=_blocked("Clearance by food safety is missing."),
    ),
    Row(
        clearances=(ClearanceState.NO_ALLERGENS,),
        entry=_blocked("The declaration of allergens is missing."),
    ),
    Row(findings=(None,), entry=_held("The batch has not been tasted.")),
    Row(
        references=(ReferenceUse.NOT_USABLE,),
        entry=_blocked(
            "The reference may not be used any more: neither a difference from it nor similarity "
            "to it speaks of the batch. This tasting counts as an attempt."
        ),
    ),
    Row(
        panels=(PanelState.BLIND,),
        entry=_blocked(
            "The panel of that day could not have seen the limit: the smallest difference in its "
            "scorecard is larger. This tasting counts as an attempt and decides nothing."
        ),
    ),
    Row(
        findings=_FAVOURABLE,
        panels=(PanelState.NOT_SHOWN,),
        entry=_blocked(
            "The scorecard of that day is missing: nothing shows that this panel could have seen "
            "the limit."
        ),
    ),
    Row(
        findings=_NOT_DIFFERENT,
        attempts=(Attempt.BEYOND,),
        entry=_held(
            "It is the third tasting of this question or a later one; none is part of the rule, "
            "and a batch that is tasted until it passes has not passed."
        ),
    ),
    Row(
        findings=_NOT_DIFFERENT,
        attempts=(Attempt.UNPLANNED,),
        entry=_held("It is a second tasting that was not planned: its risk is not the agreed one."),
    ),
    Row(
        findings=_NOT_DIFFERENT,
        attempts=(Attempt.OPEN,),
        entry=Entry(
            disposition=Disposition.RETEST,
            reason="The first tasting of the plan does not decide; the second one is due.",
        ),
    ),
    Row(entry=Entry(disposition=None)),
)


def clearance_state(clearance: Clearance | None) -> ClearanceState:
    """What a clearance says; None is no clearance at all.

    >>> clearance_state(None).value
    'NEITHER'
    """
    if clearance is None:
        return ClearanceState.NEITHER
    if clearance.food_safe is False:
        return ClearanceState.REFUSED
    if clearance.food_safe is None:
        return ClearanceState.NO_SAFETY_DECISION if clearance.declared else ClearanceState.NEITHER
    return ClearanceState.CLEARED if clearance.declared else ClearanceState.NO_ALLERGENS


def entry_at(*state: *State) -> Entry:
    """The entry of one combination."""
    return next(row.entry for row in ROWS if row.fits(*state))


def recommended(
    finding: Finding | None,
    clearance: ClearanceState,
    panel: PanelState,
    attempt: Attempt,
    reference: ReferenceUse,
    rule: ReleaseRule,
) -> Disposition:
    """What is recommended at one combination under a rule."""
    fixed = entry_at(finding, clearance, panel, attempt, reference).disposition
    if fixed is not None or finding is None:
        return fixed or Disposition.HOLD
    return rule.at(finding)


def combinations() -> Iterator[State]:
    """Every combination, the batch that was not tasted included."""
    return product((*Finding, None), ClearanceState, PanelState, Attempt, ReferenceUse)


def disposition_table(rule: ReleaseRule) -> Table:
    """Every combination with what is recommended under a rule, to be agreed and kept."""
    columns = ("finding", "clearance", "panel", "attempt", "reference", "recommended", "reason")
    rows = tuple(
        (
            *("not tasted" if at is None else at.value for at in state),
            recommended(*state, rule).value,
            entry_at(*state).reason,
        )
        for state in combinations()
    )
    return Table(columns=columns, rows=rows)
