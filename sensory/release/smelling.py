"""A batch under suspicion is not tasted; it is smelled where food safety allows that by name.

Why so
------
A session by smell is no tasting of the batch: it shows nothing of the flavour, counts as no
attempt, and no release rests on it. It is kept with the batch, so that a complaint, a refusal or
a clearance taken back stops its booths like those of a tasting.
"""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import RecordError
from ..base.record_checks import iso_date
from ..sessions.session import StoredSession
from ..sessions.signing import TYPED, Right
from ..sessions.staff import signature
from ..sessions.workflow import new_session_id, open_session
from .batch_questions import details_of, question_of
from .batch_records import BatchRecord
from .product_desk import Desk, rule_for, the_batch, the_product


def allow_smelling(
    desk: Desk, number: str, *, by: str, on: str, who: str, how: str = TYPED
) -> BatchRecord:
    """Record who of food safety allows a suspected batch to be smelled, and since when.

    `how` says how far the name of `by` is proven, see `sessions.staff.signature`.

    Raises RecordError where nothing is suspected, without a name and a date, or where `by` may not
    clear batches.
    """
    if not by.strip():
        raise RecordError("Say who of food safety allows it: the name is missing.")
    iso_date("on", on)
    with desk.action(who=who, why="smelling only allowed by food safety") as act:
        record = the_batch(act, number)
        if record.clearance is None or not record.clearance.suspected:
            raise RecordError(f"{record.name} is not under suspicion: nothing is smelled only.")
        signed = act.sign(signature(act, by, Right.CLEAR, how=how))
        clearance = replace(
            record.clearance, smelling_by=signed.by, smelling_role=signed.role, smelling_on=on
        )
        new = replace(record, clearance=clearance)
        act.put_noun(new, expect=record, what="smelling allowed")
        return new


def open_smelling(desk: Desk, number: str, *, who: str) -> StoredSession:
    """Open a session in which a suspected batch is smelled, with the question of its rule.

    Raises RecordError where food safety has not allowed it by name, allergens are not declared, or
    there is no rule or no reference.
    """
    with desk.action(who=who) as act:
        record = the_batch(act, number)
        clearance, rule = record.clearance, rule_for(act, record)
        if clearance is None or not clearance.smelling_by:
            raise RecordError(
                f"{record.name} is smelled only where food safety allows it, by name and date."
            )
        if not clearance.declared:
            raise RecordError(f"{record.name} waits for the declaration of its allergens.")
        reference = record.reference or the_product(act, record.batch.product).in_use
        if rule is None or not reference:
            raise RecordError(f"{record.batch.product} has no release rule or no reference yet.")
        at_hand = replace(record, reference=reference)
        details, question = details_of(act, at_hand, rule), question_of(at_hand, rule)
        session = open_session(
            act,
            new_session_id(),
            details=replace(details, title=f"{details.title}: smelled only"),
            question=replace(
                question,
                decision=f"What is done next with batch {record.name}; no release rests on it.",
            ),
            cautions={"cleared": True},
            who=who,
            why=f"batch {record.name}, smelled only",
        )
        new = replace(record, smelled=(*record.smelled, session.id))
        act.put_noun(new, expect=record, what="smelling opened")
        return session
