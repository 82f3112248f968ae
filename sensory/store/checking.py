"""Whether the record is as it was written: chain, tables against the journal, names.

Why so
------
The chain shows changes, not who made them. Somebody who rewrites the last entries with their
hashes, tables included, is found only by a hash kept elsewhere: the report prints the digest of
its question, an archive has its own sum. `verify(session_id)` is quick: its entries, their
neighbours, no number missing, its tables; the chain from the first entry is left to `verify()`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.records import JsonObject
from .journal import (
    START,
    broken_links,
    differences,
    differing_nouns,
    differing_outcomes,
    differing_people,
    differing_staff,
    not_as_written,
    sound,
)
from .rows import rows_of
from .tables import (
    ballot_cells,
    journal,
    outcomes,
    people,
    register,
    register_links,
    sessions,
    staff,
)

_AT_ONCE = 200
_KEYS = {
    table: table.c["id" if "id" in table.c else "session"]
    for table in (sessions, journal, ballot_cells, register, register_links, outcomes)
}
"""Where each table says to which session or noun a row belongs."""


def whole_record(connection: Connection) -> list[str]:
    """A sentence for each entry, session, cell or name that is not as it was written."""
    sealed: list[JsonObject] = []
    signing: list[JsonObject] = []
    if broken := broken_links(_noting_people(_entries(connection), sealed, signing)):
        return broken
    union = sa.union(*(sa.select(column) for column in _KEYS.values()))
    keys = sorted(filter(None, connection.scalars(union)))
    wrong = []
    for start in range(0, len(keys), _AT_ONCE):
        wrong += _tables_against_journal(connection, keys[start : start + _AT_ONCE])
    wrong += differing_people(sealed, rows_of(connection, sa.select(people)))
    return wrong + differing_staff(signing, rows_of(connection, sa.select(staff)))


def one_session(connection: Connection, session_id: str) -> list[str]:
    """The same for one session: its entries and their neighbours, no number missing, tables."""
    count = sa.select(sa.func.count(journal.c.number), sa.func.max(journal.c.number))
    entries, last = connection.execute(count).one()
    wrong = [] if entries == (last or 0) else ["Numbers of the journal are missing."]
    befores = _neighbours(connection, session_id)
    for entry in _entries(connection, [session_id]):
        number = entry["number"]
        hash_before, follows = befores[number]
        before = START if number == 1 else hash_before or ""
        if follows not in (None, entry["sha256"]) or not sound(entry, number=number, before=before):
            wrong.append(not_as_written(entry))
    return wrong or _tables_against_journal(connection, [session_id])


def _tables_against_journal(connection: Connection, keys: list[str]) -> list[str]:
    """Where some sessions and nouns are not what the journal makes of them."""
    rows = {
        table: rows_of(connection, sa.select(table).where(_KEYS[table].in_(keys)))
        for table in _KEYS
        if table is not journal
    }
    entries = _entries(connection, keys)
    contents = [(entry["session"], json.loads(entry["content"])) for entry in entries]
    cells = {
        (cell["session"], cell["line"], cell["name"]): cell["text"] for cell in rows[ballot_cells]
    }
    links = [(link["id"], link["kind"], link["value"]) for link in rows[register_links]]
    kept = {row["session"]: row["content"] for row in rows[outcomes]}
    return [
        *differences(contents, rows[sessions], cells),
        *differing_nouns(contents, rows[register], links),
        *differing_outcomes(contents, kept),
    ]


def _neighbours(
    connection: Connection, session_id: str
) -> dict[int, tuple[str | None, str | None]]:
    """By number of an entry: the hash of the one before, and what the next one follows on."""
    earlier, later = journal.alias(), journal.alias()
    query = (
        sa.select(journal.c.number, earlier.c.sha256, later.c.before)
        .outerjoin(earlier, earlier.c.number == journal.c.number - 1)
        .outerjoin(later, later.c.number == journal.c.number + 1)
        .where(journal.c.session == session_id)
    )
    return {number: (before, follows) for number, before, follows in connection.execute(query)}


def _entries(connection: Connection, keys: list[str] | None = None) -> Iterator[JsonObject]:
    query = sa.select(journal).order_by(journal.c.number)
    query = query if keys is None else query.where(journal.c.session.in_(keys))
    rows = connection.execution_options(yield_per=_AT_ONCE).execute(query)
    return map(dict, rows.mappings())


def _noting_people(
    entries: Iterable[JsonObject], sealed: list[JsonObject], signing: list[JsonObject]
) -> Iterator[JsonObject]:
    """The entries as they come; what they say of names is added to `sealed`, and to `signing`
    what those of the record as a whole say of people who sign."""
    for entry in entries:
        yield entry
        text = entry["content"]
        if isinstance(text, str) and entry["session"] == "" and '"staff"' in text:
            signing.append(_read(text))
        if isinstance(text, str) and ('"people"' in text or '"erased"' in text):
            sealed.append(_read(text))


def _read(text: str) -> JsonObject:
    """Content that may not be JSON any more; then the chain is broken, which is said first."""
    try:
        content = json.loads(text)
    except ValueError:
        return {}
    return content if isinstance(content, dict) else {}
