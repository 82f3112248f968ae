"""The page of the ballots, once they are closed."""

from __future__ import annotations

from datetime import UTC, datetime

from sensory.screens.frame import minute
from sensory.serving.ballot_line import CONSENT, SENT
from sensory.sessions import workflow

from ..shared import write_lines
from .pages import BY, put, run

AT = "2026-09-14T10:31:07+00:00"


def test_times_of_closed_ballots_are_local(store, url):
    put(store, stage="agreed")
    row = min(store.cells("s1"))
    write_lines(store, "s1", {row: {SENT: AT, CONSENT: f"not today {AT}"}}, who=BY, why="t")
    workflow.close(store, "s1", who=BY)
    frame = run("ballots", url).dataframe[0].value
    local = minute(datetime(2026, 9, 14, 10, 31, 7, tzinfo=UTC).isoformat())
    assert list(frame.loc[frame["row"] == str(row), SENT]) == [local]
    assert list(frame.loc[frame["row"] == str(row), CONSENT]) == [f"not today {local}"]
    assert "T10:31" not in frame.to_string()
