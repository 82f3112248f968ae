"""Names leave the chain: cells and journal hold references to a new table of people.

The journal of version 1 holds names inside its chain, so the chain is written anew. That
is not silent: the last entry says so and keeps the old last number and hash. An entry that
was not sound before keeps its old hash, so that `verify` goes on naming it.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable
from typing import Any

import sqlalchemy as sa
from alembic import op

from sensory.base.records import JsonObject, digest_of, utc_now

Change = Callable[[Any], Any]

revision = "0002"
down_revision = "0001"

_START = "0" * 64
_WHY = (
    "Names moved to a table outside the chain, so that they can be erased. For this the chain "
    "was written anew from its first entry."
)
_SESSIONS = sa.table(
    "sessions", sa.column("id"), sa.column("details", sa.JSON), sa.column("agreed_by")
)
_CELLS = sa.table("ballot_cells", *map(sa.column, ("session", "line", "name", "text")))
_PEOPLE = sa.table("people", *map(sa.column, ("id", "name", "sought", "salt", "erased")))
_COLUMNS = ("number", "at", "session", "who", "what", "why", "content", "before", "sha256")
_JOURNAL = sa.table("journal", *map(sa.column, _COLUMNS))


def upgrade() -> None:
    """Make the table of people, and put references where names stood."""
    op.create_table(
        "people",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("name", sa.Text),
        sa.Column("sought", sa.String(64)),
        sa.Column("salt", sa.String(32)),
        sa.Column("erased", sa.Integer),
        sa.UniqueConstraint("sought", name="uq_people_sought"),
    )
    op.create_index("ix_sessions_created_at", "sessions", ["created_at"])
    connection = op.get_bind()
    people = _People()
    _sessions(connection, people)
    _cells(connection, people)
    _journal(connection, people)
    if people.rows:
        connection.execute(sa.insert(_PEOPLE), list(people.rows.values()))
    op.execute("UPDATE schema SET version = 2")


class _People:
    """Names met so far, each with its random reference."""

    def __init__(self) -> None:
        self.rows: dict[str, JsonObject] = {}

    def reference(self, name: Any) -> Any:
        if not isinstance(name, str) or not name:
            return name
        if name not in self.rows:
            self.rows[name] = {
                "id": secrets.token_hex(16),
                "name": name,
                "sought": digest_of(name),
                "salt": secrets.token_hex(16),
                "erased": None,
            }
        return f"person:{self.rows[name]['id']}"

    def seals(self) -> dict[str, str]:
        return {row["id"]: digest_of([row["salt"], name]) for name, row in self.rows.items()}


def _sessions(connection: sa.Connection, people: _People) -> None:
    for row in connection.execute(sa.select(_SESSIONS)).all():
        columns = {"details": row.details, "agreed_by": row.agreed_by}
        new = _without_names(columns, people.reference)
        connection.execute(sa.update(_SESSIONS).where(_SESSIONS.c.id == row.id).values(**new))


def _cells(connection: sa.Connection, people: _People) -> None:
    query = sa.select(_CELLS.c.session, _CELLS.c.line, _CELLS.c.text)
    changes = [
        {"at_session": row.session, "at_line": row.line, "text": people.reference(row.text)}
        for row in connection.execute(query.where(_CELLS.c.name == "assessor"))
    ]
    place = sa.and_(
        _CELLS.c.session == sa.bindparam("at_session"),
        _CELLS.c.line == sa.bindparam("at_line"),
        _CELLS.c.name == "assessor",
    )
    if changes:
        connection.execute(sa.update(_CELLS).where(place), changes)


def _journal(connection: sa.Connection, people: _People) -> None:
    query = sa.select(_JOURNAL).order_by(_JOURNAL.c.number)
    entries = [dict(row._mapping) for row in connection.execute(query)]
    if not entries:
        return
    broken = _broken(entries)
    old, before, changes = entries[-1], _START, []
    for entry in entries:
        new = _hidden(entry, people)
        if entry["number"] not in broken:
            new["before"] = before
            new["sha256"] = _sha(new)
        changes.append({f"new_{key}": value for key, value in new.items()})
        before = new["sha256"]
    values: JsonObject = {
        key: sa.bindparam(f"new_{key}") for key in ("who", "content", "before", "sha256")
    }
    at = _JOURNAL.c.number == sa.bindparam("new_number")
    connection.execute(sa.update(_JOURNAL).where(at).values(values), changes)
    content = {
        "version": 2,
        "chain_before": {"number": old["number"], "sha256": old["sha256"], "broken": broken},
        "people": people.seals(),
    }
    last = {
        "number": old["number"] + 1,
        "at": utc_now(),
        "session": "",
        "who": "program",
        "what": "upgraded",
        "why": _WHY,
        "content": json.dumps(content, sort_keys=True, ensure_ascii=False),
        "before": before,
    }
    connection.execute(sa.insert(_JOURNAL).values(**last, sha256=_sha(last)))


def _broken(entries: list[JsonObject]) -> list[int]:
    """Numbers of the entries that were not sound before."""
    broken, before, number = [], _START, 0
    for entry in entries:
        number += 1
        sound = entry["number"] == number and entry["before"] == before
        if not sound or _sha(entry) != entry["sha256"]:
            broken.append(entry["number"])
            number = entry["number"]
        before = entry["sha256"]
    return broken


def _hidden(entry: JsonObject, people: _People) -> JsonObject:
    """The entry with references for names; content that cannot be read stays as it is."""
    hidden = entry | {"who": people.reference(entry["who"])}
    try:
        content = _content(json.loads(entry["content"]), people.reference)
        hidden["content"] = json.dumps(content, sort_keys=True, ensure_ascii=False)
    except (ValueError, TypeError, KeyError, AttributeError):
        return hidden
    return hidden


def _content(content: JsonObject, change: Change) -> JsonObject:
    new = dict(content)
    for part in ("session", "changed", "old"):
        if part in new:
            new[part] = _without_names(new[part], change)
    if "cells" in new:
        new["cells"] = {
            line: {name: change(text) if name == "assessor" else text for name, text in of.items()}
            for line, of in new["cells"].items()
        }
    if "changes" in new:
        new["changes"] = [
            each | {"old": change(each["old"]), "new": change(each["new"])}
            if each["name"] == "assessor"
            else each
            for each in new["changes"]
        ]
    return new


def _without_names(columns: JsonObject, change: Change) -> JsonObject:
    new = dict(columns)
    if "agreed_by" in new:
        new["agreed_by"] = change(new["agreed_by"])
    if isinstance(new.get("details"), dict) and "leader" in new["details"]:
        new["details"] = new["details"] | {"leader": change(new["details"]["leader"])}
    return new


def _sha(entry: JsonObject) -> str:
    try:
        return digest_of({key: value for key, value in entry.items() if key != "sha256"})
    except TypeError:  # a value of another type was put there
        return ""
