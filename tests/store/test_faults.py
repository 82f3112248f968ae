"""Full disks, lacking rights, clocks set back, copies while writing: nothing is lost unsaid."""

from __future__ import annotations

import dataclasses
import io
import shutil
import sqlite3
import tempfile
import threading
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.catalogue.question import Question
from sensory.sessions.finding import session_report
from sensory.sessions.session import SessionDetails, StoredSession
from sensory.sessions.workflow import agree, close, enter_cells, open_session, reopen
from sensory.store import journal
from sensory.store.archive import archive_session
from sensory.store.repository import Repository, open_store

from ..programs import Program
from ..shared import ALL_YES, ANSWERS, CARE, add, put, write_lines

ROOT = Path(__file__).parents[2]
SESSION = StoredSession(
    id="damson",
    created_at="2026-09-14T08:00:00+00:00",
    details=SessionDetails(title="0", leader="Änne Weiß"),
    question=Question(pd_limit=0.30),
    cautions={},
)
WHO = {"who": "Änne Weiß", "why": "typed"}


@pytest.fixture
def store(opens, sqlite_url: str) -> Repository:
    opened = opens(sqlite_url)
    add(opened, SESSION, {2: {"assessor": "Karim Aziz", "answer": "412"}}, **WHO)
    return opened


@pytest.fixture
def start(run_script) -> Callable[..., Program]:
    """Starts `failing_process.py` with these arguments."""
    return partial(run_script, "failing_process.py")


def lines_of(process: Program) -> list[str]:
    said = process.rest()
    assert process.returncode == 0
    return said.splitlines()


# Disk and rights.


def test_full_disk_loses_nothing_that_was_acknowledged(store, sqlite_url, start):
    *said, last = lines_of(start("full", sqlite_url, SESSION.id))
    assert said == [str(number) for number in range(len(said))]
    assert len(said) > 5
    assert "not saved yet" in last
    kept = store.cells(SESSION.id)
    assert {int(number) for number in said} <= kept.keys()
    assert len(kept.keys() - {2}) <= len(said)
    assert store.verify() == []
    assert write_lines(store, SESSION.id, {900: {"answer": "837"}}, **WHO) == 1


def test_copy_on_a_full_disk_leaves_nothing_behind(store, tmp_path):
    big = {number: {"comment": "flat " * 20_000} for number in range(20)}
    write_lines(store, SESSION.id, big, **WHO)
    code = (
        "import resource, signal, sys\n"
        "from pathlib import Path\n"
        "from sensory.store.repository import open_store\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "store = open_store(sys.argv[1])\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))\n"
        "try:\n"
        "    store.backup(Path(sys.argv[2]))\n"
        "except ValueError as error:\n"
        "    print(error)\n"
    )
    to = tmp_path / "copies" / "copy.sqlite3"
    to.parent.mkdir()
    (told,) = lines_of(Program("-c", code, store._engine.url, to))
    assert "could not be written" in told
    assert list(to.parent.iterdir()) == []


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that everybody can look into; those of pytest belong to one user only."""
    folder = Path(tempfile.mkdtemp(prefix="record"))
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@pytest.mark.parametrize("version", [1, 2])
def test_record_in_a_folder_that_may_only_be_read(open_folder, start, version):
    file = open_folder / "panel.sqlite3"
    if version == 1:
        shutil.copy(Path(__file__).with_name("version_1.record"), file)
    else:
        opened = open_store(f"sqlite:///{file}")
        add(opened, SESSION, {2: {"answer": "412"}}, **WHO)
        opened._engine.dispose()
    file.chmod(0o444)
    open_folder.chmod(0o555)
    before = file.read_bytes()
    said = lines_of(start("rights", f"sqlite:///{file}", SESSION.id))
    assert "written" not in said
    assert "The record" in said[-1]
    assert "cannot be" in said[-1]
    assert file.read_bytes() == before
    assert [path.name for path in open_folder.iterdir()] == [file.name]


def test_folder_that_may_not_be_written(open_folder, start):
    open_folder.chmod(0o555)
    said = lines_of(start("rights", f"sqlite:///{open_folder / 'new.sqlite3'}", "x"))
    assert "cannot be" in said[-1]
    assert list(open_folder.iterdir()) == []


# The clock.


def test_clock_set_back_does_not_change_the_order(opens, any_url, monkeypatch):
    hours = iter(range(20, 0, -1))
    monkeypatch.setattr(journal, "utc_now", lambda: f"2026-09-14T{next(hours):02}:00:00.000+00:00")
    store = opens(any_url)
    cells = {2: {"assessor": "P1", "order": "ABB", "codes": "412 837 265", "answer": "412"}}
    plain = {
        "details": dataclasses.replace(SESSION.details, care=CARE),
        "question": Question(pd_limit=0.30, **ANSWERS),
        "cautions": ALL_YES,
    }
    open_session(store, "s", **plain, cells=cells, **WHO)
    agree(store, "s", who="Änne Weiß")
    close(store, "s", who="Änne Weiß")
    reopen(store, "s", who="Änne Weiß", why="misread")
    enter_cells(store, "s", {2: {"answer": "837"}}, who="Änne Weiß")
    close(store, "s", who="Änne Weiß")
    entries = store.entries("s")
    whats = ["opened", "agreed", "closed", "reopened", "cells", "closed"]
    assert [entry.what for entry in entries] == whats
    numbers = [entry.number for entry in entries]
    assert numbers == sorted(set(numbers))
    times = [entry.at for entry in entries]
    assert times == sorted(times, reverse=True)
    assert store.verify() == store.verify("s") == []
    afterwards = session_report(store, "s", version="1").afterwards
    assert any("'412' became '837'" in line for line in afterwards)


# Several processes.


def test_two_processes_changing_the_same_session_lose_no_update(opens, any_url, start):
    store = opens(any_url)
    add(store, SESSION, {}, **WHO)
    counting = [start("count", any_url, SESSION.id, 60) for _ in range(2)]
    assert [lines_of(process) for process in counting] == [["done"], ["done"]]
    assert store.session(SESSION.id).details.title == "120"
    changes = [entry.content["changed"] for entry in store.entries(SESSION.id)[1:]]
    assert [change["details"]["title"] for change in changes] == [
        str(number) for number in range(1, 121)
    ]
    assert store.verify() == []


def test_two_processes_opening_a_new_record_make_it_once(any_url):
    code = (
        "import sys; from sensory.store.repository import open_store\n"
        "print(open_store(sys.argv[1]).verify())"
    )
    processes = [Program("-c", code, any_url) for _ in range(2)]
    assert [lines_of(process) for process in processes] == [["[]"], ["[]"]]


def test_checking_while_others_write_gives_no_false_alarm(opens, any_url, run_writer):
    store = opens(any_url)
    add(store, SESSION, {}, **WHO)
    writer = run_writer(any_url, SESSION.id, 2, 150)
    checks = 0
    while writer.poll() is None:
        assert store.verify() == []
        assert store.verify(SESSION.id) == []
        checks += 1
    assert checks > 3
    assert len(store.entries(SESSION.id)) == 151


# Copies while in use.


def test_copy_while_a_thread_is_writing_is_one_sound_moment(store, tmp_path):
    stop, written = threading.Event(), []

    def write() -> None:
        number = 10
        while not stop.is_set():
            cell = {number: {"assessor": f"P{number}", "comment": "flat " * 50}}
            write_lines(store, SESSION.id, cell, **WHO)
            written.append(number)
            number += 1

    thread = threading.Thread(target=write)
    thread.start()
    try:
        copies, before = [], []
        for number in range(5):
            while len(written) < 8 * number + 1:
                pass
            before.append(len(written))
            copies.append(tmp_path / f"copy{number}.sqlite3")
            store.backup(copies[-1])
    finally:
        stop.set()
        thread.join()
    for copy, acknowledged in zip(copies, before, strict=True):
        opened = open_store(f"sqlite:///{copy}")
        lines = sorted(opened.cells(SESSION.id).keys() - {2})
        assert lines == list(range(10, 10 + len(lines)))
        assert acknowledged <= len(lines) <= len(written) + 1
        assert opened.verify() == []
        opened._engine.dispose()


def test_copy_is_one_file_that_a_program_can_go_on_with(opens, store, tmp_path):
    to = tmp_path / "copies" / "copy.sqlite3"
    to.parent.mkdir()
    store.backup(str(to))
    assert [path.name for path in to.parent.iterdir()] == ["copy.sqlite3"]
    with closing(sqlite3.connect(to)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    opened = opens(f"sqlite:///{to}")
    assert opened.session(SESSION.id) == SESSION
    assert write_lines(opened, SESSION.id, {2: {"answer": "837"}}, **WHO) == 1
    assert store.cells(SESSION.id)[2]["answer"] == "412"


def test_copy_does_not_write_over_a_file(store, tmp_path):
    (tmp_path / "copy").write_text("cordial")
    with pytest.raises(RecordError, match="is there already"):
        store.backup(tmp_path / "copy")
    assert (tmp_path / "copy").read_text() == "cordial"


def test_copy_into_a_folder_that_is_not_there(store, tmp_path):
    with pytest.raises(RecordError, match="could not be written"):
        store.backup(tmp_path / "nowhere" / "copy")


def test_copy_of_a_record_on_a_server_names_the_program_for_it(postgres_url, tmp_path):
    store = open_store(postgres_url)
    with pytest.raises(RecordError, match="pg_dump"):
        store.backup(tmp_path / "copy")
    store._engine.dispose()
    assert list(tmp_path.iterdir()) == []


def test_locked_record_can_be_read_and_copied(opens, store, tmp_path):
    with closing(sqlite3.connect(store._engine.url.database, isolation_level=None)) as blocker:
        blocker.execute("BEGIN IMMEDIATE")
        blocker.execute("DELETE FROM ballot_cells")
        store.backup(tmp_path / "copy")
        assert store.verify() == []
    copy = opens(f"sqlite:///{tmp_path / 'copy'}")
    assert copy.cells(SESSION.id) == store.cells(SESSION.id)


def test_session_that_is_changed_and_unchanged_keeps_its_fields(store):
    """An update in which nothing differs writes no column."""
    put(store, SESSION, expect=SESSION, what="described", who="Änne Weiß", why="typed")
    assert store.session(SESSION.id) == SESSION
    new = dataclasses.replace(SESSION, cautions={"cleared": True})
    put(store, new, expect=SESSION, what="described", who="Änne Weiß", why="typed")
    assert store.session(SESSION.id) == new
    assert store.verify() == []


def test_record_in_memory_can_be_used(opens):
    store = opens()
    add(store, SESSION, {2: {"assessor": "Karim Aziz"}}, **WHO)
    assert store.erase_person("Karim Aziz", **WHO).remains == ()
    assert store.cells(SESSION.id) == {2: {"assessor": "erased 1"}}
    assert store.verify() == []
    assert sa.make_url("sqlite://").database is None


# For its owner only, and taken up again.


def rights(folder: Path) -> dict[str, str]:
    return {path.name: f"{path.stat().st_mode & 0o777:o}" for path in folder.iterdir()}


def test_record_its_log_and_its_copies_are_for_their_owner_only(opens, tmp_path):
    file = tmp_path / "panel.sqlite3"
    store = opens(f"sqlite:///{file}")
    add(store, SESSION, {2: {"answer": "412"}}, **WHO)
    store.backup(tmp_path / "copy.sqlite3")
    assert rights(tmp_path).keys() > {"panel.sqlite3", "panel.sqlite3-wal", "copy.sqlite3"}
    assert set(rights(tmp_path).values()) == {"600"}


def test_record_that_others_could_read_is_closed_to_them_when_it_is_opened(opens, tmp_path):
    file = tmp_path / "panel.sqlite3"
    shutil.copy(Path(__file__).with_name("version_1.record"), file)
    file.chmod(0o644)
    opens(f"sqlite:///{file}")
    assert set(rights(tmp_path).values()) == {"600"}  # the copy before the upgrade too
    assert len(rights(tmp_path)) > 1


def test_files_of_an_archive_are_for_their_owner_only(opens):
    store = opens()
    add(store, SESSION, {2: {"answer": "412"}}, **WHO)
    with zipfile.ZipFile(io.BytesIO(archive_session(store, SESSION.id))) as packed:
        assert {entry.external_attr >> 16 for entry in packed.infolist()} == {0o600}


def test_record_that_could_only_be_read_is_written_again_when_it_can_be(opens, sqlite_url):
    store = opens(sqlite_url)
    add(store, SESSION, {2: {"answer": "412"}}, **WHO)
    with store._engine.connect() as connection:  # as one that was opened without the right
        connection.exec_driver_sql("PRAGMA query_only = ON")
    with pytest.raises(RecordError, match="readonly database"):
        write_lines(store, SESSION.id, {2: {"answer": "837"}}, **WHO)
    assert write_lines(store, SESSION.id, {2: {"answer": "837"}}, **WHO) == 1


# Opened twice.

LOOKED_IN = """
import sqlite3, sys
with sqlite3.connect(sys.argv[1]) as record:
    (count,) = record.execute("SELECT count(*) FROM sessions").fetchone()
record.close()
print(count)
"""


def test_record_opened_twice_in_a_program_stays_shared_with_other_programs(opens, tmp_path):
    """The second opening let go of the locks of the first, and with them of the log.

    Another program that closed the record then took itself for the last, and removed the log:
    what this program wrote afterwards nobody else saw, and it saw nothing of others.
    """
    file = tmp_path / "panel.sqlite3"
    first, second = opens(f"sqlite:///{file}"), opens(f"sqlite:///{file}")
    add(first, SESSION, {}, **WHO)
    log = file.with_name(f"{file.name}-wal").stat().st_ino
    assert Program("-c", LOOKED_IN, file).rest().strip() == "1"
    add(second, dataclasses.replace(SESSION, id="plum"), {}, **WHO)
    assert Program("-c", LOOKED_IN, file).rest().strip() == "2"
    assert file.with_name(f"{file.name}-wal").stat().st_ino == log
    assert {session.id for session in first.sessions()} == {"damson", "plum"}
