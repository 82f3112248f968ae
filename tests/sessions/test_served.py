"""What was served beside what was planned: stated, compared, confirmed."""

from __future__ import annotations

import json

import pytest

from sensory.base.errors import RecordError
from sensory.catalogue.tests import TESTS
from sensory.choices.protocols import PROTOCOLS
from sensory.serving.ballot_line import DEPARTURE, NOT_SERVED, BallotLine, codes_of
from sensory.serving.cups import planned_lines
from sensory.sessions import booth_plans, booths, exclusions, served, workflow
from sensory.sessions.finding import session_report
from sensory.sessions.served_beside_plan import served_beside_plan

from .shared import BY, DEMO, answered, finish, lines_of, planned, seat, waiting


def compared(store, session_id):
    return served_beside_plan(store.session(session_id), store.cells(session_id))


def answer_first(store, session_id):
    """Anna sends her first ballot."""
    token = booth_plans.open_booths(store, session_id, who=BY)["Anna"]
    booths.consent(store, token)
    answered(store, token)


def answer_all(store, session_id):
    for token in booth_plans.open_booths(store, session_id, who=BY).values():
        finish(store, token)


@pytest.mark.parametrize("key", [*TESTS])
def test_the_plan_equals_the_ballots_until_something_is_stated(store, key):
    session_id, plan = planned(store, key)
    found = compared(store, session_id)
    assert found.departures == ()
    assert found.came == "3 assessors planned: who came is not known yet."
    assert found.confirmed == "It is not confirmed that all was served as planned."
    expected = {(t["assessor"], codes_of(t)) for t in store.cells(session_id).values()}
    assert set(planned_lines(plan)) == expected
    with pytest.raises(RecordError, match="No ballot is answered yet"):
        served.confirm_served(store, session_id, who=BY)
    answer_first(store, session_id)
    served.confirm_served(store, session_id, who=BY)
    at = store.session(session_id).serving.confirmed.at
    assert compared(store, session_id).confirmed == (
        f"All was served as planned, confirmed {at[:10]} {at[11:16]} UTC."
    )


@pytest.mark.parametrize("key", [*PROTOCOLS, "SAME_DIFFERENT"])
def test_another_order_is_written_to_the_ballot_and_not_to_the_plan(store, key):
    session_id, _ = planned(store, key)
    session = store.session(session_id)
    line, texts = next(iter(lines_of(store, session_id).items()))
    column = BallotLine.from_texts(line, texts).served_column
    other = next(one for one in served.possible_servings(session) if one != texts[column])
    answer_first(store, session_id)
    session = store.session(session_id)
    served.confirm_served(store, session_id, who=BY)
    served.served_otherwise(store, session_id, {line: other}, why="tray turned", who=BY)
    assert store.cells(session_id)[line][column] == other
    assert store.session(session_id).serving == session.serving  # and not confirmed any more
    entry = next(e for e in reversed(store.entries(session_id)) if e.what == "cells")
    assert (entry.why, entry.who) == ("tray turned", BY)
    assert compared(store, session_id).departures == (
        f"Row {line}: planned {texts[column]}, served {other} (tray turned).",
    )
    served.confirm_served(store, session_id, who=BY)
    assert compared(store, session_id).confirmed.startswith("All else was served as planned")
    served.served_after_all(store, session_id, line, who=BY)
    assert store.cells(session_id)[line] == texts
    assert compared(store, session_id).departures == ()
    assert store.verify() == []


def test_a_corrected_order_changes_what_counts_as_correct(store):
    session_id, _ = planned(store)
    answer_all(store, session_id)  # everybody names the first sample
    line, texts = next(iter(lines_of(store, session_id).items()))
    odd_first = texts["order"] in ("ABB", "BAA")
    other = "BBA" if odd_first else "ABB"
    served.served_otherwise(store, session_id, {line: other}, why="tray turned", who=BY)
    ballots = workflow.checked_ballots(store, session_id).rows
    (mine,) = [ballot for ballot in ballots if ballot.assessor == "Bo"]
    assert mine.correct is not odd_first


def test_exchanged_cups_keep_one_line_a_sample_and_replicate(store):
    session_id, plan = planned(store, "PROFILE")
    before = lines_of(store, session_id)
    (one, first), (two, second), *_ = before.items()
    served.served_otherwise(
        store, session_id, {one: second["sample"], two: first["sample"]}, why="exchanged", who=BY
    )
    after = lines_of(store, session_id)
    assert [after[n]["sample"] for n in (one, two)] == [second["sample"], first["sample"]]
    assert [after[n]["code"] for n in (one, two)] == [first["code"], second["code"]]
    answer_all(store, session_id)
    assert not workflow.checked_ballots(store, session_id).blocking
    found = compared(store, session_id).departures
    assert found == (
        f"Row {one}: planned {first['sample']}, served {second['sample']} (exchanged).",
        f"Row {two}: planned {second['sample']}, served {first['sample']} (exchanged).",
    )
    assert set(served.possible_servings(store.session(session_id))) == set(plan.design.samples[0])


def test_a_sample_served_twice_is_a_second_replicate_and_back(store):
    session_id, _ = planned(store, "PROFILE")
    before = lines_of(store, session_id)
    (_, first), (two, _), *_ = before.items()
    served.served_otherwise(store, session_id, {two: first["sample"]}, why="wrong jug", who=BY)
    assert lines_of(store, session_id)[two]["replicate"] == "2"
    answer_all(store, session_id)
    assert not workflow.checked_ballots(store, session_id).blocking
    served.served_after_all(store, session_id, two, who=BY)
    assert lines_of(store, session_id)[two]["replicate"] == "1"
    assert DEPARTURE not in lines_of(store, session_id)[two]


def test_a_ranking_takes_exchanged_cups_and_no_sample_twice(store):
    session_id, _ = planned(store, "RANKING")
    (one, first), (two, second), *_ = lines_of(store, session_id).items()
    with pytest.raises(RecordError, match="would stand twice"):
        served.served_otherwise(store, session_id, {one: second["sample"]}, why="jug", who=BY)
    assert compared(store, session_id).departures == ()
    served.served_otherwise(
        store, session_id, {one: second["sample"], two: first["sample"]}, why="jug", who=BY
    )
    assert len(compared(store, session_id).departures) == 2
    served.served_after_all(store, session_id, two, who=BY)
    assert compared(store, session_id).departures == ()


def test_spilled_ballots_are_not_missing_and_come_back(store):
    session_id, _ = planned(store, "RANKING")
    laid_out = store.cells(session_id)
    line = min(lines_of(store, session_id))
    served.not_served(store, session_id, line, "spilled", why="tray fell", who=BY)
    held = {texts[NOT_SERVED] for texts in lines_of(store, session_id).values()}
    assert held == {"spilled: tray fell"}
    rows = ", ".join(map(str, lines_of(store, session_id)))
    assert compared(store, session_id).departures == (
        f"Planned and not served (spilled: tray fell): rows {rows}.",
    )
    assert ("Bo", 0, 0) in booth_plans.progress(store, session_id)
    token = booth_plans.open_booths(store, session_id, who=BY)["Bo"]
    booths.consent(store, token)
    assert waiting(store, token) is None
    served.served_after_all(store, session_id, line, who=BY)
    assert waiting(store, token).line == line
    kept = store.cells(session_id)
    for texts in kept.values():
        texts.pop("consent", None)
    assert kept == laid_out


def test_a_box_ticked_on_paper_is_kept_in_three_words(store):
    session_id, _ = planned(store)
    line = min(lines_of(store, session_id))
    served.not_served(store, session_id, line, served.LEFT_OUT, why="milk", who=BY)
    assert store.cells(session_id)[line][NOT_SERVED] == "not this sample"
    assert store.entries(session_id)[-1].why == "not this sample"
    assert "milk" not in repr(store.entries(session_id)[-1])


def test_a_ballot_left_out_at_the_booth_can_be_given_again(store):
    session_id, token = seat(store, name="Bo")
    line = waiting(store, token).line
    booths.leave_out(store, token, line)
    served.served_after_all(store, session_id, line, who=BY)
    assert waiting(store, token).line == line


def test_what_the_grid_changed_is_a_departure_without_a_reason(store):
    session_id, _ = planned(store)
    (line, texts), *_ = lines_of(store, session_id).items()
    other = "ABB" if texts["order"] != "ABB" else "BAB"
    workflow.enter_cells(store, session_id, {line: {"order": other.lower()}}, who=BY)
    assert compared(store, session_id).departures == (
        f"Row {line}: planned {texts['order']}, served {other.lower()} (no reason stated).",
    )
    emptied = dict.fromkeys(texts, "")
    with pytest.raises(RecordError, match="keep their assessors"):
        workflow.enter_cells(store, session_id, {line: emptied}, who=BY)
    del emptied["assessor"]
    workflow.enter_cells(store, session_id, {line: emptied}, who=BY)
    extra = {900: {"assessor": "Anna", "order": "ABB", "codes": "111 222 333"}}
    workflow.enter_cells(store, session_id, extra, who=BY)
    assert set(compared(store, session_id).departures) == {
        f"Row {line}: not in the plan (no reason stated).",
        "Row 900: not in the plan (no reason stated).",
        "Planned and not among the ballots: 1 line.",
    }


@pytest.mark.parametrize(
    ("act", "message"),
    [
        (lambda s, i, n: served.served_otherwise(s, i, {n: "ABC"}, why="x", who=BY), "possible"),
        (lambda s, i, n: served.served_otherwise(s, i, {900: "ABB"}, why="x", who=BY), "Row 900"),
        (lambda s, i, n: served.not_served(s, i, n, "lost", why="x", who=BY), "can be one of"),
        (lambda s, i, n: served.not_served(s, i, n, "spilled", why=" ", who=BY), "Say why"),
        (lambda s, i, n: served.not_served(s, i, 900, "spilled", why="x", who=BY), "no row 900"),
    ],
)
def test_impossible_statements_change_nothing(store, act, message):
    session_id, _ = planned(store)
    before = store.cells(session_id)
    line = min(lines_of(store, session_id))
    with pytest.raises(RecordError, match=message):
        act(store, session_id, line)
    other = next(one for one in ("ABB", "BAB") if one != before[line]["order"])
    with pytest.raises(RecordError, match="Say why"):
        served.served_otherwise(store, session_id, {line: other}, why=" ", who=BY)
    assert store.cells(session_id) == before


def test_excluded_answered_and_closed_ballots_are_refused(store):
    session_id, _ = planned(store)
    exclusions.not_today(store, session_id, "Bo", who=BY)
    line = min(lines_of(store, session_id))
    with pytest.raises(RecordError, match="was not served: not today"):
        served.served_otherwise(store, session_id, {line: "ABB"}, why="x", who=BY)
    with pytest.raises(RecordError, match="Take that back under"):
        served.served_after_all(store, session_id, line, who=BY)
    tokens = booth_plans.open_booths(store, session_id, who=BY)
    for name in ("Anna", "Cleo"):
        finish(store, tokens[name])
    anna = min(lines_of(store, session_id, "Anna"))
    with pytest.raises(RecordError, match="is answered, so it was served"):
        served.not_served(store, session_id, anna, "spilled", why="x", who=BY)
    workflow.close(store, session_id, who=BY)
    for act in (
        lambda: served.confirm_served(store, session_id, who=BY),
        lambda: served.served_otherwise(store, session_id, {anna: "ABB"}, why="x", who=BY),
        lambda: served.not_served(store, session_id, line, "spilled", why="x", who=BY),
        lambda: served.served_after_all(store, session_id, line, who=BY),
    ):
        with pytest.raises(RecordError, match="closed; reopen it with a reason"):
            act()
    workflow.reopen(store, session_id, who=BY, why="a tray was turned")
    before = store.cells(session_id)[anna]["order"]
    other = next(one for one in ("ABB", "BAB") if one != before)
    served.served_otherwise(store, session_id, {anna: other}, why="tray turned", who=BY)
    served.confirm_served(store, session_id, who=BY)
    workflow.close(store, session_id, who=BY)
    summary = session_report(store, session_id, version="1")
    assert any("serving confirmed: all not stated" in line for line in summary.afterwards)
    assert any(f"'{before}' became '{other}'" in line for line in summary.afterwards)
    assert "0 answers were added, 0 answers changed" in summary.afterwards[0]
    assert summary.served.departures[0] == (
        f"Row {anna}: planned {before}, served {other} (tray turned)."
    )
    assert summary.served.came == "3 assessors planned: 2 came, 1 not today."


def test_a_change_of_the_plan_takes_the_confirmation_back(store):
    session_id, _ = planned(store)
    answer_first(store, session_id)
    for change in (
        lambda: booth_plans.add_late(store, session_id, "Lou", who=BY),
        lambda: booth_plans.did_not_come(store, session_id, "Lou", who=BY),
    ):
        served.confirm_served(store, session_id, who=BY)
        change()
        assert compared(store, session_id).confirmed.startswith("It is not confirmed")
    assert compared(store, session_id).came.startswith("3 assessors planned: 1 came")


def test_without_a_plan_nothing_is_said(store):
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    assert compared(store, "s1") is None
    with pytest.raises(RecordError, match="Plan the serving first"):
        served.confirm_served(store, "s1", who=BY)


def test_what_is_said_of_the_serving_names_nobody(store):
    session_id, plan = planned(store)
    line = min(lines_of(store, session_id))
    served.not_served(store, session_id, line, "not put down", why="too few cups", who=BY)
    exclusions.exclude(store, session_id, "Cleo", ["B"], who=BY)
    serving = store.session(session_id).serving.to_dict()
    stated = json.dumps([compared(store, session_id).lines, serving])
    assert not any(name in stated for name in plan.assessors)
