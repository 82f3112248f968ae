"""Use cases of the batch: what it waits for, all about it, the decision, trend and month.

Why so
------
Release is refused, not only advised against, without a finding, while a tasting is open, and
while it is blocked (clearance, declaration, reference, panel, attempt). Every other disposition
may depart from the recommendation, with its reason. Who may decide is the role that the rule
names; who fills it stands among the people who sign (`sessions.staff`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from ..base.errors import RecordError, SensoryError
from ..base.record_checks import iso_date
from ..base.records import utc_now
from ..base.spelling import key_of
from ..base.version import __version__
from ..sessions.session import JournalEntry, StoredSession
from ..sessions.signing import TYPED, Right
from ..sessions.soundness import refuse_changed, refuse_wrong
from ..sessions.staff import signature
from .batch_causes import causes_of_batches
from .batch_file import BatchFile, Comment, Kin
from .batch_records import ENDS, OPEN, BatchRecord, Decision, ProductRecord, lot_key
from .batch_trend import ProductTrend, trend_of_batches
from .batches import Disposition
from .cause_desk import causes_of_batch
from .disposition import BatchFinding
from .evidence_desk import evidence_of_batch
from .month import MonthReport, month_bounds
from .plant_desk import the_plant
from .product_desk import (
    Desk,
    rule_for,
    rule_of,
    rule_on,
    state_of_reference,
    the_batch,
    the_product,
)
from .reference_state import ReferenceState
from .references import Reference
from .rule import ReleaseRule
from .tasting_outcomes import finding_of
from .tastings import note
from .trend_words import batch_count

ON_A_PAGE = 100
"""Open batches that are listed at once."""
IN_A_CHART = 400
"""Batches that are charted at once."""

_BASE = 20
_OF_A_LOT = 1000
_NO_RULE = "The product has no release rule yet."


def board(desk: Desk, product: str = "", most: int = ON_A_PAGE, skip: int = 0) -> list[BatchRecord]:
    """The latest open batches, oldest first; `BatchRecord.waits_for` says what each waits for.

    There are `Desk.how_many(state=OPEN)` in all; `skip` leaves out those of the pages before.
    """
    return desk.batches(product=product, state=OPEN, most=most, skip=skip)


def batch_file(desk: Desk, number: str, *, today: str = "") -> BatchFile:
    """All about one batch: origin, clearance, tastings, finding, decisions, journal.

    Raises RecordError when there is no such batch.
    """
    record = the_batch(desk, number)
    product = desk.noun(ProductRecord, record.batch.product)
    sessions = tuple(desk.session(tasting.session) for tasting in record.tastings)
    finding, why_none = _finding(desk, record)
    day = today or (record.latest.held_on if record.latest else utc_now()[:10])
    rule = rule_for(desk, record)
    return BatchFile(
        record=record,
        product=product,
        rule=rule,
        reference=state_of_reference(desk, record.reference, day, served=record.latest is not None),
        finding=finding,
        why_none=why_none,
        sessions=sessions,
        kin=_kin(desk, record),
        comments=tuple(_comments(desk, sessions)),
        causes=causes_of_batch(desk, record),
        evidence=evidence_of_batch(desk, record, rule, sessions),
        journal=tuple(_events(desk, record, sessions)),
        printed_at=utc_now(),
        version=__version__,
        newest=desk.newest(),
    )


def up_to_date(desk: Desk, number: str, *, who: str) -> None:
    """Note what tastings of an open batch show where that was not done when they closed."""
    record = the_batch(desk, number)
    if record.state == OPEN:
        held = [tasting.session for tasting in record.tastings if not tasting.aborted]
        note(desk, [desk.session(session_id) for session_id in held], who=who)


def _finding(desk: Desk, record: BatchRecord) -> tuple[BatchFinding | None, str]:
    try:
        finding = finding_of(desk, record)
    except SensoryError as error:
        return None, str(error)
    return finding, "" if finding else _NO_RULE


def _kin(desk: Desk, record: BatchRecord) -> tuple[Kin, ...]:
    """Other batches of the same lots and the same rework, what few share first.

    A lot is the same under every name that its material goes by in the plant's list.
    """
    plant, made = the_plant(desk), record.batch
    sought = []
    for raw in made.raw_lots:
        names = plant.names_of(raw.material)
        others = [name for name in names if key_of(name) != key_of(raw.material)]
        also = f" (also {', '.join(others)})" if others else ""
        keys = [lot_key(name, raw.lot) for name in (raw.material, *others)]
        sought.append(("material lot", f"{raw.material}{also}, lot {raw.lot}", keys))
    sought += [("rework", f"rework of {batch}", [batch]) for batch in made.rework_of]
    sought.append(("rework", f"{record.name} went into", [record.name]))
    kin = []
    for kind, name, values in sought:
        linked = {
            each.name: each for value in values for each in desk.linked(kind, value, most=_OF_A_LOT)
        }
        left = sum(max(desk.how_many_linked(kind, value) - _OF_A_LOT, 0) for value in values)
        if linked.pop(record.name, None) is None and kind == "material lot":
            left = max(left - 1, 0)  # the batch itself, where it is among the earliest
        in_time = sorted(linked.values(), key=lambda each: (each.batch.made_on, each.name))
        if in_time:
            kin.append(
                Kin(kind=kind, name=name, value=values[0], batches=tuple(in_time), left=left)
            )
    return tuple(sorted(kin, key=lambda lot: len(lot.batches)))


def _comments(desk: Desk, sessions: Sequence[StoredSession]) -> Iterator[Comment]:
    """What assessors wrote in the closed tastings of a batch; while one is open nobody reads it."""
    for place, session in enumerate(sessions, start=1):
        if not session.closed:
            continue
        for sample, text in desk.comments(session.id):
            yield Comment(tasting=place, sample=sample, text=" ".join(text.split()))


def _events(
    desk: Desk, record: BatchRecord, sessions: tuple[StoredSession, ...]
) -> list[JournalEntry]:
    entries = desk.noun_entries(record)
    for session in sessions:
        entries += [entry for entry in desk.entries(session.id) if entry.what != "cells"]
    return sorted(entries, key=lambda entry: entry.number)


def decide(
    desk: Desk,
    number: str,
    disposition: Disposition,
    *,
    by: str,
    role: str,
    reason: str,
    cause: str = "",
    on: str = "",
    how: str = TYPED,
) -> BatchRecord:
    """Record what the authorised role decided, with its reason.

    Where the rule asks for a second person, it is a proposal until `second_person.confirm`. `how`
    says how far the name is proven, see `sessions.staff.signature`.

    `cause` is what was wrong, from the plant's list; `cause_needed` says when it has to be named.
    `on` is the date where it was decided earlier, on paper; the journal has its own time.

    Release is refused without a finding, while a tasting is open, and while clearance,
    declaration, reference or panel stand against it; any other disposition may depart from the
    recommendation, with its reason.

    Raises RecordError without name, role or reason, or a cause where one is needed; with another
    role than the rule names, or from somebody who may not decide; for a release that something
    stands against; for RETEST where the rule has no second tasting.
    """
    record = the_batch(desk, number)
    refuse_changed_batch(desk, record)
    for name, text in (("name", by), ("role", role), ("reason", reason)):
        if not text.strip():
            raise RecordError(f"The {name} is missing: who decides, in which role, and why?")
    if on:
        iso_date("on", on)
    rule = rule_for(desk, record)
    if rule is None:
        raise RecordError(f"{record.name} cannot be decided yet: {_NO_RULE}")
    finding, why_none = _finding(desk, record)
    if key_of(role) != key_of(rule.decides):
        raise RecordError(f"The rule names {rule.decides} to decide; got {role}.")
    if disposition is Disposition.RELEASE and (
        against := against_release(record, finding, why_none)
    ):
        raise RecordError(f"Release of {record.name} is blocked: {against}")
    recommended = finding.disposition if finding else None
    if disposition is Disposition.RETEST and recommended is not disposition:
        raise RecordError(
            "The rule asks for no second tasting here; another one would pass batches more often "
            "than agreed. Hold the batch instead."
        )
    if not cause.strip() and cause_needed(disposition, recommended):
        raise RecordError("The cause is missing: choose one of the plant's list, or unknown.")
    decision = Decision(
        disposition=disposition,
        decided_by=" ".join(by.split()),
        role=rule.decides,
        decided_at=on or utc_now(),
        reason=" ".join(reason.split()),
        recommended=recommended,
        finding=finding.finding if finding else None,
        cause=the_plant(desk).cause(cause) if cause.strip() else "",
    )
    with desk.action(who=decision.decided_by, why=decision.reason) as act:
        signed = act.sign(signature(act, by, Right.DECIDE, role=rule.decides, how=how))
        decision = replace(decision, decided_by=signed.by, role=signed.role)
        if rule.second_person:
            new, what = replace(record, proposed=decision), "proposed"
        else:
            new, what = decided(record, decision), "decided"
        act.put_noun(new, expect=record, what=f"{what} {disposition.value.lower()}")
    return new


def refuse_changed_batch(desk: Desk, record: BatchRecord) -> None:
    """RecordError where the batch or one of its tastings was changed outside the program."""
    refuse_wrong(desk.verify_noun(record), "A decision")
    for tasting in record.tastings:
        refuse_changed(desk, tasting.session, "A decision")


def decided(record: BatchRecord, decision: Decision) -> BatchRecord:
    """The batch with a decision that stands."""
    return replace(
        record,
        decisions=(*record.decisions, decision),
        proposed=None,
        finding=decision.finding,
        recommended=decision.recommended,
    )


def cause_needed(disposition: Disposition, recommended: Disposition | None) -> bool:
    """Whether a decision has to name its cause: the batch was off, or release was not advised.

    >>> cause_needed(Disposition.REJECT, Disposition.REJECT)
    True
    >>> cause_needed(Disposition.RELEASE, Disposition.RELEASE)
    False
    """
    if disposition is Disposition.RELEASE:
        return recommended is not disposition
    return disposition in ENDS


def against_release(record: BatchRecord, finding: BatchFinding | None, why_none: str) -> str:
    """What stands against a release; empty where nothing does."""
    if finding is None:
        return why_none or _NO_RULE
    if finding.blocked:
        return finding.reasons[0]
    if finding.finding is None:
        return "Tasting is not finished, so nothing was shown."
    if any(not tasting.over for tasting in record.tastings):
        return "A tasting of it is open."
    return ""


def product_trend(
    desk: Desk,
    product: str,
    *,
    since: str = "",
    until: str = "",
    attribute: str = "",
    beside: str = "",
    base: int | None = None,
    most: int = IN_A_CHART,
    skip: int = 0,
) -> ProductTrend:
    """The batches of a product over time; the latest `most` of the span, or, with `skip`, of those
    before the latest. A remark says how many are left out.

    Raises RecordError without a product or a rule.
    """
    records = desk.batches(product=product, since=since, until=until, most=most, skip=skip)
    rule = _rule(desk, product)
    charted = trend_of_batches(
        records,
        rule,
        attribute=attribute,
        beside=beside,
        base=base,
        plant=the_plant(desk),
        references=took_over(desk, product),
    )
    if left := desk.how_many(product=product, since=since, until=until) - len(records):
        verb = "lies" if left == 1 else "lie"
        words = f"{batch_count(left)} of the span {verb} outside this chart."
        charted = replace(charted, remarks=(*charted.remarks, words))
    return charted


def took_over(desk: Desk, product: str) -> dict[str, tuple[str, ...]]:
    """How references took over without a tasting on record that showed similarity, by name."""
    return {
        reference.name: sentences
        for reference in desk.nouns(Reference, product)
        if (sentences := reference.took_over())
    }


def usual_base(records: Sequence[BatchRecord]) -> int | None:
    """How many first batches of each line set what is usual, where nobody says it.

    Twenty where there are many batches: with all of them a change widens the limits that should
    show it.
    """
    return _BASE if len(records) >= 3 * _BASE else None


def month_report(desk: Desk, product: str, month: str) -> MonthReport:
    """The month of a product, with the eleven before it, by the rule that held then.

    Raises RecordError, ArgumentError without a product or a rule; for a month that is none.
    """
    earlier, first, last = month_bounds(month)
    total = desk.how_many(product=product, since=earlier, until=last)
    records = desk.batches(product=product, since=earlier, until=last, most=total)
    made = tuple(record for record in records if record.batch.made_on >= first)
    rule = _rule_then(desk, product, made, last)
    return MonthReport(
        product=the_product(desk, product).name,
        month=month,
        rule=rule,
        batches=made,
        before=tuple(record for record in records if record.batch.made_on < first),
        complained=tuple(
            record
            for record in desk.linked("complaint", month)
            if key_of(record.batch.product) == key_of(product)
        ),
        trend=trend_of_batches(
            records, rule, base=usual_base(records), references=took_over(desk, product)
        ),
        references=_references(desk, product, min(last, utc_now()[:10])),
        causes=causes_of_batches(
            records, rule, plant=the_plant(desk), references=desk.nouns(Reference, product)
        ).headlines,
        printed_at=utc_now(),
        version=__version__,
        newest=desk.newest(),
    )


def _rule(desk: Desk, product: str) -> ReleaseRule:
    rule = rule_of(the_product(desk, product))
    if rule is None:
        raise RecordError(f"{product} has no release rule yet: agree one on the page Products.")
    return rule


def _rule_then(desk: Desk, product: str, made: Sequence[BatchRecord], last: str) -> ReleaseRule:
    """That of the latest batch of the month that was tasted, else the one agreed last by then, else
    today's: a year that was loaded later has its rule from its batches."""
    own = next((record.rule for record in reversed(made) if record.rule), None)
    if own is not None:
        return ReleaseRule.from_dict(own)
    return rule_on(desk, product, last) or _rule(desk, product)


def _references(desk: Desk, product: str, day: str) -> tuple[ReferenceState, ...]:
    """The reference in use that day: the last one that had taken over by then.

    It is in use from the day of its bridge to the one before, the first from when it was made.
    """
    since = {}
    for reference in desk.nouns(Reference, product):
        bridge = reference.bridged_to_previous
        since[reference.name] = bridge.held_on if bridge else reference.made_on
    names = the_product(desk, product).references
    used = [name for name in names if name in since and since[name] <= day]
    state = state_of_reference(desk, used[-1], day) if used else None
    return () if state is None else (state,)
