"""Names that look like one person: remarked, and merged on request with the reason on record."""

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.catalogue.checking import check_lines
from sensory.catalogue.question import Question
from sensory.catalogue.tests import find_kind
from sensory.sessions import workflow
from sensory.sessions.session import SessionDetails
from sensory.sessions.spellings import alike_on_ballots, merge_spellings
from sensory.store.repository import open_store

NAMES = ["A.B.", "ab", "A B", "AB", "Cleo", "cleo "]
PROFILE = Question(
    protocol="PROFILE",
    settings={"attributes": "sour", "reference": "reference", "margins": "1"},
)


def cells(names=NAMES):
    """Each name scores a sample in a replicate of its own."""
    return {
        line: {
            "assessor": name,
            "sample": "reference" if line % 2 else "new",
            "replicate": str(line),
            "sour": f"{3 + line % 4}",
        }
        for line, name in enumerate(names, start=2)
    }


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path / 'record.sqlite3'}")
    workflow.open_session(
        opened,
        "s1",
        details=SessionDetails(title="sour"),
        question=PROFILE,
        cells=cells(),
        who="L",
        why="t",
    )
    yield opened
    opened.close()


def remarks(given):
    checked = check_lines(given, find_kind("PROFILE"), PROFILE)
    return [fault for fault in checked.faults if fault.rule == "looks like one person"]


def test_a_remark_names_the_spellings_and_blocks_nothing():
    (fault,) = remarks(cells())
    assert fault.problem == (
        "A.B., ab and A B look like one person in several spellings; they count as 3 assessors."
    )
    assert not fault.blocking
    assert not remarks(cells(["Anna", "Hanna", "P1", "P2", "1.2", "12"]))


def test_merging_gives_one_spelling_and_keeps_the_reason_without_names(store):
    assert alike_on_ballots(store.cells("s1")) == [("ab", "A.B.", "A B")]
    assert merge_spellings(store, "s1", "ab", who="L") == 2
    names = [texts["assessor"] for texts in store.cells("s1").values()]
    assert names == ["ab", "ab", "ab", "AB", "Cleo", "cleo "]
    assert not remarks(store.cells("s1"))
    entry = store.entries("s1")[-1]
    assert entry.why == "one person in 3 spellings: rows 2, 3, 4, 5"
    assert entry.who == "L"
    assert store.verify() == []
    with pytest.raises(RecordError, match="nothing is left to merge"):
        merge_spellings(store, "s1", "ab", who="L")


def test_closed_ballots_are_not_merged(store):
    session = store.session("s1")
    with store.action(who="L", why="t") as act:
        act.put(
            replace(session, closed_at="2026-11-27T10:00:00+00:00"),
            expect=session, what="closed",
        )  # fmt: skip
    with pytest.raises(RecordError, match="closed"):
        merge_spellings(store, "s1", "ab", who="L")
    assert len({texts["assessor"] for texts in store.cells("s1").values()}) == 6
