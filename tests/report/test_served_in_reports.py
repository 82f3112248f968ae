"""Both reports say who came, what was declared, and what was served otherwise than planned."""

from __future__ import annotations

from pathlib import Path

from sensory.catalogue.tests import find_kind
from sensory.report.documents import session_pdf
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, exclusions, served, workflow
from sensory.sessions.finding import session_report

from .shared import text_of

DEMO = Path(__file__).parents[2] / "demo_data"
BY = "Panel leader"


def closed(store, name, key, answers, samples=None):
    """A served session: one came late, one not at all, one ballot spilled."""
    prepared = workflow.read_prepared(DEMO, name)
    del prepared["cells"]
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    workflow.agree(store, "s1", who=BY)
    plan = serving_plan(
        find_kind(key), ["Anna", "Bo", "Cleo", "Dora"], seed=2**128 + 69, samples=samples
    )
    booth_plans.serve(store, "s1", plan, ballot_lines(plan), who=BY)
    declared = dict.fromkeys([row.sample for row in plan.rows], "sulphites; milk")
    exclusions.declare_allergens(store, "s1", declared, who=BY)
    booth_plans.did_not_come(store, "s1", "Bo", who=BY)
    spilled = max(line for line, t in store.cells("s1").items() if t["assessor"] == "Dora")
    served.not_served(store, "s1", spilled, "spilled", why="tray fell", who=BY)
    typed = {line: answers(texts) for line, texts in store.cells("s1").items()
             if "not served" not in texts}  # fmt: skip
    workflow.enter_cells(store, "s1", typed, who=BY)
    return spilled


def test_report_of_a_forced_choice(store):
    spilled = closed(store, "suspect_batch", "TRIANGLE", lambda texts: {"answer": texts["code_1"]})
    workflow.close(store, "s1", who=BY)
    text = text_of(session_pdf(session_report(store, "s1", version="1")))
    assert "4 assessors planned, 1 did not come: 2 came, 1 without an answer." in text
    assert "It is not confirmed that all else was served as planned." in text
    assert f"Planned and not served (spilled: tray fell): row {spilled}." in text
    assert "A: sulphites; milk; B: sulphites; milk" in text
    assert "0 missing, 0 marked as a guess" in text
    assert not any(name in text for name in ("Anna", "Cleo", "Dora"))


def test_report_of_a_reading(store):
    samples = ["blind reference", "batch 118"]
    closed(store, "gasket", "DIFFERENCE_FROM_CONTROL", lambda texts: {"score": "2"}, samples)
    (one, first), (two, second) = [
        (line, t) for line, t in store.cells("s1").items() if t["assessor"] == "Anna"
    ]
    exchanged = {one: second["sample"], two: first["sample"]}
    served.served_otherwise(store, "s1", exchanged, why="cups exchanged", who=BY)
    served.confirm_served(store, "s1", who=BY)
    workflow.close(store, "s1", who=BY)
    read = session_report(store, "s1", version="1")
    text = text_of(session_pdf(read))
    assert read.outcome.counts.missing == 0
    assert "4 assessors planned, 1 did not come: 3 came." in text
    assert "All else was served as planned, confirmed" in text
    assert (
        f"Row {one}: planned {first['sample']}, served {second['sample']} (cups exchanged)." in text
    )


def test_without_a_plan_the_report_says_nothing_of_it(store):
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    workflow.agree(store, "s1", who=BY)
    workflow.close(store, "s1", who=BY)
    summary = session_report(store, "s1", version="1")
    assert summary.served is None
    assert "confirmed" not in text_of(session_pdf(summary))
