"""What a booth reads and writes at each tap: its session, the lines of its seat, a few cells.

Why so
------
A tap at a booth cost 15 ms of a core at the record, and no part of it stood out: a session was
built from its columns each time, names were looked up that no booth shows, a dozen statements were
put together from their parts and forgotten. Now a session is built once for as long as its row is
the same text (the row is read in the same transaction, so nothing older can be taken for it),
persons stay references, and the statements stand here, so that each is compiled once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.errors import RecordError
from ..base.records import JsonObject
from ..serving.ballot_line import SENT
from ..sessions.session import StoredSession
from . import people, tables
from .journal import Lines, next_entry
from .rows import session_of
from .tables import ballot_cells, journal, sessions

_MOST = 16
_CELLS = ballot_cells.c
_HERE = _CELLS.session == sa.bindparam("key")
_ROW = sa.select(
    *(sa.cast(each, sa.Text) if isinstance(each.type, sa.JSON) else each for each in sessions.c)
).where(sessions.c.id == sa.bindparam("key"))
_WHOLE = sa.select(sessions).where(sessions.c.id == sa.bindparam("key"))
_LAST_LINE = sa.select(sa.func.max(_CELLS.line)).where(_HERE)
_LINES = sa.select(_CELLS.line, _CELLS.name, _CELLS.text).where(
    _HERE, _CELLS.line.in_(sa.bindparam("lines", expanding=True))
)
_NAMED = _HERE & (_CELLS.name == people.NAMED)
_ASSESSORS = (
    sa.select(_CELLS.text)
    .where(_NAMED)
    .group_by(_CELLS.text)
    .order_by(sa.func.min(_CELLS.line))
    .offset(sa.bindparam("before"))
    .limit(1)
)
_THEIRS = sa.select(_CELLS.line).where(_NAMED, _CELLS.text == sa.bindparam("who"))
_PERSON = sa.select(tables.people.c.name, tables.people.c.erased).where(
    tables.people.c.id == sa.bindparam("id")
)
_GONE = sa.delete(ballot_cells).where(
    _CELLS.session == sa.bindparam("key"),
    _CELLS.line == sa.bindparam("at_line"),
    _CELLS.name == sa.bindparam("at_name"),
)
_PUT = sa.insert(ballot_cells)
_NEWEST = sa.select(journal.c.number, journal.c.sha256).order_by(journal.c.number.desc()).limit(1)
_APPENDED = sa.insert(journal)
_COUNTED = sa.text(
    'INSERT INTO turns (session, "window", number) VALUES (:key, :window, :number) '
    'ON CONFLICT (session, "window") DO UPDATE SET number = excluded.number '
    "WHERE turns.number < excluded.number"
)


@dataclass(slots=True)
class Seats:
    """What was read before, for all visitors of one record.

    `lines`: by session and seat, the last line of the session then, and the lines of the seat.
    `sessions`: by session, its row as text, and what it says.
    """

    lines: dict[str, dict[int, tuple[int | None, tuple[int, ...]]]] = field(default_factory=dict)
    sessions: dict[str, tuple[tuple[object, ...], StoredSession]] = field(default_factory=dict)

    def session(self, connection: Connection, session_id: str) -> StoredSession:
        """A session with references for its persons; RecordError where there is none, or damaged.

        It is shared: nobody may change what is in it.
        """
        row = connection.execute(_ROW, {"key": session_id}).one_or_none()
        if row is None:
            raise RecordError("There is no such session on record.")
        text = tuple(row)
        kept = self.sessions.get(session_id)
        if kept is None or kept[0] != text:
            columns = connection.execute(_WHOLE, {"key": session_id}).mappings().one()
            while len(self.sessions) >= _MOST:
                self.sessions.pop(next(iter(self.sessions)), None)
            kept = self.sessions[session_id] = text, session_of(dict(columns))
        return kept[1]

    def cells(self, connection: Connection, session_id: str, seat: int) -> Lines:
        """Cells of the lines of one seat, with the reference for its assessor.

        Seats count the assessors of the lines from 1. Whose lines they are is looked up again
        only when the session got further lines, or a name was written here.
        """
        last = connection.scalar(_LAST_LINE, {"key": session_id})
        until, lines = self.lines.get(session_id, {}).get(seat, (None, ()))
        if until != last:
            lines = _lines_of(connection, session_id, seat)
            self.lines.setdefault(session_id, {})[seat] = last, lines
        texts: Lines = {line: {} for line in lines}
        if lines:
            asked = {"key": session_id, "lines": lines}
            for line, name, text in connection.execute(_LINES, asked).all():
                if not isinstance(text, str):
                    raise RecordError(f"Row {line}, {name} is damaged on record: no text.")
                texts[line][name] = text
        return {line: kept for line, kept in texts.items() if kept}


def _lines_of(connection: Connection, session_id: str, seat: int) -> tuple[int, ...]:
    who = connection.scalar(_ASSESSORS, {"key": session_id, "before": seat - 1})
    if who is None:
        return ()
    return tuple(sorted(connection.scalars(_THEIRS, {"key": session_id, "who": who})))


def name_of(connection: Connection, reference: str) -> str:
    """The name of a person by reference; of one who was erased, what stands in its place."""
    asked = {"id": reference.removeprefix(people.PREFIX)}
    row = connection.execute(_PERSON, asked).one_or_none()
    return reference if row is None else people.shown_as(row.name, row.erased)


def change_cells(connection: Connection, session_id: str, changes: Iterable[JsonObject]) -> None:
    """Put the new texts in the place of the old ones."""
    gone = [
        {"key": session_id, "at_line": change["line"], "at_name": change["name"]}
        for change in changes
        if change["old"]
    ]
    put = [
        {"session": session_id, "line": each["line"], "name": each["name"], "text": each["new"]}
        for each in changes
        if each["new"]
    ]
    put.sort(key=lambda cell: cell["name"] == SENT)  # after it a line takes no answer
    if gone:
        connection.execute(_GONE, gone)
    if put:
        connection.execute(_PUT, put)


def count(connection: Connection, session_id: str, window: str, number: int) -> bool:
    """Note which number a window has come to; False where it has counted further already."""
    turn = {"key": session_id, "window": window, "number": number}
    return connection.execute(_COUNTED, turn).rowcount > 0


def newest_entry(connection: Connection) -> Any:
    """Number and hash of the last entry; None of an empty journal."""
    return connection.execute(_NEWEST).one_or_none()


def append(connection: Connection, entry: JsonObject) -> None:
    """Write an entry after the last one, whose hash it carries."""
    connection.execute(_APPENDED, next_entry(newest_entry(connection), **entry))
