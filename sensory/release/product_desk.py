"""Use cases of a product: its rule, its attributes, its batches as they are made.

The record is asked through `Desk`, which is a `sessions.store.Store` as well.

Why so
------
Clearance reaches into the open tasting: a complaint, a refusal or other allergens answer the
cautions of its session with no, which stops booths, agreement and closing.
"""

from __future__ import annotations

import typing
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import TypeVar

from ..base.errors import RecordError
from ..catalogue.attributes import Vocabulary
from ..catalogue.defects import Defect, DefectList, as_typed
from ..catalogue.question import Question
from ..catalogue.scales import agreed_scale
from ..catalogue.tests import find_kind
from ..sessions.file_shape import FileShape
from ..sessions.session import JournalEntry
from ..sessions.signing import TYPED, Right
from ..sessions.sitting import Sitting
from ..sessions.staff import signature
from ..sessions.store import Action, Store
from .batch_records import BatchRecord, ProductRecord
from .batches import AttributeLimit, Batch, Clearance, Product
from .plant import Plant
from .reference_state import ReferenceState, reference_state
from .references import Reference
from .rule import ReleaseRule
from .studies import Study

Noun = ProductRecord | Reference | BatchRecord | Plant | FileShape | Study | Vocabulary
AnyNoun = TypeVar(
    "AnyNoun", ProductRecord, Reference, BatchRecord, Plant, FileShape, Study, Vocabulary
)


class Desk(Store, typing.Protocol):
    """What the use cases of batches need of a record, beside what sessions need."""

    def action(
        self, *, who: str, why: str = "", role: str = ""
    ) -> AbstractContextManager[DeskAction]: ...
    def noun(self, kind: type[AnyNoun], name: str) -> AnyNoun | None: ...
    def nouns(
        self, kind: type[AnyNoun], product: str = "", most: int | None = None
    ) -> list[AnyNoun]: ...
    def batches(
        self,
        *,
        product: str = "",
        state: str = "",
        since: str = "",
        until: str = "",
        most: int = 200,
        skip: int = 0,
    ) -> list[BatchRecord]: ...
    def how_many(
        self, *, product: str = "", state: str = "", since: str = "", until: str = ""
    ) -> int: ...
    def linked(self, kind: str, value: str, most: int | None = None) -> list[BatchRecord]: ...
    def how_many_linked(self, kind: str, value: str) -> int: ...
    def sittings(self, *, since: str = "", until: str = "") -> list[Sitting]: ...
    def studies(
        self, *, kind: str = "", product: str = "", batch: str = "", most: int | None = None
    ) -> list[Study]: ...
    def seek(self, text: str, most: int = 50, *, within: bool = False) -> list[BatchRecord]: ...
    def assessors(self, text: str, most: int = 20) -> list[tuple[str, list[str]]]: ...
    def comments(self, session_id: str) -> list[tuple[str, str]]: ...
    def noun_entries(self, noun: Noun) -> list[JournalEntry]: ...
    def verify_noun(self, noun: Noun) -> list[str]: ...


class DeskAction(Desk, Action, typing.Protocol):
    """One use case of batches at work."""

    def action(
        self, *, who: str, why: str = "", role: str = ""
    ) -> AbstractContextManager[DeskAction]: ...
    def put_noun(self, noun: Noun, *, expect: Noun | None, what: str, why: str = "") -> None: ...


def _put(act: DeskAction, old: AnyNoun | None, new: AnyNoun, what: str) -> AnyNoun:
    act.put_noun(new, expect=old, what=what)
    return new


def the_product(desk: Desk, name: str) -> ProductRecord:
    """A product; RecordError when there is none of that name."""
    record = desk.noun(ProductRecord, name)
    if record is None:
        raise RecordError(f"There is no product {name!r} on record: enter it on the page Products.")
    return record


def the_batch(desk: Desk, number: str) -> BatchRecord:
    """A batch; RecordError when there is none of that number."""
    record = desk.noun(BatchRecord, number)
    if record is None:
        raise RecordError(f"There is no batch {number!r} on record.")
    return record


def words_for(desk: Desk, product: str, question: Question) -> Question:
    """The question with what the words of a product mean now, where its scale is theirs, and with
    its defects, where the test asks for some."""
    kind = find_kind(question.protocol)
    words, scale = desk.noun(Vocabulary, product), agreed_scale(question.settings)
    if kind.has_setting("defects"):
        question = replace(question, settings={**_defects_of(desk, product), **question.settings})
    scored = kind.answer == "scores"
    if words is None or not scored or (scale.low, scale.high) != (words.low, words.high):
        return question
    return replace(question, vocabulary=words.for_question())


def _defects_of(desk: Desk, product: str) -> dict[str, str]:
    """The product's list of defects as settings of a question; nothing where it has none."""
    record = desk.noun(ProductRecord, product)
    listed = record.product.defects if record else None
    if record is None or listed is None or not listed.defects:
        return {}
    name = f"{record.name}, version {listed.version}"
    return {"defects": as_typed(listed.defects), "defect_list": name}


def rule_for(desk: Desk, record: BatchRecord) -> ReleaseRule | None:
    """The rule by which a batch is judged: that of its first tasting, else the product's."""
    if record.rule:
        return ReleaseRule.from_dict(record.rule)
    return rule_of(desk.noun(ProductRecord, record.batch.product))


def rule_of(record: ProductRecord | None) -> ReleaseRule | None:
    """The agreed release rule; None as long as there is none."""
    if record is None or not record.product.release_rule:
        return None
    return ReleaseRule.from_dict(record.product.release_rule)


def rule_on(desk: Desk, name: str, day: str) -> ReleaseRule | None:
    """The release rule that held at the end of a day, by the journal; None before there was one.

    Raises RecordError when there is no such product.
    """
    agreed = [
        entry.content["noun"]["content"]["product"]["release_rule"]
        for entry in desk.noun_entries(the_product(desk, name))
        if entry.what == "rule agreed" and entry.at[:10] <= day
    ]
    return ReleaseRule.from_dict(agreed[-1]) if agreed else None


def enter_product(
    desk: Desk, name: str, *, attributes: tuple[AttributeLimit, ...] = (), who: str
) -> ProductRecord:
    """Put a new product on record, without a rule and a reference yet."""
    product = Product(name=" ".join(name.split()), attributes=attributes)
    record = ProductRecord(product=product)
    with desk.action(who=who, why="new product") as act:
        return _put(act, None, record, "product entered")


def agree_rule(
    desk: Desk,
    name: str,
    rule: ReleaseRule,
    *,
    drift_limit: float | None = None,
    who: str,
    why: str,
    how: str = TYPED,
) -> ProductRecord:
    """Agree the release rule of a product, or another one in its place.

    Batches that were decided keep their decision; the next recommendation goes by this rule. `how`
    says how far the name is proven, see `sessions.staff.signature`.

    Raises RecordError without a reason, or from somebody who may not agree it.
    """
    if not why.strip():
        raise RecordError("Say why this rule; the journal keeps it.")
    with desk.action(who=who, why=why.strip()) as act:
        act.sign(signature(act, who, Right.AGREE, how=how))
        record = the_product(act, name)
        product = replace(record.product, release_rule=rule.to_dict(), drift_limit=drift_limit)
        return _put(act, record, replace(record, product=product), "rule agreed")


def tolerate(
    desk: Desk,
    name: str,
    attributes: tuple[AttributeLimit, ...],
    *,
    who: str,
    why: str,
    how: str = TYPED,
) -> ProductRecord:
    """State what is tolerated in each attribute: a margin round the reference, or limits.

    Raises RecordError without a reason, or from somebody who may not agree it.
    """
    if not why.strip():
        raise RecordError("Say why; the journal keeps it.")
    with desk.action(who=who, why=why.strip()) as act:
        act.sign(signature(act, who, Right.AGREE, how=how))
        record = the_product(act, name)
        product = replace(record.product, attributes=attributes)
        return _put(act, record, replace(record, product=product), "attributes agreed")


def agree_defects(
    desk: Desk, name: str, defects: tuple[Defect, ...], *, who: str, why: str, how: str = TYPED
) -> ProductRecord:
    """Agree the next version of a product's list of defects; the ones before stay in the journal.

    Raises RecordError without a reason, for the list that holds already, or from somebody who may
    not agree it.
    """
    if not why.strip():
        raise RecordError("Say why; the journal keeps it.")
    with desk.action(who=who, why=why.strip()) as act:
        act.sign(signature(act, who, Right.AGREE, how=how))
        record = the_product(act, name)
        before = record.product.defects
        if before is not None and before.defects == defects:
            raise RecordError(f"Version {before.version} is this list already.")
        listed = DefectList(version=before.version + 1 if before else 1, defects=defects)
        product = replace(record.product, defects=listed)
        return _put(act, record, replace(record, product=product), "defects agreed")


def versions_of_defects(desk: Desk, name: str) -> list[tuple[DefectList, JournalEntry]]:
    """Every version of a product's list of defects with its journal entry, the newest first."""
    return [
        (DefectList.from_dict(entry.content["noun"]["content"]["product"]["defects"]), entry)
        for entry in reversed(desk.noun_entries(the_product(desk, name)))
        if entry.what == "defects agreed"
    ]


def state_of_reference(
    desk: Desk, name: str, today: str, *, served: bool = False
) -> ReferenceState | None:
    """Age, validity and drift of a reference on a day; None where there is none of that name.

    Where it was `served` already, its stock of today says nothing about that tasting.
    """
    reference = desk.noun(Reference, name) if name else None
    if reference is None or today < reference.made_on:
        return None
    if served:
        reference = replace(reference, stock=None)
    record = desk.noun(ProductRecord, reference.product)
    known = desk.nouns(Reference, reference.product)
    bridges = [bridge for other in known for bridge in other.bridges]
    limit = record.product.drift_limit if record else None
    return reference_state(reference, today, bridges, limit=limit)


def enter_batch(desk: Desk, batch: Batch, *, who: str) -> BatchRecord:
    """Put a batch on record; it is compared with the reference in use.

    Raises RecordError for an unknown product, an unknown batch among its rework, or a number that
    is there.
    """
    with desk.action(who=who, why="made") as act:
        record = the_product(act, batch.product)
        for other in batch.rework_of:
            the_batch(act, other)
        new = BatchRecord(
            batch=replace(batch, product=record.name, number=" ".join(batch.number.split())),
            reference=record.in_use,
        )
        return _put(act, None, new, "batch entered")


def clear_batch(
    desk: Desk,
    number: str,
    *,
    food_safe: bool | None = None,
    allergens: tuple[str, ...] | None = None,
    evidence: str = "",
    suspected: str = "",
    by: str,
    on: str,
    who: str,
    how: str = TYPED,
) -> BatchRecord:
    """Record what food safety decided, or which allergens are declared, or both.

    What is left out stays as it was. `by` is who decided, `who` puts it on record; `how` says how
    far the name of `by` is proven, see `sessions.staff.signature`. `evidence` says what a decision
    rests on; a suspicion is lifted by nothing else. `suspected` goes with a batch that is not
    cleared.

    Raises RecordError where nothing is said, without a name and a date, where `by` may not clear
    batches, or where a suspected batch is cleared without evidence.
    """
    if food_safe is None and allergens is None:
        raise RecordError("Say what food safety decided, or which allergens are declared.")
    reasons = []
    if food_safe is not None:
        reasons.append("cleared by food safety" if food_safe else "NOT cleared by food safety")
    if allergens is not None:
        reasons.append(f"allergens declared: {', '.join(allergens) or 'none'}")
    with desk.action(who=who, why="; ".join(reasons)) as act:
        record = the_batch(act, number)
        signed = act.sign(signature(act, by, Right.CLEAR, how=how))
        latest = max((complaint.received_on for complaint in record.complaints), default="")
        if food_safe and record.complained and on < latest:
            raise RecordError(
                f"{record.name} was complained of on {latest}: a clearance of {on} comes before it."
            )
        there = record.clearance or Clearance(batch=record.name)
        declared = there.allergens
        if food_safe is not None:
            there = _decided(there, food_safe, evidence, suspected)
            there = replace(
                there,
                food_safe=food_safe,
                food_safe_by=signed.by,
                food_safe_role=signed.role,
                food_safe_on=on,
            )
        if allergens is not None:
            there = replace(
                there,
                allergens=allergens,
                allergens_by=signed.by,
                allergens_role=signed.role,
                allergens_on=on,
            )
        new = replace(record, clearance=there)
        act.put_noun(new, expect=record, what="clearance")
        answers: dict[str, bool] = {} if food_safe is None else {"cleared": food_safe}
        if allergens is not None and allergens != declared:
            answers["allergens"] = False
        answer_cautions(act, new, answers)
        return new


def _decided(there: Clearance, safe: bool, evidence: str, suspected: str) -> Clearance:
    """The clearance with what a decision rests on; a suspicion is lifted by evidence only."""
    evidence = " ".join(evidence.split())
    if safe and suspected:
        raise RecordError(f"{there.batch} cannot be cleared while {suspected} is suspected.")
    if safe and there.suspected and not evidence:
        raise RecordError(
            f"{there.suspected.capitalize()} is suspected in {there.batch}: say what the clearance "
            "rests on, such as a residue test that was passed."
        )
    now = "" if safe else suspected or there.suspected
    same = now == there.suspected
    return replace(
        there,
        food_safe=None,
        evidence=evidence,
        suspected=now,
        smelling_by=there.smelling_by if same else "",
        smelling_role=there.smelling_role if same else "",
        smelling_on=there.smelling_on if same else "",
    )


def answer_cautions(act: DeskAction, record: BatchRecord, answers: dict[str, bool]) -> None:
    """Answer cautions of the open tastings of a batch: a 'no' stops their booths and closing."""
    why = f"batch {record.name}: clearance or declaration changed"
    waiting = [tasting.session for tasting in record.tastings if not tasting.over]
    answers_smelled = answers if answers.get("cleared") is False else {}
    told = dict.fromkeys(waiting, answers) | dict.fromkeys(record.smelled, answers_smelled)
    for session_id, answered in told.items():
        session = act.session(session_id)
        changed = replace(session, cautions={**session.cautions, **answered})
        if not session.closed and changed != session:
            act.put(changed, expect=session, what="cautions", why=why)
