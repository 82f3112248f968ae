"""Use cases of the tastings of a batch: opened by its rule, noted when they close."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any

from .ballots.choice_ballot import CheckedBallots, tally
from .base.batch_records import BatchRecord, Tasting
from .base.batches import Disposition
from .base.errors import ArgumentError, RecordError, SensoryError
from .base.records import Finding, Question, Sample, SessionDetails, StoredSession, utc_now
from .base.references import Reference
from .decisions.batch_parts import Result, part_of
from .decisions.batch_results import RATED, differences_of, rated_result, sample_named
from .decisions.disposition import BatchFinding, batch_finding
from .decisions.release import ReleaseRule
from .methods import DIFFERENCE_FROM_CONTROL, PROFILE
from .outcomes import choice_finding, read_answers
from .product_desk import Desk, rule_of, state_of_reference, the_batch, the_product
from .ratings.control import DifferenceFromControl
from .ratings.profile import Profile
from .ratings.scorecard import PanelScorecard
from .workflow import checked_ballots, close, new_session_id, open_session, reopen

_BLIND, _REFERENCE = "blind reference", "reference"


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


def open_tasting(desk: Desk, number: str, *, who: str) -> StoredSession:
    """Open the session that the release rule asks for, with its question filled in.

    Raises
    ------
    RecordError
        Before food safety has cleared the batch and its allergens are declared, without a
        rule or a reference, or while another tasting of it is open.
    """
    record = the_batch(desk, number)
    rule = rule_of(the_product(desk, record.batch.product))
    if rule is None:
        raise RecordError(f"{record.batch.product} has no release rule: agree one first.")
    if record.clearance is None or not record.clearance.complete:
        raise RecordError(
            f"{record.name} is not tasted before food safety has cleared it and its allergens "
            "are declared."
        )
    if not record.reference:
        raise RecordError(f"{record.name} has no reference to be compared with.")
    if open_ones := [one for one in record.tastings if not one.over]:
        raise RecordError(
            f"A tasting of {record.name} is open already (session {open_ones[0].session[:8]}): "
            "close it, or give it up with a reason."
        )
    session = open_session(
        desk,
        new_session_id(),
        details=_details(desk, record, rule),
        question=_question(record, rule),
        cautions={"cleared": True},
        who=who,
        why=f"tasting of batch {record.name}",
    )
    attach(desk, number, session.id, who=who)
    return session


def attach(desk: Desk, number: str, session_id: str, *, who: str) -> BatchRecord:
    """Make a session of the record a tasting of this batch; a closed one is read at once.

    Raises
    ------
    RecordError
        When it is one of its tastings already.
    """
    record = the_batch(desk, number)
    session = desk.session(session_id)
    if session_id in {one.session for one in record.tastings}:
        raise RecordError(f"This session is a tasting of {record.name} already.")
    tasting = Tasting(session=session_id, test=session.question.protocol, sample=record.name)
    new = replace(record, tastings=(*record.tastings, tasting))
    desk.put(new, expect=record, who=who, what="tasting opened", why=session.details.title)
    return _noted(desk, new, session, who) if session.closed else new


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
    new = replace(new, recommended=_recommended(desk, new, read))
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
    if isinstance(checked, CheckedBallots):
        counted = tally(checked.ballots)
        found = choice_finding(question, counted)
        done = replace(done, finding=found.finding, correct=counted.correct, trials=counted.trials)
        return Read(result=found, panel=None, tasting=done)
    if question.protocol not in RATED:
        raise RecordError(f"A {question.protocol} session says nothing about a release.")
    asked = json.dumps([question.protocol, question.alpha, question.beta, question.settings])
    result, panel = _rated(tuple(tuple(row.items()) for row in checked.rows), asked)
    sample = sample_named(result, record.name)
    done = replace(done, sample=str(sample), differences=differences_of(result, sample))
    rule = rule_of(the_product(desk, record.batch.product))
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


def _recommended(desk: Desk, record: BatchRecord, known: Mapping[str, Read]) -> Disposition | None:
    if record.latest is None:
        return None
    try:
        found = finding_of(desk, record, known=known)
    except SensoryError:
        return None
    return None if found is None else found.disposition


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
        When ballots cannot be read, or a tasting was held at other risks than agreed.
    """
    rule = rule_of(the_product(desk, record.batch.product))
    if rule is None:
        return None
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
        reference=state_of_reference(desk, record.reference, _day(record)),
        batch=record.batch,
    )


def _panel(read: Sequence[Read]) -> dict[str, float] | None:
    """The smallest differences of all scorecards of the day, by attribute."""
    found: dict[str, float] = {}
    for one in read:
        if one.panel is not None:
            table = one.panel.attributes
            found |= dict(zip(table["attribute"], table["smallest_difference"], strict=True))
    return found or None


def _day(record: BatchRecord) -> str:
    """The day of the latest tasting, else today."""
    return record.latest.held_on if record.latest else utc_now()[:10]


def _details(desk: Desk, record: BatchRecord, rule: ReleaseRule) -> SessionDetails:
    batch, clearance = record.batch, record.clearance
    reference = desk.noun(Reference, record.reference)
    allergens = clearance.allergens if clearance and clearance.allergens else ()
    return SessionDetails(
        title=f"{batch.product}, batch {batch.number}",
        samples=(
            Sample(
                letter="A",
                name=record.reference,
                batch=reference.batch if reference else "",
                made_on=reference.made_on if reference else "",
                storage=reference.storage if reference else "",
            ),
            Sample(
                letter="B",
                name=batch.product,
                batch=batch.number,
                made_on=batch.made_on,
                allergens=", ".join(allergens) or "none",
            ),
        ),
        decides=rule.decides,
    )


def _question(record: BatchRecord, rule: ReleaseRule) -> Question:
    """The question of the next tasting: every number in it is the rule's."""
    done = {finding: rule.at(finding).value.lower() for finding in Finding}
    second = record.recommended is Disposition.RETEST and rule.retest is not None
    people = rule.retest.second if second and rule.retest else rule.assessors
    question = Question(
        protocol=rule.test,
        what_changed=f"Batch {record.name} against the reference {record.reference}.",
        decision=f"Release of batch {record.name}; {rule.decides} decides.",
        if_different=done[Finding.DIFFERENT],
        if_similar=done[Finding.SIMILAR],
        if_undecided=done[Finding.UNDECIDED],
        alpha=rule.alpha,
        beta=rule.beta,
        assessors=people,
        retest_rule=(
            "the second tasting of a plan in two tastings; there is no third"
            if rule.retest
            else "none"
        ),
    )
    if rule.protocol is not None:
        return replace(question, pd_limit=float(rule.limit or 0.0))
    return replace(question, settings=_settings(record, rule))


def _settings(record: BatchRecord, rule: ReleaseRule) -> dict[str, object]:
    if rule.test == DIFFERENCE_FROM_CONTROL.key:
        samples = f"{_BLIND}; {record.name}"
        return {"control": _BLIND, "limit": float(rule.limit or 0.0), "samples": samples}
    margins = "; ".join(f"{name} {size:g}" for name, size in rule.margins.items())
    return (
        {
            "attributes": "; ".join(rule.margins),
            "reference": _REFERENCE,
            "margins": margins,
            "samples": f"{_REFERENCE}; {record.name}",
        }
        if rule.test == PROFILE.key
        else {}
    )
