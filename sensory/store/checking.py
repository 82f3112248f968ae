"""Whether the record is as it was written: chain, tables against the journal, names.

Why so
------
The chain shows changes, not who made them. Somebody who rewrites the last entries with their
hashes, tables included, is found only by a hash kept elsewhere: the report prints the newest
one, an archive has its own sum. `verify(session_id)` is quick: its entries, their neighbours, no
number missing, its tables; the chain from the first entry is left to `verify()`.

A record of a million ballots is checked as a stream: entries as rows, then some sessions at a
time, in memory that depends on the biggest session only. Rows are tuples and cells are compared
as nested dictionaries, since a Python step for each cell is what the time goes into.

A damaged file answers too: what is no JSON, no text or of another type is unlike everything that
the journal has, and a text that is no UTF-8 is read again byte by byte.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.errors import RecordError
from ..base.records import JsonObject
from .connections import Damage, damage_in, with_any_text
from .journal import (
    STAFF,
    START,
    UNREADABLE,
    Lines,
    Played,
    differing_cells,
    differing_noun,
    differing_outcome,
    differing_people,
    differing_session,
    differing_staff,
    in_order,
    not_as_written,
    seals_in,
    sound_row,
)
from .rows import rows_of
from .tables import (
    SCHEMA_VERSION,
    ballot_cells,
    journal,
    outcomes,
    people,
    register,
    register_links,
    schema,
    sessions,
    staff,
)

Watched = Callable[[float], bool]
"""Told now and then which share is done; the check stops where it answers False."""

_KEYS_AT_ONCE, _ROWS_AT_ONCE = 50, 2_000
_KEYS = {
    table: table.c["id" if "id" in table.c else "session"]
    for table in (sessions, journal, ballot_cells, register, register_links, outcomes)
}
"""Where each table says to which session or noun a row belongs."""
_OF_KEYS: dict[sa.Table, sa.Select[Any]] = {
    table: sa.select(table).where(column.in_(sa.bindparam("keys", expanding=True)))
    for table, column in _KEYS.items()
}
_ENTRIES = _OF_KEYS[journal].order_by(journal.c.number)
_CELLS = sa.select(*(ballot_cells.c[name] for name in ("session", "line", "name", "text"))).where(
    ballot_cells.c.session.in_(sa.bindparam("keys", expanding=True))
)
_EARLIER, _LATER = journal.alias(), journal.alias()
_NEXT_TO = (
    sa.select(journal.c.number, _EARLIER.c.sha256, _LATER.c.before)
    .outerjoin(_EARLIER, _EARLIER.c.number == journal.c.number - 1)
    .outerjoin(_LATER, _LATER.c.number == journal.c.number + 1)
    .where(journal.c.session == sa.bindparam("key"))
)
_COUNTED = sa.select(sa.func.count(journal.c.number), sa.func.max(journal.c.number))
_CHAIN_SHARE = 0.4
STOPPED = "The check was stopped before its end; so nothing is known of the record."


def checked(
    connection: Connection, session_id: str | None, watched: Watched | None = None
) -> list[str]:
    """A sentence for each entry, session, cell or name that is not as it was written.

    Of the whole record, or of one session. Raises RecordError where it was stopped.
    """

    def sentences() -> list[str]:
        if session_id is not None:
            return _one_session(connection, session_id)
        return _whole_record(connection, watched or (lambda share: True))

    try:
        wrong = sentences()
    except sa.exc.DBAPIError as error:
        if damage_in(error) is not Damage.TEXT:
            raise
        with with_any_text(connection):
            wrong = sentences() or ["A text of the record is no text of Unicode."]
    return [line if line.isprintable() else ascii(line)[1:-1] for line in wrong]


def _whole_record(connection: Connection, watched: Watched) -> list[str]:
    seals: JsonObject = {}
    signing: JsonObject = {}
    if broken := _broken_links(connection, seals, signing, watched):
        return broken
    keys, wrong = _all_keys(connection)
    for start in range(0, len(keys), _KEYS_AT_ONCE):
        _go_on(watched, _CHAIN_SHARE + (1 - _CHAIN_SHARE) * start / len(keys))
        wrong += _tables_against_journal(connection, keys[start : start + _KEYS_AT_ONCE])
    wrong += differing_people(seals, rows_of(connection, sa.select(people)))
    wrong += differing_staff(signing, rows_of(connection, sa.select(staff)))
    versions = list(connection.scalars(sa.select(schema.c.version)))
    if versions != [SCHEMA_VERSION]:
        wrong.append(f"The version of the record is {versions}, not [{SCHEMA_VERSION}].")
    return wrong


def _go_on(watched: Watched, share: float) -> None:
    if not watched(share):
        raise RecordError(STOPPED)


def _one_session(connection: Connection, session_id: str) -> list[str]:
    """Its entries and their neighbours, no number missing, tables."""
    entries, last = connection.execute(_COUNTED).one()
    wrong = [] if entries == (last or 0) else ["Numbers of the journal are missing."]
    befores = _neighbours(connection, session_id)
    rows = list(_rows(connection, [session_id]))
    for row in rows:
        hash_before, follows = befores[row[0]]
        before = START if row[0] == 1 else hash_before or ""
        if follows not in (None, row[8]) or not sound_row(row, number=row[0], before=before):
            wrong.append(not_as_written(row[0]))
    return wrong or _tables_against_journal(connection, [session_id], rows)


def _broken_links(
    connection: Connection, seals: JsonObject, signing: JsonObject, watched: Watched
) -> list[str]:
    """A sentence for each entry that is not as it was written, is missing, or was put in.

    What the entries say of names is added to `seals`, and to `signing` what those of the record
    as a whole say of people who sign.
    """
    last = connection.scalar(sa.select(sa.func.max(journal.c.number))) or 1
    broken, before, number = [], START, 0
    for row in _rows(connection):
        number += 1
        if not sound_row(row, number=number, before=before):
            broken.append(not_as_written(row[0]))
            number = row[0]
        before, text = row[8], row[6]
        if not broken and ('"people"' in text or '"erased"' in text or '"staff"' in text):
            content = _content(text)
            seals |= seals_in(content)
            if row[2] == "" and isinstance(content.get("staff"), dict):
                signing |= _signing(content["staff"])
        if not number % _ROWS_AT_ONCE:
            _go_on(watched, _CHAIN_SHARE * min(number / last, 1))
    return broken


def _signing(held: JsonObject) -> JsonObject:
    """By person, what an entry says of roles and rights."""
    if not held.keys() >= {"person", *STAFF}:
        return {}
    return {held["person"]: {name: held[name] for name in STAFF}}


def _all_keys(connection: Connection) -> tuple[list[str], list[str]]:
    """Every session and noun to which a row of any table belongs; "" is the record as a whole.

    And a sentence for each key that none can have.
    """
    many = (journal, ballot_cells)
    keys = {key for table in many for key in _distinct(connection, _KEYS[table])}
    few = [sa.select(column) for table, column in _KEYS.items() if table not in many]
    keys |= set(connection.scalars(sa.union(*few)))
    strange = {key for key in keys if not isinstance(key, str) or _broken_text(key)}
    wrong = [f"Rows belong to {key!r}, which is no session." for key in in_order(strange)]
    return sorted(keys - strange - {""}), wrong


def _broken_text(text: str) -> bool:
    return any("\ud800" <= letter <= "\udfff" for letter in text)


def _distinct(connection: Connection, column: sa.Column[Any]) -> Iterable[Any]:
    """The values of an indexed column, from each to the next: there are millions of rows."""
    start = sa.select(sa.func.min(column).label("key")).cte(recursive=True)
    following = sa.select(sa.func.min(column)).where(column > start.c.key).scalar_subquery()
    walk = start.union_all(sa.select(following).where(start.c.key.is_not(None)))
    return connection.scalars(sa.select(walk.c.key).where(walk.c.key.is_not(None)))


def _tables_against_journal(
    connection: Connection, keys: list[str], entries: Iterable[Any] | None = None
) -> list[str]:
    """Where some sessions and nouns are not what the journal makes of them.

    `entries`: theirs by number, where they were read already.
    """
    played, wrong = _played(_rows(connection, keys) if entries is None else entries)

    def by_key(table: sa.Table) -> dict[Any, JsonObject]:
        name, rows = _KEYS[table].name, connection.execute(_OF_KEYS[table], {"keys": keys})
        return {row[name]: dict(row) for row in rows.mappings()}

    there, kept, nouns = by_key(sessions), by_key(outcomes), by_key(register)
    cells, links = _cells(connection, keys), _links(connection, keys)
    for key in keys:
        try:
            wrong += differing_session(key, played.sessions.get(key), there.get(key))
            wrong += differing_cells(key, played.cells.get(key, {}), cells.get(key, {}))
            noun, tied = played.nouns.get(key, ()), links.get(key, [])
            wrong += differing_noun(key, noun, nouns.get(key), tied)
            content = kept.get(key, {}).get("content")
            wrong += differing_outcome(key, played.outcomes.get(key), content)
        except UNREADABLE:
            wrong.append(f"What stands of {key!r} cannot be read.")
    return wrong


def _played(entries: Iterable[Any]) -> tuple[Played, list[str]]:
    played, wrong = Played(), []
    for row in entries:
        try:
            played.play(row[2], json.loads(row[6]))
        except UNREADABLE:
            wrong.append(f"Journal entry {row[0]} cannot be read.")
    return played, wrong


def _cells(connection: Connection, keys: list[str]) -> dict[Any, Lines]:
    cells: dict[Any, Lines] = {}
    at_key, at_line = object(), object()
    texts: dict[str, str] = {}
    for key, line, name, text in _streamed(connection, _CELLS, {"keys": keys}):
        if line != at_line or key != at_key:
            texts = cells.setdefault(key, {}).setdefault(line, {})
            at_key, at_line = key, line
        texts[name] = text
    return cells


def _links(connection: Connection, keys: list[str]) -> dict[Any, list[tuple[str, str]]]:
    links: dict[Any, list[tuple[str, str]]] = {}
    for row in connection.execute(_OF_KEYS[register_links], {"keys": keys}):
        links.setdefault(row.id, []).append((row.kind, row.value))
    return links


def _neighbours(
    connection: Connection, session_id: str
) -> dict[int, tuple[str | None, str | None]]:
    """By number of an entry: the hash of the one before, and what the next one follows on."""
    rows = connection.execute(_NEXT_TO, {"key": session_id})
    return {number: (before, follows) for number, before, follows in rows}


def _rows(connection: Connection, keys: list[str] | None = None) -> Iterator[Any]:
    """Entries by number, as rows of `journal.COLUMNS`."""
    if keys is None:
        return _streamed(connection, sa.select(journal).order_by(journal.c.number))
    return _streamed(connection, _ENTRIES, {"keys": keys})


def _streamed(
    connection: Connection, query: sa.Select[Any], values: JsonObject | None = None
) -> Iterator[Any]:
    """Rows of texts and numbers, some at a time; of SQLite as its driver has them, unwrapped."""
    if connection.dialect.name != "sqlite":
        result = connection.execution_options(yield_per=_ROWS_AT_ONCE).execute(query, values)
        for rows in result.partitions():
            yield from rows
        return
    with connection.execute(query, values) as unwrapped:
        while part := _fetched(unwrapped.cursor):
            yield from part


def _fetched(cursor: Any) -> list[Any]:
    try:
        return list(cursor.fetchmany(_ROWS_AT_ONCE))
    except sqlite3.Error as error:
        raise sa.exc.DBAPIError("rows of the check", None, error) from error


def _content(text: str) -> JsonObject:
    """What a sound entry says; an object, whatever stands there."""
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return content if isinstance(content, dict) else {}
