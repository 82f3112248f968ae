"""One step in a line, for tests of every room."""

from __future__ import annotations

from sensory.sessions.care import Care
from sensory.sessions.session import CAUTIONS, StoredSession
from sensory.store.repository import Repository

ALL_YES = {caution.key: True for caution in CAUTIONS}
CARE = Care(cleared_by="food safety", cleared_on="2026-09-13", evidence="residue test passed")
"""A clearance, without which no question is agreed."""
ANSWERS = {
    "what_changed": "sugar",
    "decision": "Whether the recipe changes.",
    "if_different": "keep",
    "if_similar": "change",
    "if_undecided": "again",
}


def add(store: Repository, session: StoredSession, lines: dict, **by: str) -> None:
    with store.action(**by) as act:
        act.add(session, lines)


def put(
    store: Repository, session: StoredSession, *, expect: StoredSession, what: str, **by: str
) -> None:
    with store.action(**by) as act:
        act.put(session, expect=expect, what=what)


def write_lines(store: Repository, session_id: str, changes: dict, **by: str) -> int:
    with store.action(**by) as act:
        return act.write_lines(session_id, changes)


def put_noun(store: Repository, noun: object, *, expect: object, what: str, **by: str) -> None:
    with store.action(**by) as act:
        act.put_noun(noun, expect=expect, what=what)
