"""The writing half of the record: an action, one transaction with all journal entries of it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from copy import copy
from dataclasses import replace

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.errors import RecordError
from ..base.records import JsonObject, digest_of
from ..serving.ballot_line import SENT, stands_once_sent
from ..sessions.session import StoredSession
from ..sessions.signing import Person, Signature
from ..sessions.sitting import Sitting
from ..sessions.trained import TrainingSitting
from . import people, tables
from .journal import OUTCOME, ROLE, STAFF
from .nouns import Noun, id_of, kind_of, row_of
from .reads import Reads
from .rows import (
    Cells,
    cells_of,
    columns_of,
    entry_for,
    put_person,
    put_session,
)
from .seats import Seats, append, change_cells, count
from .tables import register, register_links

_MOVED = "{what} was changed in another window meanwhile. Reload the page."


class Action(Reads):
    """One use case at work: what it reads is what it will have changed, and nobody is between.

    Opened by `Repository.action`. Each write leaves its journal entry, by `who`, with the reason
    of the action where it has none of its own. Where an error leaves the action, nothing of it
    was done.
    """

    def __init__(
        self,
        connection: Connection,
        seats: Seats,
        named: set[str],
        *,
        who: str,
        why: str,
        role: str = "",
    ):
        super().__init__(seats)
        self._connection, self._who, self._why, self._role = connection, who, why, role
        self._named = named
        self._signed: Signature | None = None
        self._known: dict[str, StoredSession] = {}
        self._digests: dict[str, str | None] = {}
        self._nouns: dict[str, list[Noun]] = {}

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        yield self._connection

    @contextmanager
    def action(self, *, who: str, why: str = "", role: str = "") -> Iterator[Action]:
        """A use case that is part of this one, in the same transaction, by whom it is done."""
        part = copy(self)
        part._who, part._why, part._role = who, why, role
        yield part

    def sign(self, signed: Signature) -> Signature:
        """Have each entry from here on carry who agrees, clears, decides or complains."""
        self._signed = signed
        return signed

    def session(self, session_id: str) -> StoredSession:
        """A session; RecordError when there is none of that id."""
        if session_id not in self._known:
            self._known[session_id] = super().session(session_id)
        return self._known[session_id]

    def _noun_of(self, key: str) -> list[Noun]:
        """The noun of this identifier, read once: nobody else writes while the action lasts."""
        if key not in self._nouns:
            self._nouns[key] = super()._noun_of(key)
        return self._nouns[key]

    def add(self, session: StoredSession, lines: Cells) -> None:
        """Write a new session and its ballot lines."""
        texts = {str(line): dict(cells) for line, cells in lines.items()}
        entry = self._entry(
            session.id, "opened", "", {"session": columns_of(session), "cells": texts}
        )
        put_session(self._connection, entry["content"]["session"], entry["content"]["cells"])
        append(self._connection, entry)

    def unchanged(self, session: StoredSession, lines: Cells | None = None) -> None:
        """Check that a session, and its lines where given, are on record as they were read.

        Raises RecordError when somebody was faster.
        """
        there = self._known.get(session.id) or next(iter(self._some_sessions(session.id)), None)
        moved = there != session
        if moved or (lines is not None and cells_of(self._connection, session.id) != lines):
            raise RecordError(_MOVED.format(what="The session"))
        self._known[session.id] = session

    def put(
        self, session: StoredSession, *, expect: StoredSession, what: str, why: str = ""
    ) -> None:
        """Replace a session that is still as expected; where nothing differs nothing is written.

        Raises RecordError when somebody was faster.
        """
        self.unchanged(expect)
        new, old = columns_of(session), columns_of(expect)
        changed = {name: value for name, value in new.items() if value != old[name]}
        if not changed:
            return
        content = {"changed": changed, "old": {name: old[name] for name in changed}}
        entry = self._entry(session.id, what, why, content)
        at = tables.sessions.c.id == session.id
        values = entry["content"]["changed"]
        self._connection.execute(sa.update(tables.sessions).where(at), values)
        append(self._connection, entry)
        self._known.pop(session.id)

    def write_lines(self, session_id: str, changes: Cells, *, why: str = "") -> int:
        """Write the cells that differ from the record, and say how many; an empty text removes.

        Raises RecordError when the ballots are closed, or an answer that was sent would change.
        """
        if self._closed(session_id):
            raise RecordError("The ballots were closed meanwhile; nothing was changed.")
        known = cells_of(self._connection, session_id, only=changes)
        done = _differing(known, changes)
        if done:
            entry = self._entry(session_id, "cells", why, {"changes": done})
            change_cells(self._connection, session_id, entry["content"]["changes"])
            append(self._connection, entry)
        if any(change["name"] == people.NAMED for change in done):
            self._named.add(session_id)
            self._seats.lines.pop(session_id, None)
        return len(done)

    def write_seat(
        self, session_id: str, changes: Cells, *, known: Cells, by: str, why: str
    ) -> int:
        """The same at a booth, whose action has read the seat, and that the ballots are open.

        `known`: the cells of the lines as this action read them. `by`: reference of the assessor.
        """
        if done := _differing(known, changes):
            content = {"changes": done, ROLE: self._role}
            words = {"session": session_id, "who": by, "what": "cells", "why": why}
            change_cells(self._connection, session_id, done)
            append(self._connection, {**words, "content": content})
        return len(done)

    def in_turn(self, session_id: str, window: str, number: int) -> bool:
        """Note what a window of a booth counts its message; False where a later one has come.

        It stands outside the journal: it says nothing of the ballots.
        """
        return count(self._connection, session_id, window, number)

    def keep_outcome(self, session_id: str, plain: JsonObject | None) -> None:
        """Keep what a session showed, without names, or, with None, no longer.

        Its SHA-256 goes into the next entry of the session in this action, that of closing or of
        reopening; where none follows, into one of its own.

        Raises RecordError for what JSON does not have, as a number that is not finite.
        """
        kept = tables.outcomes
        self._connection.execute(sa.delete(kept).where(kept.c.session == session_id))
        self._digests[session_id] = None
        if plain is None:
            return
        try:
            content = json.loads(json.dumps(plain, allow_nan=False))
        except (TypeError, ValueError) as error:
            raise RecordError(f"What the session showed cannot be kept: {error}.") from error
        self._connection.execute(sa.insert(kept), {"session": session_id, "content": content})
        self._digests[session_id] = digest_of(content)

    def keep_sitting(self, sitting: Sitting) -> None:
        """Keep what each assessor did in a session, in the place of what stood there."""
        there = self.sitting(sitting.session)
        self.put_noun(sitting, expect=there, what="sitting recorded")

    def keep_training(self, trained: TrainingSitting) -> None:
        """Keep what was marked in a training session, in the place of what stood there."""
        there = self.training(trained.session)
        self.put_noun(trained, expect=there, what="training recorded")

    def seal(self) -> None:
        """Give what was kept of sessions an entry where it has none yet; the last thing done."""
        for session_id in list(self._digests):
            append(self._connection, self._entry(session_id, "outcome recorded", "", {}))

    def put_noun(self, noun: Noun, *, expect: Noun | None, what: str, why: str = "") -> None:
        """Write a noun of the register, as a batch; `expect` is what stands there, None if new.

        Raises RecordError when something else stands there.
        """
        kind = kind_of(noun)
        key = id_of(kind, noun.name)
        at, links = register.c.id == key, register_links.c.id == key
        there = self._noun_of(key)
        if there != ([] if expect is None else [expect]):
            shown = f"{kind.capitalize()} {noun.name}"
            raise RecordError(
                f"{shown} is on record already." if expect is None else _MOVED.format(what=shown)
            )
        if noun == expect:
            return
        plain = json.loads(json.dumps(noun.to_dict()))
        entry = self._entry(key, what, why, {"noun": {"kind": kind, "content": plain}})
        row, tied = row_of(kind, entry["content"]["noun"]["content"])
        if expect is None:
            self._connection.execute(sa.insert(register), row)
        else:
            self._connection.execute(sa.update(register).where(at), row)
            self._connection.execute(sa.delete(register_links).where(links))
        if tied:
            rows = [{"id": key, "kind": of, "value": value} for of, value in tied]
            self._connection.execute(sa.insert(register_links), rows)
        append(self._connection, entry)
        self._nouns.pop(key)

    def put_person(self, person: Person, *, expect: Person | None, what: str) -> Person:
        """Write somebody who signs; `expect` is what stands there, None if new.

        Raises RecordError when something else stands there.
        """
        there = next((each for each in self.people() if each.key == person.key), None)
        if there != expect:
            raise RecordError(_MOVED.format(what=f"The entry of {person.name}"))
        if person == expect:
            return person
        plain = person.to_dict()
        held = {"person": person.name, **{key: plain[key] for key in STAFF}}
        entry = self._entry("", what, "", {"staff": held})
        row = entry["content"]["staff"]
        put_person(self._connection, row, new=expect is None)
        append(self._connection, entry)
        return replace(person, key=row["person"].removeprefix(people.PREFIX))

    def note_person(self, person: Person | None, *, what: str) -> None:
        """Leave an entry about somebody who signs, or about nobody known, and nothing beside it."""
        about: JsonObject = {"about": person.name} if person else {}
        append(self._connection, self._entry("", what, "", about))

    def _entry(self, key: str, what: str, why: str, content: JsonObject) -> JsonObject:
        if key in self._digests:
            content = {**content, OUTCOME: self._digests.pop(key)}
        if self._role:
            content = {**content, ROLE: self._role}
        if self._signed is not None:
            content = {**content, "signed": self._signed.to_dict()}
        return entry_for(self._connection, key, self._who, what, why or self._why, content)

    def _closed(self, session_id: str) -> bool:
        if session_id in self._known:
            return self._known[session_id].closed
        at = tables.sessions.c.id == session_id
        return bool(self._connection.scalar(sa.select(tables.sessions.c.closed_at).where(at)))


def _differing(known: Cells, changes: Cells) -> list[JsonObject]:
    """The cells that differ; RecordError where an answer would change that was sent."""
    _check_sent(known, changes)
    return [
        {"line": line, "name": name, "old": old, "new": text}
        for line, texts in changes.items()
        for name, text in texts.items()
        if (old := known.get(line, {}).get(name, "")) != text
    ]


def _check_sent(known: Cells, changes: Cells) -> None:
    """RecordError where an answer would change that was sent."""
    for line, texts in changes.items():
        old = known.get(line, {})
        moved = (name for name, text in texts.items() if old.get(name, "") != text)
        if old.get(SENT) and any(map(stands_once_sent, moved)):
            raise RecordError(
                f"The ballot of row {line} was sent from its booth, and its answers stand. "
                "Nothing was changed."
            )
