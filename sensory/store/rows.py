"""Rows of the tables as the nouns of the job, and back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..sessions.session import JournalEntry, StoredSession
from . import people
from .tables import ballot_cells, sessions

_EMPTY_AT_FIRST = ("agreed_at", "agreed_by", "digest", "closed_at", "serving")


def columns_of(session: StoredSession) -> dict[str, Any]:
    """The columns of a session."""
    plain = session.to_dict()
    return plain | {name: plain[name] or None for name in _EMPTY_AT_FIRST}


def session_of(columns: Mapping[str, Any]) -> StoredSession:
    """The session that has these columns.

    Raises RecordError for a column that is not known, not there or of another kind.
    """
    return StoredSession.from_dict({k: v for k, v in columns.items() if v is not None})


def sessions_of(connection: Connection, query: sa.Select[Any]) -> list[StoredSession]:
    """The sessions that a query finds, with names."""
    found = [dict(row._mapping) for row in connection.execute(query)]
    named = people.shown(
        connection, lambda rows, change: [people.in_columns(row, change) for row in rows], found
    )
    return [session_of(columns) for columns in named]


def cells_of(
    connection: Connection, session_id: str, only: Iterable[int] | None = None
) -> dict[int, dict[str, str]]:
    """Cells of a session, or of some of its lines, by line and column name; with names."""
    table = ballot_cells
    query = sa.select(table.c.line, table.c.name, table.c.text).where(table.c.session == session_id)
    if only is not None:
        query = query.where(table.c.line.in_(list(only)))
    lines: dict[int, dict[str, str]] = {}
    for line, name, text in connection.execute(query.order_by(table.c.line, table.c.name)):
        lines.setdefault(line, {})[name] = text
    return dict(people.shown(connection, people.in_cells, lines))


def last_line(connection: Connection, session_id: str) -> int | None:
    """The highest line that a session has cells in; None where it has none."""
    highest = sa.select(sa.func.max(ballot_cells.c.line))
    return connection.scalar(highest.where(ballot_cells.c.session == session_id))


def lines_of_seat(connection: Connection, session_id: str, seat: int) -> tuple[int, ...]:
    """The lines of one seat; seats count the assessors of the lines from 1."""
    cells = ballot_cells.c
    named = (cells.session == session_id) & (cells.name == people.NAMED)
    query = sa.select(cells.text).where(named).group_by(cells.text)
    first = query.order_by(sa.func.min(cells.line)).offset(seat - 1).limit(1)
    who = connection.scalar(first)
    lines = sa.select(cells.line).where(named, cells.text == who).order_by(cells.line)
    return () if who is None else tuple(connection.scalars(lines))


def unpacked(entry: Mapping[str, Any]) -> dict[str, Any]:
    """An entry of the journal with its content read."""
    return {**entry, "content": json.loads(entry["content"])}


def entry_of(entry: Mapping[str, Any]) -> JournalEntry:
    """An unpacked entry for readers: seals and the chain are left out."""
    return JournalEntry(
        **{key: entry[key] for key in ("number", "at", "session", "who", "what", "why")},
        content={key: value for key, value in entry["content"].items() if key != "people"},
    )


def entries_of(connection: Connection, query: sa.Select[Any]) -> list[JournalEntry]:
    """The entries that a query finds, with names."""
    found = [unpacked(dict(row._mapping)) for row in connection.execute(query)]
    named = people.shown(
        connection, lambda rows, change: [people.in_entry(row, change) for row in rows], found
    )
    return [entry_of(entry) for entry in named]


def put_session(
    connection: Connection, columns: dict[str, Any], cells: Mapping[Any, Mapping[str, str]]
) -> None:
    """Write a new session with its cells, both with references for names."""
    rows = [
        {"session": columns["id"], "line": int(line), "name": name, "text": text}
        for line, texts in cells.items()
        for name, text in texts.items()
        if text
    ]
    connection.execute(sa.insert(sessions).values(**columns))
    if rows:
        connection.execute(sa.insert(ballot_cells), rows)


def change_cells(connection: Connection, session_id: str, changes: list[dict[str, Any]]) -> None:
    """Put the new texts in the place of the old ones."""
    table = ballot_cells
    at = sa.and_(
        table.c.session == session_id,
        table.c.line == sa.bindparam("at_line"),
        table.c.name == sa.bindparam("at_name"),
    )
    gone = [{"at_line": c["line"], "at_name": c["name"]} for c in changes if c["old"]]
    put = [
        {"session": session_id, "line": c["line"], "name": c["name"], "text": c["new"]}
        for c in changes
        if c["new"]
    ]
    if gone:
        connection.execute(sa.delete(table).where(at), gone)
    if put:
        connection.execute(sa.insert(table), put)
