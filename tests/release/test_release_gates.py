"""What a release has to pass, and the ways around it that are closed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.choices.protocols import TRIANGLE
from sensory.choices.two_stage import two_stage_plan
from sensory.release import (
    batch_desk,
    complaint_desk,
    product_desk,
    reference_desk,
    tastings,
)
from sensory.release.batches import Disposition, RawLot
from sensory.release.references import Bridge, Reference, ReferenceKind
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, workflow
from sensory.sessions.allergens import served_samples
from sensory.sessions.session import CAUTIONS
from sensory.store.repository import Repository

from ..shared import ALL_YES
from .shared import BY, ONE, PRODUCT, ROLE, agreed, desk_with, held, made, triangles

CLEAR = {"by": "Otto", "who": "Mira"}


def release(store: Repository, number: str = "SC-1") -> None:
    batch_desk.decide(store, number, Disposition.RELEASE, reason="as found", **BY)


def test_no_release_without_a_finding(store):
    made(store, "SC-1")
    with pytest.raises(RecordError, match="Tasting is not finished"):
        release(store)
    session = tastings.open_tasting(store, "SC-1", who="Mira")
    with pytest.raises(RecordError, match="Tasting is not finished"):
        release(store)
    tastings.give_up(store, "SC-1", session.id, who="Mira", why="fire drill")
    with pytest.raises(RecordError, match="Tasting is not finished"):
        release(store)
    held(store, "SC-1", triangles(12, 36))
    batch_desk.decide(store, "SC-1", Disposition.HOLD, reason="attempts", **BY)


def test_no_release_while_another_tasting_is_open(store):
    made(store, "SC-1")
    held(store, "SC-1", triangles(12, 36))
    tastings.open_tasting(store, "SC-1", who="Mira")
    with pytest.raises(RecordError, match="blocked: A tasting of it is open"):
        release(store)


def test_a_complaint_stops_the_tasting_that_is_open(store):
    """Neither agreed nor closed, and no booth opens a ballot, until food safety clears it again."""
    made(store, "SC-1")
    session = agreed(store, "SC-1")
    plan = serving_plan("triangle", ["Anna", "Bo"], seed=2**128 + 3)
    booth_plans.serve(store, session.id, plan, ballot_lines(plan), who="Mira")
    declared = dict.fromkeys(served_samples(store.session(session.id)), "none")
    exclusions.declare_allergens(store, session.id, declared, who="Mira")
    token = booth_plans.open_booths(store, session.id, who="Mira")["Anna"]
    booths.consent(store, token)
    complaint_desk.record_complaint(store, "SC-1", "glass", received_on="2026-03-06", who="Mira")
    assert booths.visit(store, token).closed
    with pytest.raises(RecordError, match="Tasting is stopped"):
        booths.leave_out(store, token, 2)
    with pytest.raises(RecordError, match="A caution is no longer answered with yes"):
        tastings.close_and_note(store, session.id, who="Mira")
    with pytest.raises(RecordError, match="a clearance of 2026-03-05 comes before it"):
        product_desk.clear_batch(store, "SC-1", food_safe=True, on="2026-03-05", **CLEAR)
    product_desk.clear_batch(store, "SC-1", food_safe=True, on="2026-03-07", **CLEAR)
    assert not booths.visit(store, token).closed


def test_other_allergens_stop_it_too(store):
    made(store, "SC-1")
    session = tastings.open_tasting(store, "SC-1", who="Mira")
    workflow.describe(store, session.id, cautions=ALL_YES, who="Mira")
    product_desk.clear_batch(store, "SC-1", allergens=("milk",), on="2026-03-07", **CLEAR)
    with pytest.raises(RecordError, match="Are ingredients and allergens of each sample declared"):
        workflow.agree(store, session.id, who="Mira")


def test_a_session_of_another_batch_is_no_tasting_of_this_one(store):
    for number in ("SC-1", "SC-2"):
        made(store, number)
    session = held(store, "SC-1", triangles(12, 36))
    with pytest.raises(RecordError, match="does not name SC-2 among its samples"):
        tastings.attach(store, "SC-2", session.id, who="Mira")
    assert product_desk.the_batch(store, "SC-2").tastings == ()


def test_a_tasting_before_the_reference_was_made_shows_nothing(store):
    made(store, "SC-1")
    held(store, "SC-1", triangles(12, 36), on="2025-12-31")
    file = batch_desk.batch_file(store, "SC-1")
    assert file.finding is None
    assert "was made after 2025-12-31" in file.why_none
    with pytest.raises(RecordError, match="Release of SC-1 is blocked: The reference S1"):
        release(store)
    batch_desk.decide(store, "SC-1", Disposition.REJECT, reason="wrong date", cause="unknown", **BY)


def other_reference(name: str, made_on: str, until: str = "2036-12-31") -> Reference:
    decided = {"decided_by": "Nora Sand", "role": ROLE, "reason": "S1 is used up"}
    step = Bridge(reference=name, to="S1", held_on="2026-06-01", **decided)
    return Reference(
        name=name,
        product=PRODUCT,
        kind=ReferenceKind.FRESHLY_MADE,
        made_on=made_on,
        usable_until=until,
        bridged_to_previous=step,
        bridged_to_first=step,
    )


def test_a_batch_takes_the_reference_in_use_at_its_first_tasting(store):
    made(store, "SC-1")
    reference_desk.take_over(store, other_reference("S2", "2026-03-01"), who="Mira", why="S1 ages")
    session = tastings.open_tasting(store, "SC-1", who="Mira", on="2026-06-05")
    assert session.details.samples[0].name == "S2"
    assert product_desk.the_batch(store, "SC-1").reference == "S2"


def test_nothing_is_tasted_against_a_reference_past_its_date(store):
    made(store, "SC-1")
    short = other_reference("S2", "2026-03-01", "2026-07-01")
    reference_desk.take_over(store, short, who="Mira", why="S1 ages")
    with pytest.raises(RecordError, match="S2 may not be used, so nothing is tasted"):
        tastings.open_tasting(store, "SC-1", who="Mira", on="2026-07-02")
    assert store.sessions() == []
    assert product_desk.the_batch(store, "SC-1").tastings == ()


def test_a_reference_takes_over_whole_or_not_at_all(store, monkeypatch):
    new = other_reference("S2", "2026-03-01")
    seen = product_desk.the_product(store, PRODUCT)
    product_desk.tolerate(store, PRODUCT, (), who="Mira", why="nothing")  # writes nothing
    product_desk.agree_rule(store, PRODUCT, replace(ONE, beta=0.04), who="Mira", why="stricter")
    monkeypatch.setattr(reference_desk, "the_product", lambda *_: seen)
    with pytest.raises(RecordError, match="was changed in another window"):
        reference_desk.take_over(store, new, who="Mira", why="S1 ages")
    monkeypatch.undo()
    assert store.noun(Reference, "S2") is None
    reference_desk.take_over(store, new, who="Mira", why="S1 ages")


def test_the_month_names_the_reference_that_was_in_use_then(store):
    reference_desk.take_over(store, other_reference("S2", "2026-03-01"), who="Mira", why="S1 ages")

    def used(month: str) -> list[str]:
        states = batch_desk.month_report(store, PRODUCT, month).references
        return [one.reference.name for one in states]

    assert (used("2026-05"), used("2026-06")) == (["S1"], ["S2"])


def test_both_tastings_of_a_plan_are_one_finding_everywhere():
    plan = two_stage_plan(TRIANGLE, alpha=0.05, beta=0.05, pd_limit=0.4, most=60)
    store = desk_with(replace(ONE, assessors=plan.first, retest=plan))
    made(store, "SC-1", made_on="2026-03-04")
    middle = plan.different_first - 1
    held(store, "SC-1", triangles(middle, plan.first))
    rest = plan.different_total - 1 - middle
    held(store, "SC-1", triangles(rest, plan.second))
    record = product_desk.the_batch(store, "SC-1")
    assert plan.decide(middle, rest) is Finding.SIMILAR
    assert record.found is Finding.SIMILAR
    release(store)
    month = batch_desk.month_report(store, PRODUCT, "2026-03")
    assert month.lines().rows[0][1:4] == (1, 1, 0)
    assert month.noteworthy() == ()


def test_lots_of_two_materials_with_one_number_are_apart(store):
    made(store, "SC-1", raw_lots=(RawLot(material="sugar", lot="1"),))
    made(store, "SC-2", raw_lots=(RawLot(material="acid", lot="1"),))
    made(store, "SC-3", raw_lots=(RawLot(material="Sugar", lot="1"),))
    kin = batch_desk.batch_file(store, "SC-1").kin
    assert [(one.name, [other.name for other in one.batches]) for one in kin] == [
        ("sugar, lot 1", ["SC-3"])
    ]
    assert len(store.linked("lot", "1")) == 3


def test_a_decided_batch_whose_ballots_are_opened_again_is_open(store):
    made(store, "SC-1")
    session = held(store, "SC-1", triangles(12, 36))
    release(store)
    tastings.reopen_and_note(store, session.id, who="Mira", why="ballots were exchanged")
    assert [one.name for one in batch_desk.board(store)] == ["SC-1"]
    cells = triangles(30, 36)
    workflow.enter_cells(store, session.id, cells, who="Mira", why="as on paper")
    tastings.close_and_note(store, session.id, who="Mira")
    record = product_desk.the_batch(store, "SC-1")
    assert record.recommended is Disposition.REJECT
    assert record.waits_for == "a new decision: its tasting was read again"
    batch_desk.decide(store, "SC-1", Disposition.REJECT, reason="far off", cause="line", **BY)
    assert batch_desk.board(store) == []


def test_complaints_count_in_the_month_in_which_they_came(store):
    made(store, "SC-1", made_on="2025-01-10")
    held(store, "SC-1", triangles(12, 36))
    release(store)
    complaint_desk.record_complaint(store, "SC-1", "stale", received_on="2026-06-10", who="Mira")
    assert batch_desk.month_report(store, PRODUCT, "2026-06").remarks() == (
        "1 complaint came in: on SC-1.",
    )
    assert batch_desk.month_report(store, PRODUCT, "2025-01").headline() == (
        "1 batch made: 1 waiting."
    )
    with pytest.raises(RecordError, match="still to come"):
        complaint_desk.record_complaint(store, "SC-1", "x", received_on="2999-01-01", who="Mira")
    entries = store.noun_entries(product_desk.the_batch(store, "SC-1"))
    (reason,) = [entry.why for entry in entries if entry.what == "complaint"]
    assert "stale" not in reason
    assert {one.key for one in CAUTIONS} >= {"cleared", "allergens"}
