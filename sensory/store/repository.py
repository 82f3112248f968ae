"""Reading and writing the record: one short transaction an action, journal entry included."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from ..base.errors import RecordError
from ..base.spelling import same_person
from ..sessions.session import JournalEntry, StoredSession
from . import checking, journal, people, tables
from .backup import copies_beside, copy_sqlite, without_traces
from .chain import append, entry_for
from .connections import engine_for, reading, writing
from .register import Register, kind_under
from .rows import (
    cells_of,
    change_cells,
    columns_of,
    entries_of,
    last_line,
    lines_of_seat,
    put_session,
    sessions_of,
    unpacked,
)
from .versions import prepare

Cells = Mapping[int, Mapping[str, str]]
NO_NOUNS = (
    "The journal of the archive holds entries of a product, a reference or a batch, not of its "
    "session only; nothing was imported."
)
_NONE = "There is no such session on record. Choose one from the list."


def open_store(url: str) -> Repository:
    """Open, and if need be create or bring up to date, the record at a SQLAlchemy URL.

    Before an older SQLite record is brought up to date, it is copied beside itself.

    Parameters
    ----------
    url : str
        ``sqlite:///path/to/file.sqlite3`` on a local disk, or a PostgreSQL URL.

    Raises
    ------
    RecordError
        When it cannot be opened, or was written by a newer version.

    Examples
    --------
    >>> store = open_store("sqlite://")  # in memory, gone when closed
    >>> store.sessions(), store.verify()
    ([], [])
    >>> store.close()
    """
    engine = engine_for(url)
    try:
        prepare(engine)
    except BaseException:
        engine.dispose()
        raise
    return Repository(engine)


@dataclass(frozen=True, slots=True, kw_only=True)
class Erasure:
    """What erasing a person did, and what it could not reach.

    Attributes
    ----------
    shown_as : str
        What stands in the place of the name from now on.
    spellings : int
        How many spellings of the name were erased.
    remains : tuple of str
        Places that may still hold the name: free texts, copies of the record.
    """

    shown_as: str
    spellings: int
    remains: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """A session as it was on record at one moment, for an archive.

    Attributes
    ----------
    session : StoredSession
    cells : dict of dict
        By line and column name.
    journal : tuple of dict
        Its entries as they stand in the chain, with references to persons.
    people : tuple of tuples
        Reference, name, and whether the name was erased, of each person in the journal.
    """

    session: StoredSession
    cells: dict[int, dict[str, str]]
    journal: tuple[dict[str, Any], ...]
    people: tuple[people.Person, ...]


class Repository(Register):
    """The record behind a SQLAlchemy engine; fulfils `workflow.Store`.

    Share one object among visitors: it opens a connection for each action.
    """

    def __init__(self, engine: Engine):
        self._engine = engine
        self._seats: dict[str, dict[int, tuple[int | None, tuple[int, ...]]]] = {}

    def add(self, session: StoredSession, cells: Cells, *, who: str, why: str) -> None:
        """Write a new session and its cells."""
        nested = {str(line): dict(texts) for line, texts in cells.items()}
        content = {"session": columns_of(session), "cells": nested}
        with writing(self._engine) as connection:
            entry = entry_for(connection, session.id, who, "opened", why, content)
            put_session(connection, entry["content"]["session"], entry["content"]["cells"])
            append(connection, entry)

    def add_imported(
        self,
        session: StoredSession,
        cells: Cells,
        entries: list[JournalEntry],
        *,
        digest: str,
        who: str,
        why: str,
    ) -> None:
        """Write a session with the journal that it had elsewhere.

        Its entries follow the one that says so, in their order and with their own times.

        Raises
        ------
        RecordError
            When the session is on record already, its identifier is that of a product, a
            reference or a batch, or its journal does not lead to it and to it only.
        """
        if any(journal.holds_noun(old.content) for old in entries):
            raise RecordError(NO_NOUNS)
        at = tables.sessions.c.id == session.id
        with writing(self._engine) as connection:
            if connection.scalar(sa.select(tables.sessions.c.id).where(at)):
                raise RecordError("This session is on record already; nothing was imported.")
            if kind := connection.scalar(kind_under(session.id)):
                raise RecordError(
                    f"The session has the identifier of a {kind} on record; nothing was imported."
                )
            content = {"archive": digest, "entries": len(entries)}
            append(connection, entry_for(connection, session.id, who, "imported", why, content))
            written = []
            for old in entries:
                content = {**old.content, "imported": old.number}
                entry = entry_for(connection, session.id, old.who, old.what, old.why, content)
                written.append(append(connection, entry | {"at": old.at}))
            found, texts = journal.played_again(written)
            for columns in found.values():
                put_session(connection, columns, journal.nested(texts))
            now = sessions_of(connection, sa.select(tables.sessions).where(at))
            if now != [session] or cells_of(connection, session.id) != cells:
                raise RecordError("The journal does not lead to the session and its ballots.")

    def sessions(self, most: int = 50, *, naming: str = "") -> list[StoredSession]:
        """The latest sessions, newest first; with `naming`, those that may hold this text.

        The text is sought in the description by its longest word, whatever the case; whoever
        asks looks closer. A word that is not ASCII is not sought: all sessions come.
        """
        table = tables.sessions
        query = sa.select(table).order_by(table.c.created_at.desc(), table.c.id).limit(most)
        word = max(naming.split(), key=len, default="")
        if word.isascii():
            held = sa.func.lower(sa.cast(table.c.details, sa.Text))
            query = query.where(held.contains(json.dumps(word.lower())[1:-1], autoescape=True))
        with reading(self._engine) as connection:
            return sessions_of(connection, query)

    def session(self, session_id: str) -> StoredSession:
        """One session; RecordError when there is none of that id."""
        query = sa.select(tables.sessions).where(tables.sessions.c.id == session_id)
        with reading(self._engine) as connection:
            found = sessions_of(connection, query)
        if not found:
            raise RecordError(_NONE)
        return found[0]

    def update(
        self,
        session: StoredSession,
        *,
        expect: StoredSession,
        expect_cells: Cells | None = None,
        who: str,
        what: str,
        why: str,
    ) -> None:
        """Replace a session if it, and its cells where given, are still as expected.

        Where nothing differs, nothing is written.

        Raises
        ------
        RecordError
            When somebody was faster; nothing is changed then.
        """
        table = tables.sessions
        with writing(self._engine) as connection:
            query = sa.select(table).where(table.c.id == session.id).with_for_update()
            moved = sessions_of(connection, query) != [expect]
            if not moved and expect_cells is not None:
                moved = cells_of(connection, session.id) != expect_cells
            if moved:
                raise RecordError(
                    "The session was changed in another window meanwhile. Reload the page."
                )
            new, old = columns_of(session), columns_of(expect)
            changed = {name: value for name, value in new.items() if value != old[name]}
            if not changed:
                return
            content = {"changed": changed, "old": {name: old[name] for name in changed}}
            entry = entry_for(connection, session.id, who, what, why, content)
            changed = entry["content"]["changed"]
            connection.execute(sa.update(table).where(table.c.id == session.id).values(**changed))
            append(connection, entry)

    def cells(self, session_id: str) -> dict[int, dict[str, str]]:
        """Cells of a session by line and column name."""
        with reading(self._engine) as connection:
            return cells_of(connection, session_id)

    def seat_cells(self, session_id: str, seat: int) -> dict[int, dict[str, str]]:
        """Cells of the lines of one assessor, who are counted from 1 as their lines stand.

        The lines of a seat are looked up again only when this session got further lines, as
        for somebody who comes late after all, or when a name was written here.
        """
        with reading(self._engine) as connection:
            last = last_line(connection, session_id)
            known = self._seats.get(session_id, {})
            until, lines = known.get(seat, (None, ()))
            if until != last:
                lines = lines_of_seat(connection, session_id, seat)
                self._seats.setdefault(session_id, {})[seat] = last, lines
            return cells_of(connection, session_id, only=lines)

    def write_cells(self, session_id: str, changes: Cells, *, who: str, why: str) -> int:
        """Write the cells that differ from the record; an empty text removes a cell."""
        with writing(self._engine) as connection:
            closed = connection.scalar(
                sa.select(tables.sessions.c.closed_at)
                .where(tables.sessions.c.id == session_id)
                .with_for_update()
            )
            if closed:
                raise RecordError("The ballots were closed meanwhile; nothing was changed.")
            known = cells_of(connection, session_id, only=changes)
            done = [
                {"line": line, "name": name, "old": old, "new": text}
                for line, texts in changes.items()
                for name, text in texts.items()
                if (old := known.get(line, {}).get(name, "")) != text
            ]
            if done:
                entry = entry_for(connection, session_id, who, "cells", why, {"changes": done})
                change_cells(connection, session_id, entry["content"]["changes"])
                append(connection, entry)
        if any(one["name"] == people.NAMED for one in done):
            self._seats.pop(session_id, None)
        return len(done)

    def keep_outcome(self, session_id: str, outcome: Mapping[str, Any]) -> None:
        """Keep what a session shows, in the place of what it showed before."""
        table = tables.outcomes
        with writing(self._engine) as connection:
            connection.execute(sa.delete(table).where(table.c.session == session_id))
            connection.execute(sa.insert(table).values(session=session_id, content=dict(outcome)))

    def outcome(self, session_id: str) -> dict[str, Any] | None:
        """What a session showed when it closed; None where nothing was kept."""
        table = tables.outcomes
        query = sa.select(table.c.content).where(table.c.session == session_id)
        with reading(self._engine) as connection:
            return connection.scalar(query)

    def entries(self, session_id: str) -> list[JournalEntry]:
        """The journal of one session, oldest first; of the record as a whole where it is ""."""
        table = tables.journal
        query = sa.select(table).where(table.c.session == session_id).order_by(table.c.number)
        with reading(self._engine) as connection:
            return entries_of(connection, query)

    def snapshot(self, session_id: str) -> Snapshot:
        """All that is on record of one session, at one moment."""
        of_session = tables.sessions.c.id == session_id
        query = sa.select(tables.journal).where(tables.journal.c.session == session_id)
        with reading(self._engine) as connection:
            sessions = sessions_of(connection, sa.select(tables.sessions).where(of_session))
            if not sessions:
                raise RecordError(_NONE)
            rows = connection.execute(query.order_by(tables.journal.c.number))
            entries = [dict(row._mapping) for row in rows]
            return Snapshot(
                session=sessions[0],
                cells=cells_of(connection, session_id),
                journal=tuple(entries),
                people=people.met_in(connection, map(unpacked, entries)),
            )

    def verify(self, session_id: str | None = None) -> list[str]:
        """Check the chain of the journal, then the tables against the journal played again.

        Parameters
        ----------
        session_id : str, optional
            Check the entries of this session, their neighbours in the chain, that no number
            is missing, and the session with its cells. The rest of the chain is left out.

        Returns
        -------
        list of str
            A sentence for each entry, session, cell or name that is not as it was written.
        """
        with reading(self._engine) as connection:
            if session_id is None:
                return checking.whole_record(connection)
            return checking.one_session(connection, session_id)

    def erase_person(self, name: str, *, who: str, why: str) -> Erasure:
        """Take a name out of the record; ``erased`` and a number stands there afterwards.

        All spellings that differ in case, spaces and width only are erased together. The
        ballots stay, and belong to one unnamed person. Free texts are part of the chain and
        stay as they are: `Erasure.remains` lists those that seem to hold the name.

        Raises
        ------
        RecordError
            When nobody of that name is on record, or the reason holds the name.

        Examples
        --------
        >>> from sensory.catalogue.question import Question
        >>> from sensory.sessions.session import SessionDetails
        >>> store = open_store("sqlite://")
        >>> session = StoredSession(
        ...     id="quince",
        ...     created_at="2026-09-14T08:00:00+00:00",
        ...     details=SessionDetails(),
        ...     question=Question(),
        ...     cautions={},
        ... )
        >>> store.add(session, {2: {"assessor": "Karim"}}, who="Zoë", why="typed")
        >>> store.erase_person("Karim", who="Zoë", why="asked for it")
        Erasure(shown_as='erased 1', spellings=1, remains=())
        >>> store.cells("quince"), store.verify()
        ({2: {'assessor': 'erased 1'}}, [])
        >>> store.close()
        """
        if same_person(name) and same_person(name) in same_person(why):
            raise RecordError("The reason stays in the journal: write it without the name.")
        with writing(self._engine) as connection:
            entry = entry_for(connection, "", who, "person erased", why, {})
            number, gone = people.erase(connection, name)
            content = {**entry["content"], "erased": sorted(gone), "shown_as": number}
            append(connection, entry | {"content": content})
            remains = people.mentions(connection, sorted({name, *gone.values()}))
        remains += [f"The copy {path}" for path in copies_beside(self._engine)]
        remains += without_traces(self._engine)
        return Erasure(shown_as=f"erased {number}", spellings=len(gone), remains=tuple(remains))

    def close(self) -> None:
        """Give back the connections; the next action opens new ones."""
        self._engine.dispose()

    def backup(self, to_path: Path | str) -> None:
        """Copy a SQLite record to a new file while it is in use.

        Raises
        ------
        RecordError
            When the file exists or cannot be written, or the record is on a server.
        """
        copy_sqlite(self._engine, Path(to_path))
