"""A decision that a second person has to confirm: confirmed, or taken back.

Why so
------
Until it is confirmed it is no decision: board, search, trend and month read decisions only. It
is confirmed as it was proposed; where tastings, clearance or recommendation are no longer those
that the first person saw, it has to be decided anew.
"""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import RecordError
from ..base.records import utc_now
from ..base.spelling import same_person
from ..sessions.signing import TYPED, Right
from ..sessions.staff import signature
from .batch_desk import against_release, batch_file, decided, refuse_changed_batch
from .batch_records import BatchRecord, Decision
from .batches import Disposition
from .product_desk import Desk, rule_for, the_batch


def confirm(desk: Desk, number: str, *, by: str, how: str = TYPED) -> BatchRecord:
    """Confirm the proposed decision on a batch, as the second person; from now on it stands.

    Raises RecordError where nothing is proposed; for the person who proposed it, or somebody who
    may not decide; where the recommendation is another one by now, or something stands against a
    release.
    """
    file = batch_file(desk, number)
    refuse_changed_batch(desk, file.record)
    record, rule, proposed = file.record, file.rule, _proposed(file.record)
    if same_person(by) == same_person(proposed.decided_by):
        raise RecordError(
            f"{proposed.decided_by} decided it: another person has to confirm the decision."
        )
    recommended = file.finding.disposition if file.finding else None
    if recommended is not proposed.recommended:
        raise RecordError(
            f"What is recommended for {record.name} has changed since it was decided: take the "
            "decision back and decide anew."
        )
    if proposed.disposition is Disposition.RELEASE and (
        against := against_release(record, file.finding, file.why_none)
    ):
        raise RecordError(f"Release of {record.name} is blocked: {against}")
    what = f"decided {proposed.disposition.value.lower()}"
    with desk.action(who=by, why=f"confirmed: {proposed.reason}") as act:
        role = rule.decides if rule else ""
        signed = act.sign(signature(act, by, Right.DECIDE, role=role, how=how))
        second = replace(
            proposed,
            confirmed_by=signed.by,
            confirmed_role=signed.role,
            confirmed_at=utc_now(),
        )
        new = decided(record, second)
        act.put_noun(new, expect=record, what=what)
    return new


def take_back(desk: Desk, number: str, *, by: str, reason: str, how: str = TYPED) -> BatchRecord:
    """Take a proposed decision back, or decline to confirm it; the batch waits for a new one.

    Raises RecordError where nothing is proposed, without a reason, or for somebody who may not
    decide.
    """
    if not reason.strip():
        raise RecordError("Say why the decision is not confirmed; the journal keeps it.")
    with desk.action(who=by, why=reason.strip()) as act:
        record = the_batch(act, number)
        _proposed(record)
        rule = rule_for(act, record)
        role = rule.decides if rule else ""
        act.sign(signature(act, by, Right.DECIDE, role=role, how=how))
        new = replace(record, proposed=None)
        act.put_noun(new, expect=record, what="not confirmed")
    return new


def _proposed(record: BatchRecord) -> Decision:
    if record.proposed is None:
        raise RecordError(f"No decision on {record.name} waits for a second person.")
    return record.proposed
