"""The use cases of a session, and each of their refusals, on a real record."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace

import pytest

from sensory.base.errors import ArgumentError, BallotError, RecordError
from sensory.base.findings import Finding
from sensory.base.standards import STANDARDS
from sensory.catalogue.question import Question
from sensory.choices.protocols import PROTOCOLS, TRIANGLE
from sensory.choices.risks import session_risks
from sensory.sessions import lines, missing, workflow
from sensory.sessions.file_kinds import kind_of_file
from sensory.sessions.finding import outcome_of_session, session_report
from sensory.sessions.outcomes import check_ballots
from sensory.sessions.session import CAUTIONS, SessionDetails, StoredSession
from sensory.store.repository import Repository

from ..shared import CARE, write_lines

QUESTION = Question(
    pd_limit=0.30,
    what_changed="Sugar reduced by 4 %; nothing else.",
    decision="Whether the new recipe replaces the old one.",
    if_different="Keep the old recipe.",
    if_similar="Change the recipe.",
    if_undecided="Plan one larger session.",
    assessors=6,
)
ALL_YES = {caution.key: True for caution in CAUTIONS}
CODES = ("412 837 265", "518 903 276", "771 640 139", "205 984 366", "593 418 702", "860 127 554")
CELLS = {
    line: {
        "assessor": f"P{line:02d}",
        "order": order,
        "codes": codes,
        "answer": codes.split()[odd],
    }
    for line, (order, odd, codes) in enumerate(
        zip(TRIANGLE.orders, (0, 1, 2, 2, 1, 1), CODES, strict=True), start=2
    )
}
ID = "blackcurrant"


def opened(store: Repository, **given) -> StoredSession:
    plan = {"question": QUESTION, "cautions": ALL_YES, "cells": CELLS, **given}
    return workflow.open_session(
        store,
        ID,
        details=SessionDetails(title="Less sugar", care=CARE),
        who="Änne",
        why="planned",
        **plan,
    )


def agreed(store: Repository, **given) -> StoredSession:
    opened(store, **given)
    return workflow.agree(store, ID, who="Änne")


def closed(store: Repository, **given) -> StoredSession:
    agreed(store, **given)
    return workflow.close(store, ID, who="Änne")


def shown(store: Repository):
    return session_report(store, ID, version="1")


# Opening and describing.


def test_open_session_is_on_record(store):
    session = opened(store)
    assert store.session(ID) == session
    assert (session.stage, session.digest, session.agreed_at) == ("question not agreed", "", "")
    assert store.cells(ID) == CELLS
    assert [(entry.what, entry.who, entry.why) for entry in store.entries(ID)] == [
        ("opened", "Änne", "planned")
    ]


def test_identifiers_are_different_and_long():
    made = {workflow.new_session_id() for _ in range(100)}
    assert len(made) == 100
    assert all(len(text) == 32 and set(text) <= set("0123456789abcdef") for text in made)


def test_describe_changes_only_what_is_given(store):
    session = opened(store)
    details = SessionDetails(title="Less sugar, second try", leader="Änne", care=CARE)
    described = workflow.describe(store, ID, details=details, who="Zoë")
    assert described == replace(session, details=details)
    assert store.session(ID) == described
    assert store.entries(ID)[-1].who == "Zoë"


def test_describing_the_same_again_writes_nothing(store):
    session = opened(store)
    same = {name: getattr(session, name) for name in ("details", "question", "cautions")}
    assert workflow.describe(store, ID, **same, who="Zoë") == session
    assert len(store.entries(ID)) == 1


def test_question_may_change_until_it_is_agreed(store):
    opened(store)
    other = replace(QUESTION, pd_limit=0.25)
    assert workflow.describe(store, ID, question=other, who="Änne").question == other
    workflow.agree(store, ID, who="Änne")
    with pytest.raises(RecordError, match=r"The question was agreed at 20.* and is frozen"):
        workflow.describe(store, ID, question=QUESTION, who="Änne")
    assert replace(store.session(ID).question, standard="") == other


def nothing(act, *given, **by):
    """A step with a session that is not on record."""
    return lambda store: act(store, "nothing", *given, **(by or {"who": "Änne"}))


def step(act, *given, **by):
    """A step with the session at hand."""
    return lambda store: act(store, ID, *given, **{"who": "Änne", **by})


@pytest.mark.parametrize(
    ("begin", "act", "message"),
    [
        (None, nothing(workflow.describe), "no such session"),
        (None, nothing(workflow.agree), "no such session"),
        (None, nothing(workflow.close), "no such session"),
        (None, nothing(workflow.enter_cells, CELLS), "no such session"),
        (None, nothing(session_report, version="1"), "no such session"),
        (opened, step(workflow.agree, who=""), "the name of the panel leader is empty"),
        (opened, step(workflow.agree, who="  "), "the name of the panel leader is empty"),
        (opened, step(workflow.close), "Agree the question first"),
        (opened, step(workflow.reopen, why="typing error"), "The session is open already"),
        (agreed, step(workflow.agree), "already agreed at 20"),
        (agreed, shown, "shown when the ballots are closed"),
        (closed, step(workflow.describe, details=SessionDetails(title="other")),
         "closed; reopen it with a reason"),
        (closed, step(workflow.enter_cells, {2: {"answer": "837"}}),
         "The ballots are closed; reopen the session"),
        (closed, step(workflow.reopen, why=""), "Say why the ballots are opened again"),
        (closed, step(workflow.reopen, why=" \n"), "Say why the ballots are opened again"),
    ],
)  # fmt: skip
def test_steps_out_of_turn_are_refused_and_change_nothing(store, begin, act, message):
    before = begin and begin(store)
    with pytest.raises(RecordError, match=message):
        act(store)
    assert begin is None or (store.session(ID), store.cells(ID)) == (before, CELLS)


# Agreeing.


def test_agreement_freezes_the_question(store):
    opened(store)
    session = workflow.agree(store, ID, who="Änne")
    assert session == store.session(ID)
    assert session.agreed
    assert session.stage == "ballots open"
    assert session.question.standard == STANDARDS["ISO 4120"].cited
    assert replace(session.question, standard="") == QUESTION
    assert (session.agreed_by, session.digest) == ("Änne", session.question.digest)
    assert session.ballots_at_agreement == 6
    entry = store.entries(ID)[-1]
    assert (entry.what, entry.who, entry.why) == ("agreed", "Änne", QUESTION.decision)


def test_agreement_counts_filled_lines_only(store):
    opened(store, cells={2: {"assessor": "P01"}, 3: {"assessor": " "}, 4: {"answer": ""}})
    assert workflow.agree(store, ID, who="Änne").ballots_at_agreement == 1


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda caution: caution.key)
@pytest.mark.parametrize("answer", [False, None])
def test_each_caution_blocks_agreement(store, caution, answer):
    answers = {**ALL_YES, caution.key: answer}
    if answer is None:
        del answers[caution.key]
    session = opened(store, cautions=answers)
    assert missing.unmet_cautions(session) == [f"{caution.asks} {caution.advice}"]
    with pytest.raises(RecordError) as caught:
        workflow.agree(store, ID, who="Änne")
    assert caution.asks in str(caught.value)
    assert not store.session(ID).agreed


def test_only_a_plain_yes_counts(store):
    session = opened(store, cautions=dict.fromkeys(ALL_YES, "yes"))
    assert len(missing.unmet_cautions(session)) == len(CAUTIONS)


@pytest.mark.parametrize(
    ("field", "asks"),
    [
        ("what_changed", "What differs"),
        ("decision", "What depends"),
        ("if_different", "if the finding is different"),
        ("if_similar", "if the finding is similar"),
        ("if_undecided", "if the session cannot tell"),
    ],
)
@pytest.mark.parametrize("text", ["", " \n"])
def test_each_missing_part_of_the_question_blocks_agreement(store, field, asks, text):
    opened(store, question=replace(QUESTION, **{field: text}))
    with pytest.raises(RecordError, match=f"The question is not complete: .*{asks}"):
        workflow.agree(store, ID, who="Änne")
    assert not store.session(ID).agreed


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_attribute_is_needed_where_the_ballot_asks_for_one(protocol):
    question = replace(QUESTION, protocol=protocol.key)
    lacking = missing.missing_in_question(question)
    assert lacking == (["Which attribute is asked about?"] if protocol.asks_attribute else [])
    assert missing.missing_in_question(replace(question, attribute="sourness")) == []


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"alpha": 1.0}, "alpha must lie strictly between 0 and 1"),
        ({"beta": 0.0}, "beta must lie strictly between 0 and 1"),
        ({"pd_limit": 30.0}, r"pd_limit must lie .* For 30 % write 0\.3"),
        ({"assessors": 0}, "must be at least 1; got 0"),
        ({"two_sided": True}, "two_sided is not possible for a triangle test"),
        ({"protocol": "QUARTET"}, "test 'QUARTET' is not known"),
        ({"protocol": "PAIRED", "attribute": "sourness", "target": "C"}, "target must be"),
    ],
)
def test_impossible_question_is_not_agreed(store, given, message):
    opened(store, question=replace(QUESTION, **given))
    with pytest.raises(ArgumentError, match=message):
        workflow.agree(store, ID, who="Änne")
    assert not store.session(ID).agreed


# Numbers before tasting.


def test_planned_risks_are_those_of_the_question():
    risks = workflow.planned_risks(replace(QUESTION, assessors=66))
    expected = session_risks(TRIANGLE, 66, alpha=0.05, beta=0.05, pd_limit=0.3)
    assert risks == expected
    assert workflow.planned_risks(QUESTION, trials=66) == expected
    assert workflow.planned_risks(QUESTION) != expected


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_limit_goes_to_dprime_and_back(protocol):
    question = replace(QUESTION, protocol=protocol.key, pd_limit=0.3)
    dprime = workflow.limit_as_dprime(question)
    assert dprime > 0
    assert workflow.limit_from_dprime(protocol.key, dprime) == pytest.approx(0.3, rel=1e-9)


# Cells.


def test_cells_are_entered_once(store):
    opened(store, cells=None)
    assert workflow.enter_cells(store, ID, CELLS, who="Zoë") == 24
    assert workflow.enter_cells(store, ID, CELLS, who="Zoë") == 0
    assert store.cells(ID) == CELLS
    assert (store.entries(ID)[-1].who, store.entries(ID)[-1].why) == ("Zoë", "typed")


def test_cells_of_a_file_keep_their_row_numbers():
    content = b"Elderflower cordial\n\nassessor,order\nP01,ABB\n\nP02,BAB\n"
    cells, remarks = workflow.cells_of_file(content)
    assert cells == {
        4: {"assessor": "P01", "order": "ABB"},
        6: {"assessor": "P02", "order": "BAB"},
    }
    assert remarks == []


def test_cells_of_several_sheets_are_numbered_through(workbook):
    names = ["Monday 1", "Monday 2", "Tuesday 1", "Tuesday 2"]
    sheets = {
        day: [["note"], ["assessor", "order"], *([name, "ABB"] for name in names if day in name)]
        for day in ("Monday", "Tuesday")
    }
    cells, _ = workflow.cells_of_file(workbook(sheets))
    assert {line: texts["assessor"] for line, texts in cells.items()} == dict(enumerate(names, 2))


def test_cells_of_a_file_with_remarks():
    cells, remarks = workflow.cells_of_file(b"assessor,order,shoe size\nP01,ABB,42\n")
    assert cells == {2: {"assessor": "P01", "order": "ABB"}}
    assert [fault.rule for fault in remarks] == ["unknown column"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "an empty file"),
        (b"Dear panel\n", "No heading row"),
        (b"assessor,order,person\nP01,ABB,P01\n", "two columns for assessor"),
    ],
)
def test_file_that_is_no_table_is_refused(content, message):
    with pytest.raises(BallotError, match=message):
        workflow.cells_of_file(content)


def test_most_lines_of_a_session():
    def of(count: int) -> bytes:
        return b"assessor,order\n" + b"P01,ABB\n" * count

    assert len(workflow.cells_of_file(of(lines.MOST_LINES))[0]) == lines.MOST_LINES
    with pytest.raises(ArgumentError, match="holds 5001 ballots; one session takes at most 5000"):
        workflow.cells_of_file(of(lines.MOST_LINES + 1))


@pytest.mark.parametrize(
    ("named", "key"),
    [
        ([""], "TRIANGLE"),
        ([" ", "Duo-trio"], "DUO_TRIO"),
        (["quartet", "tetrad"], "TETRAD"),
        (["quartet"], "TRIANGLE"),
        (["3-AFC", "tetrad"], "THREE_AFC"),
    ],
)
def test_forced_choice_that_a_file_names(named, key):
    lines = [f"P01;AAB;1;{name}" for name in named]
    text = "\n".join(["assessor;order;answer;protocol", *lines])
    assert kind_of_file(text.encode()) == key


# Judging.


def test_checked_ballots_of_a_session(store):
    opened(store)
    checked = workflow.checked_ballots(store, ID)
    assert checked.faults == ()
    assert [ballot.correct for ballot in checked.rows] == [True, True, True, True, True, False]


@pytest.mark.parametrize(
    ("more", "blocking", "remarks"),
    [
        ({90: {"assessor": " ", "answer": ""}}, [], []),
        ({90: {**CELLS[2], "assessor": "P90", "answer": "9"}}, [("", 90, "code not served")], []),
        ({20: {"assessor": "P"}}, [], ["nothing served"]),
        ({20: {"assessor": "P", "order": "ABB"}}, [], ["no answer"]),
        ({2: {**CELLS[2], "protocol": "tetrad"}}, [("", 2, "other protocol")], []),
        ({line: {} for line in CELLS}, [("", 0, "no ballots")], []),
        ({line: {**CELLS[line], "session": "Monday" if line < 5 else "monday "} for line in CELLS},
         [], []),
    ],
)  # fmt: skip
def test_faults_and_remarks_name_their_lines(more, blocking, remarks):
    checked = check_ballots({**CELLS, **more}, QUESTION)
    named = [(fault.sheet, fault.row, fault.rule) for fault in checked.blocking]
    assert named == blocking
    assert set(remarks) <= {fault.rule for fault in checked.remarks}
    assert blocking or len(checked.rows) == len(CELLS) + ("no answer" in remarks)


def test_several_sessions_in_one_file_are_refused(store):
    cells = {
        line: {**texts, "session": "Monday" if line < 5 else "Tuesday"}
        for line, texts in CELLS.items()
    }
    fault = check_ballots(cells, QUESTION).blocking[0]
    assert fault.rule == "several sessions"
    assert "belong to 2 sessions: Monday, Tuesday" in fault.problem
    agreed(store, cells=cells)
    with pytest.raises(BallotError, match="column session: The ballots belong to 2 sessions"):
        workflow.close(store, ID, who="Änne")


def test_target_of_the_question_decides():
    question = replace(QUESTION, protocol="PAIRED", attribute="sourness")
    cells = {2: {"assessor": "P01", "order": "AB", "codes": "412 837", "answer": "412"}}
    for target, right in (("A", True), ("B", False)):
        checked = check_ballots(cells, replace(question, target=target))
        assert [ballot.correct for ballot in checked.rows] == [right]


# Closing.


def test_closing_opens_the_finding(store):
    session = closed(store)
    assert session == store.session(ID)
    assert session.stage == "finding shown"
    assert store.entries(ID)[-1].what == "closed"


def test_closing_again_changes_nothing(store):
    session = closed(store)
    assert workflow.close(store, ID, who="Zoë") == session
    assert len(store.entries(ID)) == 3


@pytest.mark.parametrize(
    ("cells", "error", "message"),
    [
        ({**CELLS, 2: {**CELLS[2], "answer": "999"}}, BallotError,
         "row 2, column answer: 999 was not among"),
        ({2: {**CELLS[2], "answer": ""}}, RecordError,
         "No ballot has an answer"),
        (None, BallotError, "There are no ballots"),
    ],
)  # fmt: skip
def test_faults_keep_the_ballots_open(store, cells, error, message):
    agreed(store, cells=cells)
    with pytest.raises(error, match=message):
        workflow.close(store, ID, who="Änne")
    assert not store.session(ID).closed


def test_reopened_session_takes_cells_and_keeps_its_question(store):
    closed(store)
    session = workflow.reopen(store, ID, who="Änne", why=" typing error ")
    assert session.stage == "ballots open"
    assert store.entries(ID)[-1].why == "typing error"
    assert workflow.enter_cells(store, ID, {2: {"answer": "837"}}, who="Zoë") == 1
    with pytest.raises(RecordError, match="frozen"):
        workflow.describe(store, ID, question=replace(QUESTION, alpha=0.1), who="Änne")


# The summary.


def test_summary_states_what_was_asked_and_found(store):
    session = closed(store)
    summary = session_report(store, ID, version="9.9")
    counts = summary.outcome.counts
    assert (counts.correct, counts.trials) == (5, 6)
    assert summary.outcome.finding is Finding.DIFFERENT
    assert replace(summary.question, standard="") == QUESTION
    assert summary.session == session
    assert (counts.assessors, counts.missing, counts.guesses) == (6, 0, 0)
    assert "6 ballots had been entered when the question was agreed" in summary.cannot_tell()[-1]
    assert counts.orders == dict.fromkeys(sorted(TRIANGLE.orders), 1)
    assert (summary.remarks, summary.afterwards, summary.version) == ((), (), "9.9")


def test_risks_of_the_question_reach_the_finding(store):
    closed(store, question=replace(QUESTION, alpha=0.01, beta=0.2, pd_limit=0.5))
    outcome = shown(store).outcome
    assert (outcome.alpha, outcome.beta, outcome.limit) == (0.01, 0.2, 0.5)


def test_missing_answers_and_guesses_are_reported_and_remarked(store):
    cells = {**CELLS, 2: {**CELLS[2], "answer": ""}, 3: {**CELLS[3], "guess": "x"}}
    closed(store, cells=cells)
    summary = shown(store)
    counts = summary.outcome.counts
    assert (counts.missing, counts.guesses, counts.trials) == (1, 1, 5)
    assert counts.correct == 4
    assert [remark[:22] for remark in summary.remarks] == ["row 2, column answer: "]
    assert any("6 ballots were planned" in line for line in summary.outcome.cannot_tell)


def many(*, people: int, ballots: int) -> dict[int, dict[str, str]]:
    """Triangles of which a third is right, by so many people in turn."""
    cells = {}
    for number in range(ballots):
        order = TRIANGLE.orders[number % 6]
        odd = order.index("A" if order.count("A") == 1 else "B")
        cells[number + 2] = {
            "assessor": f"P{number % people}",
            "replicate": str(number // people + 1),
            "order": order,
            "codes": "412 837 265",
            "answer": ["412", "837", "265"][(odd + (number // 6) % 3) % 3],
        }
    return cells


@pytest.mark.parametrize("people", [66, 33, 65])
def test_answers_of_one_person_go_together(store, people):
    closed(store, cells=many(people=people, ballots=66))
    outcome = shown(store).outcome
    assert (outcome.counts.correct, outcome.counts.trials) == (24, 66)
    assert outcome.counts.assessors == people
    assert outcome.counts.replicated == (people < 66)
    named = [row[0] for row in outcome.tables[0].table.rows]
    assert people == 66 or "p of the similarity test" not in named


def test_cell_written_between_check_and_close_refuses_the_close(store, monkeypatch):
    agreed(store)
    check = workflow.check_ballots

    def slow(cells, question):
        write_lines(store, ID, {2: {"answer": "no code"}}, who="Zoë", why="other window")
        return check(cells, question)

    monkeypatch.setattr(workflow, "check_ballots", slow)
    with pytest.raises(RecordError, match="changed in another window"):
        workflow.close(store, ID, who="Änne")
    assert not store.session(ID).closed


def test_caution_taken_back_refuses_the_close(store):
    agreed(store)
    cautions = {**store.session(ID).cautions, "cleared": False}
    workflow.describe(store, ID, cautions=cautions, who="Änne")
    with pytest.raises(RecordError, match="no longer answered with yes"):
        workflow.close(store, ID, who="Änne")


def test_changes_after_the_finding_are_shown(store):
    opened(store)
    workflow.enter_cells(store, ID, {2: {"comment": "before"}}, who="Zoë")
    workflow.agree(store, ID, who="Änne")
    workflow.enter_cells(store, ID, {2: {"comment": "before closing"}}, who="Zoë")
    workflow.close(store, ID, who="Änne")
    assert shown(store).afterwards == ()
    workflow.reopen(store, ID, who="Änne", why="cups were swapped")
    workflow.enter_cells(store, ID, {2: {"answer": "837"}, 3: {"guess": "x"}}, who="Zoë")
    workflow.close(store, ID, who="Änne")
    afterwards = shown(store).afterwards
    assert len(afterwards) == 4
    assert afterwards[0] == (
        "The first finding was Different, 5 of 6 correct. Since then 0 answers were added, "
        "1 answers changed or removed, and 1 other cells changed."
    )
    afterwards = afterwards[1:]
    assert afterwards[0].endswith("ballots opened again by Änne. Reason: cups were swapped")
    assert afterwards[1].endswith("row 2, answer: '412' became '837' (Zoë)")
    assert afterwards[2].endswith("row 3, guess: '' became 'x' (Zoë)")
    assert not any("before" in line for line in afterwards)


def test_details_changed_after_the_finding_are_shown(store):
    closed(store)
    workflow.reopen(store, ID, who="Änne", why="wrong batch number")
    workflow.describe(
        store, ID, details=SessionDetails(title="another batch", care=CARE), who="Zoë"
    )
    workflow.close(store, ID, who="Änne")
    afterwards = shown(store).afterwards
    assert "details, title: 'Less sugar' became 'another batch' (Zoë)" in afterwards[2]


def test_question_changed_behind_its_back_is_noticed(store):
    closed(store)
    looser = json.dumps(replace(QUESTION, pd_limit=0.6).to_dict())
    with sqlite3.connect(store._engine.url.database) as connection:
        connection.execute("UPDATE sessions SET question = ?", (looser,))
    connection.close()
    with pytest.raises(RecordError, match=r"changed outside this program\. Session .* is not what"):
        shown(store)
    with pytest.raises(RecordError, match="its digest differs"):
        outcome_of_session(store, store.session(ID))


# Sessions prepared in files.


def test_prepared_session(tmp_path):
    details, cautions = {"title": "Less sugar"}, {"cleared": True, "consent": False}
    plain = {"details": details, "question": QUESTION.to_dict(), "cautions": cautions}
    (tmp_path / "less.json").write_text(json.dumps(plain), encoding="utf-8")
    (tmp_path / "less.csv").write_text("assessor,order\nP01,ABB\n", encoding="utf-8")
    assert workflow.read_prepared(tmp_path, "less") == {
        "details": SessionDetails(title="Less sugar"),
        "question": QUESTION,
        "cautions": cautions,
        "cells": {2: {"assessor": "P01", "order": "ABB"}},
    }
