"""The day: what waits for whom, which sessions run, and what to look at first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..catalogue.tests import name_of_test
from ..sessions.search import ALL
from ..sessions.session import StoredSession
from ..sessions.steps import BALLOTS, next_in_words, next_step, standing
from .batch_records import OPEN, BatchRecord, ProductRecord
from .batches import Clearance, Disposition
from .product_desk import Desk, rule_of, state_of_reference
from .reference_state import ReferenceState
from .rule import ReleaseRule

FOOD_SAFETY, LEADER = "food safety", "panel leader"
_SOON = 14
_FEW_TASTINGS = 2
_NEWEST_BATCHES = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A batch that waits for somebody.

    Attributes
    ----------
    record : BatchRecord
    step : str
        What has to happen next.
    whom : str
        The role that does it.
    since : str
        Day of the latest event, ISO 8601.
    """

    record: BatchRecord
    step: str
    whom: str
    since: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A session that is not closed.

    `step`: the step it waits for, one of `sessions.steps.STEPS`.
    `words`: that in words, with the count of ballots where they are being collected.
    """

    session: StoredSession
    step: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenSignal:
    """A batch of late that stands out in the trend of its product, or the first one of a rise.

    `line`: of production, where the signal is one of it; `place` as in `signal_desk.Signal`.
    """

    product: str
    batch: str
    line: str
    words: str
    place: str = ""


def waiting(desk: Desk) -> list[Waiting]:
    """All open batches, complaints first, then what is nearest to its end, oldest first.

    Examples
    --------
    >>> from sensory.store.repository import open_store
    >>> waiting(open_store("sqlite://"))
    []
    """
    decides = {record.name: _decides(rule_of(record)) for record in desk.nouns(ProductRecord)}
    batches = desk.batches(state=OPEN, most=desk.how_many(state=OPEN))
    waits = [_waiting(record, decides) for record in batches]
    return sorted(waits, key=lambda each: (_urgency(each), each.since, each.record.name))


def _waiting(record: BatchRecord, decides: dict[str, str]) -> Waiting:
    own = _decides(ReleaseRule.from_dict(record.rule)) if record.rule else ""
    by = own or decides.get(record.batch.product) or "quality"
    return Waiting(
        record=record, step=record.waits_for, whom=_whom(record, by), since=_since(record)
    )


def _decides(rule: ReleaseRule | None) -> str:
    return rule.decides if rule else ""


def _whom(record: BatchRecord, decides: str) -> str:
    clearance = record.clearance or Clearance(batch=record.name)
    if record.proposed is not None:
        return decides
    if clearance.suspected or clearance.food_safe is None:
        return FOOD_SAFETY
    if not clearance.food_safe:
        return decides
    if not clearance.declared:
        return FOOD_SAFETY
    tasted = record.latest is not None and all(tasting.over for tasting in record.tastings)
    return decides if tasted and record.recommended is not Disposition.RETEST else LEADER


def _since(record: BatchRecord) -> str:
    """Day of what happened last."""
    clearance = record.clearance
    days = [
        record.batch.made_on,
        *((clearance.food_safe_on, clearance.allergens_on) if clearance else ()),
        *(tasting.held_on for tasting in record.tastings),
        *(decision.decided_at[:10] for decision in record.decisions),
        *(complaint.received_on for complaint in record.complaints),
    ]
    return max(days)


def _urgency(waits: Waiting) -> int:
    if waits.record.complained:
        return 0
    if waits.whom == FOOD_SAFETY:
        return 3
    return 2 if waits.whom == LEADER else 1


def running(desk: Desk, most: int = 8) -> tuple[list[Running], int]:
    """The newest sessions that are neither closed nor given up, and how many more there are."""
    there = [each for each in desk.sessions(ALL, unclosed=True) if not _given_up(desk, each)]
    return [_running(desk, session) for session in there[:most]], len(there[most:])


def _given_up(desk: Desk, session: StoredSession) -> bool:
    """Whether it was a tasting of a batch, and was aborted there."""
    return any(
        tasting.aborted and tasting.session == session.id
        for record in desk.linked("session", session.id)
        for tasting in record.tastings
    )


def _running(desk: Desk, session: StoredSession) -> Running:
    step = next_step(desk, session)
    words = next_in_words(desk, session)
    if step == BALLOTS:
        there = standing(desk, session.id)
        words = f"{there.words} {'sent' if there.at_booths else 'ballots'}"
    test = name_of_test(session.question)
    return Running(session=session, step=step, words=f"{test}, {words}")


def references_in_use(desk: Desk, today: str) -> list[ReferenceState]:
    """The state of each product's reference in use, those that need a look first."""
    states = (
        state_of_reference(desk, record.in_use, today) for record in desk.nouns(ProductRecord)
    )
    return sorted(filter(None, states), key=lambda state: not needs_a_look(state))


def needs_a_look(state: ReferenceState) -> bool:
    """Whether a reference may not be used, ends soon, or something about it is not shown."""
    ends = state.days_left is not None and state.days_left <= _SOON
    short = state.tastings_left is not None and state.tastings_left <= _FEW_TASTINGS
    return ends or short or bool(state.problems)


def open_signals(desk: Desk, most: int = 5) -> tuple[list[OpenSignal], int]:
    """Among the newest batches of each product those that stand out and are not acknowledged,
    newest first; and how many more there are."""
    signals = [signal for record in desk.nouns(ProductRecord) for signal in _signals(desk, record)]
    return signals[:most], len(signals[most:])


def _signals(desk: Desk, product: ProductRecord) -> Iterator[OpenSignal]:
    from .signal_desk import open_of_late  # the first page of a day loads no charts

    for each in open_of_late(desk, product, _NEWEST_BATCHES):
        yield OpenSignal(
            product=product.name,
            batch=each.batch,
            line=each.line,
            words=each.says,
            place=each.place,
        )
