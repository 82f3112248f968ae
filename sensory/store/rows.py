"""Rows of the tables as the nouns of the job, and back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.errors import RecordError
from ..base.records import JsonObject
from ..base.spelling import same_person
from ..serving.ballot_line import SENT
from ..sessions.session import DamagedSession, JournalEntry, StoredSession
from ..sessions.signing import Person
from . import people
from .connections import Damage, damage_in, with_any_text
from .journal import ROLE, UNREADABLE
from .tables import ballot_cells, journal, sessions, staff
from .tables import people as names

Query = sa.Select[Any]
Cells = Mapping[int, Mapping[str, str]]
_CELL = ballot_cells.c
_CELLS = (
    sa.select(_CELL.line, _CELL.name, _CELL.text)
    .where(_CELL.session == sa.bindparam("key"))
    .order_by(_CELL.line, _CELL.name)
)
_SOME_CELLS = _CELLS.where(_CELL.line.in_(sa.bindparam("lines", expanding=True)))
_EMPTY_AT_FIRST = ("agreed_at", "agreed_by", "digest", "closed_at", "serving", "agreed_role")


def rows_of(connection: Connection, query: Query) -> list[JsonObject]:
    """What a query gives, by column."""
    return [dict(row) for row in connection.execute(query).mappings()]


def columns_of(session: StoredSession) -> JsonObject:
    """The columns of a session."""
    plain = session.to_dict()
    return plain | {name: plain.get(name) or None for name in _EMPTY_AT_FIRST}


def session_of(columns: JsonObject) -> StoredSession:
    """The session that has these columns.

    Raises RecordError for a column that is not known, not there or of another kind.
    """
    return StoredSession.from_dict({k: v for k, v in columns.items() if v is not None})


def sessions_of(connection: Connection, query: Query) -> list[StoredSession]:
    """The sessions that a query gives, with names; RecordError for a damaged one."""
    sound, damaged = listed(connection, query)
    if damaged:
        raise RecordError(f"This session is damaged on record: {damaged[0].why}")
    return sound


def listed(
    connection: Connection, query: Query
) -> tuple[list[StoredSession], list[DamagedSession]]:
    """The sessions that a query gives, with names, and those that are damaged."""
    try:
        return _listed(connection, query)
    except sa.exc.DBAPIError as error:
        if damage_in(error) is not Damage.TEXT:
            raise
        with with_any_text(connection):
            return _listed(connection, query)


def _listed(
    connection: Connection, query: Query
) -> tuple[list[StoredSession], list[DamagedSession]]:
    rows = rows_of(connection, query)
    try:
        named = people.shown(connection, rows, people.COLUMNS)
        return [session_of(columns) for columns in named], []
    except UNREADABLE:
        return _one_by_one(connection, rows)


def _one_by_one(
    connection: Connection, rows: list[JsonObject]
) -> tuple[list[StoredSession], list[DamagedSession]]:
    sound, damaged = [], []
    for row in rows:
        try:
            sound.append(session_of(people.shown(connection, row, people.COLUMNS)))
        except UNREADABLE as error:
            details = row["details"]
            title = details.get("title", "") if isinstance(details, dict) else ""
            words = [_printable(words) for words in (row["id"], title, error)]
            damaged.append(DamagedSession(id=words[0], title=words[1], why=words[2]))
    return sound, damaged


def _printable(words: object) -> str:
    """At most a line, of letters that every screen takes."""
    text = str(words)[:300]
    return text if text.isprintable() else ascii(text)[1:-1]


def cells_of(
    connection: Connection, session_id: str, only: Iterable[int] | None = None
) -> dict[int, dict[str, str]]:
    """Cells of a session, or of some of its lines, by line and column name; with names."""
    asked: JsonObject = {"key": session_id}
    if only is not None:
        asked["lines"] = list(only)
    lines: dict[int, dict[str, str]] = {}
    for line, name, text in connection.execute(_CELLS if only is None else _SOME_CELLS, asked):
        if not isinstance(text, str):
            raise RecordError(f"Row {line}, {name} is damaged on record: {text!r:.60} is no text.")
        lines.setdefault(line, {})[name] = text
    return people.shown(connection, lines, people.CELLS)


def comments_of(connection: Connection, session_id: str) -> list[tuple[str, str]]:
    """Comments of assessors by line, each with the sample, or the order that was served."""
    cells = ballot_cells.c
    beside = ("sample", "order", "pair")
    commented = sa.select(cells.line).where(cells.session == session_id, cells.name == "comment")
    query = sa.select(cells.line, cells.name, cells.text).where(
        cells.session == session_id,
        cells.name.in_(("comment", *beside)),
        cells.line.in_(commented),
    )
    lines: dict[int, dict[str, str]] = {}
    for line, name, text in connection.execute(query.order_by(cells.line)):
        lines.setdefault(line, {})[name] = text
    return [
        (next((texts[name] for name in beside if texts.get(name)), ""), texts["comment"])
        for texts in lines.values()
    ]


def assessors_named(connection: Connection, text: str) -> list[tuple[str, list[str]]]:
    """Names on ballots that hold a text, by name, each with the newest sessions first."""
    persons = connection.execute(
        sa.select(names.c.id, names.c.name).where(names.c.erased.is_(None))
    )
    wanted = same_person(text)
    named = {f"{people.PREFIX}{key}": name for key, name in persons if wanted in same_person(name)}
    cells = ballot_cells.c
    query = (
        sa.select(cells.text, cells.session)
        .join(sessions, sessions.c.id == cells.session)
        .where(cells.name == people.NAMED, cells.text.in_(list(named)))
        .group_by(cells.text, cells.session, sessions.c.created_at)
        .order_by(sessions.c.created_at.desc())
    )
    met: dict[str, tuple[str, list[str]]] = {}
    for reference, session in connection.execute(query):
        name = named[reference]
        held = met.setdefault(same_person(name), (name, []))[1]
        if session not in held:
            held.append(session)
    return sorted(met.values())


def put_session(
    connection: Connection, columns: JsonObject, cells: Mapping[Any, Mapping[str, str]]
) -> None:
    """Write a new session with its cells, both with references for names."""
    rows = [
        {"session": columns["id"], "line": int(line), "name": name, "text": text}
        for line, texts in cells.items()
        for name, text in texts.items()
        if text
    ]
    rows.sort(key=lambda row: row["name"] == SENT)  # after it a line takes no answer
    connection.execute(sa.insert(sessions).values(**columns))
    if rows:
        connection.execute(sa.insert(ballot_cells), rows)


# People who sign.


def people_of(connection: Connection) -> list[Person]:
    """Everybody who signs or did so, by name."""
    rows = rows_of(connection, sa.select(staff))
    keys = [row["person"].removeprefix(people.PREFIX) for row in rows]
    named = people.shown(connection, [row["person"] for row in rows], people.NAME)
    signing = [
        Person.from_dict({**row["content"], "name": name, "key": key})
        for row, name, key in zip(rows, named, keys, strict=True)
    ]
    return sorted(signing, key=lambda person: (person.name.casefold(), person.key))


def put_person(connection: Connection, row: JsonObject, *, new: bool) -> None:
    """Write a row of the people who sign, `person` being a reference."""
    at = staff.c.person == row["person"]
    values = {"person": row["person"], "content": {k: row[k] for k in row if k != "person"}}
    connection.execute(sa.insert(staff) if new else sa.update(staff).where(at), values)


# The journal.


def unpacked(entry: JsonObject) -> JsonObject:
    """An entry of the journal with its content read."""
    return {**entry, "content": json.loads(entry["content"])}


def entry_of(entry: JsonObject) -> JournalEntry:
    """An unpacked entry for readers: seals and the chain are left out."""
    content = {key: value for key, value in entry["content"].items() if key != "people"}
    role, who = content.pop(ROLE, ""), entry["who"]
    if not role and who.startswith(people.BOOTH_OF):
        role, who = people.BOOTH_OF.split()[0], who.removeprefix(people.BOOTH_OF)
    return JournalEntry(
        **{key: entry[key] for key in ("number", "at", "session", "what", "why")},
        who=who,
        role=role,
        content=content,
    )


def entries_of(connection: Connection, key: str) -> list[JournalEntry]:
    """The journal of a session or a noun, oldest first, with names."""
    entries = list(map(unpacked, packed_entries(connection, key)))
    return [entry_of(entry) for entry in people.shown(connection, entries, people.ENTRY)]


def packed_entries(connection: Connection, key: str) -> list[JsonObject]:
    """The same as it stands in the chain."""
    query = sa.select(journal).where(journal.c.session == key).order_by(journal.c.number)
    return rows_of(connection, query)


def entry_for(
    connection: Connection, session: str, who: str, what: str, why: str, content: JsonObject
) -> JsonObject:
    """An entry to be appended, with references for names."""
    plain = {"session": session, "who": who, "what": what, "why": why, "content": content}
    return people.hidden(connection, plain)
