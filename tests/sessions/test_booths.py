"""The booth: a link for each assessor, one ballot at a time, kept as given, sent once."""

from __future__ import annotations

from pathlib import Path

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.catalogue.tests import TESTS, find_kind
from sensory.choices.protocols import PROTOCOLS
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, workflow
from sensory.sessions.allergens import served_samples
from sensory.sessions.booth_ballots import still_open
from sensory.sessions.finding import session_report
from sensory.store.repository import open_store

DEMO = Path(__file__).parents[2] / "demo_data"
SAMPLES = {
    "SURENESS": ["A", "filtered"],
    "RANKING": ["sugar", "blend 1", "blend 2"],
    "PROFILE": ["reference", "new press", "old press, warm"],
    "DIFFERENCE_FROM_CONTROL": ["blind reference", "batch 118"],
}
DEMOS = {
    "SURENESS": "water",
    "RANKING": "aftertaste",
    "PROFILE": "pressing",
    "DIFFERENCE_FROM_CONTROL": "gasket",
    "A_NOT_A": "shop_light",
    "SAME_DIFFERENT": "new_thickener",
}


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path / 'r.sqlite3'}")
    yield opened
    opened._engine.dispose()


def planned(store, key="TRIANGLE", people=("Anna", "Bo", "Cleo"), language="en"):
    """An agreed session with its plan on record; returns its id and the plan."""
    prepared = workflow.read_prepared(DEMO, DEMOS.get(key, "suspect_batch"))
    question = prepared["question"]
    if key in PROTOCOLS:
        from dataclasses import replace

        question = replace(question, protocol=key, attribute="sourness")
    session = workflow.open_session(
        store,
        workflow.new_session_id(),
        details=prepared["details"],
        question=question,
        cautions=prepared["cautions"],
        who="test",
        why="test",
    )
    workflow.agree(store, session.id, who="A. Leader")
    plan = serving_plan(find_kind(key), list(people), seed=5, samples=SAMPLES.get(key))
    booth_plans.serve(
        store, session.id, plan, ballot_lines(plan), language=language, who="A. Leader"
    )
    declare(store, session.id)
    return session.id, plan


def declare(store, session_id, allergens="sulphites"):
    """Declare the same of every served sample."""
    served = served_samples(store.session(session_id))
    declared = dict.fromkeys(served, allergens)
    exclusions.declare_allergens(store, session_id, declared, who="A. Leader")


def answer(asked):
    if asked.kind == "two":
        return " ".join(stored for stored, _ in asked.choices[:2])
    if asked.kind == "scale":
        return "4.50"
    if asked.kind == "place":
        return ""
    return asked.choices[0][0]


def fill(store, token, ballot):
    """Answer everything that a ballot asks."""
    places = iter(range(1, 20))
    given = {}
    for one in ballot.asked:
        text = str(next(places)) if one.kind == "place" else answer(one)
        given.setdefault(one.line, {})[one.name] = text
    booths.keep(store, token, ballot.line, given)


@pytest.mark.parametrize("key", [*TESTS])
def test_every_test_is_answered_at_booths_from_plan_to_finding(store, key):
    session_id, plan = planned(store, key)
    tokens = booth_plans.open_booths(store, session_id, who="A. Leader")
    assert list(tokens) == ["Anna", "Bo", "Cleo"]
    for token in tokens.values():
        booths.consent(store, token)
        while (here := booths.visit(store, token)).ballot is not None:
            assert still_open(here.ballot)
            fill(store, token, here.ballot)
            booths.send(store, token, here.ballot.line)
    counts = booth_plans.progress(store, session_id)
    assert all(done == whole > 0 for _, done, whole in counts)
    checked = workflow.checked_ballots(store, session_id)
    assert not checked.blocking
    assert checked.ready == len(ballot_lines(plan))
    workflow.close(store, session_id, who="A. Leader")
    assert store.verify() == []


@pytest.mark.parametrize("key", [*TESTS])
def test_a_booth_sees_codes_and_nothing_of_the_key(store, key):
    session_id, plan = planned(store, key)
    tokens = booth_plans.open_booths(store, session_id, who="A. Leader")
    booths.consent(store, tokens["Bo"])
    here = booths.visit(store, tokens["Bo"])
    served = {row.code for row in plan.rows if row.assessor == "Bo" and row.code}
    assert {code for code in here.ballot.codes if code} <= served
    words = repr(here)
    for name in (*SAMPLES.get(key, ()), "suspect", "Anna", "Cleo"):
        if name not in ("A",):  # the letter of the reference is part of what is asked
            assert name not in words, name
    for one in plan.sets:
        if len(one.order) > 2:
            assert one.order not in words


def test_the_record_holds_no_token_and_no_name_in_the_plan(store):
    session_id, plan = planned(store)
    tokens = booth_plans.open_booths(store, session_id, who="A. Leader")
    session = store.session(session_id)
    kept = repr(session.serving)
    for name, token in tokens.items():
        assert name not in kept
        assert token.split(".")[1] not in kept
        assert token.split(".")[1] not in repr(store.entries(session_id))
    assert booth_plans.served_plan(store, session_id) == plan
    planned_entry = next(e for e in store.entries(session_id) if e.what == "planned")
    assert "plan SHA-256 " in planned_entry.why


@pytest.mark.parametrize(
    "token", ["", "x", "0" * 32, f"{'0' * 32}.{'a' * 32}", "../../etc/passwd", "a.b.c"]
)
def test_token_that_is_none_opens_nothing(store, token):
    planned(store)
    assert booths.visit(store, token) is None
    for act in (
        lambda: booths.consent(store, token),
        lambda: booths.keep(store, token, 1, {}),
        lambda: booths.send(store, token, 1),
    ):
        with pytest.raises(RecordError, match="not valid"):
            act()


def test_new_links_make_the_old_ones_useless(store):
    session_id, _ = planned(store)
    old = booth_plans.open_booths(store, session_id, who="A. Leader")
    new = booth_plans.open_booths(store, session_id, who="A. Leader")
    assert booths.visit(store, old["Anna"]) is None
    assert booths.visit(store, new["Anna"]).assessor == "Anna"
    assert not set(old.values()) & set(new.values())


def test_nothing_before_consent(store):
    session_id, _ = planned(store)
    token = booth_plans.open_booths(store, session_id, who="A. Leader")["Anna"]
    here = booths.visit(store, token)
    assert not here.consented
    assert "sulphites" in here.allergens
    with pytest.raises(RecordError, match="consent is given"):
        fill(store, token, here.ballot)


def test_answers_are_kept_before_they_are_sent_and_are_not_counted_until_then(store):
    session_id, _ = planned(store)
    token = booth_plans.open_booths(store, session_id, who="A. Leader")["Anna"]
    booths.consent(store, token)
    ballot = booths.visit(store, token).ballot
    booths.keep(store, token, ballot.line, {ballot.line: {"comment": "sharp", "guess": "x"}})
    fill(store, token, ballot)
    again = booths.visit(store, token).ballot
    assert (again.asked[0].given, again.comment, again.guess) == (ballot.codes[0], "sharp", True)
    counted = workflow.checked_ballots(store, session_id)
    assert all(one.correct is None for one in counted.rows)
    booths.send(store, token, ballot.line)
    counted = workflow.checked_ballots(store, session_id)
    assert sum(one.correct is not None for one in counted.rows) == 1


def test_sending_twice_changes_nothing_and_a_sent_ballot_is_shut(store):
    session_id, _ = planned(store)
    token = booth_plans.open_booths(store, session_id, who="A. Leader")["Anna"]
    booths.consent(store, token)
    ballot = booths.visit(store, token).ballot
    fill(store, token, ballot)
    booths.send(store, token, ballot.line)
    entries = len(store.entries(session_id))
    booths.send(store, token, ballot.line)
    assert len(store.entries(session_id)) == entries
    with pytest.raises(RecordError, match="not the one that waits"):
        booths.keep(store, token, ballot.line, {ballot.line: {"answer": ballot.codes[1]}})


def test_incomplete_ballot_is_not_sent(store):
    session_id, _ = planned(store, "RANKING")
    token = booth_plans.open_booths(store, session_id, who="A. Leader")["Anna"]
    booths.consent(store, token)
    ballot = booths.visit(store, token).ballot
    for one in ballot.asked:
        booths.keep(store, token, ballot.line, {one.line: {"rank": "1"}})
    with pytest.raises(RecordError, match="Still to be answered"):
        booths.send(store, token, ballot.line)


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
    session_id, _ = planned(store, key)
    token = booth_plans.open_booths(store, session_id, who="A. Leader")["Anna"]
    booths.consent(store, token)
    before = store.cells(session_id)
    line = booths.visit(store, token).ballot.line
    with pytest.raises(RecordError, match=message):
        booths.keep(store, token, line, {line: change})
    others = next(number for number, texts in before.items() if texts["assessor"] == "Bo")
    with pytest.raises(RecordError):
        booths.keep(store, token, others, {others: {"answer": "1"}})
    assert store.cells(session_id) == before


def test_closed_session_takes_no_ballot(store):
    session_id, _ = planned(store)
    tokens = booth_plans.open_booths(store, session_id, who="A. Leader")
    booths.consent(store, tokens["Anna"])
    ballot = booths.visit(store, tokens["Anna"]).ballot
    fill(store, tokens["Anna"], ballot)
    booths.send(store, tokens["Anna"], ballot.line)
    workflow.close(store, session_id, who="A. Leader")
    assert booths.visit(store, tokens["Bo"]).closed
    with pytest.raises(RecordError, match="closed"):
        booths.consent(store, tokens["Bo"])


def test_a_plan_needs_an_agreed_question_and_an_empty_session(store):
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    plan = serving_plan("triangle", 3, seed=1)
    lines = ballot_lines(plan)
    with pytest.raises(RecordError, match="Agree the question first"):
        booth_plans.serve(store, "s1", plan, lines, who="t")
    workflow.agree(store, "s1", who="t")
    with pytest.raises(RecordError, match="has ballots already"):
        booth_plans.serve(store, "s1", plan, lines, who="t")
    with pytest.raises(RecordError, match="Plan the serving first"):
        booth_plans.open_booths(store, "s1", who="t")


def test_an_erased_name_takes_its_booth_along(store):
    session_id, _ = planned(store)
    tokens = booth_plans.open_booths(store, session_id, who="A. Leader")
    store.erase_person("Bo", who="A. Leader", why="asked for it")
    assert booths.visit(store, tokens["Bo"]).assessor != "Bo"
    assert "Bo" not in repr(booth_plans.served_plan(store, session_id))
    assert store.verify() == []


def test_late_answers_are_kept_marked_and_not_counted(store):
    session_id, _ = planned(store)
    tokens = booth_plans.open_booths(store, session_id, who="A. Leader")
    for name in ("Anna", "Bo"):
        booths.consent(store, tokens[name])
        fill(store, tokens[name], booths.visit(store, tokens[name]).ballot)
    assert not booths.late(store, tokens["Bo"])  # still open
    booths.send(store, tokens["Anna"], booths.visit(store, tokens["Anna"]).ballot.line)
    workflow.close(store, session_id, who="A. Leader")
    before = session_report(store, session_id, version="1").outcome.counts.trials
    assert booths.late(store, tokens["Bo"])
    assert not booths.late(store, tokens["Bo"])
    kept = [texts for texts in store.cells(session_id).values() if texts["assessor"] == "Bo"]
    assert kept[0]["answer"]
    assert "sent" not in kept[0]
    after = session_report(store, session_id, version="1")
    assert after.outcome.counts.trials == before == 1
    assert any("not sent before closing; not counted" in line for line in after.afterwards)
    assert store.verify() == []


def test_somebody_late_is_seated_and_nobody_else_moves(store):
    session_id, plan = planned(store, people=[f"P{n}" for n in range(1, 6)])
    tokens = booth_plans.open_booths(store, session_id, who="A. Leader")
    before = store.cells(session_id)
    token = booth_plans.add_late(store, session_id, "Late Lou", who="A. Leader")
    after = booth_plans.served_plan(store, session_id)
    assert after.assessors == (*plan.assessors, "Late Lou")
    assert sorted(one.order for one in after.sets) == ["AAB", "ABA", "ABB", "BAA", "BAB", "BBA"]
    assert {line: store.cells(session_id)[line] for line in before} == before
    assert booths.visit(store, token).assessor == "Late Lou"
    assert booths.visit(store, tokens["P3"]).assessor == "P3"
    assert "Late" not in repr(store.session(session_id).serving)
    with pytest.raises(ArgumentError, match="in the plan already"):
        booth_plans.add_late(store, session_id, "late lou", who="A. Leader")
    assert store.verify() == []


def test_not_today_is_kept_without_a_reason_and_opens_no_ballot(store):
    session_id, _ = planned(store)
    token = booth_plans.open_booths(store, session_id, who="A. Leader")["Anna"]
    ballot = booths.visit(store, token).ballot
    booths.consent(store, token, wants=False)
    booths.consent(store, token)  # the first answer counts
    here = booths.visit(store, token)
    assert here.excused
    assert not here.consented
    assert here.ballot is None
    with pytest.raises(RecordError, match="consent is given"):
        fill(store, token, ballot)
    entry = store.entries(session_id)[-1]
    assert entry.why == "not today"
    mine = [texts for texts in store.cells(session_id).values() if texts["assessor"] == "Anna"]
    assert {texts["not served"] for texts in mine} == {"not today"}


@pytest.mark.parametrize("windows", [1, 2], ids=["one process", "two processes"])
def test_who_was_given_up_and_came_late_finds_ballots_at_a_booth_opened_before(
    store, tmp_path, windows
):
    session_id, _ = planned(store)
    other = store if windows == 1 else open_store(f"sqlite:///{tmp_path / 'r.sqlite3'}")
    tokens = booth_plans.open_booths(store, session_id, who="A. Leader")
    assert booths.visit(other, tokens["Bo"]).assessor == "Bo"
    booth_plans.did_not_come(store, session_id, "Bo", who="A. Leader")
    late = booth_plans.add_late(store, session_id, "Bo", who="A. Leader")
    booths.consent(other, late)
    ballot = booths.visit(other, late).ballot
    assert ballot is not None
    fill(other, late, ballot)
    booths.send(other, late, ballot.line)
    assert store.cells(session_id)[ballot.line]["sent"]
    other.close()


def test_a_line_that_gets_another_name_leaves_its_seat_at_once(store):
    session_id, _ = planned(store, people=("Anna", "Bo"))
    seats = [store.seat_cells(session_id, seat) for seat in (1, 2)]
    last = max(seats[1])
    with store.action(who="L", why="x") as act:
        act.write_lines(session_id, {last + 1: {"assessor": "Bo", "order": "ABB"}})
    assert last + 1 in store.seat_cells(session_id, 2)
    with store.action(who="L", why="x") as act:
        act.write_lines(session_id, {last + 1: {"assessor": "Anna"}})
    assert set(store.seat_cells(session_id, 2)) == set(seats[1])
    assert set(store.seat_cells(session_id, 1)) == {*seats[0], last + 1}
