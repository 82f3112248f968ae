"""Use cases of the tastings of a batch: opened by its rule, noted when they close.

Why so
------
What a tasting shows is noted with the batch in the same transaction in which its session closes.

A batch keeps the rule and the reference of its first tasting. A rule agreed later counts for
later batches; else a batch tasted under the old one could never be decided again. A decided batch
is open again when a complaint comes in, or when its ballots are opened and say something else.

The scorecard of the day is made from the tasting itself: which difference could this panel have
seen with these scores.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from ..base.errors import RecordError, SensoryError
from ..base.records import utc_now
from ..base.spelling import key_of
from ..catalogue.outcome import Outcome
from ..serving.ballot_line import is_answer
from ..sessions.finding import outcome_of_session
from ..sessions.search import ALL
from ..sessions.session import StoredSession
from ..sessions.workflow import closing_of, new_session_id, open_session, reopen
from .batch_questions import details_of, question_of
from .batch_records import BatchRecord, Tasting
from .disposition import BatchFinding
from .known_before import known_before
from .product_desk import (
    Desk,
    DeskAction,
    rule_for,
    state_of_reference,
    the_batch,
    the_product,
    words_for,
)
from .references import Reference
from .tasting_outcomes import as_it_closed, finding_of, held_on

_USED = "stock used"
Known = Mapping[str, Outcome]
"""What sessions show, by their identifier."""


def open_tasting(desk: Desk, number: str, *, who: str, on: str = "") -> StoredSession:
    """Open the session that the release rule asks for, with its question filled in.

    At the first tasting the batch gets the reference in use and the rule of that day; both
    stay with it. `on` is the day of the tasting, where that is not today.

    Raises RecordError before food safety has cleared the batch and its allergens are declared,
    without a rule or a reference that may be used that day, or while another tasting is open.
    """
    with desk.action(who=who) as act:
        record = the_batch(act, number)
        product = the_product(act, record.batch.product)
        rule = rule_for(act, record)
        if rule is None:
            raise RecordError(f"{record.batch.product} has no release rule: agree one first.")
        if record.clearance is None or not record.clearance.complete:
            raise RecordError(
                f"{record.name} is not tasted before food safety has cleared it and its allergens "
                "are declared."
            )
        if not record.tastings:
            at_hand = replace(record, reference=product.in_use)
            act.put_noun(at_hand, expect=record, what="reference taken", why=product.in_use)
            record = at_hand
        _check_reference(act, record, on or utc_now()[:10])
        if still_open := [tasting for tasting in record.tastings if not tasting.over]:
            raise RecordError(
                f"A tasting of {record.name} is open already (session "
                f"{still_open[0].session[:8]}): close it, or cancel it with a reason."
            )
        session = open_session(
            act,
            new_session_id(),
            details=details_of(act, record, rule),
            question=words_for(act, record.batch.product, question_of(record, rule)),
            cautions={"cleared": True},
            who=who,
            why=f"tasting of batch {record.name}",
        )
        attach(act, number, session.id, who=who)
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

    Raises RecordError when it is one of its tastings already, does not name this batch among its
    samples, or another tasting of it is open.
    """
    record, session = the_batch(desk, number), desk.session(session_id)
    if session_id in {tasting.session for tasting in record.tastings}:
        raise RecordError(f"This session is a tasting of {record.name} already.")
    if key_of(record.name) not in _named_in(session):
        raise RecordError(
            f"This session does not name {record.name} among its samples: another batch was tasted."
        )
    if session.question.training is not None:
        raise RecordError("This session was training: nothing of it counts for a batch.")
    if session.details.care.smelling_only:
        raise RecordError("The samples of this session were smelled only: it is no tasting.")
    if not session.closed and any(not tasting.over for tasting in record.tastings):
        raise RecordError(f"Another tasting of {record.name} is open.")
    tasting = Tasting(session=session_id, test=session.question.protocol, sample=record.name)
    rule = rule_for(desk, record)
    new = replace(
        record,
        tastings=(*record.tastings, tasting),
        rule=record.rule or (rule.to_dict() if rule else {}),
        reference=record.reference or the_product(desk, record.batch.product).in_use,
    )
    notes = _notes(desk, session, [new]) if session.closed else []
    with desk.action(who=who, why=session.details.title) as act:
        act.unchanged(session)
        act.put_noun(new, expect=record, what="tasting opened")
        _note(act, notes)
    return notes[-1].new if notes else new


def sessions_to_attach(desk: Desk, number: str) -> list[StoredSession]:
    """Agreed sessions that name this batch and are no tasting of it yet, newest first: those that
    `attach` may take."""
    record = the_batch(desk, number)
    known = {tasting.session for tasting in record.tastings}
    return [
        session
        for session in desk.sessions(ALL, naming=record.name)
        if session.id not in known
        and session.agreed
        and session.question.training is None
        and not session.details.care.smelling_only
        and key_of(record.name) in _named_in(session)
    ]


def _named_in(session: StoredSession) -> set[str]:
    """Batches and samples that a session names."""
    listed = str(session.question.settings.get("samples", "")).split(";")
    batches = (sample.batch for sample in session.details.samples)
    return {key_of(name) for name in (*batches, *listed)}


def give_up(desk: Desk, number: str, session_id: str, *, who: str, why: str) -> BatchRecord:
    """Give up a tasting that is open; it counts as an attempt all the same.

    Raises RecordError without a reason, or when no such tasting is open.
    """
    if not why.strip():
        raise RecordError("Say why the tasting is given up; it counts as an attempt.")
    with desk.action(who=who, why=why.strip()) as act:
        record = the_batch(act, number)
        if session_id not in {tasting.session for tasting in record.tastings if not tasting.over}:
            raise RecordError(f"No such tasting of {record.name} is open.")
        day = held_on(act.session(session_id)) or utc_now()[:10]
        tastings = tuple(
            replace(tasting, aborted=why.strip(), held_on=day)
            if tasting.session == session_id
            else tasting
            for tasting in record.tastings
        )
        new, rows = replace(record, tastings=tastings), act.cells(session_id).values()
        act.put_noun(new, expect=record, what="tasting given up")
        if any(text and is_answer(name) for row in rows for name, text in row.items()):
            _take_from_stock(act, session_id, [record])
        return new


def close_and_note(desk: Desk, session_id: str, *, who: str) -> StoredSession:
    """Close a session, and note what it shows with each batch that it is a tasting of.

    What a tasting needs of the reference is taken off its stock, once for each session.
    """
    records = desk.linked("session", session_id)
    closing = closing_of(desk, session_id, known_before(desk, session_id, records))
    try:
        notes = _notes(desk, closing.session, records, closing.outcome)
    except SensoryError:
        notes = []  # the ballots are closed all the same; the page of the batch says what is amiss
    with desk.action(who=who) as act:
        closing.write(act)
        _check_linked(act, session_id, records)
        _note(act, notes)
        _take_from_stock(act, session_id, records)
    return closing.session


def _take_from_stock(act: DeskAction, session_id: str, records: Sequence[BatchRecord]) -> None:
    """Take what a tasting needs off the stock of its reference; closed again it takes nothing."""
    why = f"session {session_id}"
    for name in {key_of(record.reference): record.reference for record in records}.values():
        reference = act.noun(Reference, name) if name else None
        if reference is None or reference.stock is None or not reference.needed:
            continue
        if any(entry.what == _USED and entry.why == why for entry in act.noun_entries(reference)):
            continue
        left = max(reference.stock - reference.needed, 0.0)
        act.put_noun(replace(reference, stock=left), expect=reference, what=_USED, why=why)


def reopen_and_note(desk: Desk, session_id: str, *, who: str, why: str) -> StoredSession:
    """Open a session again; its batches wait for it from then on."""
    session, records = desk.session(session_id), desk.linked("session", session_id)
    notes = _notes(desk, replace(session, closed_at=""), records)
    with desk.action(who=who) as act:
        act.unchanged(session)
        opened = reopen(act, session_id, who=who, why=why)
        _check_linked(act, session_id, records)
        _note(act, notes)
    return opened


def note(desk: Desk, sessions: Sequence[StoredSession], *, who: str) -> None:
    """Bring the batches of some sessions up to what these show now; nothing is written twice."""
    notes: list[Note] = []
    for session in sessions:
        latest = {key_of(done.new.name): done.new for done in notes}
        records = desk.linked("session", session.id)
        notes += _notes(
            desk, session, [latest.get(key_of(record.name), record) for record in records]
        )
    if notes:
        with desk.action(who=who) as act:
            for session in sessions:
                act.unchanged(session)
            _note(act, notes)


class Note(NamedTuple):
    """What a session changes in a batch."""

    record: BatchRecord
    new: BatchRecord
    why: str


def _check_linked(desk: Desk, session_id: str, records: Sequence[BatchRecord]) -> None:
    if desk.linked("session", session_id) != records:
        raise RecordError("A batch was changed in another window meanwhile. Reload the page.")


def _note(act: DeskAction, notes: Sequence[Note]) -> None:
    for done in notes:
        act.put_noun(done.new, expect=done.record, what="tasting noted", why=done.why)


def _notes(
    desk: Desk,
    session: StoredSession,
    records: Sequence[BatchRecord],
    outcome: Outcome | None = None,
) -> list[Note]:
    """What is to be noted with each batch; where nothing changes, nothing."""
    if session.closed and outcome is None and records:
        outcome = outcome_of_session(desk, session)
    known = {session.id: outcome} if outcome else {}
    notes = []
    for record in records:
        new = _noted(desk, record, session, known)
        if new != record:
            shown = {tasting.session: tasting.finding for tasting in new.tastings}[session.id]
            notes.append(Note(record, new, shown.heading if shown else "ballots open"))
    return notes


def _noted(desk: Desk, record: BatchRecord, session: StoredSession, known: Known) -> BatchRecord:
    tastings = tuple(
        _as_left(desk, record, tasting, session, known)
        if tasting.session == session.id
        else tasting
        for tasting in record.tastings
    )
    new = replace(record, tastings=tastings)
    shown = _shown(desk, new, known)
    return replace(
        new,
        finding=shown.finding if shown else None,
        recommended=shown.disposition if shown else None,
    )


def _as_left(
    desk: Desk, record: BatchRecord, tasting: Tasting, session: StoredSession, known: Known
) -> Tasting:
    """The tasting as its session stands now."""
    if tasting.aborted:
        return tasting
    if session.closed:
        return as_it_closed(desk, record, tasting, session, known[session.id])
    return Tasting(session=tasting.session, test=tasting.test, sample=tasting.sample)


def _shown(desk: Desk, record: BatchRecord, known: Known) -> BatchFinding | None:
    if record.latest is None:
        return None
    try:
        return finding_of(desk, record, known=known)
    except SensoryError:
        return None
