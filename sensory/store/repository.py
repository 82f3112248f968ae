"""Reading and writing the record: one short transaction an action, journal entry included."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine, Row

from ..base.errors import RecordError
from ..base.records import (
    JournalEntry,
    Question,
    SessionDetails,
    StoredSession,
)
from . import journal, tables

_WRITING = threading.RLock()
_LOCKED = "The record is busy or cannot be written. What is on the screen is not saved yet: "


def open_store(url: str) -> Repository:
    """Open, and if need be create, the record at a SQLAlchemy URL.

    Parameters
    ----------
    url : str
        ``sqlite:///path/to/file.sqlite3`` on a local disk, or a PostgreSQL URL.

    Raises
    ------
    RecordError
        When it cannot be opened, or was written by a newer version.
    """
    address = None
    try:
        address = sa.make_url(url)
        if address.get_backend_name() == "sqlite" and address.database:
            Path(address.database).parent.mkdir(parents=True, exist_ok=True)
        engine = sa.create_engine(address)
    except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError, ImportError, OSError) as error:
        shown = str(address) if address is not None else "that URL"
        raise RecordError(f"The record at {shown} cannot be opened: {error}.") from error
    if engine.dialect.name == "sqlite":
        _sqlite_settings(engine)
    store = Repository(engine)
    try:
        store.prepare()
    except BaseException:
        engine.dispose()
        raise
    return store


def _sqlite_settings(engine: Engine) -> None:
    @sa.event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # transactions begin in _on_begin below
        for pragma in (
            "busy_timeout = 30000",
            "journal_mode = WAL",
            "synchronous = FULL",
            "foreign_keys = ON",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        write = connection.get_execution_options().get("write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


class Repository:
    """The record behind a SQLAlchemy engine; fulfils `workflow.Store`.

    Share one object among visitors: it opens a connection for each action.
    """

    def __init__(self, engine: Engine):
        self._engine = engine

    def prepare(self) -> None:
        """Create the tables of an empty record; refuse one of a newer version."""
        with self._writing() as connection:
            tables.metadata.create_all(connection)
            version = connection.scalar(sa.select(tables.schema.c.version))
            if version is None:
                connection.execute(sa.insert(tables.schema).values(version=tables.SCHEMA_VERSION))
            elif version > tables.SCHEMA_VERSION:
                raise RecordError(
                    f"The record has version {version}, this program knows "
                    f"{tables.SCHEMA_VERSION}. Install the newer program."
                )

    def add(
        self,
        session: StoredSession,
        cells: Mapping[int, Mapping[str, str]],
        *,
        who: str,
        why: str,
    ) -> None:
        """Write a new session and its cells."""
        rows = [
            {"session": session.id, "line": line, "name": name, "text": text}
            for line, texts in cells.items()
            for name, text in texts.items()
            if text
        ]
        with self._writing() as connection:
            connection.execute(sa.insert(tables.sessions).values(**_columns(session)))
            if rows:
                connection.execute(sa.insert(tables.ballot_cells), rows)
            content = {"session": _columns(session), "cells": _nested(cells)}
            _append(connection, session.id, who, "opened", why, content)

    def sessions(self, most: int = 50) -> list[StoredSession]:
        """The latest sessions, newest first."""
        table = tables.sessions
        query = sa.select(table).order_by(table.c.created_at.desc(), table.c.id).limit(most)
        with self._reading() as connection:
            return [_session(row) for row in connection.execute(query)]

    def session(self, session_id: str) -> StoredSession:
        """One session; RecordError when there is none of that id."""
        query = sa.select(tables.sessions).where(tables.sessions.c.id == session_id)
        with self._reading() as connection:
            row = connection.execute(query).one_or_none()
        if row is None:
            raise RecordError("There is no such session on record. Choose one from the list.")
        return _session(row)

    def update(
        self,
        session: StoredSession,
        *,
        expect: StoredSession,
        expect_cells: Mapping[int, Mapping[str, str]] | None = None,
        who: str,
        what: str,
        why: str,
    ) -> None:
        """Replace a session if it, and its cells where given, are still as expected.

        Raises
        ------
        RecordError
            When somebody was faster; nothing is changed then.
        """
        table = tables.sessions
        with self._writing() as connection:
            query = sa.select(table).where(table.c.id == session.id).with_for_update()
            row = connection.execute(query).one_or_none()
            moved = row is None or _session(row) != expect
            if not moved and expect_cells is not None:
                moved = _cells(connection, session.id) != expect_cells
            if moved:
                raise RecordError(
                    "The session was changed in another window meanwhile. Reload the page."
                )
            new, old = _columns(session), _columns(expect)
            changed = {name: value for name, value in new.items() if value != old[name]}
            connection.execute(sa.update(table).where(table.c.id == session.id).values(**changed))
            content = {"changed": changed, "old": {name: old[name] for name in changed}}
            _append(connection, session.id, who, what, why, content)

    def cells(self, session_id: str) -> dict[int, dict[str, str]]:
        """Cells of a session by line and column name."""
        with self._reading() as connection:
            return _cells(connection, session_id)

    def write_cells(
        self, session_id: str, changes: Mapping[int, Mapping[str, str]], *, who: str, why: str
    ) -> int:
        """Write the cells that differ from the record; an empty text removes a cell."""
        table = tables.ballot_cells
        with self._writing() as connection:
            closed = connection.scalar(
                sa.select(tables.sessions.c.closed_at)
                .where(tables.sessions.c.id == session_id)
                .with_for_update()
            )
            if closed:
                raise RecordError("The ballots were closed meanwhile; nothing was changed.")
            known = {
                (line, name): text
                for line, name, text in connection.execute(
                    sa.select(table.c.line, table.c.name, table.c.text).where(
                        table.c.session == session_id, table.c.line.in_(list(changes))
                    )
                )
            }
            done = []
            for line, texts in changes.items():
                for name, text in texts.items():
                    old = known.get((line, name), "")
                    if old == text:
                        continue
                    done.append({"line": line, "name": name, "old": old, "new": text})
            if done:
                _write(connection, session_id, done)
                _append(connection, session_id, who, "cells", why, {"changes": done})
        return len(done)

    def entries(self, session_id: str) -> list[JournalEntry]:
        """The journal of one session, oldest first."""
        table = tables.journal
        query = sa.select(table).where(table.c.session == session_id).order_by(table.c.number)
        with self._reading() as connection:
            return [_entry(row) for row in connection.execute(query)]

    def verify(self) -> list[str]:
        """Check the chain of the journal, then the tables against the journal played again.

        Returns
        -------
        list of str
            A sentence for each entry, session or cell that is not as it was written.
        """
        with self._reading() as connection:
            query = sa.select(tables.journal).order_by(tables.journal.c.number)
            entries = [dict(row._mapping) for row in connection.execute(query)]
            found = [dict(row._mapping) for row in connection.execute(sa.select(tables.sessions))]
            cells = [tuple(row) for row in connection.execute(sa.select(tables.ballot_cells))]
        if broken := journal.broken_links(entries):
            return broken
        return journal.differences(entries, found, cells)

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        engine = self._engine.execution_options(write=True)
        try:
            with _WRITING, engine.begin() as connection:
                if engine.dialect.name != "sqlite":
                    connection.execute(sa.text("SELECT pg_advisory_xact_lock(7214025)"))
                yield connection
        except sa.exc.IntegrityError as error:
            raise RecordError(f"This does not fit what is on record: {error.orig}.") from error
        except (sa.exc.DBAPIError, sa.exc.TimeoutError) as error:
            raise RecordError(f"{_LOCKED}{_reason(error)}.") from error

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self._engine.connect() as connection:
                yield connection
        except (sa.exc.DBAPIError, sa.exc.TimeoutError) as error:
            raise RecordError(f"The record cannot be read: {_reason(error)}.") from error


def _cells(connection: Connection, session_id: str) -> dict[int, dict[str, str]]:
    table = tables.ballot_cells
    query = sa.select(table.c.line, table.c.name, table.c.text).where(table.c.session == session_id)
    lines: dict[int, dict[str, str]] = {}
    for line, name, text in connection.execute(query.order_by(table.c.line, table.c.name)):
        lines.setdefault(line, {})[name] = text
    return lines


def _write(connection: Connection, session_id: str, changes: list[dict[str, Any]]) -> None:
    """Put the new texts in the place of the old ones."""
    table = tables.ballot_cells
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


def _reason(error: sa.exc.SQLAlchemyError) -> object:
    return getattr(error, "orig", None) or error


def _append(
    connection: Connection, session: str, who: str, what: str, why: str, content: Any
) -> None:
    table = tables.journal
    last = connection.execute(
        sa.select(table.c.number, table.c.sha256).order_by(table.c.number.desc()).limit(1)
    ).one_or_none()
    entry = journal.next_entry(last, session=session, who=who, what=what, why=why, content=content)
    connection.execute(sa.insert(table).values(**entry))


def _columns(session: StoredSession) -> dict[str, Any]:
    return {
        "id": session.id,
        "created_at": session.created_at,
        "details": session.details.to_dict(),
        "question": session.question.to_dict(),
        "cautions": session.cautions,
        "agreed_at": session.agreed_at or None,
        "agreed_by": session.agreed_by or None,
        "digest": session.digest or None,
        "ballots_at_agreement": session.ballots_at_agreement,
        "closed_at": session.closed_at or None,
    }


def _session(row: Row[Any]) -> StoredSession:
    return StoredSession(
        id=row.id,
        created_at=row.created_at,
        details=SessionDetails.from_dict(row.details),
        question=Question.from_dict(row.question),
        cautions=dict(row.cautions),
        agreed_at=row.agreed_at or "",
        agreed_by=row.agreed_by or "",
        digest=row.digest or "",
        ballots_at_agreement=row.ballots_at_agreement or 0,
        closed_at=row.closed_at or "",
    )


def _entry(row: Row[Any]) -> JournalEntry:
    return JournalEntry(
        number=row.number,
        at=row.at,
        session=row.session,
        who=row.who,
        what=row.what,
        why=row.why,
        content=json.loads(row.content),
    )


def _nested(cells: Mapping[int, Mapping[str, str]]) -> dict[str, dict[str, str]]:
    return {str(line): dict(texts) for line, texts in cells.items()}
