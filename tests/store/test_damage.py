"""Whatever single value of a record is changed, the check answers in sentences.

In the normal run every cell of a small record takes one of the values below, in turn; the long
form, all values in every cell: python -m tests.store.test_damage
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from itertools import count
from typing import Any

import pytest

from sensory.base.errors import RecordError
from sensory.catalogue.question import Question
from sensory.release.batch_records import BatchRecord, ProductRecord
from sensory.release.batches import Batch, Product, RawLot
from sensory.sessions.session import SessionDetails, StoredSession
from sensory.sessions.signing import Person, Right
from sensory.sessions.staff import enter_person
from sensory.store.repository import Repository, open_store

from ..shared import put_noun

BY = {"who": "Mira Lund", "why": "typed"}
TABLES = (
    *("sessions", "ballot_cells", "outcomes", "people", "staff", "journal"),
    *("register", "register_links", "schema"),
)
VALUES: tuple[Any, ...] = (
    *(None, "", "x", "5", 7, -1.5, b"\x00\xff", "{}", "[]", "null", '"a"', "[1", '{"a": [{}]}'),
    *("NaN", '{"session": 3}', '"\\ud800"', "[" * 5_000, b"{}", 2**40),
)
BROKEN = "CAST(x'41ff' AS TEXT)"
"""No text of UTF-8, in a column of text."""


def session(key: str, **more: Any) -> StoredSession:
    return StoredSession(
        id=key,
        created_at="2026-09-14T08:00:00+00:00",
        details=SessionDetails(title=f"Medlar cordial {key}", leader="Änne Weiß"),
        question=Question(pd_limit=0.30, decision="Whether the recipe changes."),
        cautions={"cleared": True},
        **more,
    )


def filled(store: Repository) -> Repository:
    """Two sessions, what one of them showed, a batch, people, one of them erased."""
    agreed = session("sloe", agreed_at="2026-09-14T09:00:00+00:00", agreed_by="Zoë Brandt")
    with store.action(**BY) as act:
        act.add(session("medlar"), {2: {"assessor": "Karim Aziz", "comment": "flat"}})
        act.add(agreed, {2: {"assessor": "Cleo"}})
        act.write_lines("sloe", {2: {"answer": "412"}})
        act.keep_outcome("sloe", {"finding": "SIMILAR"})
    put_noun(store, ProductRecord(product=Product(name="Medlar")), expect=None, what="new", **BY)
    lots = (RawLot(material="acid", lot="CA-2"),)
    batch = Batch(number="M-1", product="Medlar", made_on="2026-03-04", line="1", raw_lots=lots)
    put_noun(store, BatchRecord(batch=batch, reference="M1"), expect=None, what="new", **BY)
    enter_person(store, Person(name="Nora Sand", roles=("head",), may=(Right.DECIDE,)), who="Mira")
    store.erase_person("Karim Aziz", **BY)
    return store


@pytest.fixture(scope="module")
def store() -> Iterator[Repository]:
    opened = filled(open_store("sqlite://"))
    with opened._engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
    assert opened.verify() == opened.verify("sloe") == []
    yield opened
    opened.close()


def places(store: Repository) -> list[tuple[str, int, str]]:
    """Table, row and column of each value."""
    with store._engine.connect() as connection:
        raw = connection.connection.driver_connection
        return [
            (table, row, column)
            for table in TABLES
            for (row,) in raw.execute(f"SELECT rowid FROM {table}").fetchall()
            for _, column, *_ in raw.execute(f"PRAGMA table_info({table})").fetchall()
        ]


def changed(store: Repository, place: tuple[str, int, str], value: Any) -> Iterator[None]:
    """The record with one value changed, as often as the database takes it; then as it was."""
    table, row, column = place
    with store._engine.connect() as connection:
        raw = connection.connection.driver_connection
    (old,) = raw.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", [row]).fetchone()
    given = (BROKEN, []) if value is BROKEN else ("?", [value])
    try:
        raw.execute(f"UPDATE {table} SET {column} = {given[0]} WHERE rowid = ?", [*given[1], row])
    except sqlite3.IntegrityError:
        return
    # A number of the journal is its row.
    (there,) = raw.execute(f"SELECT count(*) FROM {table} WHERE rowid = ?", [row]).fetchone()
    at = row if there else value
    query = f"SELECT {column}, typeof({column}) = typeof(?) FROM {table} WHERE rowid = ?"
    try:
        same = old is None and value == "null"  # JSON has two ways to say nothing
        if value is BROKEN or not (same or raw.execute(query, [old, at]).fetchone() == (old, 1)):
            yield
    finally:
        raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", [old, at])


def wrong_answers(store: Repository, *, each: int) -> list[str]:
    """Changes of a value that the check does not answer in sentences, or does not find."""
    turn, wrong, values = count(), [], (*VALUES, BROKEN)
    for place in places(store):
        some = {next(turn) * 7 % len(values) for _ in range(each)} if each else range(len(values))
        for value in map(values.__getitem__, some):
            for _ in changed(store, place, value):
                if problem := problem_of(store):
                    wrong.append(f"{'.'.join(map(str, place))} = {value!r:.40}: {problem}")
    return wrong


def problem_of(store: Repository) -> str:
    try:
        told = store.verify()
        if not all(line.isprintable() for line in [*told, *store.verify("sloe")]):
            return f"no sentence: {told!r:.80}"
        if not told:
            return "not found"
        sound, damaged = store.listed_sessions()
        if {each.id for each in sound} | {each.id for each in damaged} < {"sloe"}:
            return "a sound session is not listed"
    except Exception as error:
        return repr(error)[:160]
    return ""


def test_each_changed_value_is_found_and_answered_in_sentences(store):
    assert wrong_answers(store, each=1) == []
    assert store.verify() == []


def test_a_damaged_session_is_listed_as_damaged_and_all_others_work(opens, sqlite_url):
    store = filled(opens(sqlite_url))
    with store._engine.begin() as connection:
        connection.exec_driver_sql("UPDATE sessions SET question = '[1' WHERE id = 'medlar'")
    (sound,), (damaged,) = store.listed_sessions()
    assert (sound.id, damaged.id, damaged.title) == ("sloe", "medlar", "Medlar cordial medlar")
    assert "Question needs a mapping" in damaged.why
    assert store.sessions() == [store.session("sloe")] == [sound]
    with pytest.raises(RecordError, match="This session is damaged on record: Question needs"):
        store.session("medlar")
    assert store.verify("medlar") == ["Session medlar is not what the journal says."]
    assert store.verify("sloe") == []


def test_a_damaged_file_is_answered_in_a_sentence(opens, sqlite_url, tmp_path):
    store = filled(opens(sqlite_url))
    store.close()
    file = tmp_path / "record" / "panel.sqlite3"
    whole = bytearray(file.read_bytes())
    whole[4096 * 2 : -4096] = b"\xa5" * (len(whole) - 4096 * 3)
    file.write_bytes(whole)
    (sentence,) = store.verify()
    assert sentence.startswith("The file of the record is damaged: ")


def test_a_check_says_how_far_it_is_and_can_be_stopped(store):
    shares: list[float] = []
    assert store.verify(watched=lambda share: shares.append(share) or True) == []
    assert shares == sorted(shares)
    with pytest.raises(RecordError, match="stopped before its end"):
        store.verify(watched=lambda share: False)


if __name__ == "__main__":
    record = filled(open_store("sqlite://"))
    with record._engine.connect() as at_work:
        at_work.exec_driver_sql("PRAGMA foreign_keys = OFF")
    lines = wrong_answers(record, each=0)
    print(*lines, f"{len(lines)} of {len(places(record)) * (len(VALUES) + 1)}", sep="\n")
