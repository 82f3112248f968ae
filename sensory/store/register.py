"""What the record says of products, references and batches, to anybody or within an action."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.spelling import key_of
from ..release.batch_records import BatchRecord
from ..sessions.session import JournalEntry
from . import people
from .nouns import KINDS, Change, Noun, id_of, kind_of, noun_of, renamed
from .rows import entries_of
from .tables import journal, register, register_links

AnyNoun = TypeVar("AnyNoun", bound=Noun)


class Register:
    """What the record holds of products, references and batches."""

    def _reading(self) -> AbstractContextManager[Connection]:
        """The transaction in which the next question is asked."""
        raise NotImplementedError

    def noun(self, kind: type[AnyNoun], name: str) -> AnyNoun | None:
        """A noun by name or number; None where there is none."""
        word = next(word for word, one in KINDS.items() if one is kind)
        query = sa.select(register).where(register.c.id == id_of(word, name))
        return next(iter(self._some_nouns(query)), None)

    def nouns(self, kind: type[AnyNoun], product: str = "", most: int = 1000) -> list[AnyNoun]:
        """Nouns of a kind by date and name, of one product where it is named."""
        word = next(word for word, one in KINDS.items() if one is kind)
        query = sa.select(register).where(register.c.kind == word)
        if product:
            query = query.where(register.c.product == key_of(product))
        order = (register.c.on_date, register.c.name)
        return self._some_nouns(query.order_by(*order).limit(most))

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
        return list(reversed(self._some_nouns(query)))

    def linked(self, kind: str, value: str, most: int = 1000) -> list[BatchRecord]:
        """Batches that hang together with a ``lot``, ``rework``, ``session`` or ``reference``."""
        links = register_links
        named = sa.select(links.c.id).where(links.c.kind == kind, links.c.value == key_of(value))
        query = sa.select(register).where(register.c.id.in_(named))
        order = (register.c.on_date, register.c.name)
        return self._some_nouns(query.order_by(*order).limit(most))

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
        return self._some_nouns(query)

    def noun_entries(self, noun: Noun) -> list[JournalEntry]:
        """The journal of a noun, oldest first."""
        at = journal.c.session == id_of(kind_of(noun), noun.name)
        query = sa.select(journal).where(at).order_by(journal.c.number)
        with self._reading() as connection:
            return entries_of(connection, query)

    def _some_nouns(self, query: sa.Select[Any]) -> list[Any]:
        def walk(rows: list[dict[str, Any]], change: Change) -> list[dict[str, Any]]:
            return [{**row, "content": renamed(row["content"], change)} for row in rows]

        with self._reading() as connection:
            rows = [dict(row._mapping) for row in connection.execute(query)]
            named = people.shown(connection, walk, rows)
        return [noun_of(row["kind"], row["content"]) for row in named]


def kind_under(key: str) -> sa.Select[tuple[str]]:
    """Asks what kind of noun stands under an identifier."""
    return sa.select(register.c.kind).where(register.c.id == key)
