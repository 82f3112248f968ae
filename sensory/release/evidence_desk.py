"""Choice tests of a batch, a product or a reference joined on the axis of d-prime.

Why so
------
What a session asked for stands in its question, so attributes come from there. Aborted tastings
have no count and enter nothing. The limit of the rule is carried by its d-prime, since a share
that notices belongs to one test.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import pandas as pd

from ..base.errors import SensoryError
from ..base.spelling import key_of
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..evidence.combined import CombinedEvidence, combine_evidence
from ..sessions.finding import outcome_of_session
from ..sessions.session import StoredSession
from .batch_records import BatchRecord, ProductRecord, Tasting
from .product_desk import Desk, rule_of
from .references import Reference
from .rule import ReleaseRule

_COLUMNS = ("session", "date", "protocol", "correct", "trials", "reference", "attribute")
_KEPT = 32
_MOST = 60
"""Tastings of a product that are joined; the latest."""
Cells = tuple[object, ...]


def evidence_of_batch(
    record: BatchRecord, rule: ReleaseRule | None, sessions: Sequence[StoredSession]
) -> CombinedEvidence | None:
    """All choice tests of a batch; None with fewer than two."""
    asked = {session.id: session.question for session in sessions}
    return _joined(_of_tastings(record, asked), rule)


def evidence_of_product(desk: Desk, record: ProductRecord) -> CombinedEvidence | None:
    """The latest choice tests of batches against the reference in use; None with fewer than two."""
    rows = []
    for batch in reversed(desk.batches(product=record.name, most=_MOST)):
        if key_of(batch.reference) != key_of(record.in_use):
            continue
        asked = {each.session: _asked(desk, each) for each in _counted(batch)}
        rows += _of_tastings(batch, asked)
    return _joined(rows[:_MOST], rule_of(record))


def evidence_of_reference(desk: Desk, record: ProductRecord) -> CombinedEvidence | None:
    """The choice tests of the reference in use beside older ones; None with fewer than two."""
    reference = desk.noun(Reference, record.in_use) if record.in_use else None
    rows: list[Cells] = []
    for bridge in reference.bridges if reference else ():
        if not bridge.session:
            continue
        session = desk.session(bridge.session)
        counts = outcome_of_session(desk, session).counts
        question = session.question
        if question is not None and counts.trials and _has_distance(question.protocol):
            about = (f"beside {bridge.to}", bridge.held_on, question.protocol)
            rows.append((*about, counts.correct, counts.trials, bridge.to, question.attribute))
    return _joined(rows, rule_of(record))


def _counted(record: BatchRecord) -> list[Tasting]:
    """Tastings with counts of a test that has a d-prime."""
    return [
        each
        for each in record.tastings
        if each.finding is not None and each.trials and _has_distance(each.test)
    ]


def _of_tastings(record: BatchRecord, asked: Mapping[str, Question | None]) -> list[Cells]:
    """Its tastings as rows; those without a direction, which have another d-prime, left out."""
    rows: list[Cells] = []
    for tasting in _counted(record):
        question = asked.get(tasting.session)
        if question is not None and question.two_sided:
            continue
        about = (f"{record.name}, {tasting.held_on}", tasting.held_on, tasting.test)
        counts = (tasting.correct or 0, tasting.trials or 0)
        attribute = question.attribute if question and _names_attribute(tasting.test) else ""
        rows.append((*about, *counts, record.reference, attribute))
    return rows


def _has_distance(test: str) -> bool:
    return find_kind(test).protocol is not None


def _names_attribute(test: str) -> bool:
    protocol = find_kind(test).protocol
    return protocol is not None and protocol.asks_attribute


def _asked(desk: Desk, tasting: Tasting) -> Question | None:
    """The question of a tasting; its session is read where the test asks for an attribute."""
    return desk.session(tasting.session).question if _names_attribute(tasting.test) else None


def _joined(rows: list[Cells], rule: ReleaseRule | None) -> CombinedEvidence | None:
    if len(rows) < 2:
        return None
    limit = None
    if rule is not None and rule.protocol is not None and rule.limit is not None:
        limit = float(rule.protocol.dprime(float(rule.protocol.pc_at(rule.limit))))
    try:
        return _together(tuple(rows), limit)
    except SensoryError:  # its attribute was never named
        return None


@lru_cache(maxsize=_KEPT)
def _together(rows: tuple[Cells, ...], limit: float | None) -> CombinedEvidence:
    """The joined evidence of these rows, computed once; tables are handed out as copies."""
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    return combine_evidence(frame, dprime_limit=limit)
