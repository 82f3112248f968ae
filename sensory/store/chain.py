"""Entries of the journal, made and appended within a transaction."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from . import journal, people, tables


def entry_for(
    connection: Connection, session: str, who: str, what: str, why: str, content: dict[str, Any]
) -> dict[str, Any]:
    """An entry to be appended, with references for names."""
    plain = {"session": session, "who": who, "what": what, "why": why, "content": content}
    return people.hidden(connection, plain)


def append(connection: Connection, entry: dict[str, Any]) -> dict[str, Any]:
    """Write an entry after the last one, whose hash it carries."""
    table = tables.journal
    last = connection.execute(
        sa.select(table.c.number, table.c.sha256).order_by(table.c.number.desc()).limit(1)
    ).one_or_none()
    written = journal.next_entry(last, **entry)
    connection.execute(sa.insert(table).values(**written))
    return written
