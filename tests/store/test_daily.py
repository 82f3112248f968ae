"""A changed record is noticed without being asked, a rewritten one beside a hash kept elsewhere."""

from __future__ import annotations

import json
import threading
from pathlib import Path

import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.release.batch_desk import decide
from sensory.release.batch_records import BatchRecord, ProductRecord, Tasting
from sensory.release.batches import Batch, Disposition, Product
from sensory.report.documents import session_words
from sensory.sessions import workflow
from sensory.sessions.finding import session_report
from sensory.sessions.session import Check
from sensory.sessions.soundness import last_check
from sensory.store import daily, tables
from sensory.store.archive import archive_session
from sensory.store.journal import COLUMNS, _sha
from sensory.store.repository import Repository

from ..shared import put_noun

DEMO = Path(__file__).parents[2] / "demo_data"
BY = {"who": "Mira Lund", "why": "typed"}
ELSEWHERE = "the record was changed outside this program"


@pytest.fixture
def store(opens, sqlite_url) -> Repository:
    """A closed session, and a batch that it was a tasting of."""
    opened = opens(sqlite_url)
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    workflow.open_session(opened, "s1", **prepared, **BY)
    workflow.agree(opened, "s1", who="Mira Lund")
    workflow.close(opened, "s1", who="Mira Lund")
    batch = Batch(number="M-1", product="Medlar", made_on="2026-03-04", line="1")
    put_noun(opened, ProductRecord(product=Product(name="Medlar")), expect=None, what="new", **BY)
    tasted = BatchRecord(batch=batch, reference="M1", tastings=(Tasting(session="s1", test="T"),))
    put_noun(opened, tasted, expect=None, what="new", **BY)
    return opened


def behind_its_back(store: Repository, statement: str) -> None:
    with store._engine.begin() as connection:
        connection.exec_driver_sql(statement)


def test_finding_decision_and_archive_refuse_a_changed_session(store):
    assert session_report(store, "s1", version="1").outcome
    assert archive_session(store, "s1")
    by = {"by": "Nora", "role": "head", "reason": "similar"}
    with pytest.raises(RecordError, match="no release rule yet"):
        decide(store, "M-1", Disposition.RELEASE, **by)
    behind_its_back(store, "UPDATE outcomes SET content = replace(content, 'A', 'B')")
    for asked in (
        lambda: session_report(store, "s1", version="1"),
        lambda: archive_session(store, "s1"),
        lambda: decide(store, "M-1", Disposition.RELEASE, **by),
    ):
        with pytest.raises(RecordError, match=ELSEWHERE):
            asked()


def test_a_decision_refuses_a_changed_batch(store):
    behind_its_back(store, "UPDATE register SET line = '2' WHERE kind = 'batch'")
    with pytest.raises(RecordError, match=f"{ELSEWHERE}. Batch m-1 is not what"):
        decide(store, "M-1", Disposition.REJECT, by="Nora", role="head", reason="off")


def test_a_report_prints_the_newest_hash(store):
    report = session_report(store, "s1", version="1")
    with store._engine.connect() as connection:
        newest = connection.scalar(sa.text("SELECT sha256 FROM journal ORDER BY number DESC"))
    assert report.newest.sha256 == newest
    assert f"SHA-256 {newest}" in session_words(report)["footer"]


def test_a_check_is_kept_with_its_time_and_what_was_wrong(opens, store, sqlite_url):
    assert last_check(store) is None
    first = daily.check_now(store)
    assert (first.wrong, first.number) == ((), store.newest().number)
    assert last_check(opens(sqlite_url)) == last_check(store) == first
    behind_its_back(store, "UPDATE ballot_cells SET text = 'x' WHERE line = 2 AND name = 'answer'")
    assert daily.check_now(store).wrong[0].startswith("Session s1, row 2, answer: 'x' stands")
    assert last_check(opens(sqlite_url)).wrong
    assert store.newest().number == first.number  # a check is no entry


def test_the_thread_checks_what_is_due_and_stops(store, monkeypatch):
    monkeypatch.setattr(daily, "_FIRST_AFTER", 0.0)
    monkeypatch.setattr(daily, "_LOOKED_EACH", 0.01)
    stop, done = threading.Event(), threading.Event()
    checked = daily.check_now

    def counted(*asked):
        done.set()
        return checked(*asked)

    monkeypatch.setattr(daily, "check_now", counted)
    thread = threading.Thread(target=daily.check_daily, args=(store, None, stop))
    thread.start()
    assert done.wait(60)
    stop.set()
    thread.join(60)
    assert last_check(store).wrong == ()


@pytest.mark.parametrize(
    ("at", "due"),
    [
        ("2026-09-14T08:00:00+00:00", True),
        ("2026-09-15T07:00:00+00:00", False),
        ("2026-09-16T09:00:00+00:00", True),  # the clock was set back since
    ],
)
def test_a_check_is_due_after_a_day(monkeypatch, at, due):
    class Clock(daily.datetime):
        @classmethod
        def now(cls, zone=None):
            return cls.fromisoformat("2026-09-15T09:00:00+00:00")

    monkeypatch.setattr(daily, "datetime", Clock)
    assert daily.is_due(Check(at=at, number=1, sha256="")) is due


def test_a_rewrite_of_the_last_entries_shows_beside_the_file_of_anchors(store, tmp_path):
    anchors = tmp_path / "elsewhere.txt"
    daily.check_now(store, anchors)
    assert [line.split()[1:] for line in anchors.read_text().splitlines()] == [
        [str(store.newest().number), store.newest().sha256]
    ]
    with store._engine.begin() as connection:  # the last entry and its row, with a new hash
        at = tables.journal.c.number == store.newest().number
        row = dict(connection.execute(sa.select(tables.journal).where(at)).mappings().one())
        noun = json.loads(row["content"])
        noun["noun"]["content"]["batch"]["line"] = "2"
        row["content"] = json.dumps(noun, sort_keys=True, ensure_ascii=False)
        row["sha256"] = _sha(*(row[name] for name in COLUMNS[:-1]))
        connection.execute(sa.update(tables.journal).where(at).values(row))
        new = {"line": "2", "content": noun["noun"]["content"]}
        batch = tables.register.c.kind == "batch"
        connection.execute(sa.update(tables.register).where(batch).values(new))
    assert store.verify() == []
    (wrong,) = daily.check_now(store, anchors).wrong
    assert wrong.startswith(f"Journal entry {store.newest().number} is not the one that was noted")
    assert len(anchors.read_text().splitlines()) == 1


def test_a_file_of_anchors_that_is_none_is_said(store, tmp_path):
    anchors = tmp_path / "elsewhere.txt"
    anchors.write_text("plums\n")
    (wrong,) = daily.check_now(store, anchors).wrong
    assert "is no anchor: time, number and hash" in wrong
    with pytest.raises(RecordError, match="cannot be written"):
        daily.write_anchor(store, tmp_path)


def test_a_record_that_cannot_be_written_keeps_its_check_until_the_end(store):
    row = "SELECT '2026-09-14' AS at, 0 AS number, '' AS sha256, '[]' AS wrong"
    behind_its_back(store, "DROP TABLE checks")
    behind_its_back(store, f"CREATE VIEW checks AS {row}")  # which takes nothing
    assert last_check(store).at == "2026-09-14"
    check = daily.check_now(store)
    assert last_check(store) == check
