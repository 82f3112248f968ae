"""The plan's lines against the ballots, without a record."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.catalogue.question import Question
from sensory.serving.cups import SEAT, rows_to_serve
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions.served_beside_plan import came, served_beside_plan
from sensory.sessions.serving import Confirmation, Serving
from sensory.sessions.session import SessionDetails, StoredSession


def session_of(plan, **serving):
    return StoredSession(
        id="s1",
        created_at="2026-09-14T08:00:00.000+00:00",
        details=SessionDetails(),
        question=Question(pd_limit=0.30, protocol=plan.design.test),
        cautions={},
        serving=Serving(planned=plan.to_dict(), **serving),
    )


def seated(count):
    return [f"{SEAT}{number}" for number in range(1, count + 1)]


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        ("", "4 assessors planned: 4 came."),
        ("-2", "4 assessors planned, 1 did not come: 3 came."),
        ("+5", "4 assessors planned, 1 came late: 5 came."),
        ("-2 +5", "4 assessors planned, 1 did not come, 1 came late: 4 came."),
        ("-2 +2", "4 assessors planned, 1 came late: 4 came."),
        ("+5 -5", "4 assessors planned: 4 came."),
        ("-2 +2 -2", "4 assessors planned, 1 did not come: 3 came."),
        ("+5 -5 +5", "4 assessors planned, 1 came late: 5 came."),
    ],
)
def test_who_was_planned_and_who_came_is_counted_by_hand(steps, said):
    plan = serving_plan("triangle", seated(4), seed=3)
    cells = {
        line: {**texts, "assessor": f"name of {texts['assessor']}"}
        for line, texts in ballot_lines(plan).items()
    }
    for step in steps.split():
        seat = f"{SEAT}{step[1:]}"
        if step[0] == "-":
            plan = plan.without(seat)
            for texts in cells.values():
                if texts["assessor"] == f"name of {seat}":
                    texts["not served"] = "did not come"
        else:
            plan = plan.with_late(seat)
            new = next(t for t in ballot_lines(plan).values() if t["assessor"] == seat)
            cells[len(cells) + 1] = {**new, "assessor": f"name of {seat}"}
    before = served_beside_plan(session_of(plan), cells).came
    assert before == f"{said.split(':')[0]}: who came is not known yet."
    for texts in cells.values():
        if "not served" not in texts:
            texts["answer"] = texts["code_1"]
    found = served_beside_plan(session_of(plan), cells)
    assert found.came == said
    assert found.departures == ()
    assert found.lines == (found.came, found.confirmed)


BEGUN = "2026-09-14T10:31:07.123+00:00"


@pytest.mark.parametrize(
    ("marks", "said"),
    [
        ({}, "who came is not known yet"),
        ({1: {"comment": "cold"}, 2: {"guess": "x"}}, "who came is not known yet"),
        ({1: {"not served": "not today"}}, "who came is not known yet"),
        ({1: {"consent": BEGUN}}, "1 came, 3 without an answer"),
        ({1: {"consent": BEGUN}, 2: {"consent": f"not today {BEGUN}"}},
         "1 came, 1 not today, 2 without an answer"),
        ({1: {"consent": BEGUN, "not served": "not today"}, 2: {"answer": "412"}},
         "2 came, 1 of them not today, 2 without an answer"),
        ({1: {"left out": BEGUN, "not served": "not this sample"}, 3: {"sent": BEGUN},
          4: {"warm-up tasted": BEGUN}}, "3 came, 1 without an answer"),
        ({1: {"answer": "412"}, 5: {"answer": "837", "assessor": "somebody else"}},
         "1 came, 3 without an answer"),
    ],
)  # fmt: skip
def test_only_who_has_begun_came(marks, said):
    plan = serving_plan("triangle", seated(4), seed=3)
    cells = ballot_lines(plan)
    for line, more in marks.items():
        cells[line] = cells.get(line, {}) | more
    found = served_beside_plan(session_of(plan), cells)
    assert found.came == f"4 assessors planned: {said}."
    assert bool(came(cells)) == ("known" not in said)


def test_plans_of_several_replicates_and_blocks_are_compared_whole():
    for plan in (
        serving_plan("profile", seated(3), seed=1, samples=["a", "b", "c"], replicates=2),
        serving_plan("profile", seated(4), seed=1, samples=["a", "b", "c", "d"], set_size=3),
        serving_plan("difference from control", seated(3), seed=1, samples=["a", "b"], sittings=2),
    ):
        cells = ballot_lines(plan)
        assert served_beside_plan(session_of(plan), cells).departures == ()
        gone = dict(list(cells.items())[:-1])
        assert served_beside_plan(session_of(plan), gone).departures == (
            "Planned and not among the ballots: 1 line.",
        )


def test_the_confirmation_and_the_declaration_are_stated_as_recorded():
    plan = serving_plan("triangle", seated(2), seed=1)
    at = Confirmation(at="2026-09-14T10:31:07.123+00:00")
    session = session_of(plan, confirmed=at, allergens={"A": "none", "B": "milk"})
    found = served_beside_plan(session, ballot_lines(plan))
    assert found.confirmed == "All was served as planned, confirmed 2026-09-14 10:31 UTC."
    assert found.allergens == {"A": "none", "B": "milk"}
    assert served_beside_plan(replace(session, serving=None), {}) is None


def test_warm_up_and_labelled_reference_are_poured_as_long_as_something_follows():
    plan = serving_plan(
        "difference from control", ["Anna", "Bo"], seed=2, samples=["a", "b"], warm_up="warm"
    )
    lines = ballot_lines(plan)
    assert rows_to_serve(plan, lines, {}) == plan.rows
    kinds = {row.sample for row in rows_to_serve(plan, lines, {"Anna": ["warm"]})
             if row.assessor == "Anna"}  # fmt: skip
    assert kinds == {"a", "b", "labelled reference"}
    for texts in lines.values():
        if texts["assessor"] == "Bo":
            texts["not served"] = "not today"
    assert {row.assessor for row in rows_to_serve(plan, lines, {})} == {"Anna"}
