"""The live board and the checklist of a serving: where each seat is, and what is to be done."""

from __future__ import annotations

from sensory.sessions import booth_plans, booths, exclusions, served
from sensory.sessions.checklist import checklist
from sensory.sessions.live_board import At, live_board
from sensory.sessions.steps import State, standing

from .shared import BY, answered, at_booths, planned, waiting


def states(store, here):
    return {seat.name: str(seat.at) for seat in live_board(store, here).seats}


def points(store, here):
    return {item.name: (str(item.state), item.words) for item in checklist(store, here)}


def test_every_seat_is_somewhere_and_the_words_count_who_can_still_come(store):
    people = ("Anna", "Bo", "Cleo", "Dora", "Emil", "Finn")
    here, _, tokens = at_booths(store, people=people)
    assert set(states(store, here).values()) == {"waiting"}
    booths.consent(store, tokens["Bo"])
    booths.consent(store, tokens["Anna"])
    answered(store, tokens["Anna"])
    booths.consent(store, tokens["Cleo"], wants=False)
    exclusions.exclude(store, here, "Dora", ["A"], who=BY)
    booth_plans.did_not_come(store, here, "Emil", who=BY)
    booth_plans.add_late(store, here, "Gita", who=BY)
    board = live_board(store, here)
    assert states(store, here) == {
        "Anna": "sent",
        "Bo": "tasting",
        "Cleo": "not today",
        "Dora": "left out",
        "Emil": "did not come",
        "Finn": "waiting",
        "Gita": "waiting",
    }
    assert [seat.name for seat in board.seats if seat.late] == ["Gita"]
    assert [seat.name for seat in board.seats if seat.since] == ["Anna", "Bo", "Cleo"]
    # Anna, Bo, Finn and Gita have a ballot each.
    assert board.words == ("1 of 4 ballots sent; not today: 1; left out: 1; did not come: 1.")
    assert board.absent == (("Cleo", "not today"), ("Emil", "did not come"))


def test_who_does_not_want_to_taste_is_no_ballot_of_nothing(store):
    """'0 of 0 ballots are sent' stood there."""
    here, _, tokens = at_booths(store, people=("Anna", "Bo"))
    for token in tokens.values():
        booths.consent(store, token, wants=False)
    board = live_board(store, here)
    assert board.words == "No ballot is expected; not today: 2."
    there = standing(store, here)
    assert there.at_booths
    assert not there.can_close


def test_absence_is_taken_back(store):
    here, _, tokens = at_booths(store, people=("Anna", "Bo"))
    booths.consent(store, tokens["Anna"], wants=False)
    exclusions.not_today(store, here, "Anna", taken_back=True, who=BY)
    assert states(store, here) == {"Anna": "waiting", "Bo": "waiting"}
    booth_plans.did_not_come(store, here, "Bo", who=BY)
    booth_plans.add_late(store, here, "Bo", who=BY)
    board = live_board(store, here)
    assert states(store, here) == {"Anna": "waiting", "Bo": "waiting"}
    assert (board.sent, board.expected) == (0, 2)


def test_ballots_on_paper_are_answered_not_sent(store):
    here, _ = planned(store, people=("Anna", "Bo"))
    rows = {row: texts["code_1"] for row, texts in store.cells(here).items()}
    with store.action(who=BY, why="typed") as act:
        act.write_lines(here, {1: {"answer": rows[1]}})
    board = live_board(store, here)
    assert [seat.at for seat in board.seats] == [At.SENT, At.WAITING]
    assert board.words == "1 of 2 ballots answered."


def test_checklist_leads_from_the_plan_to_the_confirmation(store):
    here, _ = planned(store, "PROFILE", people=("Anna",), allergens="")
    state, words = points(store, here)["Allergens"]
    assert (state, words[:8]) == ("now", "Missing:")
    here, _ = planned(store, people=[f"P{n}" for n in range(6)])
    assert points(store, here)["Plan"] == ("done", "Every order once.")
    assert points(store, here)["Allergens"] == ("done", "sulphites (all samples).")
    assert points(store, here)["Print"][0] == State.NOW
    tokens = booth_plans.open_booths(store, here, who=BY)
    for token in tokens.values():
        booths.consent(store, token)
        while waiting(store, token) is not None:
            answered(store, token)
        taste = points(store, here)["Taste"]
    assert points(store, here)["Print"][0] == State.DONE
    assert taste == ("done", "All ballots are in.")
    assert points(store, here)["Confirm"] == ("now", "Served as planned?")
    served.confirm_served(store, here, who=BY)
    assert {state for state, _ in points(store, here).values()} == {"done"}
