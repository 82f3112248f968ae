"""The session that a release rule asks for: its description and its question, filled in."""

from __future__ import annotations

from dataclasses import replace

from ..base.findings import Finding
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..sessions.attempts import IN_TWO
from ..sessions.care import Care
from ..sessions.session import Sample, SessionDetails
from .batch_records import BatchRecord
from .batches import Clearance, Disposition
from .product_desk import Desk
from .references import Reference
from .rule import ReleaseRule


def details_of(desk: Desk, record: BatchRecord, rule: ReleaseRule) -> SessionDetails:
    """Title, samples and who decides."""
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
                name=batch.product if rule.protocol else batch.number,
                batch=batch.number,
                made_on=batch.made_on,
                allergens="; ".join(allergens) or "none",
            ),
        ),
        decides=rule.decides,
        care=_care(clearance) if clearance else Care(),
    )


def _care(clearance: Clearance) -> Care:
    """Who cleared the batch, or allowed it to be smelled, for the session."""
    if clearance.suspected:
        return Care(
            suspected=clearance.suspected,
            smelling_by=clearance.smelling_by,
            smelling_role=clearance.smelling_role,
            smelling_on=clearance.smelling_on,
        )
    return Care(
        cleared_by=clearance.food_safe_by,
        cleared_role=clearance.food_safe_role,
        cleared_on=clearance.food_safe_on,
        evidence=clearance.evidence,
    )


def question_of(record: BatchRecord, rule: ReleaseRule) -> Question:
    """The question of the next tasting: every number in it is the rule's."""
    done = {finding: rule.at(finding).value.lower() for finding in Finding}
    second = record.recommended is Disposition.RETEST and rule.retest is not None
    people = rule.retest.second if second and rule.retest else rule.assessors
    question = Question(
        protocol=rule.test,
        what_changed=f"Batch {record.name} against the reference {record.reference}.",
        decision=f"Release of batch {record.name}; {rule.decides} decides.",
        if_different=done[Finding.DIFFERENT],
        if_beyond=done[Finding.BEYOND_LIMIT],
        if_similar=done[Finding.SIMILAR],
        if_undecided=done[Finding.UNDECIDED],
        alpha=rule.alpha,
        beta=rule.beta,
        assessors=people,
        retest_rule=IN_TWO if rule.retest else "none",
    )
    if rule.protocol is not None:
        question = replace(question, pd_limit=float(rule.limit or 0.0))
    terms = find_kind(rule.test).release
    if terms is None:
        return question
    return replace(question, settings=terms.settings(rule.limit, rule.margins, record.name))


def compared_references(
    older: Reference, name: str, batch: str, rule: ReleaseRule
) -> tuple[SessionDetails, Question]:
    """Description and question of a tasting of a new reference beside an older one."""
    terms, decides = find_kind(rule.test).release, rule.decides
    details = SessionDetails(
        title=f"{older.product}, reference {name} beside {older.name}",
        samples=(
            Sample(
                letter="A",
                name=older.name,
                batch=older.batch,
                made_on=older.made_on,
                storage=older.storage,
            ),
            Sample(letter="B", name=name, batch=batch),
        ),
        decides=decides,
    )
    question = Question(
        protocol=rule.test,
        what_changed=f"Reference {name} against the reference {older.name}.",
        decision=f"Whether {name} takes over; {decides} decides.",
        if_different=f"{name} does not take over, unless {decides} decides it with a reason.",
        if_beyond=f"{name} does not take over, unless {decides} decides it with a reason.",
        if_similar=f"{name} takes over.",
        if_undecided=f"{name} does not take over, unless {decides} decides it with a reason.",
        alpha=rule.alpha,
        beta=rule.beta,
        assessors=rule.assessors,
        retest_rule="none",
    )
    if rule.protocol is not None:
        question = replace(question, pd_limit=float(rule.limit or 0.0))
    if terms is None:
        return details, question
    return details, replace(question, settings=terms.settings(rule.limit, rule.margins, name))
