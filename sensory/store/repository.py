"""The record: opened, read, changed by one action at a time, checked and copied."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from ..base.errors import RecordError
from ..base.records import JsonObject
from ..base.spelling import same_person
from ..release.studies import Study
from ..sessions.booth_plans import people_of as seated
from ..sessions.serving import seats_of
from ..sessions.session import Check, JournalEntry, StoredSession
from ..sessions.staff import who_is
from . import journal, people, tables
from .action import Action
from .backup import copies_beside, copy_sqlite, without_traces
from .connections import engine_for, reading, writing
from .nouns import Noun, id_of, kind_of, row_of
from .reads import Reads
from .rows import Cells, entry_for, packed_entries, people_of, put_session, unpacked
from .seats import Seats, append
from .versions import prepare

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

    The entries of its journal stand as in the chain, with references to these people.
    """

    session: StoredSession
    cells: dict[int, dict[str, str]]
    outcome: JsonObject | None
    journal: list[JsonObject]
    people: list[people.Person]


class Repository(Reads):
    """The record behind a SQLAlchemy engine; fulfils `sessions.store.Store` and `Desk`.

    Share one object among visitors: it opens a connection for each question and each action.
    """

    def __init__(self, engine: Engine):
        super().__init__(Seats())
        self._engine = engine
        self._checked: Check | None = None

    def _reading(self) -> AbstractContextManager[Connection]:
        return reading(self._engine)

    @contextmanager
    def action(self, *, who: str, why: str = "", role: str = "") -> Iterator[Action]:
        """One use case: all that is written within it is on record at its end, or nothing.

        Nobody else writes meanwhile, so what takes long is computed before.

        Parameters
        ----------
        who : str
            By whom; stands in each entry of the journal.
        why : str
            Stands in each entry that gives no reason of its own.
        role : str
            As what the person acts, where that is not plain, as in ``booth``.

        Raises RecordError when the record is busy or cannot be written.
        """
        named: set[str] = set()
        try:
            with writing(self._engine) as connection:
                act = Action(connection, self._seats, named, who=who, why=why, role=role)
                yield act
                act.seal()
        finally:
            for session_id in named:
                self._seats.lines.pop(session_id, None)

    def add_imported(
        self,
        session: StoredSession,
        cells: Cells,
        entries: list[JournalEntry],
        *,
        outcome: JsonObject | None = None,
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
        key = session.id
        of_session, of_noun = tables.sessions.c.id == key, tables.register.c.id == key
        with writing(self._engine) as connection:
            if connection.scalar(sa.select(tables.sessions.c.id).where(of_session)):
                raise RecordError("This session is on record already; nothing was imported.")
            if kind := connection.scalar(sa.select(tables.register.c.kind).where(of_noun)):
                raise RecordError(
                    f"The session has the identifier of a {kind} on record; nothing was imported."
                )
            contents = _append_imported(connection, key, entries, digest, who, why)
            played = journal.played_again(contents)
            for of, columns in played.sessions.items():
                put_session(connection, columns, played.cells[of])
            act = Action(connection, Seats(), set(), who=who, why=why)
            if act._some_sessions(key) != [session] or act.cells(key) != cells:
                raise RecordError("The journal does not lead to the session and its ballots.")
            if journal.differing_outcome(key, played.outcomes.get(key), outcome):
                raise RecordError("The journal does not lead to what the session showed.")
            if outcome is not None:
                values = {"session": key, "content": outcome}
                connection.execute(sa.insert(tables.outcomes).values(values))

    def add_imported_study(
        self, study: Study, entries: list[JournalEntry], *, digest: str, who: str, why: str
    ) -> None:
        """Write a study with the journal that it had elsewhere, likewise.

        Raises RecordError when it is on record already, or its journal does not lead to it.
        """
        key = id_of("study", study.name)
        with writing(self._engine) as connection:
            if connection.scalar(
                sa.select(tables.register.c.id).where(tables.register.c.id == key)
            ):
                raise RecordError("This study is on record already; nothing was imported.")
            contents = _append_imported(connection, key, entries, digest, who, why)
            (held,) = journal.played_again(contents).nouns.get(key) or ({},)
            if held.get("kind") != "study":
                raise RecordError("The journal does not lead to the study.")
            row, tied = row_of("study", held["content"])
            connection.execute(sa.insert(tables.register).values(**row))
            if tied:
                links = [{"id": key, "kind": of, "value": value} for of, value in tied]
                connection.execute(sa.insert(tables.register_links), links)
            act = Action(connection, Seats(), set(), who=who, why=why)
            if act.noun(Study, study.name) != study:
                raise RecordError("The journal does not lead to the study.")

    def chained(self, noun: Noun) -> tuple[list[JsonObject], list[people.Person]]:
        """The journal of a noun as it stands in the chain, and the people whom it names."""
        with reading(self._engine) as connection:
            entries = packed_entries(connection, id_of(kind_of(noun), noun.name))
            return entries, people.met_in(connection, list(map(unpacked, entries)))

    def snapshot(self, session_id: str) -> Snapshot:
        """All that is on record of one session, at one moment."""
        with reading(self._engine) as connection:
            act = Action(connection, Seats(), set(), who="", why="")
            entries = packed_entries(connection, session_id)
            return Snapshot(
                session=act.session(session_id),
                cells=act.cells(session_id),
                outcome=act.outcome(session_id),
                journal=entries,
                people=people.met_in(connection, list(map(unpacked, entries))),
            )

    def erase_person(self, name: str, *, who: str, why: str) -> Erasure:
        """Take a name out of the record; ``erased`` and a number stands there afterwards.

        All spellings that differ in case, spaces and width only are erased together, and the
        links of the person's booths end. The ballots stay, and belong to one unnamed person. Free
        texts are part of the chain and stay as they are: `Erasure.remains` lists those that seem
        to hold the name.

        Raises RecordError when nobody of that name is on record, the person still signs, or the
        reason holds the name.
        """
        if same_person(name) and same_person(name) in same_person(why):
            raise RecordError("The reason stays in the journal: write it without the name.")
        with writing(self._engine) as connection:
            if who_is([person for person in people_of(connection) if person.active], name):
                raise RecordError(f"{name} still signs: take the name off the page Panel first.")
            self._end_links(connection, name, who)
            entry = entry_for(connection, "", who, "person erased", why, {})
            number, gone = people.erase(connection, name)
            content = {**entry["content"], "erased": sorted(gone), "shown_as": number}
            append(connection, entry | {"content": content})
            spellings = {people.without_booth(typed) for typed in gone.values()}
            remains = people.mentions(connection, sorted({name, *spellings}))
        remains += [f"The copy {path}" for path in copies_beside(self._engine)]
        remains += without_traces(self._engine)
        return Erasure(
            shown_as=f"erased {number}", spellings=len(spellings), remains=tuple(remains)
        )

    def _end_links(self, connection: Connection, name: str, who: str) -> None:
        """End the booth links of a person who is about to be erased, in whatever session."""
        act = Action(connection, self._seats, set(), who=who, why="a person was erased")
        for session_id in people.sessions_of(connection, name):
            session = act.session(session_id)
            if session.serving is None:
                continue
            seats = seats_of(seated(act, session_id))
            gone = {
                seat for typed, seat in seats.items() if same_person(typed) == same_person(name)
            }
            left = {key: seat for key, seat in session.serving.booths.items() if seat not in gone}
            ended = replace(session, serving=replace(session.serving, booths=left))
            act.put(ended, expect=session, what="booth link ended")

    def note_check(self, check: Check) -> None:
        """Note a check of the whole record; where it cannot be written, until the program ends."""
        self._checked = check
        kept = tables.checks
        row = {"at": check.at, "number": check.number, "sha256": check.sha256}
        with suppress(RecordError), writing(self._engine) as connection:
            connection.execute(sa.delete(kept).where(kept.c.at >= check.at))
            connection.execute(sa.insert(kept).values(**row, wrong=list(check.wrong)))

    def last_check(self) -> Check | None:
        """The latest check of the whole record; None before the first."""
        noted = super().last_check()
        both = [check for check in (noted, self._checked) if check is not None]
        return max(both, key=lambda check: check.at, default=None)

    def hash_of_entry(self, number: int) -> str | None:
        """The hash of an entry of the journal; None where there is none of that number."""
        query = sa.select(tables.journal.c.sha256).where(tables.journal.c.number == number)
        with reading(self._engine) as connection:
            return connection.scalar(query)

    def close(self) -> None:
        """Give back the connections; the next action opens new ones."""
        self._engine.dispose()

    def backup(self, to_path: Path | str) -> None:
        """Copy a SQLite record to a new file while it is in use.

        Raises RecordError when the file exists or cannot be written, or the record is on a server.
        """
        copy_sqlite(self._engine, Path(to_path))


def _append_imported(
    connection: Connection,
    key: str,
    entries: list[JournalEntry],
    digest: str,
    who: str,
    why: str,
) -> list[journal.Content]:
    """Append that something was imported, then the entries that it brings, with their own times."""
    content: JsonObject = {journal.ARCHIVE: digest, "entries": len(entries)}
    append(connection, entry_for(connection, key, who, "imported", why, content))
    contents = []
    for old in entries:
        content = {**old.content, "imported": old.number}
        content |= {journal.ROLE: old.role} if old.role else {}
        entry = entry_for(connection, key, old.who, old.what, old.why, content)
        append(connection, entry | {"at": old.at})
        contents.append((key, entry["content"]))
    return contents
