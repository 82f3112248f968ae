"""Names of persons: kept outside the chained journal, so that they can be erased.

Cells and journal hold a reference, ``person:`` and a random identifier. The journal keeps
for each person a seal, the SHA-256 of a random salt and the name: `verify` finds a name
that was changed or exchanged, and once salt and name are erased the seal says nothing.

Why so
------
Names stand outside the chain. Cells (`assessor`), leaders and `who` hold `person:` and a random
identifier; the table `people` holds the name. The journal keeps a seal of each, SHA-256 of a
random salt and the name: `verify` finds a changed or exchanged name, and `erase_person` takes
name and salt away, so that nothing can be guessed back. Erased persons stay apart from each other
as `erased 1`, `erased 2`, and all spellings of one go together. Free texts (comments, reasons,
descriptions) are inside the chain and cannot be erased: `Erasure.remains` lists those that hold
the name, and copies of the record beside it. Archives and backups elsewhere have to be found by
whoever made them.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import islice
from typing import Any, NamedTuple, TypeAlias, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.errors import RecordError
from ..base.records import JsonObject, digest_of
from ..base.spelling import same_person
from .tables import ballot_cells, journal, outcomes, people, register, sessions

PREFIX = "person:"
NAMED = "assessor"
BOOTH_OF = "booth of "
"""How a booth signed before person and role stood apart."""
_ERASED = "erased "
_AT_ONCE = 500

Stored = TypeVar("Stored")
Places: TypeAlias = "str | Mapping[str, Places]"

NAME, _EACH = "name", "each"
"""A place that holds a name; the places of all keys that are not given by their own."""
_CARE: Places = {
    "cleared_by": NAME,
    "smelling_by": NAME,
    "reactions": {"taken_up_by": NAME},
}
COLUMNS: Places = {"agreed_by": NAME, "details": {"leader": NAME, "care": _CARE}}
CELLS: Places = {_EACH: {NAMED: NAME}}
_DECISION: Places = {"decided_by": NAME, "confirmed_by": NAME}
NOUN: Places = {
    "clearance": {"food_safe_by": NAME, "allergens_by": NAME, "smelling_by": NAME},
    "decisions": _DECISION,
    "proposed": _DECISION,
    "complaints": {"recorded_by": NAME, "owner": NAME, "closed_by": NAME},
    "materials": {"others": {"said_by": NAME}},
    "bridged_to_previous": {"decided_by": NAME},
    "bridged_to_first": {"decided_by": NAME},
    "later": {"decided_by": NAME},
    "person": NAME,
    "assessors": NAME,
    "agreed_by": NAME,
    "kept_by": NAME,
    "withdrawn_by": NAME,
    "looks": {"agreed_by": NAME},
}
_CHANGES: Places = {"old": NAME, "new": NAME}
CONTENT: Places = {
    "session": COLUMNS,
    "changed": COLUMNS,
    "old": COLUMNS,
    "cells": CELLS,
    "changes": _CHANGES,
    "noun": {"content": NOUN},
    "signed": {"by": NAME},
    "staff": {"person": NAME},
    "about": NAME,
}
ENTRY: Places = {"who": NAME, "content": CONTENT}


# Statements that are asked most are made once.
_SOME: sa.BindParameter[str] = sa.bindparam("some", expanding=True)
_BY_ID = sa.select(people.c.id, people.c.name, people.c.erased).where(people.c.id.in_(_SOME))
_SOUGHT = sa.select(people.c.id, people.c.sought).where(people.c.sought.in_(_SOME))


class Person(NamedTuple):
    """A person as the record shows her."""

    reference: str
    name: str
    erased: bool


def renamed(stored: Stored, places: Places, change: Callable[[str], str]) -> Stored:
    """What is stored, or a list of such, with each name at these places changed.

    >>> renamed({"agreed_by": "Mia", "digest": "6f"}, COLUMNS, str.upper)
    {'agreed_by': 'MIA', 'digest': '6f'}
    """
    new: Any = stored
    if isinstance(stored, list) and places == NAME:
        new = [change(part) if part else part for part in stored]
    elif isinstance(stored, list):
        new = [renamed(part, places, change) for part in stored]
    elif isinstance(places, str):
        new = change(new) if new else new
    elif isinstance(stored, dict) and (places is not _CHANGES or stored["name"] == NAMED):
        others = places.get(_EACH)
        new = {
            key: part if (at := places.get(key, others)) is None else renamed(part, at, change)
            for key, part in stored.items()
        }
    return new


def _names_in(stored: object, places: Places) -> set[str]:
    met: dict[str, str] = {}
    renamed(stored, places, lambda name: met.setdefault(name, name))
    return set(met)


def shown(connection: Connection, stored: Stored, places: Places) -> Stored:
    """What is stored, with names where it has references."""
    return named(stored, places, names_of(connection, references_in(stored, places)))


def references_in(stored: object, places: Places) -> tuple[str, ...]:
    """The references to persons at these places."""
    return tuple(sorted(text for text in _names_in(stored, places) if text.startswith(PREFIX)))


def names_of(connection: Connection, references: Iterable[str]) -> dict[str, str]:
    """The name that each of these persons is shown by, as far as they are known."""
    return {person.reference: person.name for person in _persons(connection, references)}


def named(stored: Stored, places: Places, names: Mapping[str, str]) -> Stored:
    """What is stored, with these names in the place of their references."""
    return renamed(stored, places, lambda text: names.get(text, text))


def met_in(connection: Connection, entries: list[JsonObject]) -> list[Person]:
    """The persons whom some unpacked entries name."""
    return sorted(_persons(connection, _names_in(entries, ENTRY)))


def _persons(connection: Connection, texts: Iterable[str]) -> Iterator[Person]:
    known = (text for text in texts if isinstance(text, str) and text.startswith(PREFIX))
    references = (text.removeprefix(PREFIX) for text in known)
    for some in _batches(references):
        for key, name, erased in connection.execute(_BY_ID, {"some": some}):
            yield Person(f"{PREFIX}{key}", shown_as(name, erased), erased is not None)


def shown_as(name: object, erased: int | None) -> str:
    """What a person is shown by: the name, or the number with which it was erased."""
    return _readable(name) if erased is None else f"{_ERASED}{erased}"


def _readable(name: object) -> str:
    """A name as it is; one that is no text of Unicode any more, as Python writes it."""
    try:
        str(name).encode()
    except UnicodeEncodeError:
        return ascii(name)
    return name if isinstance(name, str) else repr(name)


def hidden(connection: Connection, entry: JsonObject) -> JsonObject:
    """An entry to be written, with references for its names; new persons are added.

    Their seals are put into the content, under ``people``.
    """
    names = _names_in(entry, ENTRY)
    references = _references(connection, names)
    rows = [
        {
            "id": secrets.token_hex(16),
            "name": name,
            "sought": digest_of(name),
            "salt": secrets.token_hex(16),
        }
        for name in sorted(names - references.keys())
    ]
    references |= {row["name"]: f"{PREFIX}{row['id']}" for row in rows}
    new = renamed(entry, ENTRY, lambda name: references[name])
    if rows:
        connection.execute(sa.insert(people), rows)
        seals = {row["id"]: digest_of([row["salt"], row["name"]]) for row in rows}
        new["content"]["people"] = {**new["content"].get("people", {}), **seals}
    return new


def _references(connection: Connection, names: set[str]) -> dict[str, str]:
    known: dict[str, str] = {}
    sought = {digest_of(name): name for name in names}
    for some in _batches(sought):
        rows = connection.execute(_SOUGHT, {"some": some})
        known |= {sought[key]: f"{PREFIX}{person}" for person, key in rows}
    for name in names - known.keys():
        number = name.removeprefix(_ERASED)
        if name.startswith(_ERASED) and number.isascii() and number.isdigit():
            at = people.c.erased == min(int(number[:9]), 2**31 - 1)
            if person := connection.scalar(sa.select(sa.func.min(people.c.id)).where(at)):
                known[name] = f"{PREFIX}{person}"
    return known


def _batches(values: Iterable[str]) -> Iterator[list[str]]:
    rest = iter(values)
    while some := list(islice(rest, _AT_ONCE)):
        yield some


def erase(connection: Connection, name: str) -> tuple[int, dict[str, str]]:
    """Erase each spelling of a name; its number, and the identifiers with what was erased.

    The name in `booth of NAME`, as journals have it that are older than version 9, goes as well.

    Raises RecordError when nobody of that name is on record.
    """
    wanted = same_person(name)
    query = sa.select(people.c.id, people.c.name).where(people.c.name.is_not(None))
    gone = {
        key: typed
        for key, typed in connection.execute(query)
        if wanted in (same_person(typed), same_person(without_booth(typed)))
    }
    if not gone:
        raise RecordError(f"There is nobody of the name {name!r} on record.")
    number = 1 + (connection.scalar(sa.select(sa.func.max(people.c.erased))) or 0)
    values = {"name": None, "sought": None, "salt": None, "erased": number}
    connection.execute(sa.update(people).where(people.c.id.in_(gone)).values(values))
    return number, gone


def without_booth(typed: str) -> str:
    """A name, of whoever acted as the booth of it too."""
    return typed.removeprefix(BOOTH_OF)


def sessions_of(connection: Connection, name: str) -> list[str]:
    """The sessions in which a person of that name, however spelt, has ballots."""
    query = sa.select(people.c.id, people.c.name).where(people.c.name.is_not(None))
    rows = connection.execute(query)
    keys = [f"{PREFIX}{key}" for key, typed in rows if same_person(typed) == same_person(name)]
    cells = ballot_cells.c
    named = sa.select(cells.session).where(cells.name == NAMED, cells.text.in_(keys)).distinct()
    return sorted(connection.scalars(named))


def mentions(connection: Connection, names: Iterable[str]) -> list[str]:
    """Free texts in which a name still stands: these are inside the chain and stay."""
    cells = ballot_cells.c
    texts = {
        "Session {}, row {}, {}": ((cells.session, cells.line, cells.name), (cells.text,)),
        "Session {}, its description": (
            (sessions.c.id,),
            (sessions.c.details, sessions.c.question),
        ),
        "Session {}, what it showed": ((outcomes.c.session,), (outcomes.c.content,)),
        "The {} {}": ((register.c.kind, register.c.name), (register.c.content,)),
        "Journal entry {}": ((journal.c.number,), (journal.c.content, journal.c.why)),
    }
    places = [
        words.format(*row)
        for name in names
        for words, (place, columns) in texts.items()
        for row in connection.execute(sa.select(*place).where(_hold(columns, name)))
    ]
    return list(dict.fromkeys(places))


def _hold(columns: Iterable[sa.Column[Any]], name: str) -> sa.ColumnElement[bool]:
    """Whether one of the columns holds a name, plain or as JSON writes it."""
    spellings = {name, json.dumps(name)[1:-1], json.dumps(name, ensure_ascii=False)[1:-1]}
    return sa.or_(
        *(
            sa.cast(column, sa.Text).contains(spelling, autoescape=True)
            for column in columns
            for spelling in sorted(spellings)
        )
    )
