"""Older records are brought up to date, with a copy beside them and nothing lost."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.operations import Operations

from sensory.base.errors import RecordError
from sensory.base.records import digest_of
from sensory.store import tables
from sensory.store.migrations.versions import v0001_first_tables
from sensory.store.repository import Repository, open_store
from sensory.store.versions import prepare

from ..shared import write_lines

# Written by version 1 of the program: two sessions, one closed, reopened and changed.
OLD = Path(__file__).with_name("version_1.record")
FIRST, SECOND = "a" * 32, "b" * 32
NAMES = ["Änne Weiß", "Zoë Brandt", "Karim Aziz", "Mira Lund", "Mira Lund-Holm"]
DONE = [
    (1, "Änne Weiß", "opened"),
    (2, "Änne Weiß", "agreed"),
    (3, "Karim Aziz", "cells"),
    (4, "Änne Weiß", "closed"),
    (5, "Änne Weiß", "reopened"),
    (6, "Änne Weiß", "cells"),
    (7, "unnamed, on this machine", "opened"),
]


@pytest.fixture
def old_file(tmp_path: Path) -> Path:
    return Path(shutil.copy(OLD, tmp_path / "panel.sqlite3"))


def rows_of(file: Path, statement: str) -> list[tuple]:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute(statement).fetchall()


def changed(file: Path, *statements: str) -> None:
    with closing(sqlite3.connect(file)) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()


@pytest.fixture
def upgraded(opens, old_file: Path) -> Repository:
    return opens(f"sqlite:///{old_file}")


def test_the_kept_record_is_of_version_1():
    assert rows_of(OLD, "SELECT version FROM schema") == [(1,)]
    assert rows_of(OLD, "SELECT number, who, what FROM journal ORDER BY number") == DONE


def test_sessions_cells_and_journal_come_through(upgraded):
    assert [session.id for session in upgraded.sessions()] == [SECOND, FIRST]
    session = upgraded.session(FIRST)
    assert (session.details.leader, session.agreed_by) == ("Änne Weiß", "Änne Weiß")
    assert session.digest == session.question.digest
    assert {line: of["assessor"] for line, of in upgraded.cells(FIRST).items()} == {
        2: "Zoë Brandt",
        3: "Karim Aziz",
        4: "Mira Lund-Holm",
    }
    entries = upgraded.entries(FIRST) + upgraded.entries(SECOND)
    assert [(entry.number, entry.who, entry.what) for entry in entries] == DONE
    old = rows_of(OLD, "SELECT at, why, content FROM journal ORDER BY number")
    assert [(entry.at, entry.why, entry.content) for entry in entries] == [
        (at, why, json.loads(content)) for at, why, content in old
    ]
    assert upgraded.verify() == []
    assert upgraded.verify(FIRST) == upgraded.verify(SECOND) == []


def test_work_goes_on_after_the_upgrade(upgraded):
    assert (
        write_lines(upgraded, FIRST, {5: {"assessor": "Karim Aziz"}}, who="Zoë", why="typed") == 1
    )
    assert upgraded.cells(FIRST)[5] == {"assessor": "Karim Aziz"}
    assert upgraded.verify() == []
    with upgraded._engine.connect() as connection:
        count = sa.select(sa.func.count()).select_from(tables.people)
        assert connection.scalar(count) == len(NAMES) + 2  # the unnamed leader, and Zoë


def test_names_stand_in_one_table_only(upgraded, old_file):
    for table in ("ballot_cells", "journal", "sessions"):
        words = json.dumps(rows_of(old_file, f"SELECT * FROM {table}"), ensure_ascii=False)
        assert not [name for name in NAMES if name in words]
        assert not [name for name in NAMES if json.dumps(name)[1:-1] in words]


def test_the_new_chain_says_what_it_stands_for(upgraded):
    (entry,) = upgraded.entries("")
    ((number, sha256),) = rows_of(
        OLD, "SELECT number, sha256 FROM journal ORDER BY number DESC LIMIT 1"
    )
    assert (entry.number, entry.who, entry.what) == (8, "program", "upgraded")
    assert "written anew from its first entry" in entry.why
    assert entry.content == {
        "version": 2,
        "chain_before": {"number": number, "sha256": sha256, "broken": []},
    }


def test_a_whole_copy_is_kept_beside_the_record(upgraded, old_file):
    copy = old_file.with_name(f"panel-before-version-{tables.SCHEMA_VERSION}.sqlite3")
    for table in ("schema", "sessions", "ballot_cells", "journal"):
        assert rows_of(copy, f"SELECT * FROM {table}") == rows_of(OLD, f"SELECT * FROM {table}")
    assert sorted(path.name for path in old_file.parent.iterdir() if "-before-" in path.name) == [
        copy.name
    ]


def test_a_copy_that_is_there_is_not_written_over(old_file):
    taken = old_file.with_name(f"panel-before-version-{tables.SCHEMA_VERSION}.sqlite3")
    taken.write_text("cordial")
    open_store(f"sqlite:///{old_file}")._engine.dispose()
    assert taken.read_text() == "cordial"
    other = old_file.with_name(f"panel-before-version-{tables.SCHEMA_VERSION}-2.sqlite3")
    assert rows_of(other, "SELECT version FROM schema") == [(1,)]


def test_no_copy_of_a_new_record(sqlite_url):
    for _ in range(2):
        open_store(sqlite_url)._engine.dispose()
    file = Path(sa.make_url(sqlite_url).database)
    assert not [path for path in file.parent.iterdir() if "before" in path.name]


@pytest.mark.parametrize(
    ("statement", "expected"),
    [
        ("UPDATE journal SET why = 'forged' WHERE number = 3", [3]),
        ("UPDATE journal SET content = '{}' WHERE number = 7", [7]),
        ("UPDATE journal SET content = 'no JSON' WHERE number IN (2, 6)", [2, 6]),
        ("UPDATE journal SET content = CAST(content AS BLOB) WHERE number = 5", [5]),
        ("DELETE FROM journal WHERE number = 4", [5]),
        ("UPDATE journal SET who = 'Zoë' WHERE number = 1", [1]),
        ("UPDATE journal SET before = sha256 WHERE number = 6", [6]),
    ],
)
def test_what_was_broken_before_is_not_healed(opens, old_file, statement, expected):
    changed(old_file, statement)
    store = opens(f"sqlite:///{old_file}")
    assert store.verify() == [f"Journal entry {one} is not as it was written." for one in expected]
    assert store.entries("")[0].content["chain_before"]["broken"] == expected


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE ballot_cells SET text = 'Zoë Brandt' WHERE line = 3 AND name = 'assessor'",
        "UPDATE ballot_cells SET text = '518' WHERE line = 3 AND name = 'answer'",
        "UPDATE sessions SET agreed_by = 'Zoë Brandt'",
        "DELETE FROM journal WHERE number = 7",
    ],
)
def test_tables_that_were_changed_before_are_found_afterwards(opens, old_file, statement):
    changed(old_file, statement)
    store = opens(f"sqlite:///{old_file}")
    assert store.verify()


def test_an_upgrade_that_fails_changes_nothing(old_file):
    changed(old_file, "CREATE TABLE people (mine TEXT)")
    before = rows_of(old_file, "SELECT * FROM journal")
    with pytest.raises(RecordError, match="table people already exists"):
        open_store(f"sqlite:///{old_file}")
    assert rows_of(old_file, "SELECT version FROM schema") == [(1,)]
    assert rows_of(old_file, "SELECT * FROM journal") == before
    assert not rows_of(old_file, "SELECT * FROM sqlite_master WHERE name = 'alembic_version'")


def into(engine: sa.Engine) -> None:
    """Put the kept record into an empty database, with the tables of version 1."""
    with engine.begin() as connection:
        context = MigrationContext.configure(connection)
        with Operations.context(context):
            v0001_first_tables.upgrade()
        for table in ("sessions", "ballot_cells", "journal"):
            with closing(sqlite3.connect(OLD)) as old:
                old.row_factory = sqlite3.Row
                rows = [dict(row) for row in old.execute(f"SELECT * FROM {table}")]
            columns = ", ".join(f":{name}" for name in rows[0])
            names = ", ".join(f'"{name}"' for name in rows[0])
            statement = sa.text(f"INSERT INTO {table} ({names}) VALUES ({columns})")
            connection.execute(statement, rows)


def test_a_record_on_a_server_is_brought_up_to_date_in_place(opens, postgres_url):
    engine = sa.create_engine(postgres_url)
    into(engine)
    engine.dispose()
    store = opens(postgres_url)
    entries = store.entries(FIRST) + store.entries(SECOND)
    assert [(entry.number, entry.who, entry.what) for entry in entries] == DONE
    assert store.cells(FIRST)[4]["assessor"] == "Mira Lund-Holm"
    assert store.verify() == []


def test_steps_lead_to_the_tables_of_the_program(opens, any_url):
    store = opens(any_url)
    with store._engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, tables.metadata) == []
        assert context.get_current_revision() == f"{tables.SCHEMA_VERSION:04}"


def test_an_up_to_date_record_is_only_read_when_opened(opens, sqlite_url):
    store = opens(sqlite_url)
    blocker = sqlite3.connect(sa.make_url(sqlite_url).database, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    prepare(store._engine)
    assert store.sessions() == []
    blocker.close()


def test_first_step_is_the_first_program():
    """The tables that version 1 made, in the words of its SQLite file."""
    engine = sa.create_engine("sqlite://")
    into(engine)
    with engine.connect() as connection:
        made = dict(connection.execute(sa.text("SELECT name, sql FROM sqlite_master")).all())
    engine.dispose()
    old = dict(rows_of(OLD, "SELECT name, sql FROM sqlite_master"))
    assert made.keys() == old.keys()
    squeezed = {name: (sql or "").split() for name, sql in made.items()}
    assert squeezed == {name: (sql or "").split() for name, sql in old.items()}


def test_hashes_of_the_kept_record_are_those_of_its_entries():
    names = [row[1] for row in rows_of(OLD, "PRAGMA table_info(journal)")]
    for row in rows_of(OLD, "SELECT * FROM journal"):
        entry = dict(zip(names, row, strict=True))
        sha256 = entry.pop("sha256")
        assert digest_of(entry) == sha256


def test_name_of_an_older_record_can_be_erased_to_the_last_byte(upgraded, old_file):
    assert "Zoë Brandt".encode() in OLD.read_bytes()
    (remains,) = upgraded.erase_person("Zoë Brandt", who="Änne Weiß", why="asked").remains
    assert remains.startswith("The copy ")
    assert "-before-version-" in remains
    there = sorted(old_file.parent.glob(f"{old_file.name}*"))  # the record and its log
    assert "Zoë Brandt".encode() not in b"".join(path.read_bytes() for path in there)
    assert upgraded.cells(FIRST)[2]["assessor"] == "erased 1"
    assert upgraded.verify() == []
