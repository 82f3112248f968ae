"""Sessions by title, test, sample or batch, however old they are."""

from __future__ import annotations

from collections.abc import Iterable

from ..catalogue.kind import KINDS
from ..catalogue.tests import name_of_test
from .session import StoredSession
from .store import Store

ALL = 1_000_000
"""More sessions than a record holds."""


def find_sessions(store: Store, text: str) -> list[StoredSession]:
    """Every session whose title, test, sample or batch holds the text, newest first."""
    wanted = _normal(text)
    if not wanted:
        return []
    tests = [key for key, kind in KINDS.items() if wanted in kind.name.casefold()]
    return holding(store.sessions(ALL, naming=wanted, tests=tests), text)


def holding(sessions: Iterable[StoredSession], text: str) -> list[StoredSession]:
    """Those whose title, test, sample or batch holds the text; all where it is empty."""
    wanted = _normal(text)
    return [session for session in sessions if wanted in words_of(session).casefold()]


def _normal(text: str) -> str:
    return " ".join(text.split()).casefold()


def words_of(session: StoredSession) -> str:
    """What a session is found by."""
    samples = [f"{sample.name} {sample.batch}" for sample in session.details.samples]
    return " ".join([session.details.title, name_of_test(session.question), *samples])
