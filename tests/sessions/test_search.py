"""Sessions are found however many newer ones there are."""

from __future__ import annotations

from dataclasses import replace

import pytest
import sqlalchemy as sa

from sensory.catalogue.question import Question
from sensory.sessions.attempts import batch_of
from sensory.sessions.copies import open_copy_of
from sensory.sessions.finding import attempts_on_record
from sensory.sessions.learned import sessions_to_learn_from
from sensory.sessions.search import find_sessions
from sensory.sessions.session import Sample, SessionDetails, StoredSession
from sensory.store import tables
from sensory.store.rows import columns_of

OLD = "2020-01-01T08:00:00+00:00"


def session(number, title, batch, protocol="TRIANGLE", at=OLD):
    samples = (Sample(letter="A"), Sample(letter="B", batch=batch))
    details = SessionDetails(title=title, samples=samples)
    question = Question(protocol=protocol)
    own = {"id": f"s{number}", "created_at": at, "details": details, "question": question}
    return StoredSession(**own, cautions={}, agreed_at=at, closed_at=at)


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Two old sessions beneath 1,001 newer ones."""
    from sensory.store.repository import open_store

    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('many') / 'r.sqlite3'}")
    daily = session(3, "daily", "QN", "DUO_TRIO", "2021-01-01T08:00:00+00:00")
    several = [session(1, "Küche, old", "SC-1"), session(2, "Water", "SC-2", "SURENESS")]
    rows = list(map(columns_of, [*several, *(replace(daily, id=f"d{n}") for n in range(1001))]))
    with store._engine.begin() as connection:
        connection.execute(sa.insert(tables.sessions), rows)
    yield store
    store.close()


@pytest.mark.parametrize(
    ("text", "ids"),
    [("küche", ["s1"]), ("sc-2", ["s2"]), ("Triangle", ["s1"]), ("", [])],
)
def test_a_session_is_found_by_title_batch_and_test_however_old(record, text, ids):
    assert [each.id for each in find_sessions(record, text)] == ids


def test_an_old_attempt_on_the_same_batch_and_an_old_panel_count(record):
    own = record.session("s1")
    again = replace(own, id="now", agreed_at="2026-01-01T08:00:00+00:00", closed_at="")
    assert batch_of(again) == "sc-1"
    assert [each.id for each in attempts_on_record(record, again)] == ["s1"]
    assert [each.id for each in sessions_to_learn_from(record, "SURENESS")] == ["s2"]
    assert len(sessions_to_learn_from(record, "DUO_TRIO")) == 1001


def test_an_invented_session_that_nobody_agreed_is_used_again_however_old(record):
    untouched = replace(record.session("s1"), id="u1", agreed_at=None, closed_at=None)
    with record._engine.begin() as connection:
        connection.execute(sa.insert(tables.sessions), [columns_of(untouched)])
    details, question = untouched.details, untouched.question
    assert open_copy_of(record, details, question).id == "u1"
    assert open_copy_of(record, replace(details, title="Küche"), question) is None
