"""The way of a session as data: steps, what is next, where its ballots stand; copies; regulars."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.serving.lines import ballot_lines
from sensory.sessions import copies, regulars, steps, workflow
from sensory.sessions.session import SessionDetails
from sensory.sessions.steps import State, standing, steps_of

from .shared import BY, agreed, at_booths, finish, planned


def states(store, session_id, **counts):
    session = store.session(session_id)
    lines = len(store.cells(session_id))
    return {step.name: str(step.state) for step in steps_of(session, lines=lines, **counts)}


def test_a_plan_with_nothing_typed_has_no_ballot_that_is_answered(store):
    session_id, _ = planned(store)
    there = standing(store, session_id)
    assert (there.answered, there.blank, there.errors) == (0, 3, 0)
    assert not there.can_close
    cells = {2: {"answer": store.cells(session_id)[2]["code_1"]}}
    workflow.enter_cells(store, session_id, cells, who=BY)
    there = standing(store, session_id)
    assert (there.answered, there.blank, there.planned) == (1, 2, 24)
    assert there.can_close
    assert there.fewer


@pytest.mark.parametrize("key", ["PROFILE", "RANKING", "DIFFERENCE_FROM_CONTROL", "SURENESS"])
def test_lines_without_an_answer_are_blank_in_every_test(store, key):
    session_id, plan = planned(store, key)
    there = standing(store, session_id)
    assert (there.answered, there.errors) == (0, 0)
    assert there.blank == len(ballot_lines(plan))


def test_at_booths_what_was_sent_counts(store):
    session_id, _, tokens = at_booths(store)
    finish(store, tokens["Anna"])
    there = standing(store, session_id)
    assert (there.answered, there.blank, there.at_booths) == (1, 2, True)
    assert (there.words, there.all_there_will_be) == ("1 of 3", "1 of 3")


def test_paper_goes_from_question_over_serving_to_ballots(store):
    session_id, _ = planned(store)
    assert states(store, session_id) == {
        "question": "done", "serve": "now", "ballots": "later", "finding": "later",
    }  # fmt: skip
    assert states(store, session_id, answered=1)["ballots"] == "now"
    assert steps.next_step(store, store.session(session_id)) == "serve"


def test_ballots_without_a_plan_and_those_of_a_file_need_no_serving(store):
    typed = agreed(store, "suspect_batch", cells=True)
    assert states(store, typed) == {"question": "done", "ballots": "now", "finding": "later"}
    workflow.close(store, typed, who=BY)
    assert states(store, typed) == {"question": "done", "ballots": "done", "finding": "now"}
    assert steps.next_step(store, store.session(typed)) == "finding"
    empty = agreed(store, "suspect_batch")
    assert "serve" in states(store, empty)
    session = store.session(empty)
    of_a_file = replace(session, details=replace(session.details, way="file"))
    assert [step.name for step in steps_of(of_a_file, lines=0)] == [
        "question",
        "ballots",
        "finding",
    ]
    assert steps_of(of_a_file, lines=0)[1].state is State.NOW


def test_before_the_question_is_agreed_nothing_else_is_next(store):
    session_id = workflow.new_session_id()
    question = store_question(store)
    workflow.open_session(
        store, session_id, details=SessionDetails(), question=question, who=BY, why="t"
    )
    assert steps.next_in_words(store, store.session(session_id)) == "agree the question"


def store_question(store):
    return replace(store.session(agreed(store, "suspect_batch")).question, standard="")


def test_a_copy_asks_the_same_and_is_cleared_agreed_and_tasted_anew(store):
    session_id = agreed(store, "suspect_batch", cells=True)
    workflow.close(store, session_id, who=BY)
    old, new = store.session(session_id), copies.copy_session(store, session_id, who=BY)
    assert replace(old.question, standard="") == new.question
    assert (new.agreed, new.closed, new.cautions) == (False, False, {})
    assert store.cells(new.id) == {}
    assert new.details.samples[1].batch == old.details.samples[1].batch
    assert not new.details.care.cleared_by
    assert new.details.held_on == ""
    assert store.entries(new.id)[0].why == f"copy of session {session_id[:8]}"


def test_regular_assessors_come_by_how_often_and_are_gone_when_erased(store):
    at_booths(store, people=("Anna", "Bo"))
    planned(store, people=("anna ", "Cleo"))
    assert regulars.regular_assessors(store) == ["anna", "Bo", "Cleo"]
    store.erase_person("Anna", who=BY, why="asked for it")
    assert regulars.regular_assessors(store) == ["Bo", "Cleo"]
