"""A series over storage time out of the closed sessions of a stored batch.

Why so
------
A stored batch is tasted in sessions like any other, so their counts and scores are on record
already; typing them into a file again would only add mistakes. Each session's day less the first
day of storage is its storage time. Counts and scores come from the sittings that closing keeps; no
ballot is read a second time, and a session that was opened again has none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from ..base.spelling import key_of
from ..catalogue.tests import find_kind
from ..sessions.search import ALL
from ..sessions.session import StoredSession
from ..sessions.sitting import AttributeScores, Sitting
from ..sessions.storage_file import SeriesKind
from .product_desk import Desk, the_batch

Cells = tuple[object, ...]
_COUNTED = ("time", "protocol", "correct", "trials", "attribute", "session", "batch")
_SCORED = ("time", "score", "reference", "assessor", "session", "batch")
ANY = "any difference"


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSeries:
    """Rows of one question over storage time, as a file of that kind would hold them.

    `name`: what was asked. `sessions`: how many there are.
    """

    name: str
    kind: SeriesKind
    columns: tuple[str, ...]
    cells: tuple[Cells, ...]

    @property
    def sessions(self) -> int:
        """How many sessions it holds."""
        at = self.columns.index("session")
        return len({row[at] for row in self.cells})


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSessions:
    """What the record holds of a stored batch: a series a question, and what was left out."""

    batch: str
    product: str
    series: tuple[StoredSeries, ...]
    remarks: tuple[str, ...] = ()


def stored_sessions(desk: Desk, number: str, start: str) -> StoredSessions:
    """The closed sessions of a batch since the day on which its storage began.

    Raises RecordError when there is no such batch.
    """
    record = the_batch(desk, number)
    begun = date.fromisoformat(start)
    rows: dict[tuple[SeriesKind, str], list[Cells]] = {}
    remarks = []
    if record.batch.made_on != start:
        remarks.append(
            f"Batch {record.name} was made on {record.batch.made_on}; storage times count from "
            f"{start}."
        )
    for session in _of_batch(desk, record.name):
        sitting = desk.sitting(session.id)
        if sitting is None or not sitting.assessors:
            continue
        called = f"{session.details.title.strip() or find_kind(sitting.test).name}, "
        called += sitting.held_on
        days = (date.fromisoformat(sitting.held_on) - begun).days
        why = _why_left_out(session, sitting, days)
        if why:
            remarks.append(f"Left out: {called}, {why}.")
            continue
        for kind, name, row in _rows(session, sitting, record.name, called, days):
            rows.setdefault((kind, name), []).append(row)
    series = tuple(
        StoredSeries(
            name=name,
            kind=kind,
            columns=_COUNTED if kind is SeriesKind.CHOICES else _SCORED,
            cells=tuple(cells),
        )
        for (kind, name), cells in rows.items()
    )
    product = record.batch.product
    return StoredSessions(batch=record.name, product=product, series=series, remarks=tuple(remarks))


def _of_batch(desk: Desk, number: str) -> list[StoredSession]:
    """Closed sessions in which the batch was tasted, oldest first."""
    wanted = key_of(number)
    sessions = [
        session
        for session in desk.sessions(ALL, naming=" ".join(number.split()).casefold())
        if session.closed and any(key_of(each.batch) == wanted for each in session.details.samples)
    ]
    return sorted(sessions, key=lambda session: (session.details.held_on, session.agreed_at or ""))


def _why_left_out(session: StoredSession, sitting: Sitting, days: int) -> str:
    if session.question.training is not None:
        return "a training session"
    if days < 0:
        return "before storage began"
    if session.question.two_sided:
        return "a two-sided comparison, whose d-prime has a sign"
    if max(sitting.trials, default=0) > 1:
        return "assessors answered more than once, and their answers go together"
    if sitting.attributes and not sitting.control:
        return "its reference is not among the scored samples"
    return ""


def _rows(
    session: StoredSession, sitting: Sitting, number: str, called: str, days: int
) -> Iterator[tuple[SeriesKind, str, Cells]]:
    kind = find_kind(sitting.test)
    right, answers = (int(np.sum(each)) for each in (sitting.correct, sitting.trials))
    if kind.protocol is not None and answers:
        attribute = session.question.attribute if kind.protocol.asks_attribute else ""
        counts = (kind.name, right, answers)
        name = f"choice tests, {attribute or ANY}"
        yield SeriesKind.CHOICES, name, (days, *counts, attribute, called, number)
    at = _place(session, sitting, number)
    if at is None:
        return
    for scores in sitting.attributes:
        name = kind.name if len(sitting.attributes) == 1 else f"{kind.name}, {scores.attribute}"
        for row in _pairs(sitting, scores, at):
            yield SeriesKind.SCORES, name, (days, *row, called, number)


def _place(session: StoredSession, sitting: Sitting, number: str) -> int | None:
    """Where the batch stands among the scored samples, by its number or its name in the session."""
    names = {key_of(each.name) for each in session.details.samples
             if key_of(each.batch) == key_of(number)} | {key_of(number)}  # fmt: skip
    others = [at for at, name in enumerate(sitting.samples) if name != sitting.control]
    named = [at for at in others if key_of(sitting.samples[at]) in names]
    return next(iter(named or (others if len(others) == 1 else [])), None)


def _pairs(sitting: Sitting, scores: AttributeScores, at: int) -> Iterator[Cells]:
    """Score of the batch and of the reference, and the assessor, where both were scored."""
    control = sitting.samples.index(sitting.control)
    for name, row in zip(sitting.assessors, scores.means, strict=True):
        if row[at] is not None and row[control] is not None:
            yield row[at], row[control], name
