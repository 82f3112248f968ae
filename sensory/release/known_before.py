"""What graders made of known samples on the days before a grading of the same product."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from ..base.spelling import key_of, same_person
from ..catalogue.kind import KnownTruth
from ..catalogue.tests import find_kind
from ..sessions.session import StoredSession
from ..sessions.sitting import Sitting
from .batch_records import BatchRecord
from .product_desk import Desk


def known_before(
    desk: Desk, session_id: str, records: Sequence[BatchRecord]
) -> Mapping[str, KnownTruth]:
    """Counts of each grader over the days that the question agreed, without this session.

    `records`: batches that the session is a tasting of; only gradings of their product count.
    Empty where the question agreed no days, or its day is not stated.
    """
    session = desk.session(session_id)
    days, held = _days(session), _held(session)
    if not days or held is None or not records:
        return {}
    product = key_of(records[0].batch.product)
    until, since = held - timedelta(days=1), held - timedelta(days=days)
    counts: dict[str, list[int]] = {}
    for sitting in desk.sittings(since=since.isoformat(), until=until.isoformat()):
        if sitting.spiked and _is_of(desk, sitting, product):
            _add(counts, sitting)
    return {name: KnownTruth(*numbers) for name, numbers in counts.items()}


def _days(session: StoredSession) -> int:
    kind = find_kind(session.question.protocol)
    if not kind.has_setting("known_days"):
        return 0
    return int(kind.setting(session.question.settings, "known_days"))


def _held(session: StoredSession) -> date | None:
    try:
        return date.fromisoformat(session.details.held_on)
    except ValueError:
        return None


def _is_of(desk: Desk, sitting: Sitting, product: str) -> bool:
    batches = desk.linked("session", sitting.session)
    return any(key_of(each.batch.product) == product for each in batches)


def _add(counts: dict[str, list[int]], sitting: Sitting) -> None:
    columns = (sitting.hits, sitting.spiked, sitting.false_alarms, sitting.controls)
    for name, *numbers in zip(sitting.assessors, *columns, strict=True):
        mine = counts.setdefault(same_person(name), [0] * 4)
        for at, number in enumerate(numbers):
            mine[at] += number
