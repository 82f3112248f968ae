"""Whether the record is as it was written: chain, tables against the journal, names."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from .journal import (
    START,
    broken_links,
    differences,
    differing_nouns,
    differing_outcomes,
    differing_people,
    not_as_written,
    sound,
)
from .tables import ballot_cells, journal, outcomes, people, register, register_links, sessions

_AT_ONCE = 200


def whole_record(connection: Connection) -> list[str]:
    """A sentence for each entry, session, cell or name that is not as it was written."""
    sealed: list[dict[str, Any]] = []
    if broken := broken_links(_noting_people(_entries(connection), sealed)):
        return broken
    found = []
    ids = _all_sessions(connection)
    for start in range(0, len(ids), _AT_ONCE):
        found += tables_against_journal(connection, ids[start : start + _AT_ONCE])
    rows = (dict(row._mapping) for row in connection.execute(sa.select(people)))
    return found + differing_people(sealed, rows)


def one_session(connection: Connection, session_id: str) -> list[str]:
    """The same for one session: its entries and their neighbours, no number missing, tables."""
    own = journal.c.session == session_id
    count = sa.select(sa.func.count(journal.c.number), sa.func.max(journal.c.number))
    entries, last = connection.execute(count).one()
    found = [] if entries == (last or 0) else ["Numbers of the journal are missing."]
    befores = _neighbours(connection, session_id)
    for entry in _entries(connection, own):
        number = entry["number"]
        before = START if number == 1 else befores[number].get("hash_before", "")
        follows = befores[number]["follows"] in (None, entry["sha256"])
        if not (follows and sound(entry, number=number, before=before)):
            found.append(not_as_written(entry))
    return found or tables_against_journal(connection, [session_id])


def tables_against_journal(connection: Connection, ids: list[str]) -> list[str]:
    """Where some sessions and their cells are not what the journal makes of them."""
    entries = list(_entries(connection, journal.c.session.in_(ids)))
    there = connection.execute(sa.select(sessions).where(sessions.c.id.in_(ids)))
    cells = connection.execute(sa.select(ballot_cells).where(ballot_cells.c.session.in_(ids)))
    rows = connection.execute(sa.select(register).where(register.c.id.in_(ids)))
    links = connection.execute(sa.select(register_links).where(register_links.c.id.in_(ids)))
    kept = connection.execute(sa.select(outcomes).where(outcomes.c.session.in_(ids)))
    return [
        *differences(entries, (dict(row._mapping) for row in there), (tuple(row) for row in cells)),
        *differing_nouns(
            entries, (dict(row._mapping) for row in rows), (tuple(row) for row in links)
        ),
        *differing_outcomes(entries, (tuple(row) for row in kept)),
    ]


def _neighbours(connection: Connection, session_id: str) -> dict[int, dict[str, Any]]:
    """By number of an entry: the hash of the one before, and what the next one follows on."""
    earlier, later = journal.alias(), journal.alias()
    query = (
        sa.select(
            journal.c.number,
            earlier.c.sha256.label("hash_before"),
            later.c.before.label("follows"),
        )
        .outerjoin(earlier, earlier.c.number == journal.c.number - 1)
        .outerjoin(later, later.c.number == journal.c.number + 1)
        .where(journal.c.session == session_id)
    )
    return {row.number: dict(row._mapping) for row in connection.execute(query)}


def _entries(
    connection: Connection, condition: sa.ColumnElement[bool] | None = None
) -> Iterator[dict[str, Any]]:
    query = sa.select(journal).order_by(journal.c.number)
    query = query if condition is None else query.where(condition)
    rows = connection.execution_options(yield_per=_AT_ONCE).execute(query)
    return (dict(row._mapping) for row in rows)


def _noting_people(
    entries: Iterable[dict[str, Any]], sealed: list[dict[str, Any]]
) -> Iterator[Mapping[str, Any]]:
    """The entries as they come; what they say of persons is added to `sealed`."""
    for entry in entries:
        yield entry
        text = entry["content"]
        if isinstance(text, str) and ('"people"' in text or '"erased"' in text):
            sealed.append(_read(text))


def _read(text: str) -> dict[str, Any]:
    """Content that may not be JSON any more; then the chain is broken, which is said first."""
    try:
        content = json.loads(text)
    except ValueError:
        return {}
    return content if isinstance(content, dict) else {}


def _all_sessions(connection: Connection) -> list[str]:
    named = (
        sessions.c.id,
        journal.c.session,
        ballot_cells.c.session,
        register.c.id,
        register_links.c.id,
        outcomes.c.session,
    )
    query = sa.union(*(sa.select(column) for column in named))
    return sorted(one for one in connection.scalars(query) if one)
