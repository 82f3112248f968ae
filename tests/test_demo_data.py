"""The demo data can be made again to the byte, and show what they are there to show."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from sensory.base.errors import BallotError
from sensory.base.findings import Finding
from sensory.sessions import missing, workflow
from sensory.sessions.finding import session_report
from sensory.sessions.outcomes import check_ballots
from sensory.store.repository import Repository

from .programs import Program

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "demo_data"
PREPARED = sorted(
    path.stem
    for path in DEMO.glob("*.json")
    if path.stem not in ("gradings", "year", "shelf_life", "panel_year")
)


def opened(store: Repository, name: str, here: str = "", **other: object) -> None:
    prepared = workflow.read_prepared(DEMO, name) | other
    workflow.open_session(store, here or name, **prepared, who="Panel leader", why="demo data")
    workflow.agree(store, here or name, who="Panel leader")


RUN = """
import os, runpy, sys
sys.dont_write_bytecode = True
os.chdir(sys.argv[1])
sys.path.insert(0, sys.argv[1])
runpy.run_path(sys.argv[2], run_name="__main__")
"""


def test_making_the_demo_data_again_gives_the_same_bytes(tmp_path):
    scripts = [path.name for path in sorted(DEMO.glob("*.py"))]
    for script in scripts:
        shutil.copy(DEMO / script, tmp_path)
    for script in scripts:
        making = Program("-c", RUN, tmp_path, script)
        assert not making.rest()
        assert making.returncode == 0, script
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}
    kept = {path.name: path.read_bytes() for path in DEMO.iterdir() if path.is_file()}
    assert sorted(made) == sorted(kept)
    for name, content in kept.items():
        assert made[name] == content, name


@pytest.mark.parametrize(
    ("name", "protocol", "trials", "finding"),
    [
        ("reformulation", "TRIANGLE", 66, Finding.SIMILAR),
        ("suspect_batch", "TRIANGLE", 24, Finding.BEYOND_LIMIT),
        ("new_supplier", "DUO_TRIO", 32, Finding.UNDECIDED),
    ],
)
def test_findings(store, name, protocol, trials, finding):
    opened(store, name)
    workflow.close(store, name, who="Panel leader")
    summary = session_report(store, name, version="1")
    assert summary.outcome.test == protocol
    assert (summary.outcome.counts.trials, summary.question.assessors) == (trials, trials)
    assert summary.outcome.counts.assessors == trials
    assert summary.outcome.finding is finding
    assert (summary.outcome.counts.missing, summary.remarks, summary.afterwards) == (0, (), ())


@pytest.mark.parametrize("name", PREPARED)
def test_prepared_sessions_state_all_that_a_report_needs(name):
    prepared = workflow.read_prepared(DEMO, name)
    assert missing.missing_in_question(prepared["question"]) == []
    details = prepared["details"]
    assert [sample.letter for sample in details.samples] == ["A", "B"]
    for text in (details.title, details.held_on, details.place, details.leader, details.decides):
        assert text
    assert all(sample.name and sample.batch and sample.allergens for sample in details.samples)


def test_mistakes_show_eight_kinds():
    cells, remarks = workflow.cells_of_file(DEMO / "mistakes.csv")
    question = workflow.read_prepared(DEMO, "suspect_batch")["question"]
    checked = check_ballots(cells, question)
    assert remarks == []
    assert len(cells) == 18
    assert {(fault.rule, fault.row) for fault in checked.blocking} == {
        ("code not served", 4),
        ("second ballot", 6),
        ("codes alike", 10),
        ("impossible order", 12),
        ("bad code", 14),
        ("answer is no code", 16),
    }
    assert {(fault.rule, fault.row) for fault in checked.remarks if fault.row} == {
        ("no answer", 8),
        ("correct recomputed", 17),
    }


def test_mistakes_keep_a_session_open(store):
    cells, _ = workflow.cells_of_file(DEMO / "mistakes.csv")
    opened(store, "suspect_batch", "mistakes", cells=cells)
    with pytest.raises(BallotError) as caught:
        workflow.close(store, "mistakes", who="Panel leader")
    assert len(caught.value.faults) == 6
