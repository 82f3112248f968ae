"""The register of products, references and batches: written with the journal, and searched."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from ..base.errors import RecordError
from ..base.spelling import key_of
from ..release.batch_records import BatchRecord
from ..sessions.session import JournalEntry
from . import people
from .chain import append, entry_for
from .connections import reading, writing
from .nouns import KINDS, Noun, id_of, kind_of, links_of, noun_of, renamed, row_of
from .rows import entries_of
from .tables import journal, register, register_links

AnyNoun = TypeVar("AnyNoun", bound=Noun)
_OLDER = "{kind} {name} was changed in another window meanwhile. Reload the page."


class Register:
    """What the record holds of products, references and batches.

    Fulfils `product_desk.Desk` together with `Repository`, which is one.
    """

    _engine: Engine

    def put(self, noun: Noun, *, expect: Noun | None, who: str, what: str, why: str) -> None:
        """Write a noun, with its entry of the journal.

        Parameters
        ----------
        expect : noun or None
            What has to stand there now; None for one that is new.

        Raises
        ------
        RecordError
            When something else stands there; nothing is changed then.
        """
        with writing(self._engine) as connection:
            put_noun(connection, noun, expect=expect, who=who, what=what, why=why)

    def put_together(
        self, changes: Sequence[tuple[Noun, Noun | None, str]], *, who: str, why: str
    ) -> None:
        """As `put`, for several nouns, each with what is expected and what is done: all or none."""
        with writing(self._engine) as connection:
            for noun, expect, what in changes:
                put_noun(connection, noun, expect=expect, who=who, what=what, why=why)

    def noun(self, kind: type[AnyNoun], name: str) -> AnyNoun | None:
        """A noun by name or number; None where there is none."""
        word = next(word for word, one in KINDS.items() if one is kind)
        query = sa.select(register).where(register.c.id == id_of(word, name))
        with reading(self._engine) as connection:
            found = _nouns(connection, query)
        return found[0] if found else None

    def nouns(self, kind: type[AnyNoun], product: str = "", most: int = 1000) -> list[AnyNoun]:
        """Nouns of a kind by date and name, of one product where it is named."""
        word = next(word for word, one in KINDS.items() if one is kind)
        query = sa.select(register).where(register.c.kind == word)
        if product:
            query = query.where(register.c.product == key_of(product))
        order = (register.c.on_date, register.c.name)
        with reading(self._engine) as connection:
            return _nouns(connection, query.order_by(*order).limit(most))

    def batches(
        self,
        *,
        product: str = "",
        state: str = "",
        since: str = "",
        until: str = "",
        most: int = 200,
    ) -> list[BatchRecord]:
        """The latest batches, oldest first.

        Parameters
        ----------
        product, state : str
            Only of this product, or in this state (``open`` or ``done``).
        since, until : str
            Dates of making, ISO 8601, both included.
        """
        made = register.c.on_date
        query = sa.select(register).where(register.c.kind == "batch")
        if product:
            query = query.where(register.c.product == key_of(product))
        if state:
            query = query.where(register.c.state == state)
        if since:
            query = query.where(made >= since)
        if until:
            query = query.where(made <= until)
        query = query.order_by(made.desc(), register.c.name.desc()).limit(most)
        with reading(self._engine) as connection:
            return list(reversed(_nouns(connection, query)))

    def linked(self, kind: str, value: str, most: int = 1000) -> list[BatchRecord]:
        """Batches that hang together with a ``lot``, ``rework``, ``session`` or ``reference``."""
        links = register_links
        named = sa.select(links.c.id).where(links.c.kind == kind, links.c.value == key_of(value))
        query = sa.select(register).where(register.c.id.in_(named))
        with reading(self._engine) as connection:
            order = (register.c.on_date, register.c.name)
            return _nouns(connection, query.order_by(*order).limit(most))

    def seek(self, text: str, most: int = 50) -> list[BatchRecord]:
        """Batches whose number, lot, reference or product holds a text; exact numbers first."""
        wanted = key_of(text)
        if not wanted:
            return []
        links = register_links
        sought = ("lot", "rework", "reference")
        beside = sa.select(links.c.id).where(
            links.c.kind.in_(sought), links.c.value.contains(wanted, autoescape=True)
        )
        query = (
            sa.select(register)
            .where(
                register.c.kind == "batch",
                sa.or_(
                    register.c.name.contains(wanted, autoescape=True),
                    register.c.product.contains(wanted, autoescape=True),
                    register.c.id.in_(beside),
                ),
            )
            .order_by(sa.case((register.c.name == wanted, 0), else_=1), register.c.on_date.desc())
            .limit(most)
        )
        with reading(self._engine) as connection:
            return _nouns(connection, query)

    def noun_entries(self, noun: Noun) -> list[JournalEntry]:
        """The journal of a noun, oldest first."""
        at = journal.c.session == id_of(kind_of(noun), noun.name)
        query = sa.select(journal).where(at).order_by(journal.c.number)
        with reading(self._engine) as connection:
            return entries_of(connection, query)


def put_noun(
    connection: Connection, noun: Noun, *, expect: Noun | None, who: str, what: str, why: str
) -> None:
    """As `Register.put`, within a transaction."""
    kind = kind_of(noun)
    key = id_of(kind, noun.name)
    query = sa.select(register).where(register.c.id == key).with_for_update()
    there = _nouns(connection, query)
    if there != ([] if expect is None else [expect]):
        if expect is None:
            raise RecordError(f"{kind.capitalize()} {noun.name} is on record already.")
        raise RecordError(_OLDER.format(kind=kind.capitalize(), name=noun.name))
    if noun == expect:
        return
    plain = json.loads(json.dumps(noun.to_dict()))
    content = {"noun": {"kind": kind, "content": plain}}
    entry = entry_for(connection, key, who, what, why, content)
    row = row_of(kind, entry["content"]["noun"]["content"])
    if expect is None:
        connection.execute(sa.insert(register).values(**row))
    else:
        connection.execute(sa.update(register).where(register.c.id == key).values(**row))
        connection.execute(sa.delete(register_links).where(register_links.c.id == key))
    links = [
        {"id": key, "kind": one, "value": value} for one, value in links_of(kind, row["content"])
    ]
    if links:
        connection.execute(sa.insert(register_links), links)
    append(connection, entry)


def kind_under(key: str) -> sa.Select[tuple[str]]:
    """Asks what kind of noun stands under an identifier."""
    return sa.select(register.c.kind).where(register.c.id == key)


def _nouns(connection: Connection, query: sa.Select[Any]) -> list[Any]:
    found = [dict(row._mapping) for row in connection.execute(query)]
    named = people.shown(
        connection,
        lambda rows, change: [{**row, "content": renamed(row["content"], change)} for row in rows],
        found,
    )
    return [noun_of(row["kind"], row["content"]) for row in named]
