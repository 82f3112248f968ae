"""A complaint opens the batch again everywhere, and has owner, cause, action and closing."""

from __future__ import annotations

import pytest

from sensory.base.errors import RecordError
from sensory.release import batch_desk, complaint_desk, plant_desk, product_desk
from sensory.release.batch_records import BatchRecord, Complaint
from sensory.release.batches import Disposition, RawLot
from sensory.report.batch_documents import batch_words, done_words
from sensory.store.repository import Repository

from .shared import BY, PRODUCT, held, made, triangles


def released(store: Repository, number: str = "SC-1") -> BatchRecord:
    made(store, number, raw_lots=(RawLot(material="sweetener", lot="SW-1"),))
    held(store, number, triangles(12, 36))
    return batch_desk.decide(store, number, Disposition.RELEASE, reason="similar", **BY)


def complained(store: Repository, number: str = "SC-1", **more: str) -> BatchRecord:
    return complaint_desk.record_complaint(
        store, number, "smells of rubber", received_on="2026-04-01", who="Mira", **more
    )


def decided_again(store: Repository, number: str = "SC-1") -> BatchRecord:
    cleared = {"food_safe": True, "by": "Otto Brandt", "on": "2026-04-02", "who": "Mira"}
    product_desk.clear_batch(store, number, **cleared)
    return batch_desk.decide(store, number, Disposition.RELEASE, reason="nothing found", **BY)


def test_a_complaint_withdraws_the_clearance_and_opens_the_batch(store):
    record = released(store)
    assert (record.state, record.waits_for, record.standing) == ("done", "", "release")
    with pytest.raises(RecordError, match="complaint must be a text"):
        complaint_desk.record_complaint(store, "SC-1", " ", received_on="2026-04-01", who="Mira")
    again = complained(store)
    assert (again.state, again.standing) == ("open", "open again: complaint")
    assert again.waits_for == "clearance by food safety after a complaint"
    assert (again.clearance.food_safe, again.clearance.allergens) == (None, ("sulphites",))
    assert store.batches(state="open") == [again]


def test_the_old_decision_is_shown_nowhere_as_standing(store):
    """Board, search, sister batches, its document and the month."""
    released(store)
    released(store, "SC-2")
    complained(store)
    (on_board,) = batch_desk.board(store)
    (sought,) = store.seek("SC-1")
    (lot,) = batch_desk.batch_file(store, "SC-2").kin
    (sister,) = lot.batches
    assert {each.standing for each in (on_board, sought, sister)} == {"open again: complaint"}
    assert done_words(sister) == "Open again: complaint"
    words = batch_words(batch_desk.batch_file(store, "SC-1"))
    assert words["decided"]["heading"] == "Open again: complaint"
    assert words["decided"]["lines"][0] == "Before: released."
    month = batch_desk.month_report(store, PRODUCT, "2026-03")
    assert month.headline() == "2 batches made: 1 released, 1 waiting."
    anew = decided_again(store)
    assert (anew.state, anew.standing) == ("done", "release")


def test_a_hold_after_the_complaint_is_a_decision_of_its_own(store):
    released(store)
    complained(store)
    held_back = batch_desk.decide(store, "SC-1", Disposition.HOLD, reason="drawn", **BY)
    assert (held_back.state, held_back.standing) == ("open", "hold")


def test_a_complaint_is_looked_into_and_closed(store):
    released(store)
    complained(store, owner="Karim Aziz")
    assert [each.name for each in complaint_desk.open_complaints(store)] == ["SC-1"]
    with pytest.raises(RecordError, match="Decide SC-1 anew before its complaint is closed"):
        complaint_desk.close_complaint(store, "SC-1", 1, by="Nora Sand", who="Mira")
    decided_again(store)
    with pytest.raises(RecordError, match=r"with its owner, its cause.*cause is missing"):
        complaint_desk.close_complaint(store, "SC-1", 1, by="Nora Sand", who="Mira")
    told = {"owner": "Karim Aziz", "cause": "Line", "action": "gasket replaced", "who": "Mira"}
    for wrong, match in (
        ({"owner": " "}, "Say who sees to the complaint"),
        ({"cause": "the moon"}, "must be one of raw material, line, reference, panel, unknown"),
    ):
        with pytest.raises(RecordError, match=match):
            complaint_desk.look_into(store, "SC-1", 1, **{**told, **wrong})
    with pytest.raises(RecordError, match="SC-1 has no complaint 2"):
        complaint_desk.look_into(store, "SC-1", 2, **told)
    complaint_desk.look_into(store, "SC-1", 1, **told)
    with pytest.raises(RecordError, match="Say who signs: the name is empty"):
        complaint_desk.close_complaint(store, "SC-1", 1, by=" ", who="Mira")
    with pytest.raises(RecordError, match="came on 2026-04-01, after 2026-03-31"):
        complaint_desk.close_complaint(store, "SC-1", 1, by="N", on="2026-03-31", who="Mira")
    closed = complaint_desk.close_complaint(
        store, "SC-1", 1, by="Nora Sand", on="2026-04-20", who="Mira"
    )
    (complaint,) = closed.complaints
    assert (complaint.cause, complaint.closed) == ("line", True)
    assert complaint_desk.open_complaints(store) == []
    with pytest.raises(RecordError, match="was closed 2026-04-20"):
        complaint_desk.look_into(store, "SC-1", 1, **told)
    whats = [entry.what for entry in store.noun_entries(closed)]
    assert whats[-2:] == ["complaint looked into", "complaint closed"]
    (row,) = batch_desk.batch_file(store, "SC-1").complaints().rows
    assert row[2:] == ("Mira", "Karim Aziz", "line", "gasket replaced", "2026-04-20, Nora Sand")
    assert store.linked("complaint", "2026-04") == [closed]


def test_names_of_a_complaint_can_be_erased(store):
    released(store)
    complained(store, owner="Karim Aziz")
    assert store.erase_person("Karim Aziz", who="Mira", why="asked").remains == ()
    assert product_desk.the_batch(store, "SC-1").complaints[0].owner == "erased 1"


def test_a_complaint_is_closed_with_everything_or_not_at_all():
    whole = {"owner": "Karim", "cause": "line", "action": "cleaned", "closed_by": "Nora"}
    plain = {"text": "stale", "received_on": "2026-04-01", "closed_on": "2026-04-20"}
    assert Complaint(**plain, **whole).closed
    for name in whole:
        with pytest.raises(RecordError, match=f"{name.replace('_', ' ')} is missing"):
            Complaint(**plain, **{**whole, name: " "})
    with pytest.raises(RecordError, match="closed_on must be a date"):
        Complaint(**{**plain, "closed_on": "20 April"}, **whole)


# Causes.


def test_a_batch_that_was_off_is_decided_with_a_cause_of_the_list(store):
    made(store, "SC-1")
    held(store, "SC-1", triangles(25, 36))
    for disposition in (Disposition.REJECT, Disposition.REWORK):
        with pytest.raises(RecordError, match="The cause is missing: choose one"):
            batch_desk.decide(store, "SC-1", disposition, reason="far off", **BY)
    with pytest.raises(RecordError, match="must be one of raw material, line"):
        batch_desk.decide(store, "SC-1", Disposition.REJECT, reason="x", cause="moon", **BY)
    batch_desk.decide(store, "SC-1", Disposition.HOLD, reason="more to see", **BY)
    decided = batch_desk.decide(
        store, "SC-1", Disposition.REJECT, reason="far off", cause="RAW  material", **BY
    )
    assert decided.decision.cause == "raw material"


def test_release_against_the_recommendation_names_a_cause(store):
    made(store, "SC-1")
    held(store, "SC-1", triangles(17, 36))
    with pytest.raises(RecordError, match="The cause is missing"):
        batch_desk.decide(store, "SC-1", Disposition.RELEASE, reason="needed", **BY)
    batch_desk.decide(store, "SC-1", Disposition.RELEASE, reason="needed", cause="panel", **BY)


def test_next_years_search_finds_the_cause(store):
    released(store)
    made(store, "SC-2")
    held(store, "SC-2", triangles(25, 36))
    batch_desk.decide(store, "SC-2", Disposition.REJECT, reason="x", cause="raw material", **BY)
    complained(store)
    decided_again(store)
    complaint_desk.look_into(
        store, "SC-1", 1, owner="Karim", cause="raw material", action="lot returned", who="Mira"
    )
    assert {each.name for each in store.seek("raw mat")} == {"SC-1", "SC-2"}
    assert {each.name for each in store.linked("cause", "Raw material")} == {"SC-1", "SC-2"}
    assert store.seek("reference") == []


def test_the_list_of_causes_is_the_plants_own(store):
    with pytest.raises(RecordError, match="Say why the list of causes changes"):
        plant_desk.agree_causes(store, ["line"], who="Mira", why=" ")
    with pytest.raises(RecordError, match="needs one at least"):
        plant_desk.agree_causes(store, [" "], who="Mira", why="shorter")
    with pytest.raises(RecordError, match="cause 'line' is there twice"):
        plant_desk.agree_causes(store, ["line", "Line"], who="Mira", why="shorter")
    plant_desk.agree_causes(store, ["line", "water", "unknown"], who="Mira", why="new well")
    made(store, "SC-1")
    held(store, "SC-1", triangles(25, 36))
    why = {"reason": "far off", **BY}
    with pytest.raises(RecordError, match="must be one of line, water, unknown"):
        batch_desk.decide(store, "SC-1", Disposition.REJECT, cause="panel", **why)
    batch_desk.decide(store, "SC-1", Disposition.REJECT, cause="water", **why)
    plant_desk.agree_causes(store, ["line", "unknown"], who="Mira", why="the well is closed")
    assert [each.name for each in store.seek("water")] == ["SC-1"]
