"""Use cases of the tastings of a batch: opened by its rule, noted when they close."""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import RecordError, SensoryError
from ..base.records import utc_now
from ..base.spelling import key_of
from ..sessions.session import StoredSession
from ..sessions.workflow import close, new_session_id, open_session, reopen
from .batch_questions import details_of, question_of
from .batch_records import BatchRecord, Tasting
from .disposition import BatchFinding
from .product_desk import Desk, rule_for, state_of_reference, the_batch, the_product
from .tasting_outcomes import as_it_closed, finding_of, held_on


def open_tasting(desk: Desk, number: str, *, who: str, on: str = "") -> StoredSession:
    """Open the session that the release rule asks for, with its question filled in.

    At the first tasting the batch gets the reference in use and the rule of that day; both
    stay with it. `on` is the day of the tasting, where that is not today.

    Raises
    ------
    RecordError
        Before food safety has cleared the batch and its allergens are declared, without a
        rule or a reference that may be used that day, or while another tasting is open.
    """
    record = the_batch(desk, number)
    product = the_product(desk, record.batch.product)
    rule = rule_for(desk, record)
    if rule is None:
        raise RecordError(f"{record.batch.product} has no release rule: agree one first.")
    if record.clearance is None or not record.clearance.complete:
        raise RecordError(
            f"{record.name} is not tasted before food safety has cleared it and its allergens "
            "are declared."
        )
    if not record.tastings:
        at_hand = replace(record, reference=product.in_use)
        if at_hand != record:
            desk.put(at_hand, expect=record, who=who, what="reference taken", why=product.in_use)
            record = at_hand
    _check_reference(desk, record, on or utc_now()[:10])
    if open_ones := [one for one in record.tastings if not one.over]:
        raise RecordError(
            f"A tasting of {record.name} is open already (session {open_ones[0].session[:8]}): "
            "close it, or give it up with a reason."
        )
    session = open_session(
        desk,
        new_session_id(),
        details=details_of(desk, record, rule),
        question=question_of(record, rule),
        cautions={"cleared": True},
        who=who,
        why=f"tasting of batch {record.name}",
    )
    attach(desk, number, session.id, who=who)
    return session


def _check_reference(desk: Desk, record: BatchRecord, day: str) -> None:
    if not record.reference:
        raise RecordError(f"{record.name} has no reference to be compared with.")
    state = state_of_reference(desk, record.reference, day)
    if state is None or not state.usable:
        why = state.problems[0] if state else f"It was not made yet on {day}."
        raise RecordError(f"{record.reference} may not be used, so nothing is tasted. {why}")


def attach(desk: Desk, number: str, session_id: str, *, who: str) -> BatchRecord:
    """Make a session of the record a tasting of this batch; a closed one is read at once.

    Raises
    ------
    RecordError
        When it is one of its tastings already, does not name this batch among its samples, or
        another tasting of it is open.
    """
    record = the_batch(desk, number)
    session = desk.session(session_id)
    if session_id in {one.session for one in record.tastings}:
        raise RecordError(f"This session is a tasting of {record.name} already.")
    if key_of(record.name) not in _named_in(session):
        raise RecordError(
            f"This session does not name {record.name} among its samples: another batch was tasted."
        )
    if not session.closed and any(not one.over for one in record.tastings):
        raise RecordError(f"Another tasting of {record.name} is open.")
    tasting = Tasting(session=session_id, test=session.question.protocol, sample=record.name)
    rule = rule_for(desk, record)
    new = replace(
        record,
        tastings=(*record.tastings, tasting),
        rule=record.rule or (rule.to_dict() if rule else {}),
        reference=record.reference or the_product(desk, record.batch.product).in_use,
    )
    desk.put(new, expect=record, who=who, what="tasting opened", why=session.details.title)
    return _noted(desk, new, session, who) if session.closed else new


def _named_in(session: StoredSession) -> set[str]:
    """Batches and samples that a session names."""
    listed = str(session.question.settings.get("samples", "")).split(";")
    return {key_of(one.batch) for one in session.details.samples} | {key_of(one) for one in listed}


def give_up(desk: Desk, number: str, session_id: str, *, who: str, why: str) -> BatchRecord:
    """Give up a tasting that is open; it counts as an attempt all the same.

    Raises
    ------
    RecordError
        Without a reason, or when no such tasting is open.
    """
    if not why.strip():
        raise RecordError("Say why the tasting is given up; it counts as an attempt.")
    record = the_batch(desk, number)
    if session_id not in {one.session for one in record.tastings if not one.over}:
        raise RecordError(f"No such tasting of {record.name} is open.")
    day = held_on(desk.session(session_id)) or utc_now()[:10]
    new = replace(
        record,
        tastings=tuple(
            replace(one, aborted=why.strip(), held_on=day) if one.session == session_id else one
            for one in record.tastings
        ),
    )
    desk.put(new, expect=record, who=who, what="tasting given up", why=why.strip())
    return new


def close_and_note(desk: Desk, session_id: str, *, who: str) -> StoredSession:
    """Close a session, and note what it shows with each batch that it is a tasting of."""
    session = close(desk, session_id, who=who)
    note(desk, session, who=who)
    return session


def reopen_and_note(desk: Desk, session_id: str, *, who: str, why: str) -> StoredSession:
    """Open a session again; its batches wait for it from then on."""
    session = reopen(desk, session_id, who=who, why=why)
    note(desk, session, who=who)
    return session


def note(desk: Desk, session: StoredSession, *, who: str) -> None:
    """Bring the batches of a session up to what it shows now; nothing is written twice."""
    for record in desk.linked("session", session.id):
        _noted(desk, record, session, who)


def _noted(desk: Desk, record: BatchRecord, session: StoredSession, who: str) -> BatchRecord:
    tastings = tuple(
        _as_left(desk, record, tasting, session) if tasting.session == session.id else tasting
        for tasting in record.tastings
    )
    new = replace(record, tastings=tastings)
    shown = _shown(desk, new)
    new = replace(
        new,
        finding=shown.finding if shown else None,
        recommended=shown.disposition if shown else None,
    )
    if new != record:
        noted = next(tasting for tasting in tastings if tasting.session == session.id)
        why = noted.finding.heading if noted.finding else "ballots open"
        desk.put(new, expect=record, who=who, what="tasting noted", why=why)
    return new


def _as_left(desk: Desk, record: BatchRecord, tasting: Tasting, session: StoredSession) -> Tasting:
    """The tasting as its session stands now."""
    if tasting.aborted:
        return tasting
    if session.closed:
        return as_it_closed(desk, record, tasting, session)
    return Tasting(session=tasting.session, test=tasting.test, sample=tasting.sample)


def _shown(desk: Desk, record: BatchRecord) -> BatchFinding | None:
    if record.latest is None:
        return None
    try:
        return finding_of(desk, record)
    except SensoryError:
        return None
