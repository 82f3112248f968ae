"""The name in 'booth of NAME' is gone where the person was erased; when the record was checked.

Until version 8 a booth acted as `booth of NAME`, a text of its own among the people. Whoever was
erased left it behind. Where nobody of that name is on record any more, it is erased here, with an
entry of the journal. Where the person is still on record, it goes when the person is erased.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"

_BOOTH = "booth of "
_START = "0" * 64
_PEOPLE = sa.table("people", *map(sa.column, ("id", "name", "sought", "salt", "erased")))
_COLUMNS = ("number", "at", "session", "who", "what", "why", "content", "before", "sha256")
_JOURNAL = sa.table("journal", *map(sa.column, _COLUMNS))
_WHY = "What a booth had left of the name of somebody who was erased before."


def upgrade() -> None:
    """Erase what booths left of erased names, and make the table of checks."""
    op.create_table(
        "checks",
        sa.Column("at", sa.String(32), primary_key=True),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("wrong", sa.JSON, nullable=False),
    )
    connection = op.get_bind()
    for keys in _left_behind(connection).values():
        _erase(connection, keys)
    op.execute("UPDATE schema SET version = 9")


def _left_behind(connection: sa.Connection) -> dict[str, list[str]]:
    """By name, the people who stand for a booth of somebody who is not on record any more."""
    query = sa.select(_PEOPLE.c.id, _PEOPLE.c.name).where(_PEOPLE.c.name.is_not(None))
    rows = [(key, name) for key, name in connection.execute(query) if isinstance(name, str)]
    there = {_same(name) for _, name in rows}
    left: dict[str, list[str]] = {}
    for key, name in rows:
        if name.startswith(_BOOTH) and _same(name.removeprefix(_BOOTH)) not in there:
            left.setdefault(_same(name.removeprefix(_BOOTH)), []).append(key)
    return left


def _same(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def _erase(connection: sa.Connection, keys: list[str]) -> None:
    number = 1 + (connection.scalar(sa.select(sa.func.max(_PEOPLE.c.erased))) or 0)
    values = {"name": None, "sought": None, "salt": None, "erased": number}
    connection.execute(sa.update(_PEOPLE).where(_PEOPLE.c.id.in_(keys)).values(**values))
    newest = sa.select(_JOURNAL.c.number, _JOURNAL.c.sha256).order_by(_JOURNAL.c.number.desc())
    last = connection.execute(newest.limit(1)).one_or_none()
    entry = {
        "number": last.number + 1 if last else 1,
        "at": datetime.now(UTC).isoformat(timespec="milliseconds"),
        "session": "",
        "who": "program",
        "what": "person erased",
        "why": _WHY,
        "content": json.dumps({"erased": sorted(keys), "shown_as": number}, sort_keys=True),
        "before": last.sha256 if last else _START,
    }
    text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    connection.execute(sa.insert(_JOURNAL).values(**entry, sha256=sha256))
