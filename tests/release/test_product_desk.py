"""Products, their rules and references, batches as they are made; each refusal."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.release import product_desk
from sensory.release.batch_records import BatchRecord, Decision, ProductRecord
from sensory.release.batches import AttributeLimit, Batch, Disposition
from sensory.release.references import Bridge, Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.store.repository import Repository, open_store

from ..shared import put_noun

RULE = ReleaseRule(test="TRIANGLE", limit=0.4, assessors=24)


def reference(name: str, made_on: str = "2026-01-02", **more: object) -> Reference:
    fresh = {"kind": ReferenceKind.FRESHLY_MADE, "usable_until": "2026-12-31"}
    return Reference(name=name, product="Sloe cordial", made_on=made_on, **fresh, **more)


def bridge(of: str, to: str, **more: object) -> Bridge:
    return Bridge(reference=of, to=to, held_on="2026-03-01", **more)


def take_over(desk: Repository, new: Reference) -> ProductRecord:
    return product_desk.take_over(desk, new, who="Mira", why="approved")


@pytest.fixture
def desk() -> Repository:
    store = open_store("sqlite://")
    product_desk.enter_product(store, " Sloe  cordial ", who="Mira")
    return store


def test_a_product_gets_its_rule_with_a_reason(desk):
    assert product_desk.rule_of(product_desk.the_product(desk, "sloe CORDIAL")) is None
    with pytest.raises(RecordError, match="Say why this rule"):
        product_desk.agree_rule(desk, "Sloe cordial", RULE, who="Mira", why="  ")
    product_desk.agree_rule(
        desk, "Sloe cordial", RULE, drift_limit=0.5, who="Mira", why="management, 4 March"
    )
    record = product_desk.the_product(desk, "Sloe cordial")
    assert product_desk.rule_of(record) == RULE
    assert record.product.drift_limit == 0.5
    what = [(one.what, one.why) for one in desk.noun_entries(record)]
    assert what == [("product entered", "new product"), ("rule agreed", "management, 4 March")]


def test_nothing_is_found_by_a_wrong_name(desk):
    with pytest.raises(RecordError, match="no product 'Plum cordial' on record"):
        product_desk.the_product(desk, "Plum cordial")
    with pytest.raises(RecordError, match="no batch 'SC-9' on record"):
        product_desk.the_batch(desk, "SC-9")
    with pytest.raises(RecordError, match="is on record already"):
        product_desk.enter_product(desk, "SLOE cordial", who="Mira")


def test_the_first_reference_needs_no_bridge_and_takes_none(desk):
    own = bridge("S1", "S0", finding=Finding.SIMILAR)
    with pytest.raises(RecordError, match="there is nothing to bridge"):
        take_over(desk, reference("S1", bridged_to_previous=own, bridged_to_first=own))
    record = take_over(desk, reference("S1"))
    assert record.in_use == "S1"


@pytest.mark.parametrize(
    ("made", "refused"),
    [
        ({}, "needs a bridge to S1, the one before"),
        ({"finding": Finding.UNDECIDED}, r"similarity was not shown \(UNDECIDED\)"),
        ({"finding": Finding.DIFFERENT}, r"similarity was not shown \(DIFFERENT\)"),
        ({"finding": Finding.SIMILAR}, ""),
        ({"finding": Finding.DIFFERENT_WITHIN_LIMIT}, ""),
        ({"finding": Finding.DIFFERENT, "reason": "the old one is used up"}, ""),
        ({"reason": "the old one broke"}, ""),
    ],
)
def test_a_new_reference_takes_over_after_similarity_or_with_a_reason(
    desk: Repository, made: dict, refused: str
):
    take_over(desk, reference("S1"))
    step = bridge("S2", "S1", **made) if made else None
    new = reference("S2", "2026-03-01", bridged_to_previous=step, bridged_to_first=step)
    if refused:
        with pytest.raises(RecordError, match=refused):
            take_over(desk, new)
        assert product_desk.the_product(desk, "Sloe cordial").in_use == "S1"
        assert desk.noun(Reference, "S2") is None
    else:
        take_over(desk, new)
        assert product_desk.the_product(desk, "Sloe cordial").references == ("S1", "S2")


def test_the_third_is_bridged_to_the_one_before_and_to_the_first(desk):
    take_over(desk, reference("S1"))
    step = bridge("S2", "S1", finding=Finding.SIMILAR, estimate=0.3, se=0.05)
    second = reference("S2", "2026-03-01", bridged_to_previous=step, bridged_to_first=step)
    take_over(desk, second)
    near = bridge("S3", "S2", finding=Finding.SIMILAR, estimate=0.4, se=0.05)
    with pytest.raises(RecordError, match="needs a bridge to S1, the first"):
        take_over(desk, reference("S3", "2026-05-01", bridged_to_previous=near))
    wrong = reference("S3", "2026-05-01", bridged_to_previous=near, bridged_to_first=near)
    with pytest.raises(RecordError, match="bridge to the first has to lead to S1; got S2"):
        take_over(desk, wrong)
    far = bridge("S3", "S1", reason="S1 is used up")
    third = replace(wrong, bridged_to_first=far)
    take_over(desk, third)
    product_desk.agree_rule(desk, "Sloe cordial", RULE, drift_limit=0.5, who="M", why="agreed")
    state = product_desk.state_of_reference(desk, "S3", "2026-05-20")
    # By hand: 0.3 + 0.4, and the root of 0.05^2 + 0.05^2; 0.7 - 1.96 * 0.0707 > 0.5.
    assert state.drift.estimate == pytest.approx(0.7)
    assert state.drift.se == pytest.approx(0.005**0.5)
    assert state.drift.within is False
    assert not state.usable
    assert product_desk.state_of_reference(desk, "S3", "2026-04-30") is None  # not made yet
    assert product_desk.state_of_reference(desk, "", "2026-05-20") is None


def batch(number: str = "SC-1", **more: object) -> Batch:
    plain = {"number": number, "product": "sloe cordial", "made_on": "2026-03-04"}
    return Batch(**(plain | more))


def test_a_batch_is_compared_with_the_reference_in_use(desk):
    take_over(desk, reference("S1"))
    record = product_desk.enter_batch(desk, batch(" SC-1 "), who="Mira")
    assert (record.name, record.reference) == ("SC-1", "S1")
    assert record.batch.product == "Sloe cordial"
    assert record.waits_for == "clearance by food safety"
    with pytest.raises(RecordError, match="no product 'Plum cordial'"):
        product_desk.enter_batch(desk, batch("PC-1", product="Plum cordial"), who="Mira")
    with pytest.raises(RecordError, match="no batch 'SC-8' on record"):
        product_desk.enter_batch(desk, batch("SC-2", rework_of=("SC-8",)), who="Mira")
    product_desk.enter_batch(desk, batch("SC-2", rework_of=("SC-1",)), who="Mira")
    assert desk.noun(ProductRecord, "Sloe cordial") is not None


def test_clearance_and_declaration_come_apart(desk):
    product_desk.enter_batch(desk, batch(), who="Mira")
    said = {"by": "Otto Brandt", "on": "2026-03-05", "who": "Mira"}
    with pytest.raises(RecordError, match="Say what food safety decided, or which allergens"):
        product_desk.clear_batch(desk, "SC-1", **said)
    with pytest.raises(RecordError, match="Say who signs: the name is empty"):
        product_desk.clear_batch(desk, "SC-1", food_safe=True, by=" ", on="2026-03-05", who="M")
    one = product_desk.clear_batch(desk, "SC-1", food_safe=True, **said)
    assert one.waits_for == "declaration of allergens"
    two = product_desk.clear_batch(desk, "SC-1", allergens=(), **said)
    assert two.clearance.complete
    assert two.waits_for == "tasting"
    three = product_desk.clear_batch(desk, "SC-1", food_safe=False, **said)
    assert three.waits_for == "decision: food safety has not cleared it"
    assert [one.why for one in desk.noun_entries(three)][1:] == [
        "cleared by food safety",
        "allergens declared: none",
        "NOT cleared by food safety",
    ]


def test_a_complaint_opens_a_released_batch_and_withdraws_its_clearance(desk):
    product_desk.enter_batch(desk, batch(), who="Mira")
    product_desk.clear_batch(
        desk, "SC-1", food_safe=True, allergens=("sulphites",), by="Otto", on="2026-03-05", who="M"
    )
    record = product_desk.the_batch(desk, "SC-1")
    by = {"decided_by": "Nora", "role": "release officer", "decided_at": "2026-03-06"}
    decision = Decision(disposition=Disposition.RELEASE, reason="similar", **by)
    decided = replace(record, decisions=(decision,))
    put_noun(desk, decided, expect=record, what="decided release", who="Nora", why="similar")
    assert (decided.state, decided.waits_for) == ("done", "")
    with pytest.raises(RecordError, match="complaint must be a text"):
        product_desk.record_complaint(desk, "SC-1", " ", received_on="2026-04-01", who="Mira")
    found = product_desk.record_complaint(
        desk, "SC-1", "smells of rubber", received_on="2026-04-01", who="Mira"
    )
    assert found.state == "open"
    assert found.waits_for == "clearance by food safety after a complaint"
    assert (found.clearance.food_safe, found.clearance.allergens) == (None, ("sulphites",))
    assert desk.batches(state="open") == [found]
    again = replace(found, decisions=(*found.decisions, found.decisions[0]))
    assert again.state == "done"
    assert isinstance(desk.noun(BatchRecord, "sc-1"), BatchRecord)


def test_attributes_are_agreed_with_a_reason(desk):
    limits = (
        AttributeLimit(attribute="sour", margin=0.8),
        AttributeLimit(attribute="colour", low=2, high=6),
    )
    with pytest.raises(RecordError, match="Say why; the journal keeps it"):
        product_desk.tolerate(desk, "Sloe cordial", limits, who="Mira", why="")
    record = product_desk.tolerate(desk, "Sloe cordial", limits, who="Mira", why="consumers")
    assert product_desk.the_product(desk, "sloe cordial") == record
    assert record.product.margins == {"sour": 0.8}


def test_the_stock_of_a_reference_is_counted_by_hand(desk):
    product_desk.take_over(desk, reference("S1", stock=48, needed=24), who="Mira", why="approved")
    state = product_desk.state_of_reference(desk, "S1", "2026-02-01")
    assert (state.tastings_left, state.usable) == (2, True)
    product_desk.count_stock(desk, "s1", 20, who="Mira")
    state = product_desk.state_of_reference(desk, "S1", "2026-02-01")
    assert (state.tastings_left, state.usable) == (0, False)
    with pytest.raises(RecordError, match="There is no reference 'S9'"):
        product_desk.count_stock(desk, "S9", 20, who="Mira")
    with pytest.raises(RecordError, match="must not be negative"):
        product_desk.count_stock(desk, "S1", -1, who="Mira")
