"""The booth: a link for each assessor, one ballot at a time, kept as given, sent once."""

from __future__ import annotations

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.catalogue.tests import TESTS
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, workflow
from sensory.sessions.booth_ballots import still_open
from sensory.sessions.finding import session_report

from ..shared import write_lines
from .shared import BY, DEMO, SAMPLES, answered, at_booths, fill, lines_of, planned, seat, waiting


@pytest.mark.parametrize("key", [*TESTS])
def test_every_test_is_answered_at_booths_from_plan_to_finding(store, key):
    session_id, plan, tokens = at_booths(store, key)
    assert list(tokens) == ["Anna", "Bo", "Cleo"]
    for token in tokens.values():
        booths.consent(store, token)
        while (ballot := waiting(store, token)) is not None:
            assert still_open(ballot)
            answered(store, token)
    counts = booth_plans.progress(store, session_id)
    assert all(done == whole > 0 for _, done, whole in counts)
    checked = workflow.checked_ballots(store, session_id)
    assert not checked.blocking
    assert checked.ready == len(ballot_lines(plan))
    workflow.close(store, session_id, who=BY)
    assert store.verify() == []


@pytest.mark.parametrize("key", [*TESTS])
def test_a_booth_sees_codes_and_nothing_of_the_key(store, key):
    _, plan, tokens = at_booths(store, key)
    booths.consent(store, tokens["Bo"])
    here = booths.visit(store, tokens["Bo"])
    served = {row.code for row in plan.rows if row.assessor == "Bo" and row.code}
    assert {code for code in here.ballot.codes if code} <= served
    words = repr(here)
    for name in (*SAMPLES.get(key, ()), "suspect", "Anna", "Cleo"):
        # The letter of the reference is part of what is asked.
        assert name == "A" or name not in words, name
    assert not [each.order for each in plan.sets if len(each.order) > 2 and each.order in words]


def test_the_record_holds_no_token_and_no_name_in_the_plan(store):
    session_id, plan, tokens = at_booths(store)
    kept, entries = repr(store.session(session_id).serving), store.entries(session_id)
    for name, token in tokens.items():
        assert name not in kept
        assert token.split(".")[1] not in kept + repr(entries)
    assert booth_plans.served_plan(store, session_id) == plan
    assert "plan SHA-256 " in next(entry.why for entry in entries if entry.what == "planned")


def test_nothing_before_consent(store):
    _, _, tokens = at_booths(store)
    here = booths.visit(store, tokens["Anna"])
    assert not here.consented
    assert "sulphites" in here.allergens
    with pytest.raises(RecordError, match="consent is given"):
        fill(store, tokens["Anna"], here.ballot)


def test_answers_are_kept_before_they_are_sent_and_are_not_counted_until_then(store):
    session_id, token = seat(store)

    def counted():
        ballots = workflow.checked_ballots(store, session_id).rows
        return sum(ballot.correct is not None for ballot in ballots)

    ballot = waiting(store, token)
    booths.keep(store, token, ballot.line, {ballot.line: {"comment": "sharp", "guess": "x"}})
    fill(store, token, ballot)
    again = waiting(store, token)
    assert (again.asked[0].given, again.comment, again.guess) == (ballot.codes[0], "sharp", True)
    assert counted() == 0
    booths.send(store, token, ballot.line, shown={})
    assert counted() == 1


def test_sending_twice_changes_nothing_and_a_sent_ballot_is_shut(store):
    session_id, token = seat(store)
    ballot = waiting(store, token)
    answered(store, token)
    entries = len(store.entries(session_id))
    booths.send(store, token, ballot.line, shown={})
    assert len(store.entries(session_id)) == entries
    with pytest.raises(RecordError, match="not the one that waits"):
        booths.keep(store, token, ballot.line, {ballot.line: {"answer": ballot.codes[1]}})


def test_incomplete_ballot_is_not_sent(store):
    _, token = seat(store, "RANKING")
    ballot = waiting(store, token)
    for asked in ballot.asked:
        booths.keep(store, token, ballot.line, {asked.line: {"rank": "1"}})
    with pytest.raises(RecordError, match="Still to be answered"):
        booths.send(store, token, ballot.line, shown={})


@pytest.mark.parametrize(
    ("key", "change", "message"),
    [
        ("TRIANGLE", {"answer": "000"}, "does not offer the answer '000'"),
        ("TRIANGLE", {"order": "AAB"}, "does not ask for 'order'"),
        ("TRIANGLE", {"sent": "now"}, "does not ask for 'sent'"),
        ("TRIANGLE", {"assessor": "Bo"}, "does not ask for 'assessor'"),
        ("A_NOT_A", {"guess": "x"}, "does not ask for 'guess'"),
        ("PROFILE", {"sweet": "11"}, "does not offer the answer '11'"),
        ("PROFILE", {"sweet": "nan"}, "does not offer"),
        ("PROFILE", {"colour": "3"}, "does not ask for 'colour'"),
        ("TWO_OUT_OF_FIVE", {"answer": "1 2 3"}, "does not offer"),
    ],
)
def test_a_booth_writes_nothing_but_its_answers(store, key, change, message):
    session_id, token = seat(store, key)
    before = store.cells(session_id)
    line, others = waiting(store, token).line, min(lines_of(store, session_id, "Bo"))
    with pytest.raises(RecordError, match=message):
        booths.keep(store, token, line, {line: change})
    with pytest.raises(RecordError):
        booths.keep(store, token, others, {others: {"answer": "1"}})
    assert store.cells(session_id) == before


def test_a_plan_needs_an_agreed_question_and_an_empty_session(store):
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    plan = serving_plan("triangle", 3, seed=2**128 + 1)
    lines = ballot_lines(plan)
    with pytest.raises(RecordError, match="Agree the question first"):
        booth_plans.serve(store, "s1", plan, lines, who="t")
    workflow.agree(store, "s1", who="t")
    with pytest.raises(RecordError, match="has ballots already"):
        booth_plans.serve(store, "s1", plan, lines, who="t")
    with pytest.raises(RecordError, match="Plan the serving first"):
        booth_plans.open_booths(store, "s1", who="t")


def test_an_erased_name_takes_its_booth_along(store):
    session_id, _, tokens = at_booths(store)
    store.erase_person("Bo", who=BY, why="asked for it")
    assert booths.visit(store, tokens["Bo"]) is None
    assert "Bo" not in repr(booth_plans.served_plan(store, session_id))
    assert store.verify() == []


def test_late_answers_are_kept_marked_and_not_counted(store):
    session_id, _, tokens = at_booths(store)
    for name in ("Anna", "Bo"):
        booths.consent(store, tokens[name])
        fill(store, tokens[name], waiting(store, tokens[name]))
    assert not booths.late(store, tokens["Bo"])  # still open
    booths.send(store, tokens["Anna"], waiting(store, tokens["Anna"]).line, shown={})
    workflow.close(store, session_id, who=BY)
    before = session_report(store, session_id, version="1").outcome.counts.trials
    assert booths.late(store, tokens["Bo"])
    assert not booths.late(store, tokens["Bo"])
    (kept,) = lines_of(store, session_id).values()
    assert kept["answer"]
    assert "sent" not in kept
    after = session_report(store, session_id, version="1")
    assert after.outcome.counts.trials == before == 1
    assert any("not sent before closing; not counted" in line for line in after.afterwards)
    assert store.verify() == []


def test_somebody_late_is_seated_and_nobody_else_moves(store):
    session_id, plan, tokens = at_booths(store, people=[f"P{n}" for n in range(1, 6)])
    before = store.cells(session_id)
    token = booth_plans.add_late(store, session_id, "Late Lou", who=BY)
    after = booth_plans.served_plan(store, session_id)
    assert after.assessors == (*plan.assessors, "Late Lou")
    orders = sorted(each.order for each in after.sets)
    assert orders == ["AAB", "ABA", "ABB", "BAA", "BAB", "BBA"]
    assert {line: store.cells(session_id)[line] for line in before} == before
    assert booths.visit(store, token).assessor == "Late Lou"
    assert booths.visit(store, tokens["P3"]).assessor == "P3"
    assert "Late" not in repr(store.session(session_id).serving)
    with pytest.raises(ArgumentError, match="in the plan already"):
        booth_plans.add_late(store, session_id, "late lou", who=BY)
    assert store.verify() == []


def test_not_today_is_kept_without_a_reason_and_opens_no_ballot(store):
    session_id, _, tokens = at_booths(store)
    token = tokens["Anna"]
    ballot = waiting(store, token)
    booths.consent(store, token, wants=False)
    booths.consent(store, token)  # the first answer counts
    here = booths.visit(store, token)
    assert (here.excused, here.consented, here.ballot) == (True, False, None)
    with pytest.raises(RecordError, match="consent is given"):
        fill(store, token, ballot)
    assert store.entries(session_id)[-1].why == "not today"
    mine = lines_of(store, session_id, "Anna").values()
    assert {texts["not served"] for texts in mine} == {"not today"}


@pytest.mark.parametrize("windows", [1, 2], ids=["one process", "two processes"])
def test_who_was_given_up_and_came_late_finds_ballots_at_a_booth_opened_before(
    opens, store, windows
):
    session_id, _, tokens = at_booths(store)
    other = store if windows == 1 else opens(str(store._engine.url))
    assert booths.visit(other, tokens["Bo"]).assessor == "Bo"
    booth_plans.did_not_come(store, session_id, "Bo", who=BY)
    late = booth_plans.add_late(store, session_id, "Bo", who=BY)
    booths.consent(other, late)
    line = waiting(other, late).line
    answered(other, late)
    assert store.cells(session_id)[line]["sent"]


def test_a_line_that_gets_another_name_leaves_its_seat_at_once(store):
    session_id, _ = planned(store, people=("Anna", "Bo"))
    seats = [set(store.seat_cells(session_id, number)) for number in (1, 2)]
    line = max(seats[1]) + 1
    write_lines(store, session_id, {line: {"assessor": "Bo", "order": "ABB"}}, who="L", why="x")
    assert line in store.seat_cells(session_id, 2)
    write_lines(store, session_id, {line: {"assessor": "Anna"}}, who="L", why="x")
    assert set(store.seat_cells(session_id, 2)) == seats[1]
    assert set(store.seat_cells(session_id, 1)) == {*seats[0], line}
