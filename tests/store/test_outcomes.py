"""What a closed session showed: kept with its digest, without names, and gone when reopened."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.base.records import digest_of
from sensory.base.version import __version__
from sensory.catalogue.question import Question
from sensory.sessions.filling import fill_outcomes
from sensory.sessions.session import SessionDetails, StoredSession
from sensory.sessions.workflow import agree, open_session, read_prepared, reopen
from sensory.sessions.workflow import close as close_session
from sensory.store import tables
from sensory.store.archive import archive_session, import_archive, read_archive
from sensory.store.repository import Repository, open_store

DEMO = Path(__file__).parents[2] / "demo_data"
ID = "damson"
SESSION = StoredSession(
    id=ID,
    created_at="2026-09-14T08:00:00+00:00",
    details=SessionDetails(title="Damson"),
    question=Question(pd_limit=0.30),
    cautions={},
    agreed_at="2026-09-14T08:30:00+00:00",
)
CLOSED = replace(SESSION, closed_at="2026-09-14T09:00:00+00:00")
LINES = {2: {"assessor": "Karim Aziz"}}
OUTCOME: dict[str, Any] = {"finding": "SIMILAR", "means": [1.25, -0.0, 3e-17, "inf"]}
BY = {"who": "Mira Lund", "why": "typed"}


def close(store: Repository, session: StoredSession = SESSION, plain: Any = OUTCOME) -> None:
    with store.action(**BY) as act:
        act.keep_outcome(session.id, plain)
        act.put(replace(session, closed_at=CLOSED.closed_at), expect=session, what="closed")


@pytest.fixture
def store(any_url: str) -> Iterator[Repository]:
    opened = open_store(any_url)
    with opened.action(**BY) as act:
        act.add(SESSION, LINES)
    yield opened
    opened.close()


@pytest.fixture
def closed(store: Repository) -> Repository:
    close(store)
    return store


def kept(store: Repository) -> Any:
    with store._engine.connect() as connection:
        return connection.scalar(sa.select(tables.outcomes.c.content))


def test_it_comes_back_as_it_was_kept_and_the_closing_holds_its_digest(closed):
    assert closed.outcome(ID) == OUTCOME
    assert json.dumps(closed.outcome(ID), sort_keys=True) == json.dumps(OUTCOME, sort_keys=True)
    assert [entry.what for entry in closed.entries(ID)] == ["opened", "closed"]
    assert closed.entries(ID)[-1].content["outcome"] == digest_of(kept(closed))
    assert closed.verify() == closed.verify(ID) == []


def test_no_name_is_in_it_nor_in_a_new_archive_when_the_person_was_erased(any_url):
    """Names stand in sentences and tables of the outcome; they are kept as rows."""
    store = open_store(any_url)
    prepared = read_prepared(DEMO, "suspect_batch")
    name = next(iter(prepared["cells"].values()))["assessor"]
    open_session(store, ID, **prepared, who="Mira Lund", why="typed")
    agree(store, ID, who="Mira Lund")
    close_session(store, ID, who="Mira Lund")
    store.erase_person(name, **BY)
    archive = archive_session(store, ID)
    with zipfile.ZipFile(io.BytesIO(archive)) as files:
        written = b"".join(map(files.read, files.namelist())).decode()
    assert name not in json.dumps(kept(store), ensure_ascii=False) + written
    assert "erased 1" in written
    assert store.verify() == []
    store.close()


@pytest.mark.parametrize("change", ["other", "gone", "put in"])
def test_a_change_behind_the_back_is_found(store, change):
    if change != "put in":
        close(store)
    table = tables.outcomes
    with store._engine.begin() as connection:
        if change == "other":
            connection.execute(sa.update(table).values(content=OUTCOME | {"finding": "DIFFERENT"}))
        elif change == "gone":
            connection.execute(sa.delete(table))
        else:
            connection.execute(sa.insert(table).values(session=ID, content=OUTCOME))
    wrong = [f"What session {ID} showed is not what was kept."]
    assert store.verify() == store.verify(ID) == wrong


def test_reopening_removes_it(closed):
    reopen(closed, ID, who="Mira Lund", why="misread")
    assert closed.outcome(ID) is None
    assert closed.verify() == []
    close(closed, closed.session(ID), {"finding": "DIFFERENT"})
    assert closed.outcome(ID) == {"finding": "DIFFERENT"}
    assert closed.verify() == []


@pytest.mark.parametrize("plain", [{"se": float("nan")}, {"se": float("inf")}, {"se": object()}])
def test_what_is_no_json_is_refused_and_nothing_is_written(store, plain):
    with pytest.raises(RecordError, match="cannot be kept"):
        close(store, plain=plain)
    assert not store.session(ID).closed
    assert store.verify() == []


def test_archive_carries_it_to_another_record(closed):
    closed.erase_person("Karim Aziz", **BY)
    content = archive_session(closed, ID)
    assert read_archive(content).outcome == closed.outcome(ID)
    other = open_store("sqlite://")
    import_archive(other, content, **BY)
    assert other.verify() == []
    assert other.outcome(ID) == OUTCOME
    assert [entry.what for entry in other.entries(ID)] == ["imported", "opened", "closed"]
    other.close()


def test_archive_with_another_outcome_or_without_it_is_refused(closed, repacked):
    content = archive_session(closed, ID)
    for change in (lambda plain: plain | {"finding": "DIFFERENT"}, lambda _: None):
        with pytest.raises(RecordError, match=r"does not lead to its outcome\.json"):
            read_archive(repacked(content, change))


@pytest.fixture
def repacked():
    """An archive with another outcome, its sums made anew; None leaves it out."""
    from sensory.store import archive_form as form

    def pack(content: bytes, change: Any) -> bytes:
        files = form.unpacked_files(content)
        package = json.loads(files.pop(form.PACKAGE))
        del files[form.SUMS]
        new = change(json.loads(files.pop(form.OUTCOME)))
        if new is not None:
            files[form.OUTCOME] = form.json_bytes(new)
        words = {key: package[key] for key in ("name", "title")}
        return form.packed(files, {}, words)

    return pack


def test_sessions_closed_before_are_read_once_when_the_record_is_opened(store):
    with store.action(**BY) as act:
        act.put(CLOSED, expect=SESSION, what="closed")
        for name in ("unreadable", "open"):
            stage = CLOSED if name == "unreadable" else SESSION
            act.add(replace(stage, id=name), {2: {"assessor": name}})
    assert fill_outcomes(store, who="this program") == 0  # nothing in them can be read
    assert store.outcome(ID) is None
    assert store.verify() == []


def test_a_session_closed_before_is_read_once_when_the_record_is_opened(any_url):
    store = open_store(any_url)
    open_session(store, ID, **read_prepared(DEMO, "suspect_batch"), who="Mira Lund", why="typed")
    agree(store, ID, who="Mira Lund")
    close_session(store, ID, who="Mira Lund")
    shown = store.outcome(ID)
    with store._engine.begin() as connection:
        connection.execute(sa.delete(tables.outcomes))
        entries = sa.select(tables.journal.c.number).order_by(tables.journal.c.number.desc())
        assert connection.scalar(entries)
    assert store.outcome(ID) is None
    assert fill_outcomes(store, who="this program") == 1
    assert store.outcome(ID) == shown
    entry = store.entries(ID)[-1]
    assert (entry.what, entry.who) == ("outcome recorded", "this program")
    assert __version__ in entry.why
    assert fill_outcomes(store, who="this program") == 0
    store.close()
