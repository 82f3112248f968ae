"""A ballot that was sent stands: against other windows, other servers, the leader and SQL."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.sessions import booths
from sensory.sessions.workflow import close, enter_cells
from sensory.store.archive import archive_session, import_archive
from sensory.store.repository import Repository, open_store

from ..programs import Program
from ..sessions.shared import BY, at_booths, finish, lines_of, waiting

SENT = "was sent from its booth, and its answers stand"


def two_windows(
    store: Repository, url: str, people: int, sets: int, start: Callable[..., object]
) -> tuple[int, int]:
    """Two servers with a window each on all booths, and a leader who types between them.

    Returns how many ballots were sent, and how often the leader was refused.
    """
    names = [f"P{number}" for number in range(people)]
    session_id, _, tokens = at_booths(store, people=names, replicates=sets)
    windows = [start("window_process.py", url, place, *tokens.values()) for place in (0, 1)]
    assert [window.stdout.readline() for window in windows] == ["ready\n"] * 2
    for token in tokens.values():
        booths.consent(store, token)
    rng, refused, cells = random.Random(5), 0, store.cells(session_id)
    while any(window.poll() is None for window in windows):
        line = rng.choice(list(cells))
        try:
            enter_cells(store, session_id, {line: {"answer": cells[line]["code_3"]}}, who=BY)
        except RecordError as error:
            refused += SENT in str(error)
    assert [window.returncode for window in windows] == [0, 0]
    told = [line.split() for window in windows for line in window.stdout.read().splitlines()]
    kept = store.cells(session_id)
    assert sorted(int(line) for line, _ in told) == sorted(kept), "sent by none, or by both"
    assert {int(line): answer for line, answer in told} == {
        line: texts["answer"] for line, texts in kept.items()
    }
    sent: set[int] = set()
    for entry in store.entries(session_id):
        changed = {change["line"]: change["name"] for change in entry.content.get("changes", [])}
        assert not sent & changed.keys(), "changed after it was sent"
        sent |= {line for line, name in changed.items() if name == "sent"}
    assert sent == set(kept)
    assert store.verify() == []
    return len(sent), refused


def test_what_a_window_sent_is_what_it_showed_and_stays_so(opens, any_url, run_script):
    sent, refused = two_windows(opens(any_url), any_url, people=3, sets=8, start=run_script)
    assert sent == 24
    assert refused > 0


@pytest.fixture
def finished(opens, any_url):
    """A record, and a session of which Anna has sent all and Bo nothing."""
    store = opens(any_url)
    session_id, _, tokens = at_booths(store, people=("Anna", "Bo"))
    finish(store, tokens["Anna"])
    booths.consent(store, tokens["Bo"])
    return store, session_id, tokens


def test_the_leader_changes_no_answer_that_was_sent(finished):
    store, session_id, _ = finished
    (line,), (other,) = (lines_of(store, session_id, name) for name in ("Anna", "Bo"))
    before, entries = store.cells(session_id), len(store.entries(session_id))
    for column in ("answer", "guess", "comment", "sent"):
        with pytest.raises(RecordError, match=rf"row {line} {SENT}"):
            enter_cells(store, session_id, {other: {"comment": "x"}, line: {column: "x"}}, who=BY)
    assert (store.cells(session_id), len(store.entries(session_id))) == (before, entries)
    assert enter_cells(store, session_id, {line: {"departure": "exchanged"}}, who=BY) == 1


def test_a_window_that_shows_something_else_sends_nothing(finished):
    store, _, tokens = finished
    ballot = waiting(store, tokens["Bo"])
    mine, other = ({ballot.line: {"answer": code}} for code in ballot.codes[:2])
    booths.keep(store, tokens["Bo"], ballot.line, mine)
    booths.keep(store, tokens["Bo"], ballot.line, other)
    after = booths.send(store, tokens["Bo"], ballot.line, shown=mine)
    assert (after.ballot.line, after.ballot.asked[0].given) == (ballot.line, ballot.codes[1])
    assert booths.send(store, tokens["Bo"], ballot.line, shown=other).ballot is None
    assert booths.send(store, tokens["Bo"], ballot.line, shown=other).ballot is None
    with pytest.raises(RecordError, match="Another window sent this ballot with other answers"):
        booths.send(store, tokens["Bo"], ballot.line, shown=mine)


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE ballot_cells SET text = '000' WHERE line = {line} AND name = 'answer'",
        "UPDATE ballot_cells SET name = 'answer' WHERE line = {line} AND name = 'replicate'",
        "DELETE FROM ballot_cells WHERE line = {line} AND name = 'answer'",
        "DELETE FROM ballot_cells WHERE line = {line} AND name = 'sent'",
        "INSERT INTO ballot_cells (session, line, name, text) "
        "SELECT session, line, 'comment', 'x' FROM ballot_cells "
        "WHERE line = {line} AND name = 'sent'",
    ],
)
def test_the_database_takes_no_other_answer_of_a_sent_line(finished, change):
    store, session_id, _ = finished
    (line,), (other,) = (lines_of(store, session_id, name) for name in ("Anna", "Bo"))
    before = store.cells(session_id)
    with (
        pytest.raises(sa.exc.IntegrityError, match="takes no other answer"),
        store._engine.begin() as connection,
    ):
        connection.exec_driver_sql(change.format(line=line))
    assert store.cells(session_id) == before
    with store._engine.begin() as connection:  # another ballot takes it
        connection.exec_driver_sql(change.format(line=other))


def test_a_session_with_sent_ballots_is_imported_elsewhere(finished, opens):
    store, session_id, tokens = finished
    finish(store, tokens["Bo"])
    close(store, session_id, who=BY)
    other = opens()
    import_archive(other, archive_session(store, session_id), who=BY, why="moved")
    assert other.cells(session_id) == store.cells(session_id)
    assert other.verify() == []


if __name__ == "__main__":
    done = 0
    while done < 10_000:
        with tempfile.TemporaryDirectory() as folder:
            url = f"sqlite:///{Path(folder) / 'r.sqlite3'}"
            opened = open_store(url)
            done += two_windows(
                opened,
                url,
                10,
                100,
                lambda name, *given: Program(Path(__file__).with_name(name), *given),
            )[0]
            opened.close()
        print(f"{done} ballots sent from two windows on two servers: none was changed", flush=True)
