"""Where the link of a booth leads: a session and a seat, and an action that is done there.

A link holds the session and a secret of 192 bits, of which the record keeps the SHA-256 only.
"""

from __future__ import annotations

import hmac
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

from ..base.errors import RecordError, UnreachableError
from ..catalogue.columns import Cells
from ..serving.ballot_line import BallotLine, lines_from
from ..serving.cups import SEAT
from .booth_plans import hash_of, to_be_planned_again
from .session import StoredSession
from .signing import BOOTH
from .store import Action, Store

_TOKEN = re.compile(r"([0-9a-f]{32})\.([A-Za-z0-9_-]{32})")


class Place(NamedTuple):
    """Where a link leads: a session, a seat, and its rows, with references for all persons."""

    session: StoredSession
    seat: str
    cells: Cells
    lines: list[BallotLine]

    @property
    def by(self) -> str:
        """The reference of who sits there."""
        return self.lines[0].assessor


def place_of(store: Store, token: str) -> Place | None:
    """Where a token leads; it is compared in constant time."""
    match = _TOKEN.fullmatch(token or "")
    if not match:
        return None
    try:
        session = store.booth_session(match.group(1))
    except UnreachableError:
        raise
    except RecordError:
        return None
    hashed = hash_of(token)
    booths = session.serving.booths if session.serving else {}
    for known, seat in booths.items():
        if hmac.compare_digest(known, hashed):
            cells = store.seat_cells(session.id, int(seat.removeprefix(SEAT)))
            return Place(session, seat, cells, lines_from(cells)) if cells else None
    return None


@contextmanager
def at_booth(store: Store, token: str) -> Iterator[tuple[Action, Place]]:
    """An action of the booth to which a link leads; it writes by `write_at`."""
    with store.action(who="", role=BOOTH) as act:
        at = place_of(act, token)
        if at is None:
            raise RecordError("This link is not valid, or no longer.")
        if at.session.closed:
            raise RecordError("This session is closed.")
        if is_stopped(at.session):
            raise RecordError(
                "Tasting is stopped: somebody felt unwell, or a sample is no longer cleared or "
                "declared."
            )
        if to_be_planned_again(at.session):
            raise RecordError("The panel leader plans this session again; what was sent is kept.")
        yield act, at


def write_at(act: Action, at: Place, changes: Cells, why: str) -> Place:
    """Write cells of the seat, and how the place is after it."""
    if not changes:
        return at
    act.write_seat(at.session.id, changes, known=at.cells, by=at.by, why=why)
    after = {row: {**at.cells.get(row, {}), **texts} for row, texts in changes.items()}
    lines = {line.row: line for line in (*at.lines, *lines_from(after))}
    cells = {**at.cells, **after}
    return at._replace(cells=cells, lines=[lines[row] for row in sorted(lines)])


def is_stopped(session: StoredSession) -> bool:
    """Whether somebody felt unwell, or it was taken back that the samples may be tasted."""
    taken_back = any(session.cautions.get(key) is False for key in ("cleared", "allergens"))
    return taken_back or session.details.care.stopped
