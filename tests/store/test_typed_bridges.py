"""A record of version 5, with typed bridges and complaints, is opened and goes on."""

from __future__ import annotations

import gzip
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.migration import MigrationContext
from alembic.operations import Operations

from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.release import batch_desk, complaint_desk, product_desk
from sensory.release.batches import Disposition
from sensory.release.references import Reference
from sensory.store import tables
from sensory.store.migrations.versions import v0006_complaints
from sensory.store.repository import Repository

# Written by version 5 of the program: a product with three references, whose bridges were typed,
# and three batches, two of them complained of, one decided anew since.
OLD = Path(__file__).with_name("version_5_typed_bridges.record.gz")
PRODUCT = "Sloe cordial"


@pytest.fixture
def old_file(tmp_path: Path) -> Path:
    file = tmp_path / "panel.sqlite3"
    file.write_bytes(gzip.decompress(OLD.read_bytes()))
    return file


@pytest.fixture
def store(opens, old_file: Path) -> Repository:
    return opens(f"sqlite:///{old_file}")


def rows_of(file: Path, statement: str) -> list[tuple]:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute(statement).fetchall()


def test_the_kept_record_is_of_version_5(old_file):
    assert rows_of(old_file, "SELECT version FROM schema") == [(5,)]


def test_the_chain_goes_on_unbroken_and_nothing_is_written_to_it(opens, old_file):
    before = rows_of(old_file, "SELECT * FROM journal ORDER BY number")
    store = opens(f"sqlite:///{old_file}")
    assert store.verify() == []
    assert rows_of(old_file, "SELECT * FROM journal ORDER BY number") == before
    with store._engine.connect() as connection:
        assert connection.scalar(sa.select(tables.schema.c.version)) == tables.SCHEMA_VERSION
    complaint_desk.record_complaint(
        store, "SC-3", "stale", received_on="2026-05-01", owner="Karim Aziz", who="Mira"
    )
    assert store.verify() == []
    after = rows_of(old_file, "SELECT * FROM journal ORDER BY number")
    assert after[: len(before)] == before


def test_typed_bridges_say_that_no_tasting_is_on_record(store):
    second, third = (store.noun(Reference, name) for name in ("S2", "S3"))
    typed = "Compared with S1 on 2026-02-01: similar (typed, no tasting on record)."
    assert second.took_over() == (typed,)
    assert second.bridged_to_first.finding is Finding.SIMILAR
    assert third.took_over() == (
        "Compared with S2 on 2026-03-01: similar (typed, no tasting on record).",
        "Not tasted beside S1. S3 took over all the same on 2026-03-01, and who decided is not on "
        "record: S1 broke.",
    )
    state = product_desk.state_of_reference(store, "S3", "2026-03-09")
    assert set(third.took_over()) < set(state.says())
    reasons = batch_desk.batch_file(store, "SC-2").finding.reasons
    assert [line for line in reasons if "typed, no tasting on record" in line]
    assert state.usable  # as it was


def test_its_complaints_are_open_until_somebody_closes_them(store):
    assert [each.name for each in complaint_desk.open_complaints(store)] == ["SC-1", "SC-2"]
    first, other = (product_desk.the_batch(store, name) for name in ("SC-1", "SC-2"))
    assert (first.state, first.standing) == ("open", "open again: complaint")
    assert (other.state, other.standing) == ("done", "release")
    told = {"owner": "Karim Aziz", "cause": "unknown", "action": "nothing found", "who": "Mira"}
    complaint_desk.look_into(store, "SC-2", 1, **told)
    complaint_desk.close_complaint(store, "SC-2", 1, by="Nora Sand", who="Mira")
    assert [each.name for each in complaint_desk.open_complaints(store)] == ["SC-1"]
    with pytest.raises(RecordError, match="Decide SC-1 anew"):
        complaint_desk.close_complaint(store, "SC-1", 1, by="Nora Sand", who="Mira")
    batch_desk.decide(
        store, "SC-1", Disposition.REJECT, by="Nora Sand", role="release officer",
        reason="rubber", cause="line",
    )  # fmt: skip
    assert store.verify() == []


def test_a_batch_that_cannot_be_read_is_left_for_the_check_to_find(opens, old_file):
    with closing(sqlite3.connect(old_file)) as connection:
        connection.execute("UPDATE register SET content = '[]' WHERE name = 'sc-1'")
        connection.commit()
    store = opens(f"sqlite:///{old_file}")
    assert store.verify() == ["Batch sc-1 is not what the journal says."]


def test_a_record_on_a_server_gets_the_links_too(opens, postgres_url, old_file):
    """The step alone, on the tables as version 5 left them."""
    store = opens(postgres_url)
    with store._engine.begin() as connection:
        for table in ("register", "register_links"):
            columns = [row[1] for row in rows_of(old_file, f"PRAGMA table_info({table})")]
            for row in rows_of(old_file, f"SELECT * FROM {table}"):
                names, marks = ", ".join(columns), ", ".join(f":{name}" for name in columns)
                statement = sa.text(f"INSERT INTO {table} ({names}) VALUES ({marks})")
                connection.execute(statement, dict(zip(columns, row, strict=True)))
        with Operations.context(MigrationContext.configure(connection)):
            v0006_complaints.upgrade()
    assert [each.name for each in complaint_desk.open_complaints(store)] == ["SC-1", "SC-2"]
