"""Use cases of the tastings of a batch: opened by its rule, noted when they close."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any

from ..base.errors import ArgumentError, RecordError, SensoryError
from ..base.records import utc_now
from ..base.spelling import key_of
from ..catalogue.batch_results import RATED, differences_of, rated_result, sample_named
from ..catalogue.choice_ballot import tally
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..ratings.control import DifferenceFromControl
from ..ratings.profile import Profile
from ..ratings.scorecard import PanelScorecard
from ..sessions.outcomes import choice_finding, read_answers
from ..sessions.session import StoredSession
from ..sessions.workflow import checked_ballots, close, new_session_id, open_session, reopen
from .batch_parts import Result, part_of
from .batch_questions import details_of, question_of
from .batch_records import BatchRecord, Tasting
from .disposition import BatchFinding, batch_finding
from .product_desk import Desk, rule_for, state_of_reference, the_batch, the_product


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """What the ballots of one tasting amount to.

    Attributes
    ----------
    result : Result
    panel : PanelScorecard or None
    tasting : Tasting
        With its numbers and its finding.
    """

    result: Result
    panel: PanelScorecard | None
    tasting: Tasting


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
    held_on = _held_on(desk.session(session_id)) or utc_now()[:10]
    new = replace(
        record,
        tastings=tuple(
            replace(one, aborted=why.strip(), held_on=held_on) if one.session == session_id else one
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
    read = {
        one.session: read_tasting(desk, record, one, session)
        for one in record.tastings
        if one.session == session.id and session.closed and not one.aborted
    }
    tastings = tuple(
        _as_left(one, read.get(one.session)) if one.session == session.id else one
        for one in record.tastings
    )
    new = replace(record, tastings=tastings)
    found = _found(desk, new, read)
    new = replace(
        new,
        finding=found.finding if found else None,
        recommended=found.disposition if found else None,
    )
    if new != record:
        said = next(one for one in tastings if one.session == session.id)
        why = said.finding.heading if said.finding else "ballots open"
        desk.put(new, expect=record, who=who, what="tasting noted", why=why)
    return new


def _as_left(tasting: Tasting, read: Read | None) -> Tasting:
    """The tasting as its session stands now; `read` where that is closed."""
    if tasting.aborted:
        return tasting
    if read is None:
        return Tasting(session=tasting.session, test=tasting.test, sample=tasting.sample)
    return read.tasting


def read_tasting(desk: Desk, record: BatchRecord, tasting: Tasting, session: StoredSession) -> Read:
    """Read the ballots of a closed tasting again.

    Raises
    ------
    SensoryError
        When they cannot be read.
    """
    checked, question = checked_ballots(desk, session.id), session.question
    done = replace(tasting, held_on=_held_on(session))
    if find_kind(question.protocol).protocol:
        counted = tally(checked.rows)
        found = choice_finding(question, counted)
        done = replace(done, finding=found.finding, correct=counted.correct, trials=counted.trials)
        return Read(result=found, panel=None, tasting=done)
    if question.protocol not in RATED:
        raise RecordError(f"A {question.protocol} session says nothing about a release.")
    asked = json.dumps([question.protocol, question.alpha, question.beta, question.settings])
    result, panel = _rated(tuple(tuple(row.items()) for row in checked.rows), asked)
    sample = sample_named(result, record.name)
    done = replace(done, sample=str(sample), differences=differences_of(result, sample))
    rule = rule_for(desk, record)
    try:
        if rule is None:
            raise ArgumentError("no rule")
        finding = part_of(result, rule, sample).finding
    except ArgumentError:
        finding = read_answers(checked, question).finding
    return Read(result=result, panel=panel, tasting=replace(done, finding=finding))


@lru_cache(maxsize=32)
def _rated(
    rows: tuple[tuple[tuple[str, Any], ...], ...], asked: str
) -> tuple[DifferenceFromControl | Profile, PanelScorecard | None]:
    """`rated_result`, kept for the same scores and question: a decision follows its tasting."""
    protocol, alpha, beta, settings = json.loads(asked)
    question = Question(protocol=protocol, alpha=alpha, beta=beta, settings=settings)
    return rated_result([dict(row) for row in rows], question)


def _held_on(session: StoredSession) -> str:
    try:
        return date.fromisoformat(session.details.held_on).isoformat()
    except ValueError:
        return session.closed_at[:10]


def _found(desk: Desk, record: BatchRecord, known: Mapping[str, Read]) -> BatchFinding | None:
    if record.latest is None:
        return None
    try:
        return finding_of(desk, record, known=known)
    except SensoryError:
        return None


def finding_of(
    desk: Desk, record: BatchRecord, *, known: Mapping[str, Read] | None = None
) -> BatchFinding | None:
    """What the release rule says of a batch as it stands; None without a rule.

    The latest tasting of the rule's test counts, the ones before it are its attempts; of
    other tests the latest is put beside it. `known` are tastings that were read just now, by
    session; the others are read again.

    Raises
    ------
    SensoryError
        When ballots cannot be read, a tasting was held at other risks than agreed, or before
        the reference was made.
    """
    rule = rule_for(desk, record)
    if rule is None:
        return None
    state = state_of_reference(desk, record.reference, _day(record))
    if record.tastings and record.reference and state is None:
        raise RecordError(
            f"The reference {record.reference} is not on record, or was made after {_day(record)}."
        )
    over = [one for one in record.tastings if one.over]
    own = [one for one in over if one.test == rule.test]
    beside = {one.test: one for one in over if one.test != rule.test and one.finding}
    read = dict(known or {}) | {
        one.session: read_tasting(desk, record, one, desk.session(one.session))
        for one in (*own, *beside.values())
        if not one.aborted and one.session not in (known or {})
    }
    now = own.pop() if own and not own[-1].aborted else None
    chosen = [read[one.session] for one in ((now,) if now else ())]
    chosen += [read[one.session] for one in beside.values()] if chosen else []
    return batch_finding(
        [one.result for one in chosen],
        rule=rule,
        clearance=record.clearance,
        panel=_panel(chosen),
        earlier=[None if one.aborted else read[one.session].result for one in own],
        sample=next((one.tasting.sample for one in chosen if one.tasting.differences), None),
        reference=state,
        batch=record.batch,
    )


def _panel(read: Sequence[Read]) -> dict[str, float] | None:
    """The smallest differences of all scorecards, by attribute; those of the rule's test first."""
    found: dict[str, float] = {}
    for one in reversed(read):
        if one.panel is not None:
            table = one.panel.attributes
            found |= dict(zip(table["attribute"], table["smallest_difference"], strict=True))
    return found or None


def _day(record: BatchRecord) -> str:
    """The day of the latest tasting, else today."""
    return record.latest.held_on if record.latest else utc_now()[:10]
