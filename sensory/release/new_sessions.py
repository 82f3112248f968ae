"""A new session from what is on record: product, batches, reference, question, who decides.

Why so
------
Product, batches, reference and the role that decides are chosen before anything else, so that the
kitchen knows which bottle is B and no report has a sample without a name. A batch on record is
tasted only once food safety has cleared it and its allergens are declared, whatever the test; by
the test of its release rule the session is the tasting that the rule asks for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from ..base.errors import RecordError
from ..base.spelling import key_of
from ..catalogue.attributes import Vocabulary
from ..catalogue.columns import Cells
from ..catalogue.kind import TestKind
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..choices.advice import Advice, Situation, advise
from ..choices.advice import Question as Wanted
from ..choices.risks import SessionRisks
from ..sessions.file_kinds import settings_of_file
from ..sessions.session import Sample, SessionDetails, StoredSession
from ..sessions.signing import ANYBODY, Right
from ..sessions.staff import active_people
from ..sessions.steps import Way
from ..sessions.workflow import (
    limit_from_dprime,
    new_session_id,
    open_session,
    planned_risks,
)
from .batch_records import OPEN, BatchRecord, ProductRecord
from .plant import Defaults
from .plant_desk import the_plant
from .product_desk import Desk, rule_for, rule_of, words_for
from .references import Reference
from .rule import ReleaseRule
from .tastings import attach, open_tasting

NEWEST_BATCHES = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the record offers for a new session of one product.

    Attributes
    ----------
    products : tuple of str
    batches : tuple of str
        Of the product, open ones first, the newest first.
    references : tuple of str
        Of the product, the one in use first.
    deciders : tuple of str
        Roles, that of the product's release rule first.
    test : str
        Key of the test of its release rule; empty where it has none.
    """

    products: tuple[str, ...]
    batches: tuple[str, ...]
    references: tuple[str, ...]
    deciders: tuple[str, ...]
    test: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What was chosen for a new session; names may be new to the record.

    `batches`: what is compared with the reference, one for a test of two samples.
    `people`: how many ballots are planned.
    `changed`: what differs between the samples, where it is more than the batch.
    `planned`, `conditions`: the question with risks and limit as it was planned, and how it has to
        be served for that.
    """

    product: str
    batches: tuple[str, ...]
    reference: str
    test: str
    people: int
    decides: str
    way: Way = Way.PAPER
    changed: str = ""
    planned: Question | None = None
    conditions: str = ""


def choices(desk: Desk, product: str = "") -> Choices:
    """What can be chosen from the record.

    Examples
    --------
    >>> from sensory.store.repository import open_store
    >>> choices(open_store("sqlite://")).deciders
    ('the authorised person of the plant',)
    """
    products = {record.name: record for record in desk.nouns(ProductRecord)}
    record = desk.noun(ProductRecord, product) if product else None
    rule = rule_of(record)
    own = [rule.decides] if rule else []
    named = [the_plant(desk).defaults.decides]
    people = [p for p in active_people(desk) if Right.DECIDE in p.may]
    roles = [*own, *named, *(role for person in people for role in person.roles), ANYBODY]
    return Choices(
        products=tuple(products),
        batches=tuple(_batches(desk, product)) if record else (),
        references=tuple(reversed(record.references)) if record else (),
        deciders=tuple(dict.fromkeys(role for role in roles if role)),
        test=rule.test if rule else "",
    )


def _batches(desk: Desk, product: str) -> list[str]:
    newest = desk.batches(product=product, most=NEWEST_BATCHES)[::-1]
    return [record.name for record in sorted(newest, key=lambda each: each.state != OPEN)]


def tests_for(wanted: Wanted, people: int) -> list[Advice]:
    """The tests that answer what is wanted, the best first."""
    offered = advise(Situation(question=wanted, people=people))
    return [option for option in offered if option.possible]


def start_session(
    desk: Desk, wish: Wish, *, cells: Cells | None = None, remarks: str = "", who: str
) -> StoredSession:
    """Open a session with its samples, its question and its conditions filled in.

    `cells` and `remarks` are the ballots of a file and what was noticed about its form.

    By test and reference of the release rule it is the tasting of the batch, see `open_tasting`;
    by another test it is put beside it.

    Raises RecordError where product, batch, reference or who decides is missing, for several
    batches in a test of two samples, the reference among the batches, or a batch on record that
    may not be tasted yet.
    """
    wish = _tidy(wish)
    kind = find_kind(wish.test)
    _check(wish, kind)
    records = [desk.noun(BatchRecord, number) for number in wish.batches]
    for record in records:
        _check_cleared(record)
    known = records[0] if len(records) == 1 else None
    same = known is not None and key_of(_own_reference(desk, known)) == key_of(wish.reference)
    if known is not None and same and cells is None and _test_of_rule(desk, known) == wish.test:
        return open_tasting(desk, known.name, who=who)
    details = replace(_details(desk, wish, records), file_remarks=remarks)
    question = _question(desk, wish, kind, the_plant(desk).defaults)
    if cells:
        settings = {**question.settings, **settings_of_file(kind.key, cells)}
        question = replace(question, settings=settings)
    why = f"new session, ballots {wish.way.words}"
    with desk.action(who=who, why=why) as act:
        session = open_session(
            act,
            new_session_id(),
            details=details,
            question=question,
            cells=cells,
            who=who,
            why=why,
        )
        if known is not None and same and (kind.protocol or kind.release):
            attach(act, known.name, session.id, who=who)
        elif kind.release is not None and kind.release.many:
            for record in filter(None, records):
                if key_of(_own_reference(act, record)) == key_of(wish.reference):
                    attach(act, record.name, session.id, who=who)
    return session


def _tidy(wish: Wish) -> Wish:
    return replace(
        wish,
        product=_one_line(wish.product),
        reference=_one_line(wish.reference),
        decides=_one_line(wish.decides),
        changed=_one_line(wish.changed),
        batches=tuple(_one_line(batch) for batch in wish.batches if batch.strip()),
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _check(wish: Wish, kind: TestKind) -> None:
    missing = [
        words
        for words, given in (
            ("product", wish.product),
            ("batch", wish.batches),
            ("reference", wish.reference),
            ("role that decides", wish.decides),
        )
        if not given
    ]
    if missing:
        raise RecordError(f"Choose first: {', '.join(missing)}.")
    if kind.serving.compares_two and len(wish.batches) > 1:
        raise RecordError(
            f"A {kind.name} test compares one batch with the reference; "
            f"{len(wish.batches)} are chosen. Open a session for each, or choose another test."
        )
    if key_of(wish.reference) in map(key_of, wish.batches):
        raise RecordError(f"{wish.reference} cannot be compared with itself.")


def _check_cleared(record: BatchRecord | None) -> None:
    if record is not None and (record.clearance is None or not record.clearance.complete):
        raise RecordError(
            f"{record.name} is not tasted before food safety has cleared it and its allergens "
            "are declared: see the page of the batch."
        )


def _test_of_rule(desk: Desk, record: BatchRecord) -> str:
    rule = rule_for(desk, record)
    return rule.test if rule else ""


def _own_reference(desk: Desk, record: BatchRecord) -> str:
    """That of its first tasting, else the one in use."""
    product = desk.noun(ProductRecord, record.batch.product)
    return record.reference if record.tastings else product.in_use if product else ""


def _details(desk: Desk, wish: Wish, records: list[BatchRecord | None]) -> SessionDetails:
    reference = desk.noun(Reference, wish.reference)
    first = records[0]
    kind = find_kind(wish.test)
    allergens = first.clearance.allergens if first and first.clearance else None
    name = f"{wish.product} {wish.batches[0]}" if kind.serving.compares_two else wish.batches[0]
    batches = ", ".join(wish.batches)
    return SessionDetails(
        title=f"{wish.product} {batches} against {wish.reference}",
        samples=(
            Sample(
                letter="A",
                name=wish.reference,
                batch=reference.batch if reference else "",
                made_on=reference.made_on if reference else "",
                storage=reference.storage if reference else "",
            ),
            Sample(
                letter="B",
                name=name,
                batch=wish.batches[0],
                made_on=first.batch.made_on if first else "",
                allergens="" if allergens is None else "; ".join(allergens) or "none",
            ),
        ),
        leader=_leader(desk),
        decides=wish.decides,
        conditions=wish.conditions,
        way=wish.way.value,
    )


def _leader(desk: Desk) -> str:
    """Who led the session before."""
    latest = desk.sessions(1)
    return latest[0].details.leader if latest else ""


def expected_risks(desk: Desk, wish: Wish) -> SessionRisks | None:
    """The chances of what is wished for; None without a limit, or where it is no forced choice."""
    question = _numbers(desk, wish, the_plant(desk).defaults)
    if find_kind(wish.test).protocol is None or question.pd_limit is None:
        return None
    return planned_risks(question)


def _question(desk: Desk, wish: Wish, kind: TestKind, defaults: Defaults) -> Question:
    batches = ", ".join(wish.batches)
    question = _numbers(desk, wish, defaults)
    asked = replace(
        question,
        what_changed=wish.changed or f"Batch {batches} against the reference {wish.reference}.",
        decision=f"What is done with {batches}; {wish.decides} decides.",
        if_different=defaults.if_different,
        if_beyond=defaults.if_beyond,
        if_similar=defaults.if_similar,
        if_undecided=defaults.if_undecided,
        settings={**_settings(desk, wish, kind), **question.settings},
    )
    return words_for(desk, wish.product, asked)


def _numbers(desk: Desk, wish: Wish, defaults: Defaults) -> Question:
    """Test, number, risks and limit: as planned, else by the product's rule or plant's defaults."""
    if wish.planned is not None:
        return wish.planned
    rule = rule_of(desk.noun(ProductRecord, wish.product))
    limit = _agreed_limit(rule, wish.test)
    protocol, release = find_kind(wish.test).protocol, find_kind(wish.test).release
    # Of many batches each is a tasting by the rule, so its risks are those of the rule.
    ruled = rule if rule and rule.test == wish.test and release and release.many else None
    free = protocol is not None and not protocol.asks_attribute
    if limit is None and free and defaults.dprime_limit is not None:
        limit = round(limit_from_dprime(wish.test, defaults.dprime_limit), 6)
    return Question(
        protocol=wish.test,
        assessors=wish.people,
        alpha=ruled.alpha if ruled else defaults.alpha,
        beta=ruled.beta if ruled else defaults.beta,
        pd_limit=limit,
    )


def _agreed_limit(rule: ReleaseRule | None, test: str) -> float | None:
    """The limit of a release rule in a choice test: its own, or carried by its d-prime.

    A test that asks for an attribute neither gives nor takes a limit of another.
    """
    own, wanted = (rule.protocol if rule else None), find_kind(test).protocol
    if rule is None or own is None or wanted is None or rule.limit is None:
        return None
    if rule.test == test:
        return rule.limit
    if own.asks_attribute or wanted.asks_attribute:
        return None
    return round(limit_from_dprime(test, float(own.dprime(float(own.pc_at(rule.limit))))), 6)


def _settings(desk: Desk, wish: Wish, kind: TestKind) -> dict[str, Any]:
    """What the test has to agree besides, as far as the record knows it."""
    product = desk.noun(ProductRecord, wish.product)
    margins = product.product.margins if product else {}
    limits = product.product.attributes if product else ()
    words = desk.noun(Vocabulary, wish.product)
    named = limits or (words.attributes if words else ())
    blind = kind.has_setting("control") and wish.way is not Way.FILE  # else it has its own name
    control = str(kind.setting({}, "control")) if blind else wish.reference
    known = [str(kind.setting({}, key)) for key in ("controls", "spiked") if kind.has_setting(key)]
    offered: dict[str, Any] = {
        "reference": wish.reference,
        "control": control,
        "samples": "; ".join([*(known or [control]), *wish.batches]),
        "attributes": "; ".join(each.attribute for each in named),
        "margins": dict(margins),
        "words": "; ".join(each.attribute for each in words.attributes) if words else "",
        **_of_many(kind),
    }
    return {key: value for key, value in offered.items() if value and kind.has_setting(key)}


def _of_many(kind: TestKind) -> dict[str, Any]:
    """What its release rule agrees where it decides on many batches, but for their names."""
    if kind.release is None or not kind.release.many:
        return {}
    agreed = kind.release.settings(None, {}, "")
    return {key: value for key, value in agreed.items() if key != "samples"}
