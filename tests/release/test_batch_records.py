"""What a batch waits for, in every state; records to plain data and back; refusals."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.base.spelling import key_of
from sensory.release.batch_records import (
    ON_HOLD,
    BatchRecord,
    Complaint,
    Decision,
    ProductRecord,
    Tasting,
)
from sensory.release.batches import AttributeLimit, Batch, Clearance, Disposition, Product, RawLot

BATCH = Batch(
    number="MC-7",
    product="Medlar cordial",
    made_on="2026-02-03",
    raw_lots=(RawLot(material="acid", lot="CA-1"), RawLot(material="sweetener", lot=" sw-2 ")),
    rework_of=("MC-1",),
)
EMPTY = BatchRecord(batch=BATCH)


def clearance(food_safe: bool | None = True, declared: bool = True) -> Clearance:
    by = {"food_safe_by": "Otto", "food_safe_on": "2026-02-04"} if food_safe is not None else {}
    also = {"allergens_by": "Otto", "allergens_on": "2026-02-04", "allergens": ()}
    return Clearance(batch="MC-7", food_safe=food_safe, **by, **(also if declared else {}))


def tasting(finding: Finding | None = Finding.SIMILAR, **more: object) -> Tasting:
    return Tasting(session="a" * 32, test="TRIANGLE", finding=finding, **more)


def decision(disposition: Disposition) -> Decision:
    by = {"decided_by": "Nora", "role": "release officer", "decided_at": "2026-02-05"}
    then = Disposition.RELEASE
    return Decision(disposition=disposition, reason="as found", recommended=then, **by)


AS_THEN = {"recommended": Disposition.RELEASE}
SOUR = AttributeLimit(attribute="sour", margin=1)
COMPLAINT = Complaint(text="rubber", received_on="2026-03-01", after=1)


CLEARED = {"clearance": clearance()}
TASTED = CLEARED | {"tastings": (tasting(),)}
OPEN = CLEARED | {"tastings": (tasting(None),)}
RELEASED = {"decisions": (decision(Disposition.RELEASE),)}
COMPLAINED = RELEASED | {"complaints": (COMPLAINT,)}


@pytest.mark.parametrize(
    ("changes", "waits_for"),
    [
        ({}, "clearance by food safety"),
        ({"clearance": clearance(None)}, "clearance by food safety"),
        ({"clearance": clearance(True, False)}, "declaration of allergens"),
        ({"clearance": clearance(False)}, "decision: food safety has not cleared it"),
        (CLEARED, "tasting"),
        (OPEN, "ballots of its tasting"),
        (CLEARED | {"tastings": (tasting(None, aborted="fire drill"),)}, "tasting"),
        (TASTED, "decision"),
        (TASTED | {"recommended": Disposition.RETEST}, "the planned second tasting"),
        (TASTED | {"decisions": (decision(Disposition.HOLD),)}, ON_HOLD),
        (AS_THEN | RELEASED, ""),
        (AS_THEN | {"decisions": (decision(Disposition.REJECT),)}, ""),
        (AS_THEN | {"decisions": (decision(Disposition.REWORK),)}, ""),
        (TASTED | RELEASED | {"recommended": Disposition.REJECT},
         "a new decision: its tasting was read again"),
        (AS_THEN | OPEN | RELEASED, "ballots of its tasting"),
        (AS_THEN | TASTED | COMPLAINED, "a new decision after the complaint"),
        (COMPLAINED, "clearance by food safety after a complaint"),
        (AS_THEN | COMPLAINED | {"decisions": (decision(Disposition.RELEASE),) * 2}, ""),
    ],
)  # fmt: skip
def test_what_a_batch_waits_for(changes: dict, waits_for: str):
    record = replace(EMPTY, **changes)
    assert record.waits_for == waits_for
    assert (record.state == "done") is (waits_for == "")


def test_plain_data_and_back():
    whole = replace(
        EMPTY,
        clearance=clearance(),
        reference="M1",
        tastings=(
            tasting(correct=9, trials=24),
            Tasting(session="b" * 32, test="PROFILE", differences={"sweet": (0.3, 0.1)}),
        ),
        recommended=Disposition.RELEASE,
        decisions=(decision(Disposition.HOLD),),
        complaints=(COMPLAINT,),
    )
    plain = json.loads(json.dumps(whole.to_dict()))
    assert BatchRecord.from_dict(plain) == whole
    product = ProductRecord(
        product=Product(
            name="Medlar cordial", attributes=(AttributeLimit(attribute="sour", margin=1),)
        ),
        references=("M1", "M2"),
    )
    assert ProductRecord.from_dict(json.loads(json.dumps(product.to_dict()))) == product
    assert (product.name, product.in_use) == ("Medlar cordial", "M2")
    assert ProductRecord(product=product.product).in_use == ""


def test_what_it_hangs_together_with():
    record = replace(EMPTY, tastings=(tasting(),), reference="M 1")
    assert record.links() == (
        ("lot", "ca-1"),
        ("lot", "sw-2"),
        ("material lot", "acid; ca-1"),
        ("material lot", "sweetener; sw-2"),
        ("rework", "mc-1"),
        ("session", "a" * 32),
        ("reference", "m 1"),
    )
    assert key_of("  M  1 ") == "m 1"


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: tasting("MAYBE"), "finding must be one of"),
        (lambda: tasting(correct="9"), "correct must be a finite number"),
        (lambda: tasting(held_on="soon"), "held_on must be a date"),
        (lambda: tasting(differences={"sweet": (0.1, None)}), "standard error of sweet must be"),
        (lambda: replace(decision(Disposition.HOLD), reason=" "), "reason must be a text"),
        (
            lambda: replace(decision(Disposition.HOLD), disposition="SELL"),
            "disposition must be one",
        ),
        (lambda: replace(EMPTY, tastings=(tasting(), tasting())), "session '.*' is there twice"),
        (
            lambda: replace(EMPTY, clearance=Clearance(batch="MC-8")),
            "the clearance of MC-7 is that of MC-8",
        ),
        (lambda: Complaint(text="x", received_on="1 May"), "received_on must be a date"),
        (lambda: Product(name="x", drift_limit=0.0), "drift_limit must be above 0"),
        (lambda: ProductRecord(product=Product(name="x"), references=("a", "a")), "there twice"),
    ],
)
def test_what_cannot_be_is_refused(make, match: str):
    with pytest.raises(RecordError, match=match):
        make()
