"""What the record says of sessions and ballots, to anybody or within an action."""

from __future__ import annotations

import json
from collections.abc import Collection

import sqlalchemy as sa

from ..base.errors import RecordError
from ..base.records import JsonObject
from ..sessions.session import Anchor, Check, DamagedSession, JournalEntry, StoredSession
from ..sessions.signing import Person
from ..sessions.sitting import Sitting
from ..sessions.trained import TrainingSitting
from . import checking, tables
from .connections import Damage, damage_in
from .nouns import Noun, id_of, kind_of
from .register import Register
from .rows import (
    assessors_named,
    cells_of,
    comments_of,
    entries_of,
    listed,
    people_of,
    sessions_of,
)
from .seats import Seats, name_of, newest_entry

_NONE = "There is no such session on record. Choose one from the list."


class Reads(Register):
    """What can be asked of the record; fulfils the reading half of `sessions.store.Store`."""

    def __init__(self, seats: Seats):
        self._seats = seats

    def sessions(
        self,
        most: int = 50,
        *,
        naming: str = "",
        tests: Collection[str] = (),
        unclosed: bool = False,
        held: tuple[str, str] | None = None,
    ) -> list[StoredSession]:
        """The latest sessions, newest first; with `naming`, those that may hold this text, and
        those of `tests`, by their keys; `unclosed`: only those that are not closed; `held`: only
        those that may be of these days (`day_of`), first and last, ISO 8601.

        The text is sought in description and question by its longest word, whatever the case;
        whoever asks looks closer. A word that is not ASCII is not sought: all sessions come. Those
        that cannot be read are left out: see `listed_sessions`.
        """
        sound, _ = self.listed_sessions(
            most, naming=naming, tests=tests, unclosed=unclosed, held=held
        )
        return sound

    def listed_sessions(
        self,
        most: int = 50,
        *,
        naming: str = "",
        tests: Collection[str] = (),
        unclosed: bool = False,
        held: tuple[str, str] | None = None,
    ) -> tuple[list[StoredSession], list[DamagedSession]]:
        """The same, and beside them those whose rows another hand or a disk has damaged."""
        table = tables.sessions
        query = sa.select(table).order_by(table.c.created_at.desc(), table.c.id).limit(most)
        query = query.where(table.c.closed_at.is_(None)) if unclosed else query
        sought: list[sa.ColumnElement[bool]] = []
        if held is not None:
            sought.append(_day().between(*held))
        of_test = [table.c.question["protocol"].as_string().in_(tests)] if tests else []
        if naming.strip() and (word := max(naming.split(), key=len)).isascii():
            sought.append(sa.or_(_holds(word), *of_test))
        elif not naming.strip():
            sought += of_test
        try:
            with self._reading() as connection:
                return listed(connection, query.where(*sought))
        except RecordError:
            if not (tests or held):
                raise
        # Of a damaged description the day is not known, and of a damaged question the test.
        return self.listed_sessions(most, naming=naming, unclosed=unclosed)

    def session(self, session_id: str) -> StoredSession:
        """A session; RecordError when there is none of that id."""
        there = self._some_sessions(session_id)
        if not there:
            raise RecordError(_NONE)
        return there[0]

    def cells(self, session_id: str) -> dict[int, dict[str, str]]:
        """Cells of a session by line and column name."""
        with self._reading() as connection:
            return cells_of(connection, session_id)

    def comments(self, session_id: str) -> list[tuple[str, str]]:
        """Comments of assessors, each with its sample or order; no names and no answers."""
        with self._reading() as connection:
            return comments_of(connection, session_id)

    def booth_session(self, session_id: str) -> StoredSession:
        """A session as a booth asks for it at each tap, with references for its persons.

        Raises RecordError when there is none of that id, or it is damaged.
        """
        with self._reading() as connection:
            return self._seats.session(connection, session_id)

    def seat_cells(self, session_id: str, seat: int) -> dict[int, dict[str, str]]:
        """Cells of the lines of one assessor, who are counted from 1 as their lines stand.

        Where a name would stand, there is a reference; see `name_of`.
        """
        with self._reading() as connection:
            return self._seats.cells(connection, session_id, seat)

    def name_of(self, reference: str) -> str:
        """The name of the person whom a cell of a seat refers to."""
        with self._reading() as connection:
            return name_of(connection, reference)

    def assessors(self, text: str, most: int = 20) -> list[tuple[str, list[str]]]:
        """Assessors on ballots whose name holds a text, each with their sessions, newest first.

        All spellings of one person go together; `text` is sought whatever the case, and who was
        erased is not found.
        """
        with self._reading() as connection:
            return assessors_named(connection, text)[:most]

    def entries(self, session_id: str) -> list[JournalEntry]:
        """The journal of one session, oldest first; of the record as a whole where it is ""."""
        with self._reading() as connection:
            return entries_of(connection, session_id)

    def people(self) -> list[Person]:
        """Everybody who signs or did so, by name; see `sessions.staff`."""
        with self._reading() as connection:
            return people_of(connection)

    def verify(
        self, session_id: str | None = None, *, watched: checking.Watched | None = None
    ) -> list[str]:
        """Check the chain of the journal, then the tables against the journal played again.

        Parameters
        ----------
        session_id : str, optional
            Check the entries of this session, their neighbours in the chain, that no number
            is missing, and the session with its cells. The rest of the chain is left out.
        watched : callable, optional
            Told now and then which share of the whole is done, from 0 to 1; where it answers
            False, the check stops with a RecordError.

        Returns
        -------
        list of str
            A sentence for each entry, session, cell or name that is not as it was written. A
            damaged file is answered like this too; a record that is away raises RecordError.
        """
        try:
            with self._reading() as connection:
                return checking.checked(connection, session_id, watched)
        except RecordError as error:
            cause = error.__cause__
            if isinstance(cause, sa.exc.DBAPIError) and damage_in(cause) is Damage.FILE:
                return [f"The file of the record is damaged: {cause.orig}."]
            raise

    def verify_noun(self, noun: Noun) -> list[str]:
        """The same for a product, a reference or a batch: its entries and its row."""
        return self.verify(id_of(kind_of(noun), noun.name))

    def newest(self) -> Anchor | None:
        """The newest entry of the journal; None of an empty one."""
        with self._reading() as connection:
            last = newest_entry(connection)
        return Anchor(number=last.number, sha256=last.sha256) if last else None

    def last_check(self) -> Check | None:
        """The latest check of the whole record that is noted in it; None before the first."""
        query = sa.select(tables.checks).order_by(tables.checks.c.at.desc()).limit(1)
        with self._reading() as connection:
            row = connection.execute(query).one_or_none()
        if row is None:
            return None
        wrong = tuple(map(str, row.wrong)) if isinstance(row.wrong, list) else ("not readable",)
        return Check(at=row.at, number=row.number, sha256=row.sha256, wrong=wrong)

    def outcome(self, session_id: str) -> JsonObject | None:
        """What a closed session showed, as it was kept, without names; None where nothing is."""
        kept = tables.outcomes
        query = sa.select(kept.c.content).where(kept.c.session == session_id)
        with self._reading() as connection:
            return connection.scalar(query)

    def without_outcome(self) -> list[str]:
        """The closed sessions of which it is not kept what they showed."""
        closed, kept = tables.sessions.c, tables.outcomes.c
        query = sa.select(closed.id).where(
            closed.closed_at.is_not(None),
            closed.closed_at != "",
            closed.id.not_in(sa.select(kept.session)),
        )
        with self._reading() as connection:
            return list(connection.scalars(query.order_by(closed.created_at, closed.id)))

    def sitting(self, session_id: str) -> Sitting | None:
        """What each assessor did in a session; None before its first closing."""
        return self.noun(Sitting, session_id)

    def training(self, session_id: str) -> TrainingSitting | None:
        """What was marked in a training session; None before its first closing, and of a test."""
        return self.noun(TrainingSitting, session_id)

    def without_sitting(self) -> list[str]:
        """The closed sessions of which it is not kept what each assessor did."""
        kept, closed = tables.register.c, tables.sessions.c
        named = sa.select(kept.name).where(kept.kind == kind_of(Sitting))
        query = sa.select(closed.id).where(
            closed.closed_at.is_not(None), closed.closed_at != "", closed.id.not_in(named)
        )
        with self._reading() as connection:
            return list(connection.scalars(query.order_by(closed.created_at, closed.id)))

    def _some_sessions(self, session_id: str) -> list[StoredSession]:
        query = sa.select(tables.sessions).where(tables.sessions.c.id == session_id)
        with self._reading() as connection:
            return sessions_of(connection, query)


def _holds(word: str) -> sa.ColumnElement[bool]:
    """Whether description or question of a session holds a word."""
    written = json.dumps(word.lower())[1:-1]
    texts = (tables.sessions.c.details, tables.sessions.c.question)
    return sa.or_(
        *(
            sa.func.lower(sa.cast(each, sa.Text)).contains(written, autoescape=True)
            for each in texts
        )
    )


def _day() -> sa.ColumnElement[str]:
    """The day of a session, as `sessions.servings.day_of` has it."""
    table = tables.sessions.c
    agreed = sa.func.nullif(table.agreed_at, "")
    began = sa.func.substr(sa.func.coalesce(agreed, table.created_at), 1, 10)
    return sa.func.coalesce(sa.func.nullif(table.details["held_on"].as_string(), ""), began)
