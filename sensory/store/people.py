"""Names of persons: kept outside the chained journal, so that they can be erased.

Cells and journal hold a reference, ``person:`` and a random identifier. The journal keeps
for each person a seal, the SHA-256 of a random salt and the name: `verify` finds a name
that was changed or exchanged, and once salt and name are erased the seal says nothing.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import islice
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.errors import RecordError
from ..base.records import digest_of
from ..base.spelling import same_person
from .nouns import renamed
from .tables import ballot_cells, journal, outcomes, people, register, sessions

PREFIX = "person:"
NAMED = "assessor"
_ERASED = "erased "
_AT_ONCE = 500


class Person(NamedTuple):
    """A person as the record shows her."""

    reference: str
    name: str
    erased: bool


Change = Callable[[str], str]
Walk = Callable[[Any, Change], Any]


# Where names stand.


def in_cells(cells: Mapping[Any, Mapping[str, str]], change: Change) -> dict[Any, dict[str, str]]:
    """Cells by line, with each name changed."""
    return {
        line: {
            name: change(text) if name == NAMED and text else text for name, text in texts.items()
        }
        for line, texts in cells.items()
    }


def in_columns(columns: Mapping[str, Any], change: Change) -> dict[str, Any]:
    """Columns of a session, or some of them, with each name changed."""
    new = dict(columns)
    if new.get("agreed_by"):
        new["agreed_by"] = change(new["agreed_by"])
    if (new.get("details") or {}).get("leader"):
        new["details"] = new["details"] | {"leader": change(new["details"]["leader"])}
    return new


def in_content(content: Mapping[str, Any], change: Change) -> dict[str, Any]:
    """The content of a journal entry, with each name changed."""
    new = dict(content)
    for part in ("session", "changed", "old"):
        if part in new:
            new[part] = in_columns(new[part], change)
    if "cells" in new:
        new["cells"] = in_cells(new["cells"], change)
    if "changes" in new:
        new["changes"] = [_in_change(one, change) for one in new["changes"]]
    if "noun" in new:
        new["noun"] = {**new["noun"], "content": renamed(new["noun"]["content"], change)}
    return new


def in_plain(plain: Any, change: Change) -> Any:
    """Plain data with each text that is a name, as a whole, changed; also where it is a key."""
    if isinstance(plain, dict):
        return {change(key): in_plain(value, change) for key, value in plain.items()}
    if isinstance(plain, list):
        return [in_plain(value, change) for value in plain]
    return change(plain) if isinstance(plain, str) else plain


def in_entry(entry: Mapping[str, Any], change: Change) -> dict[str, Any]:
    """A journal entry whose content is unpacked, with each name changed."""
    who = change(entry["who"]) if entry["who"] else ""
    return {**entry, "who": who, "content": in_content(entry["content"], change)}


def _in_change(one: Mapping[str, Any], change: Change) -> dict[str, Any]:
    if one["name"] != NAMED:
        return dict(one)
    texts = {key: change(one[key]) if one[key] else "" for key in ("old", "new")}
    return {**one, **texts}


# Names to references and back.


def shown(connection: Connection, walk: Walk, stored: Any) -> Any:
    """What is stored, with names where it has references."""
    return _replaced(walk, stored, lambda found: names_of(connection, found))


def names_of(connection: Connection, references: Iterable[str]) -> dict[str, str]:
    """Reference to name; that of an erased person is ``erased`` and a number."""
    wanted = (one.removeprefix(PREFIX) for one in references if one.startswith(PREFIX))
    return {
        f"{PREFIX}{row.id}": _shown(row)
        for some in _batches(wanted)
        for row in connection.execute(sa.select(people).where(people.c.id.in_(some)))
    }


def assessors_of(connection: Connection, session_id: str) -> dict[str, str]:
    """Name to reference of those who have ballots in a session."""
    cells = ballot_cells.c
    named = (cells.session == session_id) & (cells.name == NAMED)
    references = connection.scalars(sa.select(cells.text).where(named).distinct())
    return {name: one for one, name in names_of(connection, references).items()}


def met_in(connection: Connection, entries: Iterable[Mapping[str, Any]]) -> tuple[Person, ...]:
    """The persons whom some unpacked entries name."""
    found: set[str] = set()

    def note(text: str) -> str:
        found.add(text)
        return text

    for entry in entries:
        in_entry(entry, note)
    wanted = (one.removeprefix(PREFIX) for one in sorted(found) if one.startswith(PREFIX))
    return tuple(
        Person(f"{PREFIX}{row.id}", _shown(row), row.erased is not None)
        for some in _batches(wanted)
        for row in connection.execute(sa.select(people).where(people.c.id.in_(some)))
    )


def _shown(row: sa.Row[Any]) -> str:
    return row.name if row.erased is None else f"{_ERASED}{row.erased}"


def hidden(connection: Connection, entry: Mapping[str, Any]) -> dict[str, Any]:
    """An entry to be written, with references for its names; new persons are added.

    Their seals are put into the content, under ``people``.
    """
    seals: dict[str, str] = {}

    def lookup(names: set[str]) -> dict[str, str]:
        known = _references(connection, names)
        return known | _new(connection, sorted(names - known.keys()), seals)

    new: dict[str, Any] = _replaced(in_entry, entry, lookup)
    if seals:
        new["content"]["people"] = {**new["content"].get("people", {}), **seals}
    return new


def seal_of(salt: str, name: str) -> str:
    """What the journal keeps of a name."""
    return digest_of([salt, name])


def _replaced(walk: Walk, value: Any, lookup: Callable[[set[str]], Mapping[str, str]]) -> Any:
    """`value` with each text that `walk` comes across exchanged by one question for all."""
    found: set[str] = set()

    def note(text: str) -> str:
        found.add(text)
        return text

    walk(value, note)
    table = lookup(found)
    return walk(value, lambda text: table.get(text, text))


def _references(connection: Connection, names: set[str]) -> dict[str, str]:
    known: dict[str, str] = {}
    sought = {digest_of(name): name for name in names}
    for some in _batches(sought):
        query = sa.select(people.c.id, people.c.sought).where(people.c.sought.in_(some))
        known |= {sought[key]: f"{PREFIX}{one}" for one, key in connection.execute(query)}
    for name in names - known.keys():
        number = name.removeprefix(_ERASED)
        if name.startswith(_ERASED) and number.isascii() and number.isdigit():
            at = people.c.erased == min(int(number[:9]), 2**31 - 1)
            query = sa.select(sa.func.min(people.c.id)).where(at)
            if one := connection.scalar(query):
                known[name] = f"{PREFIX}{one}"
    return known


def _new(connection: Connection, names: list[str], seals: dict[str, str]) -> dict[str, str]:
    rows = [
        {
            "id": secrets.token_hex(16),
            "name": name,
            "sought": digest_of(name),
            "salt": secrets.token_hex(16),
        }
        for name in names
    ]
    if rows:
        connection.execute(sa.insert(people), rows)
    seals |= {row["id"]: seal_of(row["salt"], row["name"]) for row in rows}
    return {row["name"]: f"{PREFIX}{row['id']}" for row in rows}


def _batches(values: Iterable[str]) -> Iterator[list[str]]:
    rest = iter(values)
    while some := list(islice(rest, _AT_ONCE)):
        yield some


# Erasing.


def erase(connection: Connection, name: str) -> tuple[int, dict[str, str]]:
    """Erase each spelling of a name; its number, and the identifiers with what was erased.

    Raises RecordError when nobody of that name is on record.
    """
    wanted = same_person(name)
    query = sa.select(people.c.id, people.c.name).where(people.c.name.is_not(None))
    gone = {one: typed for one, typed in connection.execute(query) if same_person(typed) == wanted}
    if not gone:
        raise RecordError(f"There is nobody of the name {name!r} on record.")
    number = 1 + (connection.scalar(sa.select(sa.func.max(people.c.erased))) or 0)
    for some in _batches(gone):
        connection.execute(
            sa.update(people)
            .where(people.c.id.in_(some))
            .values(name=None, sought=None, salt=None, erased=number)
        )
    return number, gone


def mentions(connection: Connection, names: Iterable[str], most: int = 50) -> list[str]:
    """Free texts in which a name still stands: these are inside the chain and stay."""
    found: dict[str, None] = {}
    for name in names:
        cells = ballot_cells
        query = sa.select(cells.c.session, cells.c.line, cells.c.name)
        for row in connection.execute(query.where(_holds(cells.c.text, name)).limit(most)):
            found[f"Session {row.session}, row {row.line}, {row.name}"] = None
        query = sa.select(sessions.c.id)
        in_words = [_holds(sa.cast(sessions.c[part], sa.Text), name) for part in _WORDS]
        for row in connection.execute(query.where(sa.or_(*in_words)).limit(most)):
            found[f"Session {row.id}, its description"] = None
        held = _holds(sa.cast(outcomes.c.content, sa.Text), name)
        for key in connection.scalars(sa.select(outcomes.c.session).where(held).limit(most)):
            found[f"Session {key}, what it showed"] = None
        of_nouns = sa.select(register.c.kind, register.c.name)
        held = _holds(sa.cast(register.c.content, sa.Text), name)
        for noun in connection.execute(of_nouns.where(held).limit(most)):
            found[f"The {noun.kind} {noun.name}"] = None
        words = sa.or_(_holds(journal.c.content, name), _holds(journal.c.why, name))
        for row in connection.execute(sa.select(journal.c.number).where(words).limit(most)):
            found[f"Journal entry {row.number}"] = None
    return list(found)[:most]


_WORDS = ("details", "question")


def _holds(column: sa.ColumnElement[str], name: str) -> sa.ColumnElement[bool]:
    """Whether a text holds a name, plain or as JSON writes it."""
    spellings = {name, json.dumps(name)[1:-1], json.dumps(name, ensure_ascii=False)[1:-1]}
    return sa.or_(*(column.contains(one, autoescape=True) for one in sorted(spellings)))
