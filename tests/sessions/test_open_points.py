"""What is still open stands at its field, and is what stands against agreeing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sensory.base.errors import RecordError
from sensory.choices.protocols import TRIANGLE
from sensory.choices.risks import session_risks
from sensory.sessions import workflow
from sensory.sessions.open_points import Part, counted, open_points
from sensory.sessions.session import CAUTIONS, SessionDetails, StoredSession

DEMO = Path(__file__).parents[2] / "demo_data"


def test_each_point_has_its_part_and_field():
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    whole = StoredSession(
        id="s", created_at="", details=prepared["details"], question=prepared["question"],
        cautions={caution.key: True for caution in CAUTIONS},
    )  # fmt: skip
    assert open_points(whole) == ()
    assert counted(()) == ""
    bare = replace(
        whole, details=SessionDetails(), cautions={},
        question=replace(whole.question, decision=" ", pd_limit=None),
    )  # fmt: skip
    points = open_points(bare)
    assert [(point.part, point.field) for point in points] == [
        (Part.WHY, "decision"),
        (Part.WHY, "decides"),
        (Part.WHY, "leader"),
        (Part.HOW, "settings"),
        (Part.SAFETY, "care"),
        *((Part.SAFETY, f"caution-{caution.key}") for caution in CAUTIONS),
    ]
    assert all(point.says for point in points)
    assert counted(points) == (
        f"Still open: 3 in What and why, 1 in How many and how sure, {1 + len(CAUTIONS)} in Safety"
    )


def test_what_is_open_stands_against_agreeing(store):
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    prepared["question"] = replace(prepared["question"], if_undecided="")
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    (point,) = open_points(store.session("s1"))
    assert point.field == "if_undecided"
    with pytest.raises(RecordError, match=point.says[:-1]):
        workflow.agree(store, "s1", who="A. Leader")


@pytest.mark.parametrize("people", [12, 24, 66])
def test_the_consequence_is_the_chance_of_a_fair_pass_in_tens(people):
    risks = session_risks(TRIANGLE, people)
    words = risks.consequence()
    if people == 66:  # ISO 4120: alpha = beta = 0.05, pd = 30 % (from memory)
        assert words.startswith("Enough: ")
        return
    assert words.startswith(f"Too few: {round(10 - 10 * risks.fair_pass)} of 10 good batches")
    assert f"(chance of a fair pass {100 * risks.fair_pass:.0f} %)" in words
    assert words.endswith("Take 66.")
