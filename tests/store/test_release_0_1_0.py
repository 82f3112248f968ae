"""A record and archives that release 0.1.0 wrote are opened, and say what they said."""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from sensory.release.batch_records import BatchRecord
from sensory.release.product_desk import rule_for
from sensory.sessions import booths
from sensory.sessions.workflow import close, reopen
from sensory.store import tables
from sensory.store.archive import archive_session, import_archive, read_archive
from sensory.store.repository import Repository, open_store

HERE = Path(__file__).parent
SAID = json.loads((HERE / "release_0_1_0.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Repository]:
    """A copy of the record, brought up to date."""
    file = tmp_path_factory.mktemp("record") / "panel.sqlite3"
    file.write_bytes(gzip.decompress((HERE / "release_0_1_0.record.gz").read_bytes()))
    opened = open_store(f"sqlite:///{file}")
    yield opened
    opened.close()


def test_it_is_brought_up_to_date_with_an_unbroken_chain(store):
    assert store.verify() == SAID["verify"] == []
    with store._engine.connect() as connection:
        assert connection.scalar(sa.select(tables.schema.c.version)) == tables.SCHEMA_VERSION
        numbers = connection.scalars(sa.select(tables.journal.c.number).order_by("number")).all()
    # One entry more: what a booth had left of the name of the erased person is gone.
    assert numbers == list(range(1, SAID["journal"] + 2))
    last = store.entries("")[-1]
    assert (last.number, last.who, last.what) == (numbers[-1], "program", "person erased")


@pytest.mark.parametrize("name", SAID["ids"])
def test_its_sessions_stand_as_they_stood(store, name):
    then, session = SAID["sessions"][name], store.session(SAID["ids"][name])
    assert {
        "id": session.id,
        "title": session.details.title,
        "stage": session.stage,
        "protocol": session.question.protocol,
        "digest": session.digest,
        "lines": len(store.cells(session.id)),
        "entries": len(store.entries(session.id)),
    } == {
        key: then[key] for key in ("id", "title", "stage", "protocol", "digest", "lines", "entries")
    }
    assert session.question.digest == session.digest or not session.digest
    assert store.verify(session.id) == []


@pytest.mark.parametrize("number", SAID["batches"])
def test_its_batches_stand_as_they_stood(store, number):
    then, record = SAID["batches"][number], store.noun(BatchRecord, number)
    plain = json.loads(json.dumps(record.to_dict()))
    kept = ("reference", "tastings", "finding", "recommended", "decisions", "clearance")
    assert {name: plain[name] for name in kept} == {name: then[name] for name in kept}
    rule = rule_for(store, record)
    agreed = dict(then["rule"] or {})
    if agreed:  # four findings then: beyond the limit it does what it did at a difference
        done = agreed["dispositions"]
        agreed["dispositions"] = done | {"BEYOND_LIMIT": done["DIFFERENT"]}
    assert (json.loads(json.dumps(rule.to_dict())) if rule else {}) == agreed
    # Only the words changed since.
    waits_for = then["waits_for"].replace("decision; it is held", "decision: it is on hold")
    assert (record.state, record.waits_for) == (then["state"], waits_for)


def test_its_sessions_are_read_as_they_were_read_then(opens, store, tmp_path):
    """Opened again and closed, each shows what the journal says of its first closing.

    But for what today is beyond the limit, which that release could not say.
    """
    store.backup(tmp_path / "copy.sqlite3")
    copy = opens(f"sqlite:///{tmp_path / 'copy.sqlite3'}")
    closed = [key for key in SAID["ids"].values() if copy.session(key).closed]
    assert len(closed) > 20
    far = ("profile", "difference from control", "tasting 1 of MC-5", "tasting 1 of QC-2")
    read, beyond = {}, {SAID["ids"][name] for name in far}
    for key in closed:
        (before,) = [entry.why for entry in copy.entries(key) if entry.what == "closed"][-1:]
        reopen(copy, key, who="Ada", why="to be read again")
        close(copy, key, who="Ada")
        read[before] = copy.entries(key)[-1].why
        if key in beyond:
            assert read[before] == before.replace("Different", "Beyond limit") != before
        else:
            assert read[before] == before
    assert copy.verify() == []


def test_its_links_lead_to_their_booths(store):
    for links in SAID["booths"].values():
        for who, link in links.items():
            visit = booths.visit(store, link["token"])
            assert (visit.assessor, visit.sent) == (who, link["sent"])


def test_the_erased_name_stays_erased(store):
    names = {
        texts.get("assessor")
        for session in SAID["ids"].values()
        for texts in store.cells(session).values()
    }
    assert SAID["erased"]["name"] not in names
    assert SAID["erased"]["shown_as"] in names


@pytest.mark.parametrize("name", SAID["archives"])
def test_its_archives_are_imported_and_written_again(opens, store, name):
    content, then = (HERE / name).read_bytes(), SAID["archives"][name]
    archive = read_archive(content)
    assert (archive.digest, len(archive.cells)) == (then["digest"], then["lines"])
    assert (len(archive.entries), archive.outcome) == (then["entries"], None)
    other = opens()
    session = import_archive(other, content, who="Ada", why="moved")
    assert session == store.session(then["session"])
    assert len(other.cells(session.id)) == then["lines"]
    assert (other.outcome(session.id) is not None) == session.closed
    assert other.verify() == []
    again = read_archive(archive_session(other, session.id))
    assert (again.session, again.outcome) == (session, other.outcome(session.id))
    other.close()
