"""The record: opened, read, changed by one action at a time, checked and copied."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from ..base.errors import RecordError
from ..base.spelling import same_person
from ..sessions.session import JournalEntry, StoredSession
from . import journal, people, tables
from .action import Action
from .backup import copies_beside, copy_sqlite, without_traces
from .chain import append, entry_for
from .connections import engine_for, reading, writing
from .reads import NONE, Reads
from .register import kind_under
from .rows import cells_of, put_session, sessions_of, unpacked
from .versions import prepare

Cells = Mapping[int, Mapping[str, str]]
NO_NOUNS = (
    "The journal of the archive holds entries of a product, a reference or a batch, not of its "
    "session only; nothing was imported."
)


def open_store(url: str) -> Repository:
    """Open, and if need be create or bring up to date, the record at a SQLAlchemy URL.

    Before an older SQLite record is brought up to date, it is copied beside itself.

    Parameters
    ----------
    url : str
        ``sqlite:///path/to/file.sqlite3`` on a local disk, or a PostgreSQL URL.

    Raises RecordError when it cannot be opened, or was written by a newer version.

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
    cells : dict of dict
        By line and column name.
    outcome : dict or None
        What it showed, as it stands on record, with references to persons.
    journal : tuple of dict
        Its entries as they stand in the chain, with references to persons.
    people : tuple of tuples
        Reference, name, and whether the name was erased, of each person in the journal.
    """

    session: StoredSession
    cells: dict[int, dict[str, str]]
    outcome: dict[str, Any] | None
    journal: tuple[dict[str, Any], ...]
    people: tuple[people.Person, ...]


class Repository(Reads):
    """The record behind a SQLAlchemy engine; fulfils `sessions.store.Store` and `Desk`.

    Share one object among visitors: it opens a connection for each question and each action.
    """

    def __init__(self, engine: Engine):
        super().__init__({})
        self._engine = engine

    def _reading(self) -> AbstractContextManager[Connection]:
        return reading(self._engine)

    @contextmanager
    def action(self, *, who: str, why: str = "") -> Iterator[Action]:
        """One use case: all that is written within it is on record at its end, or nothing.

        Nobody else writes meanwhile, so what takes long is computed before.

        Parameters
        ----------
        who : str
            By whom; stands in each entry of the journal.
        why : str
            Stands in each entry that gives no reason of its own.

        Raises RecordError when the record is busy or cannot be written.
        """
        named: set[str] = set()
        try:
            with writing(self._engine) as connection:
                act = Action(connection, self._seats, named, who=who, why=why)
                yield act
                act.seal()
        finally:
            for session_id in named:
                self._seats.pop(session_id, None)

    def add_imported(
        self,
        session: StoredSession,
        cells: Cells,
        entries: list[JournalEntry],
        *,
        outcome: dict[str, Any] | None = None,
        digest: str,
        who: str,
        why: str,
    ) -> None:
        """Write a session with the journal that it had elsewhere.

        Its entries follow the one that says so, in their order and with their own times.

        Raises RecordError when the session is on record already, its identifier is that of a
        product, a reference or a batch, or its journal does not lead to it and to it only.
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
            if outcome is not None:
                act = Action(connection, {}, set(), who=who, why=why)
                act.keep_outcome(session.id, outcome)
                act.seal()

    def snapshot(self, session_id: str) -> Snapshot:
        """All that is on record of one session, at one moment."""
        of_session = tables.sessions.c.id == session_id
        query = sa.select(tables.journal).where(tables.journal.c.session == session_id)
        with reading(self._engine) as connection:
            sessions = sessions_of(connection, sa.select(tables.sessions).where(of_session))
            if not sessions:
                raise RecordError(NONE)
            rows = connection.execute(query.order_by(tables.journal.c.number))
            entries = [dict(row._mapping) for row in rows]
            kept = sa.select(tables.outcomes.c.content)
            return Snapshot(
                session=sessions[0],
                cells=cells_of(connection, session_id),
                outcome=connection.scalar(kept.where(tables.outcomes.c.session == session_id)),
                journal=tuple(entries),
                people=people.met_in(connection, map(unpacked, entries)),
            )

    def erase_person(self, name: str, *, who: str, why: str) -> Erasure:
        """Take a name out of the record; ``erased`` and a number stands there afterwards.

        All spellings that differ in case, spaces and width only are erased together. The
        ballots stay, and belong to one unnamed person. Free texts are part of the chain and
        stay as they are: `Erasure.remains` lists those that seem to hold the name.

        Raises RecordError when nobody of that name is on record, or the reason holds the name.

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
        >>> with store.action(who="Zoë", why="typed") as act:
        ...     act.add(session, {2: {"assessor": "Karim"}})
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

        Raises RecordError when the file exists or cannot be written, or the record is on a server.
        """
        copy_sqlite(self._engine, Path(to_path))
