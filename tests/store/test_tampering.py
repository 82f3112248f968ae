"""Whatever is changed in the journal behind the program's back is found: 1,600 random changes."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
import sqlalchemy as sa

from sensory.catalogue.question import Question
from sensory.sessions.session import SessionDetails, StoredSession
from sensory.store import tables
from sensory.store.repository import Repository, open_store

from ..shared import add, put, write_lines

NAMES = ("number", "at", "session", "who", "what", "why", "content", "before", "sha256")
TEXTS = NAMES[1:]
EACH = 400
Rows = list[tuple]
Change = Callable[[Rows, random.Random], Rows]


def session(key: str) -> StoredSession:
    return StoredSession(
        id=key,
        created_at="2026-09-14T08:00:00+00:00",
        details=SessionDetails(title=f"Medlar cordial {key}", leader="Änne Weiß"),
        question=Question(pd_limit=0.30, decision="Whether the recipe changes."),
        cautions={"cleared": True},
    )


@pytest.fixture(scope="module")
def store() -> Iterator[Repository]:
    """Two sessions with entries of every kind in turn, and an erasure."""
    opened = open_store("sqlite://")
    who = {"who": "Änne Weiß", "why": "typed"}
    for key in ("medlar", "sloe"):
        cells = {line: {"assessor": f"P{line}", "answer": "412"} for line in range(2, 6)}
        add(opened, session(key), cells, **who)
    for number in range(8):
        for key in ("medlar", "sloe"):
            write_lines(opened, key, {number: {"comment": f"flat, “橙” {number}"}}, **who)
    opened.erase_person("P3", **who)
    agreed = replace(session("sloe"), agreed_at="2026-09-14T09:00:00+00:00", agreed_by="Zoë")
    put(opened, agreed, expect=session("sloe"), what="agreed", who="Zoë", why="typed")
    write_lines(opened, "medlar", {2: {"answer": ""}}, **who)
    yield opened
    opened._engine.dispose()


@pytest.fixture(scope="module")
def sound(store: Repository) -> Rows:
    assert store.verify() == store.verify("medlar") == store.verify("sloe") == []
    return rows_of(store)


def rows_of(store: Repository) -> Rows:
    with store._engine.connect() as connection:
        query = sa.select(tables.journal).order_by(tables.journal.c.number)
        return [tuple(row) for row in connection.execute(query)]


def journal_is(store: Repository, rows: Rows) -> None:
    """Make these rows the journal, in place of what is there."""
    with store._engine.begin() as connection:
        connection.execute(sa.delete(tables.journal))
        plain = [dict(zip(NAMES, row, strict=True)) for row in rows]
        connection.execute(sa.insert(tables.journal), plain)


def other_byte(rows: Rows, rng: random.Random) -> Rows:
    """One byte of one text, exchanged for another that leaves it a text."""
    at = rng.randrange(len(rows))
    column = rng.choice([one for one in TEXTS if rows[at][NAMES.index(one)]])
    index = NAMES.index(column)
    raw = bytearray(rows[at][index].encode())
    plain = [place for place, byte in enumerate(raw) if byte < 128]
    place = rng.choice(plain)
    raw[place] = rng.choice([byte for byte in range(32, 127) if byte != raw[place]])
    changed = (*rows[at][:index], raw.decode(), *rows[at][index + 1 :])
    return [*rows[:at], changed, *rows[at + 1 :]]


def deleted(rows: Rows, rng: random.Random) -> Rows:
    """One to three entries less; the later ones moved up in half of the cases."""
    gone = set(rng.sample(range(len(rows)), rng.randint(1, 3)))
    left = [row for place, row in enumerate(rows) if place not in gone]
    if rng.random() < 0.5:
        return left
    return [(number, *row[1:]) for number, row in enumerate(left, start=1)]


def swapped(rows: Rows, rng: random.Random) -> Rows:
    """Two entries exchanged, all but the number or one column that differs."""
    one, other = sorted(rng.sample(range(len(rows)), 2))
    differing = [i for i in range(1, len(NAMES)) if rows[one][i] != rows[other][i]]
    columns = range(1, len(NAMES)) if rng.random() < 0.5 else [rng.choice(differing)]
    new = [list(row) for row in rows]
    for index in columns:
        new[one][index], new[other][index] = new[other][index], new[one][index]
    return [tuple(row) for row in new]


def inserted(rows: Rows, rng: random.Random) -> Rows:
    """A copy of an entry put in anywhere, also after the last; the later ones moved down."""
    copied = rng.choice(rows)
    at = rng.randint(0, len(rows))
    if rng.random() < 0.5:  # as if it followed there
        before = rows[at - 1][-1] if at else "0" * 64
        copied = (*copied[:-2], before, copied[-1])
    whole = [*rows[:at], copied, *rows[at:]]
    return [(number, *row[1:]) for number, row in enumerate(whole, start=1)]


@pytest.mark.parametrize("change", [other_byte, deleted, swapped, inserted])
def test_every_random_change_of_the_journal_is_found(store, sound, change: Change):
    rng = random.Random(change.__name__)
    missed = []
    for _ in range(EACH):
        rows = change(sound, rng)
        assert rows != sound
        journal_is(store, rows)
        if not store.verify():
            missed.append(rows)
    journal_is(store, sound)
    assert missed == []
    assert store.verify() == []


def test_checking_one_session_finds_what_is_changed_in_its_entries(store, sound):
    rng = random.Random(7)
    for _ in range(200):
        rows = other_byte(sound, rng)
        (was,) = set(sound) - set(rows)
        journal_is(store, rows)
        key = was[2]
        if key:  # an entry of a session, not of the record as a whole
            assert store.verify(key)
    journal_is(store, sound)


@pytest.mark.parametrize("place", range(21))
def test_checking_one_session_finds_any_missing_entry(store, sound, place):
    if place >= len(sound):
        pytest.fail(f"The journal has {len(sound)} entries only.")
    journal_is(store, [*sound[:place], *sound[place + 1 :]])
    last = place == len(sound) - 1
    found = {key: store.verify(key) for key in ("medlar", "sloe")}
    journal_is(store, sound)
    # Without the last entry no number is missing; then the tables say it, of its session.
    assert found["medlar"]
    assert found["sloe"] or last


@pytest.fixture
def small(opens) -> Repository:
    opened = opens()
    for key in ("medlar", "sloe"):
        add(opened, session(key), {4: {"answer": "412"}}, who="Zoë", why="typed")
    return opened


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE ballot_cells SET text = '837' WHERE session = 'sloe'", "Session sloe, row 4"),
        ("DELETE FROM ballot_cells WHERE session = 'sloe'", "Session sloe, row 4"),
        ("UPDATE sessions SET digest = '0' WHERE id = 'sloe'", "Session sloe is not what"),
        ("DELETE FROM sessions WHERE id = 'sloe'", "Session sloe is not what"),
    ],
)
def test_tables_of_one_session_are_checked_alone(small, statement, said):
    with small._engine.begin() as connection:
        connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
        connection.exec_driver_sql(statement)
        if "sessions WHERE" in statement:
            connection.exec_driver_sql("DELETE FROM ballot_cells WHERE session = 'sloe'")
    assert small.verify("sloe")[0].startswith(said)
    assert small.verify("medlar") == []
    assert small.verify() == small.verify("sloe")


def test_session_that_is_not_on_record_has_nothing_to_find(small):
    assert small.verify("nothing") == []
