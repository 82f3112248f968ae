"""What the record says of products, references, batches, studies and assessors.

Why so
------
What a row holds is built into its noun once, not at each reading: lists of hundreds of batches are
read at each rerun of a page. The key is the whole text of the row and the names that it is shown
with, so nothing has to be given notice of when the record changes or a name is erased.
"""

from __future__ import annotations

import gc
import json
import re
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import lru_cache
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from ..base.records import JsonObject
from ..base.spelling import key_of
from ..release.batch_records import BatchRecord
from ..release.studies import BATCH_LINK, Study
from ..sessions.session import JournalEntry
from ..sessions.sitting import Sitting
from . import people
from .nouns import KINDS, Noun, id_of, kind_of
from .rows import Query, entries_of
from .tables import register, register_links

AnyNoun = TypeVar("AnyNoun", bound=Noun)
_NOUN, _LINK = register.c, register_links.c
_TEXT = sa.cast(_NOUN.content, sa.Text)
_KEPT = 4096
_BY_KEY = sa.select(_NOUN.kind, _TEXT).where(_NOUN.id == sa.bindparam("key"))


class Register:
    """What the record holds of products, references and batches."""

    def _reading(self) -> AbstractContextManager[Connection]:
        """The transaction in which the next question is asked."""
        raise NotImplementedError

    def noun(self, kind: type[AnyNoun], name: str) -> AnyNoun | None:
        """A noun by name or number; None where there is none."""
        return next(iter(self._noun_of(id_of(kind_of(kind), name))), None)

    def nouns(
        self, kind: type[AnyNoun], product: str = "", most: int | None = None
    ) -> list[AnyNoun]:
        """Nouns of a kind by date and name, of one product where it is named; all unless told."""
        query = sa.select(register).where(_NOUN.kind == kind_of(kind))
        if product:
            query = query.where(_NOUN.product == key_of(product))
        return self._some_nouns(query.order_by(_NOUN.on_date, _NOUN.name).limit(most))

    def batches(
        self,
        *,
        product: str = "",
        state: str = "",
        since: str = "",
        until: str = "",
        most: int = 200,
        skip: int = 0,
    ) -> list[BatchRecord]:
        """The latest batches, oldest first.

        Parameters
        ----------
        product, state : str
            Only of this product, or in this state (``open`` or ``done``).
        since, until : str
            Dates of making, ISO 8601, both included.
        skip : int
            So many of the latest are left out: those of the pages before.
        """
        query = sa.select(register).where(*_asked(product, state, since, until))
        latest = query.order_by(_NOUN.on_date.desc(), _NOUN.name.desc()).limit(most).offset(skip)
        return self._some_nouns(latest)[::-1]

    def sittings(self, *, since: str = "", until: str = "") -> list[Sitting]:
        """What assessors did in closed sessions of these days, ISO 8601, both included."""
        query = sa.select(register).where(_NOUN.kind == kind_of(Sitting), _NOUN.on_date >= since)
        if until:
            query = query.where(_NOUN.on_date <= until)
        return self._some_nouns(query.order_by(_NOUN.on_date, _NOUN.name))

    def studies(
        self, *, kind: str = "", product: str = "", batch: str = "", most: int | None = None
    ) -> list[Study]:
        """The latest studies on record, newest first; of a kind, a product or a batch, if given."""
        query = sa.select(register).where(_NOUN.kind == kind_of(Study))
        if kind:
            query = query.where(_NOUN.state == kind)
        if product:
            query = query.where(_NOUN.product == key_of(product))
        if batch:
            of_batch = _LINK.kind == BATCH_LINK, _LINK.value == key_of(batch)
            query = query.where(_NOUN.id.in_(sa.select(_LINK.id).where(*of_batch)))
        return self._some_nouns(query.order_by(_NOUN.on_date.desc(), _NOUN.name).limit(most))

    def sitting_months(self) -> list[str]:
        """The months in which closed sessions were held, as ``2026-05``, the latest first."""
        month = sa.func.substr(_NOUN.on_date, 1, 7)
        query = sa.select(month).where(_NOUN.kind == kind_of(Sitting)).distinct()
        with self._reading() as connection:
            return sorted(connection.scalars(query), reverse=True)

    def how_many(
        self, *, product: str = "", state: str = "", since: str = "", until: str = ""
    ) -> int:
        """How many batches there are of those that `batches` would list."""
        return self._count(register, *_asked(product, state, since, until))

    def linked(self, kind: str, value: str, most: int | None = None) -> list[BatchRecord]:
        """Batches that hang together with a ``lot``, ``rework``, ``session``, ``reference``,
        ``cause`` or ``complaint`` (its month, or ``open``), oldest first; all, or the latest."""
        named = sa.select(_LINK.id).where(_LINK.kind == kind, _LINK.value == key_of(value))
        query = sa.select(register).where(_NOUN.id.in_(named))
        latest = query.order_by(_NOUN.on_date.desc(), _NOUN.name.desc()).limit(most)
        return self._some_nouns(latest)[::-1]

    def how_many_linked(self, kind: str, value: str) -> int:
        """How many batches there are of those that `linked` would list."""
        return self._count(register_links, _LINK.kind == kind, _LINK.value == key_of(value))

    def seek(self, text: str, most: int = 50, *, within: bool = False) -> list[BatchRecord]:
        """Batches of exactly this number, lot, reference or cause; where there are none, and with
        `within`, those that hold the text in these or in the product; the exact number first."""
        wanted = key_of(text)
        if not wanted:
            return []
        beside = sa.select(_LINK.id).where(_LINK.kind.in_(("lot", "rework", "reference", "cause")))
        own = id_of("batch", wanted)
        exact = beside.where(_LINK.value == wanted).union(sa.select(sa.literal(own)))
        part = sa.or_(
            _NOUN.name.contains(wanted, autoescape=True),
            _NOUN.product.contains(wanted, autoescape=True),
            _NOUN.id.in_(beside.where(_LINK.value.contains(wanted, autoescape=True))),
        )
        order = sa.case((_NOUN.id == own, 0), else_=1), _NOUN.on_date.desc()
        query = sa.select(register).order_by(*order).limit(most)
        exactly = [] if within else self._some_nouns(query.where(_NOUN.id.in_(exact)))
        return exactly or self._some_nouns(query.where(_NOUN.kind == "batch", part))

    def noun_entries(self, noun: Noun) -> list[JournalEntry]:
        """The journal of a noun, oldest first."""
        with self._reading() as connection:
            return entries_of(connection, id_of(kind_of(noun), noun.name))

    def _count(self, table: sa.Table, *conditions: sa.ColumnElement[bool]) -> int:
        query = sa.select(sa.func.count()).select_from(table).where(*conditions)
        with self._reading() as connection:
            return connection.scalar(query) or 0

    def _noun_of(self, key: str) -> list[Any]:
        """The noun of this identifier, where there is one."""
        return self._nouns_of(_BY_KEY, {"key": key})

    def _some_nouns(self, query: Query) -> list[Any]:
        return self._nouns_of(query.with_only_columns(_NOUN.kind, _TEXT))

    def _nouns_of(self, query: sa.Select[Any], values: JsonObject | None = None) -> list[Any]:
        with self._reading() as connection:
            rows = connection.execute(query, values).all()
            met = {text: _references(text) for _, text in rows}
            names = people.names_of(connection, set().union(*met.values()))
        with _nothing_thrown_away():
            return [
                _noun(kind, text, tuple((each, names.get(each, each)) for each in met[text]))
                for kind, text in rows
            ]


@contextmanager
def _nothing_thrown_away() -> Iterator[None]:
    """While nouns are built, all of which are kept, no garbage is sought: at a year of sittings
    for the first time that took as long as the building."""
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def _asked(product: str, state: str, since: str, until: str) -> list[sa.ColumnElement[bool]]:
    """Conditions on batches; those that are empty are none."""
    conditions = (
        (product, _NOUN.product == key_of(product)),
        (state, _NOUN.state == state),
        (since, _NOUN.on_date >= since),
        (until, _NOUN.on_date <= until),
    )
    return [_NOUN.kind == "batch", *(condition for given, condition in conditions if given)]


_REFERENCE = re.compile(f'"({people.PREFIX}[^"\\\\]+)"')


@lru_cache(maxsize=_KEPT)
def _references(text: str) -> tuple[str, ...]:
    """What looks like a reference to a person in the content of a noun; read once, as JSON, by
    `_noun`, which puts names at their places only."""
    return tuple(sorted(set(_REFERENCE.findall(text))))


@lru_cache(maxsize=_KEPT)
def _noun(kind: str, text: str, names: tuple[tuple[str, str], ...]) -> Noun:
    """The noun of this content, with these names in the place of their references."""
    return KINDS[kind].from_dict(people.named(json.loads(text), people.NOUN, dict(names)))
