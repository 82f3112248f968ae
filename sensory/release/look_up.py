"""One field that finds a batch, a lot, a session or an assessor."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from ..base.results import several
from ..base.spelling import key_of, same_person
from ..catalogue.tests import find_kind
from ..sessions.search import find_sessions
from .batch_records import BatchRecord
from .product_desk import Desk

_MOST = 6
_SOUGHT = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """What was found, and where it leads.

    `kind`: ``batch``, ``lot``, ``session`` or ``assessor``.
    `about`: a few words on it.
    `on`: its day, ISO 8601; empty where it has none.
    `batch`, `session`: what to open; a lot is sought among the batches by its name.
    """

    kind: str
    name: str
    about: str
    on: str = ""
    batch: str = ""
    session: str = ""


def look_up(desk: Desk, text: str, most: int = _MOST) -> tuple[list[Hit], list[str]]:
    """Batches, lots, sessions and assessors that hold a text, at most so many of each kind; and
    the kinds, in the plural, of which there are more.

    Examples
    --------
    >>> from sensory.store.repository import open_store
    >>> look_up(open_store("sqlite://"), "SW-118")
    ([], [])
    """
    if not key_of(text):
        return [], []
    batches = desk.seek(text, _SOUGHT)
    kinds = {
        "batches": map(_batch, batches),
        "lots": _lots(batches, key_of(text)),
        "sessions": _sessions(desk, text),
        "assessors": _assessors(desk, text),
    }
    hits = {kind: list(islice(each, most + 1)) for kind, each in kinds.items()}
    cut = {"lots"} if hits["lots"] and len(batches) == _SOUGHT else set()
    more = [kind for kind, each in hits.items() if len(each) > most or kind in cut]
    return [hit for each in hits.values() for hit in each[:most]], more


def _batch(record: BatchRecord) -> Hit:
    about, made_on = f"{record.batch.product}, {record.standing}", record.batch.made_on
    return Hit(kind="batch", name=record.name, about=about, on=made_on, batch=record.name)


def _lots(batches: list[BatchRecord], wanted: str) -> Iterator[Hit]:
    lots: dict[str, tuple[str, int]] = {}
    for record in batches:
        for raw in record.batch.raw_lots:
            if wanted in key_of(raw.lot):
                name = f"{raw.material}, lot {raw.lot}"
                lots[name] = raw.lot, lots.get(name, ("", 0))[1] + 1
    least = "at least " if len(batches) == _SOUGHT else ""
    for name, (lot, count) in lots.items():
        yield Hit(kind="lot", name=lot, about=f"{name}: {least}{count} batch{'es' * (count > 1)}")


def _sessions(desk: Desk, text: str) -> Iterator[Hit]:
    for session in find_sessions(desk, text):
        title = session.details.title or "Untitled session"
        test, on = find_kind(session.question.protocol).name, session.details.held_on
        on = on or session.created_at[:10]
        yield Hit(kind="session", name=title, about=test, on=on, session=session.id)


def _assessors(desk: Desk, text: str) -> Iterator[Hit]:
    for name, sessions in desk.assessors(same_person(text)):
        about = f"in {several(len(sessions), 'session')}"
        yield Hit(kind="assessor", name=name, about=about, session=sessions[0])
