"""Products, their rules and references, batches as they are made; each refusal."""

from __future__ import annotations

import pytest

from sensory.base.errors import RecordError
from sensory.release import product_desk, reference_desk
from sensory.release.batch_records import ProductRecord
from sensory.release.batches import AttributeLimit, Batch
from sensory.release.references import Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.store.repository import Repository, open_store

RULE = ReleaseRule(test="TRIANGLE", limit=0.4, assessors=24)


def reference(name: str, made_on: str = "2026-01-02", **more: object) -> Reference:
    fresh = {"kind": ReferenceKind.FRESHLY_MADE, "usable_until": "2026-12-31"}
    return Reference(name=name, product="Sloe cordial", made_on=made_on, **fresh, **more)


def take_over(desk: Repository, new: Reference) -> ProductRecord:
    return reference_desk.take_over(desk, new, who="Mira", why="approved")


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
