"""Tastings of a batch, a product or a reference joined on the axis of d-prime.

Why so
------
What a session asked for stands in its question, so attributes come from there. Aborted tastings
have no count and enter nothing. The limit of the rule is carried by its d-prime, since a share
that notices belongs to one test. Of difference from control the order of the scores within each
assessor comes from the sitting that closing keeps; no ballot is read. Looks that were agreed count
for sessions of later days.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

import pandas as pd

from ..base.errors import RecordError, SensoryError
from ..base.records import utc_now
from ..base.spelling import key_of
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..evidence.combined import CombinedEvidence, combine_evidence
from ..evidence.session_rows import SCORED
from ..sessions.finding import outcome_of_session
from ..sessions.session import StoredSession
from ..sessions.signing import TYPED, Right
from ..sessions.sitting import Sitting
from ..sessions.staff import signature
from .agreed_looks import AgreedLooks
from .batch_records import BatchRecord, ProductRecord, Tasting
from .product_desk import Desk, rule_of, the_product
from .references import Reference
from .rule import ReleaseRule

_COLUMNS = ("session", "date", "protocol", "correct", "trials", "reference", "attribute", "equal")
_KEPT = 32
_MOST = 60
"""Tastings of a product that are joined; the latest."""
Cells = tuple[object, ...]


def evidence_of_batch(
    desk: Desk, record: BatchRecord, rule: ReleaseRule | None, sessions: Sequence[StoredSession]
) -> CombinedEvidence | None:
    """All tastings of a batch that have a d-prime; None with fewer than two."""
    asked = {session.id: session.question for session in sessions}
    product = desk.noun(ProductRecord, record.batch.product)
    return _joined(_of_tastings(desk, record, asked), rule, product)


def evidence_of_product(desk: Desk, record: ProductRecord) -> CombinedEvidence | None:
    """The latest tastings of batches against the reference in use; None with fewer than two."""
    rows = []
    for batch in reversed(desk.batches(product=record.name, most=_MOST)):
        if key_of(batch.reference) != key_of(record.in_use):
            continue
        asked = {each.session: _asked(desk, each) for each in _counted(batch)}
        rows += _of_tastings(desk, batch, asked)
    return _joined(rows[:_MOST], rule_of(record), record)


def evidence_of_reference(desk: Desk, record: ProductRecord) -> CombinedEvidence | None:
    """The tests of the reference in use beside older ones; None with fewer than two."""
    reference = desk.noun(Reference, record.in_use) if record.in_use else None
    rows: list[Cells] = []
    for bridge in reference.bridges if reference else ():
        if not bridge.session:
            continue
        session = desk.session(bridge.session)
        question = session.question
        about = (f"beside {bridge.to}", bridge.held_on)
        if _scores_distance(question.protocol):
            rows += _ordered(desk, bridge.session, about, bridge.to, record.in_use)
            continue
        counts = outcome_of_session(desk, session).counts
        if counts.trials and _has_distance(question.protocol) and not question.two_sided:
            counted = (counts.correct, counts.trials, bridge.to, question.attribute, 0)
            rows.append((*about, question.protocol, *counted))
    return _joined(rows, rule_of(record), record)


def agree_looks(
    desk: Desk,
    name: str,
    *,
    test: str,
    sizes: Sequence[int],
    alpha: float,
    who: str,
    why: str,
    how: str = TYPED,
) -> ProductRecord:
    """Agree looks at the growing total of a product's choice tests; an older plan ends.

    Raises ArgumentError for looks that cannot be planned, RecordError without a reason or from
    somebody who may not agree them.
    """
    if not why.strip():
        raise RecordError("Say why these looks; the journal keeps it.")
    with desk.action(who=who, why=why.strip()) as act:
        signed = act.sign(signature(act, who, Right.AGREE, how=how))
        record = the_product(act, name)
        looks = AgreedLooks(
            test=find_kind(test).key,
            sizes=tuple(sizes),
            alpha=alpha,
            agreed_on=utc_now()[:10],
            agreed_by=signed.by,
            role=signed.role,
        )
        looks.plan()
        new = replace(record, looks=looks)
        act.put_noun(new, expect=record, what="looks agreed")
        return new


def _counted(record: BatchRecord) -> list[Tasting]:
    """Tastings that have a place on the axis: choice tests, and difference from control."""
    return [
        each
        for each in record.tastings
        if each.finding is not None
        and ((each.trials and _has_distance(each.test)) or _scores_distance(each.test))
    ]


def _of_tastings(
    desk: Desk, record: BatchRecord, asked: Mapping[str, Question | None]
) -> list[Cells]:
    """Its tastings as rows; those without a direction, which have another d-prime, left out."""
    rows: list[Cells] = []
    for tasting in _counted(record):
        question = asked.get(tasting.session)
        if question is not None and question.two_sided:
            continue
        about = (f"{record.name}, {tasting.held_on}", tasting.held_on)
        if _scores_distance(tasting.test):
            rows += _ordered(
                desk, tasting.session, about, record.reference, tasting.sample or record.name
            )
            continue
        counts = (tasting.correct or 0, tasting.trials or 0)
        attribute = question.attribute if question and _names_attribute(tasting.test) else ""
        rows.append((*about, tasting.test, *counts, record.reference, attribute, 0))
    return rows


def _ordered(
    desk: Desk, session: str, about: tuple[str, str], reference: str, sample: str
) -> list[Cells]:
    """One row of a session of difference from control; none where its order says nothing."""
    sitting = desk.sitting(session)
    pairs = [] if sitting is None else _pairs(sitting, sample)
    if not pairs:
        return []
    further, alike = sum(b > a for a, b in pairs), sum(b == a for a, b in pairs)
    return [(*about, SCORED, further, len(pairs), reference, "", alike)]


def _pairs(sitting: Sitting, sample: str) -> list[tuple[float, float]]:
    """Score of the blind control and of the sample by each assessor; none with repeats."""
    names = [key_of(name) for name in sitting.samples]
    others = [at for at, name in enumerate(sitting.samples) if name != sitting.control]
    named = [at for at in others if names[at] == key_of(sample)]
    at = next(iter(named or (others if len(others) == 1 else [])), None)
    if not sitting.control or at is None or len(sitting.attributes) != 1:
        return []
    scores = sitting.attributes[0]
    if any(scores.sd_df):
        return []
    control = sitting.samples.index(sitting.control)
    both = ((row[control], row[at]) for row in scores.means)
    return [(a, b) for a, b in both if a is not None and b is not None]


def _scores_distance(test: str) -> bool:
    """Whether one score a sample says how far it lies from a labelled reference."""
    kind = find_kind(test)
    return kind.answer == "score" and bool(kind.serving.reference)


def _has_distance(test: str) -> bool:
    return find_kind(test).protocol is not None


def _names_attribute(test: str) -> bool:
    protocol = find_kind(test).protocol
    return protocol is not None and protocol.asks_attribute


def _asked(desk: Desk, tasting: Tasting) -> Question | None:
    """The question of a tasting; its session is read where the test asks for an attribute."""
    return desk.session(tasting.session).question if _names_attribute(tasting.test) else None


def _joined(
    rows: list[Cells], rule: ReleaseRule | None, product: ProductRecord | None
) -> CombinedEvidence | None:
    if len(rows) < 2:
        return None
    limit = None
    if rule is not None and rule.protocol is not None and rule.limit is not None:
        limit = float(rule.protocol.dprime(float(rule.protocol.pc_at(rule.limit))))
    try:
        return _together(tuple(rows), limit, product.looks if product else None)
    except SensoryError:  # its attribute was never named
        return None


@lru_cache(maxsize=_KEPT)
def _together(
    rows: tuple[Cells, ...], limit: float | None, looks: AgreedLooks | None
) -> CombinedEvidence:
    """The joined evidence of these rows, computed once; tables are handed out as copies."""
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    plan = None if looks is None else looks.plan()
    since = "" if looks is None else looks.agreed_on
    return combine_evidence(frame, dprime_limit=limit, looks=plan, looks_since=since)
