"""Another file takes the place of a faulty one, and the journal keeps both."""

from __future__ import annotations

import pytest

from sensory.base.errors import RecordError
from sensory.catalogue.tests import find_kind
from sensory.sessions import workflow
from sensory.sessions.lines import cells_of_file
from sensory.sessions.replaced import replace_ballots

from .shared import BY, agreed, planned

HEAD = b"assessor,order,codes,answer,comment\n"
FAULTY = HEAD + b"Anna,AAB,111 222 333,999,too sweet\nBo,ABA,111 222 333,222,\nCleo,BAA,1 2,1,\n"
GOOD = HEAD + b"Anna,AAB,111 222 333,333,\nBo,ABA,111 222 333,222,\n"


def loaded(content):
    """Its cells by line; empty ones are not on record."""
    cells, _ = cells_of_file(content, find_kind("TRIANGLE").ballot)
    return {line: {k: v for k, v in texts.items() if v} for line, texts in cells.items()}


def test_a_faulty_file_is_replaced_whole_and_the_journal_keeps_it(store):
    session = agreed(store, "reformulation", assessors=2)
    replace_ballots(store, session, loaded(FAULTY), remarks=["odd"], who=BY, why="first file")
    assert workflow.checked_ballots(store, session).blocking
    assert store.session(session).details.file_remarks == "odd"
    replace_ballots(store, session, loaded(GOOD), who=BY, why="second file")
    assert store.cells(session) == loaded(GOOD)
    assert workflow.checked_ballots(store, session).blocking == ()
    assert store.session(session).details.file_remarks == ""
    written = [entry.content.get("changes", []) for entry in store.entries(session)]
    kept = [change for changes in written for change in changes]
    assert {"line": 2, "name": "comment", "old": "too sweet", "new": ""} in kept
    assert replace_ballots(store, session, loaded(GOOD), who=BY, why="again") == 0
    assert store.verify() == []


def test_what_is_closed_or_planned_is_not_replaced(store):
    session = agreed(store, "suspect_batch", cells=True)
    workflow.close(store, session, who=BY)
    before = store.cells(session)
    with pytest.raises(RecordError, match="reopen the session with a reason"):
        replace_ballots(store, session, loaded(GOOD), who=BY, why="late")
    assert store.cells(session) == before
    with_plan, _ = planned(store)
    before = store.cells(with_plan)
    with pytest.raises(RecordError, match="served by a plan, which a file cannot replace"):
        replace_ballots(store, with_plan, loaded(GOOD), who=BY, why="file")
    assert store.cells(with_plan) == before
