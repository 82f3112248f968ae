"""Before serving: allergens of each sample, and ballots that are not for an assessor."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.catalogue.tests import TESTS, find_kind
from sensory.serving.ballot_line import LEFT, NOT_SERVED, codes_of
from sensory.serving.cups import rows_to_serve
from sensory.sessions import booth_plans, booths, exclusions, workflow
from sensory.sessions.allergens import declared_allergens, served_samples, undeclared
from sensory.sessions.finding import session_report
from sensory.sessions.served_beside_plan import served_beside_plan

from ..shared import write_lines
from .shared import (
    BY,
    SAMPLES,
    answered,
    at_booths,
    declare,
    fill,
    finish,
    lines_of,
    planned,
    seat,
    waiting,
)


def test_booths_wait_until_each_served_sample_is_declared(store):
    session_id, _ = planned(store, "PROFILE")
    session = store.session(session_id)
    named = SAMPLES["PROFILE"]
    exclusions.declare_allergens(store, session_id, {named[1]: "", named[2]: ""}, who=BY)
    assert undeclared(store.session(session_id)) == [named[1], named[2]]
    with pytest.raises(RecordError, match=f"{named[1]}, {named[2]}"):
        booth_plans.open_booths(store, session_id, who=BY)
    with pytest.raises(RecordError, match="Declare the allergens"):
        booth_plans.add_late(store, session_id, "Lou", who=BY)
    exclusions.declare_allergens(store, session_id, {named[1]: "none", named[2]: "milk"}, who=BY)
    assert booth_plans.open_booths(store, session_id, who=BY)
    with pytest.raises(RecordError, match="Not served: quince"):
        exclusions.declare_allergens(store, session_id, {"quince": "none"}, who=BY)
    assert session.serving.planned == store.session(session_id).serving.planned


def test_the_description_declares_by_letter_or_name_and_the_serving_overrules_it(store):
    session_id, _ = planned(store)
    exclusions.declare_allergens(store, session_id, {"A": "", "B": ""}, who=BY)
    described = declared_allergens(store.session(session_id))
    assert described == dict.fromkeys("AB", "sulphites above 10 mg/kg")
    exclusions.declare_allergens(store, session_id, {"B": "sulphites; milk"}, who=BY)
    assert declared_allergens(store.session(session_id))["B"] == "sulphites; milk"
    session = store.session(session_id)
    renamed = replace(
        session,
        serving=replace(session.serving, allergens={}),
        details=replace(
            session.details,
            samples=(replace(session.details.samples[0], letter="X", name="b", allergens="nuts"),),
        ),
    )
    assert declared_allergens(renamed) == {"A": "", "B": "nuts"}


@pytest.mark.parametrize("key", [*TESTS])
def test_ballots_with_an_excluded_sample_are_not_served_in_any_test(store, key):
    session_id, plan = planned(store, key)
    out = [row.sample for row in plan.rows if row.assessor == "Bo" and row.scored][-1]
    tokens = booth_plans.open_booths(store, session_id, who=BY)
    exclusions.exclude(store, session_id, "Bo", [out], who=BY)
    exclusions.exclude(store, session_id, "Bo", [out], who=BY)  # once more changes nothing
    method = find_kind(key)
    sample = {row.code: row.sample for row in plan.rows if row.assessor == "Bo"}
    for texts in lines_of(store, session_id).values():
        holds = out in {sample[code] for code in codes_of(texts)}
        holds = holds or (method is not None and method.together)
        assert texts.get(NOT_SERVED, "") == ("not this sample" if holds else "")
    assert not any(NOT_SERVED in texts for texts in lines_of(store, session_id, "Anna").values())
    for token in tokens.values():
        finish(store, token)
    checked = workflow.checked_ballots(store, session_id)
    assert not checked.blocking
    out_lines = sum(NOT_SERVED in texts for texts in store.cells(session_id).values())
    assert checked.ready == len(store.cells(session_id)) - out_lines
    remarks = [str(fault) for fault in checked.remarks]
    assert any("Not served (not this sample)" in remark for remark in remarks)
    assert not any("No answer" in remark for remark in remarks)
    assert all(done == whole for _, done, whole in booth_plans.progress(store, session_id))
    assert store.verify() == []


def test_the_booth_skips_and_says_so_without_the_sample(store):
    session_id, plan = planned(store, "PROFILE")
    names = [row.sample for row in plan.rows if row.assessor == "Anna"]
    token = booth_plans.open_booths(store, session_id, who=BY)["Anna"]
    exclusions.exclude(store, session_id, "Anna", [names[0]], who=BY)
    booths.consent(store, token)
    here = booths.visit(store, token)
    assert (here.left_out, here.ballot.number, here.ballot.all) == ((1,), 2, 3)
    assert not any(name in repr(here) for name in names)
    finish(store, token)
    assert booths.visit(store, token).left_out == ()
    assert ("Anna", 2, 2) in booth_plans.progress(store, session_id)
    exclusions.exclude(store, session_id, "Anna", names, who=BY)  # what is sent stays
    assert booths.visit(store, token).sent == 2


def test_a_labelled_reference_takes_its_whole_set_along(store):
    session_id, _ = planned(store, "DIFFERENCE_FROM_CONTROL")
    exclusions.exclude(store, session_id, "Bo", ["labelled reference"], who=BY)
    marks = {texts[NOT_SERVED] for texts in lines_of(store, session_id).values()}
    assert marks == {"not this sample"}


def test_marks_are_journalled_by_their_two_words_and_without_a_name(store):
    session_id, _ = planned(store, "PROFILE")
    before = len(store.entries(session_id))
    exclusions.exclude(store, session_id, "Bo", ["new press"], who=BY)
    exclusions.not_today(store, session_id, "Cleo", who=BY)
    written = store.entries(session_id)[before:]
    assert {entry.why for entry in written} == {"not this sample", "not today"}
    assert "Bo" not in json.dumps(store.session(session_id).serving.to_dict())
    assert exclusions.excluded_samples(store, session_id) == {"Bo": ("new press",)}
    store.erase_person("Bo", who=BY, why="asked for it")
    assert "Bo" not in repr(exclusions.excluded_samples(store, session_id))
    assert store.verify() == []


@pytest.mark.parametrize("key", ["PROFILE", "TRIANGLE"])
def test_not_today_goes_before_not_this_sample(store, key):
    session_id, plan = planned(store, key)
    laid_out = store.cells(session_id)
    names = sorted({row.sample for row in plan.rows if row.assessor == "Bo"})

    def held():
        return {texts.get(NOT_SERVED) for texts in lines_of(store, session_id).values()}

    exclusions.exclude(store, session_id, "Bo", names, who=BY)
    assert held() == {"not this sample"}
    lines = len(lines_of(store, session_id))
    assert exclusions.not_today(store, session_id, "Bo", who=BY) == lines
    assert held() == {"not today"}
    exclusions.not_today(store, session_id, "Bo", taken_back=True, who=BY)
    assert held() == {"not this sample"}
    exclusions.exclude(store, session_id, "Bo", [], who=BY)
    assert store.cells(session_id) == laid_out


def test_what_was_left_out_at_the_booth_stays_so_on_not_today(store):
    session_id, token = seat(store, "PROFILE", "Bo")
    booths.leave_out(store, token, waiting(store, token).line)
    assert exclusions.not_today(store, session_id, "Bo", who=BY) == 2
    held = [texts[NOT_SERVED] for texts in lines_of(store, session_id).values()]
    assert sorted(held) == ["not this sample", "not today", "not today"]


def test_marks_can_be_taken_back_and_do_not_hide_each_other(store):
    session_id, _ = planned(store, "PROFILE")
    laid_out = store.cells(session_id)
    token = booth_plans.open_booths(store, session_id, who=BY)["Bo"]
    exclusions.not_today(store, session_id, "Bo", who=BY)
    assert booths.visit(store, token).excused
    exclusions.exclude(store, session_id, "Bo", ["new press"], who=BY)
    exclusions.not_today(store, session_id, "Bo", taken_back=True, who=BY)
    held = [texts.get(NOT_SERVED) for texts in lines_of(store, session_id).values()]
    assert sorted(held, key=str) == [None, None, "not this sample"]
    exclusions.exclude(store, session_id, "Bo", [], who=BY)
    assert store.cells(session_id) == laid_out
    booths.consent(store, token, wants=False)
    assert ("Bo", 0, 0) in booth_plans.progress(store, session_id)
    exclusions.not_today(store, session_id, "Bo", taken_back=True, who=BY)
    assert not booths.visit(store, token).excused
    booths.consent(store, token)
    assert booths.visit(store, token).consented


def test_a_ballot_shows_the_allergens_of_exactly_its_samples(store):
    session_id, plan = planned(store, "PROFILE")
    declared = dict(zip(SAMPLES["PROFILE"], ("none", "milk; sulphites", "celery"), strict=True))
    exclusions.declare_allergens(store, session_id, declared, who=BY)
    token = booth_plans.open_booths(store, session_id, who=BY)["Anna"]
    assert booths.visit(store, token).allergens == "celery; milk; sulphites"
    booths.consent(store, token)
    sample = {row.code: row.sample for row in plan.rows if row.assessor == "Anna"}
    while (ballot := waiting(store, token)) is not None:
        expected = declared[sample[ballot.codes[0]]]
        assert ballot.allergens == ("" if expected == "none" else expected)
        answered(store, token)


def test_the_allergens_of_a_set_do_not_tell_its_order(store):
    session_id, plan = planned(store, people=[f"P{n}" for n in range(1, 7)])
    exclusions.declare_allergens(store, session_id, {"A": "none", "B": "milk; celery"}, who=BY)
    tokens = booth_plans.open_booths(store, session_id, who=BY)
    assert len({one.order for one in plan.sets}) == 6
    shown = {waiting(store, token).allergens for token in tokens.values()}
    assert shown == {"celery; milk"}


def test_an_assessor_leaves_a_ballot_out_and_goes_on(store):
    session_id, _ = planned(store, "PROFILE")
    token = booth_plans.open_booths(store, session_id, who=BY)["Anna"]
    first = waiting(store, token)
    with pytest.raises(RecordError, match="consent is given"):
        booths.leave_out(store, token, first.line)
    booths.consent(store, token)
    booths.leave_out(store, token, first.line)
    entry = store.entries(session_id)[-1]
    assert (entry.by, entry.why) == ("booth of Anna", "not this sample")
    booths.leave_out(store, token, first.line)
    assert store.entries(session_id)[-1] == entry
    here = booths.visit(store, token)
    assert (here.left_out, here.ballot.number) == ((1,), 2)
    assert store.cells(session_id)[first.line][LEFT]
    with pytest.raises(RecordError, match="not the one that waits"):
        fill(store, token, first)
    exclusions.exclude(store, session_id, "Anna", ["reference"], who=BY)
    exclusions.exclude(store, session_id, "Anna", [], who=BY)
    assert store.cells(session_id)[first.line][NOT_SERVED] == "not this sample"


def test_left_out_answers_are_not_late_answers(store):
    session_id, _, tokens = at_booths(store)
    finish(store, tokens["Anna"])
    booths.consent(store, tokens["Bo"])
    ballot = waiting(store, tokens["Bo"])
    fill(store, tokens["Bo"], ballot)
    booths.leave_out(store, tokens["Bo"], ballot.line)
    workflow.close(store, session_id, who=BY)
    assert not booths.late(store, tokens["Bo"])
    summary = session_report(store, session_id, version="1")
    assert summary.outcome.counts.missing == 1  # Cleo, who neither answered nor was excused
    assert any("Not served (not this sample)" in line for line in summary.remarks)


def test_a_typed_answer_to_what_was_not_served_has_to_be_mended(store):
    session_id, _ = planned(store)
    exclusions.not_today(store, session_id, "Bo", who=BY)
    line, texts = next(iter(lines_of(store, session_id).items()))
    workflow.enter_cells(store, session_id, {line: {"answer": texts["code_1"]}}, who=BY)
    (fault,) = workflow.checked_ballots(store, session_id).blocking
    assert (fault.row, fault.column) == (line, "answer")
    assert "was not served" in fault.problem


def test_typed_answers_stay_when_somebody_stops(store):
    session_id, _ = planned(store)
    line, texts = next(iter(lines_of(store, session_id).items()))
    workflow.enter_cells(store, session_id, {line: {"answer": texts["code_1"]}}, who=BY)
    assert exclusions.not_today(store, session_id, "Bo", who=BY) == 0


@pytest.mark.parametrize(
    ("mark", "undo"),
    [
        ("not today", lambda *at: exclusions.not_today(*at, taken_back=True, who=BY)),
        ("not this sample", lambda *at: exclusions.exclude(*at, [], who=BY)),
    ],
)
def test_a_mark_that_crossed_a_sent_ballot_can_be_taken_off(store, mark, undo):
    session_id, token = seat(store, name="Bo")
    finish(store, token)
    line = min(lines_of(store, session_id))
    write_lines(store, session_id, {line: {NOT_SERVED: mark}}, who=BY, why=mark)
    assert workflow.checked_ballots(store, session_id).blocking
    undo(store, session_id, "Bo")
    assert not workflow.checked_ballots(store, session_id).blocking


def test_cups_of_excluded_ballots_are_not_poured(store):
    session_id, plan = planned(store, "DIFFERENCE_FROM_CONTROL")
    out = {"Bo": ["batch 118"], "Cleo": ["labelled reference"]}
    for name, samples in out.items():
        exclusions.exclude(store, session_id, name, samples, who=BY)
    rows = rows_to_serve(plan, store.cells(session_id), out)
    poured = {name: [row.sample for row in rows if row.assessor == name] for name in plan.assessors}
    assert "batch 118" not in poured["Bo"]
    assert {"labelled reference", "blind reference"} == set(poured["Bo"])
    assert poured["Cleo"] == []
    assert len(poured["Anna"]) == sum(row.assessor == "Anna" for row in plan.rows)


def test_somebody_who_did_not_come_leaves_plan_and_booth_and_is_not_missing(store):
    session_id, plan, tokens = at_booths(store, people=[f"P{n}" for n in range(1, 7)])
    gone = next(one for one in plan.sets if one.assessor == "P3")
    booth_plans.did_not_come(store, session_id, "P3", who=BY)
    assert booths.visit(store, tokens["P3"]) is None
    assert booths.visit(store, tokens["P4"]).assessor == "P4"
    after = booth_plans.served_plan(store, session_id)
    assert after == plan.without("P3")
    assert "P3" not in json.dumps(store.session(session_id).serving.to_dict())
    assert store.entries(session_id)[-1].why.startswith("did not come")
    late = booth_plans.add_late(store, session_id, "Lou", who=BY)
    after = booth_plans.served_plan(store, session_id)
    assert after.sets[-1].order == gone.order  # what was left is served first
    fresh = booth_plans.open_booths(store, session_id, who=BY)
    assert set(fresh) == {*plan.assessors, "Lou"} - {"P3"}
    assert booths.visit(store, late) is None
    for token in fresh.values():
        finish(store, token)
    assert ("P3", 0, 0) in booth_plans.progress(store, session_id)
    workflow.close(store, session_id, who=BY)
    summary = session_report(store, session_id, version="1")
    assert (summary.outcome.counts.missing, summary.outcome.counts.assessors) == (0, 6)
    assert summary.served.came == ("6 assessors planned, 1 did not come, 1 came late: 6 came.")
    assert store.verify() == []


@pytest.mark.parametrize("key", ["TRIANGLE", "RANKING", "PROFILE"])
def test_somebody_absent_who_comes_after_all_is_seated_anew(store, key):
    session_id, plan = planned(store, key)
    exclusions.exclude(store, session_id, "Bo", [plan.rows[0].sample], who=BY)
    booth_plans.did_not_come(store, session_id, "Bo", who=BY)
    token = booth_plans.add_late(store, session_id, " bo ", who=BY)
    here = booths.visit(store, token)
    assert here.assessor == "Bo"
    old = {row.code for row in plan.rows if row.assessor == "Bo"}
    lines = lines_of(store, session_id)
    assert {texts.get(NOT_SERVED) for texts in lines.values()} >= {"did not come"}
    new = booth_plans.served_plan(store, session_id)
    assert not old & {row.code for row in new.rows if row.assessor == "Bo"}
    assert exclusions.excluded_samples(store, session_id)["Bo"] == (plan.rows[0].sample,)
    said = served_beside_plan(store.session(session_id), store.cells(session_id)).came
    assert said == "3 assessors planned, 1 came late: who came is not known yet."
    for other in booth_plans.open_booths(store, session_id, who=BY).values():
        finish(store, other)
    left = [texts for texts in lines_of(store, session_id).values() if not texts.get(NOT_SERVED)]
    assert len(left) == (2 if key == "PROFILE" else 0)
    assert not workflow.checked_ballots(store, session_id).blocking


def test_who_answered_came_and_the_last_one_cannot_be_taken_out(store):
    session_id, _, tokens = at_booths(store, people=("Anna", "Bo"))
    finish(store, tokens["Anna"])
    with pytest.raises(RecordError, match="so Anna came"):
        booth_plans.did_not_come(store, session_id, "Anna", who=BY)
    with pytest.raises(ArgumentError, match="not in the plan"):
        booth_plans.did_not_come(store, session_id, "Zoe", who=BY)
    booth_plans.did_not_come(store, session_id, "Bo", who=BY)
    with pytest.raises(ArgumentError, match="only assessor"):
        booth_plans.did_not_come(store, session_id, "Anna", who=BY)


@pytest.mark.parametrize(
    "act",
    [
        lambda *at: exclusions.exclude(*at, "Bo", ["A"], who=BY),
        lambda *at: exclusions.not_today(*at, "Bo", who=BY),
        lambda *at: exclusions.declare_allergens(*at, {"A": "none"}, who=BY),
        lambda *at: booth_plans.did_not_come(*at, "Bo", who=BY),
    ],
)
def test_closed_sessions_are_refused(store, act):
    session_id, token = seat(store)
    finish(store, token)
    workflow.close(store, session_id, who=BY)
    before = store.session(session_id), store.cells(session_id)
    with pytest.raises(RecordError, match="closed"):
        act(store, session_id)
    assert (store.session(session_id), store.cells(session_id)) == before


@pytest.mark.parametrize(
    ("name", "sample", "message"),
    [("Zoe", "A", "'Zoe' is not in the plan"), ("Bo", "quince", "Not served: quince")],
)
def test_strangers_are_refused(store, name, sample, message):
    session_id, _ = planned(store)
    with pytest.raises(RecordError, match=message):
        exclusions.exclude(store, session_id, name, [sample], who=BY)


def test_an_assessor_may_have_the_name_of_a_sample(store):
    session_id, plan = planned(store, people=("A", "B", "C"))
    assert set(served_samples(store.session(session_id))) == {"A", "B"}
    assert booth_plans.served_plan(store, session_id) == plan
    store.erase_person("A", who=BY, why="on request")
    again = booth_plans.served_plan(store, session_id)
    assert {row.sample for row in again.rows} == {"A", "B"}
    declare(store, session_id, "none")
