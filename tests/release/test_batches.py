"""Products, references, batches and clearances: kept as data, and refused with one sentence."""

from __future__ import annotations

import dataclasses
import json
from datetime import date

import pytest

from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.base.record_checks import iso_date
from sensory.release.batches import AttributeLimit, Batch, Clearance, Disposition, Product, RawLot
from sensory.release.references import Bridge, Reference, ReferenceKind

PRODUCT = Product(
    name="Blackcurrant cordial",
    attributes=(
        AttributeLimit(attribute="sour", margin=0.8),
        AttributeLimit(attribute="cooked", high=2.0),
    ),
    release_rule={"test": "TRIANGLE", "limit": 0.3},
)
PREVIOUS = Bridge(
    reference="R3", to="R2", held_on="2026-03-02", finding=Finding.SIMILAR, estimate=0.2, se=0.1
)
FIRST = Bridge(reference="R3", to="R1", held_on="2026-03-02", reason="R1 is used up.")
REFERENCE = Reference(
    name="R3",
    product="Blackcurrant cordial",
    kind=ReferenceKind.STORED_STABLE,
    batch="BC-0201",
    made_on="2026-02-20",
    storage="4 °C, dark",
    usable_until="2026-12-20",
    stock=180,
    needed=36,
    bridged_to_previous=PREVIOUS,
    bridged_to_first=FIRST,
)
BATCH = Batch(
    number="BC-0811",
    product="Blackcurrant cordial",
    made_on="2026-08-11",
    line="2",
    amount=1200.0,
    unit="l",
    raw_lots=(RawLot(material="juice concentrate", lot="J-77"),),
    rework_of=("BC-0790", "BC-0791"),
)
CLEARANCE = Clearance(
    batch="BC-0811",
    food_safe=True,
    food_safe_by="food safety",
    food_safe_on="2026-08-12",
    allergens=("sulphites",),
    allergens_by="QA",
    allergens_on="2026-08-11",
)
RECORDS = (PRODUCT, PREVIOUS, FIRST, REFERENCE, BATCH, CLEARANCE)


@pytest.mark.parametrize("record", RECORDS, ids=lambda one: type(one).__name__)
def test_through_json_and_back(record):
    again = type(record).from_dict(json.loads(json.dumps(record.to_dict())))
    assert again == record
    assert [type(getattr(again, f.name)) for f in dataclasses.fields(again)] == [
        type(getattr(record, f.name)) for f in dataclasses.fields(record)
    ]


@pytest.mark.parametrize("record", RECORDS, ids=lambda one: type(one).__name__)
def test_frozen_and_strict(record):
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(record, dataclasses.fields(record)[0].name, "other")
    with pytest.raises(RecordError, match="has no field colour"):
        type(record).from_dict({**record.to_dict(), "colour": "red"})
    with pytest.raises(RecordError, match=f"^{type(record).__name__} needs"):
        type(record).from_dict({})


@pytest.mark.parametrize(
    "wrong",
    ["14.09.2026", "2026-9-14", "2026-02-30", "2026-09-14T10:00", "2026-W37-1", "", None, 3],
)
def test_a_date_is_a_date(wrong):
    with pytest.raises(RecordError, match=r"made_on of BC-0811 must be a date as in 2026-09-14"):
        dataclasses.replace(BATCH, made_on=wrong)


def test_dates_are_read():
    assert iso_date("made_on", "2028-02-29") == date(2028, 2, 29)


def test_margins_are_those_of_the_attributes_that_have_one():
    assert PRODUCT.margins == {"sour": 0.8}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"attribute": " "}, "attribute must be a text that is not empty"),
        ({"margin": None}, "sour needs either a margin or limits"),
        ({"low": 1.0}, "sour needs either a margin or limits"),
        ({"margin": 0.0}, "margin of sour must be above 0; got 0"),
        ({"margin": float("nan")}, "margin of sour must be a finite number"),
        ({"margin": True}, "margin of sour must be a finite number; got True"),
        ({"margin": None, "low": 3.0, "high": 3.0}, "must go upwards; got 3 to 3"),
    ],
)
def test_limits_of_an_attribute(change, says):
    with pytest.raises(RecordError, match=says):
        dataclasses.replace(PRODUCT.attributes[0], **change)


@pytest.mark.parametrize(
    ("record", "change", "says"),
    [
        (PRODUCT, {"name": ""}, "name of the product must be a text"),
        (PRODUCT, {"attributes": PRODUCT.attributes[:1] * 2}, "attribute 'sour' is there twice"),
        (PRODUCT, {"attributes": ("sour",)}, "attributes must be a tuple of AttributeLimit"),
        (BATCH, {"number": ""}, "number of the batch must be a text"),
        (BATCH, {"amount": 0.0}, "amount of BC-0811 must be above 0"),
        (BATCH, {"unit": ""}, "amount of BC-0811 needs a unit"),
        (BATCH, {"rework_of": ("BC-0811",)}, "cannot be rework of itself"),
        (BATCH, {"rework_of": ("A", "A")}, "rework_of 'A' is there twice"),
        (BATCH, {"rework_of": "BC-0790"}, "rework_of must be a tuple of texts"),
        (BATCH, {"raw_lots": ("J-77",)}, "raw_lots must be a tuple of RawLot records"),
        (CLEARANCE, {"food_safe": 1}, "food_safe must be True, False or None; got 1"),
        (CLEARANCE, {"food_safe_by": ""}, "food_safe_by of BC-0811 must be a text"),
        (CLEARANCE, {"food_safe_on": ""}, "food_safe_on of BC-0811 must be a date"),
        (CLEARANCE, {"allergens_by": ""}, "allergens_by of BC-0811 must be a text"),
        (CLEARANCE, {"allergens": "milk"}, "allergens must be a tuple of texts"),
        (PREVIOUS, {"to": "R3"}, "R3 cannot be bridged to itself"),
        (PREVIOUS, {"finding": None}, "needs a finding, or the reason why there is none"),
        (PREVIOUS, {"finding": "SAME"}, "finding must be one of DIFFERENT, SIMILAR"),
        (PREVIOUS, {"se": None}, "needs estimate and se together"),
        (PREVIOUS, {"se": -0.1}, "must not be negative; got -0.1"),
        (REFERENCE, {"kind": "BOTTLED"}, "kind must be one of EARLIER_STANDARD"),
        (REFERENCE, {"kind": "EARLIER_STANDARD"}, "give its recorded data"),
        (REFERENCE, {"usable_until": ""}, "say usable_until which date"),
        (REFERENCE, {"usable_until": "2026-02-19"}, "before it was made on 2026-02-20"),
        (REFERENCE, {"storage": ""}, "say how it is stored"),
        (REFERENCE, {"stock": -1}, "stock of R3 must not be negative"),
        (REFERENCE, {"data": {"sour": "high"}}, "data of sour must be a finite number"),
        (REFERENCE, {"name": "R4"}, "R4 holds a bridge of R3"),
        (REFERENCE, {"bridged_to_first": "R1"}, "must be a Bridge; got 'R1'"),
        (REFERENCE, {"later": [FIRST]}, "later must be a tuple of Bridge records"),
        (REFERENCE, {"name": "R4", "later": (FIRST,)}, "R4 holds a bridge of R3"),
        (REFERENCE, {"bridged_to_previous": None}, "bridged to the first reference and not"),
    ],
)
def test_what_is_refused(record, change, says):
    with pytest.raises(RecordError, match=says):
        dataclasses.replace(record, **change)


def test_no_allergen_is_a_declaration_and_silence_is_none():
    none = dataclasses.replace(CLEARANCE, allergens=())
    silent = dataclasses.replace(CLEARANCE, allergens=None, allergens_by="", allergens_on="")
    assert (none.declared, none.complete) == (True, True)
    assert (silent.declared, silent.complete) == (False, False)
    assert not Clearance(batch="BC-0811").complete
    assert not dataclasses.replace(CLEARANCE, food_safe=False).complete


def test_an_earlier_standard_needs_no_date_of_expiry():
    earlier = Reference(
        name="R0",
        product="Blackcurrant cordial",
        kind=ReferenceKind.EARLIER_STANDARD,
        made_on="2020-01-02",
        data={"sour": 5.2},
    )
    assert earlier.bridges == ()
    assert Reference.from_dict(earlier.to_dict()) == earlier


def test_a_bridge_to_a_first_that_is_the_previous_one_counts_once():
    same = dataclasses.replace(REFERENCE, bridged_to_first=PREVIOUS)
    assert same.bridges == (PREVIOUS,)
    assert REFERENCE.bridges == (PREVIOUS, FIRST)


def test_later_bridges_come_last_and_are_kept():
    again = dataclasses.replace(FIRST, held_on="2026-08-02", reason="R1 was found again.")
    kept = dataclasses.replace(REFERENCE, later=(again,))
    assert kept.bridges == (PREVIOUS, FIRST, again)
    assert Reference.from_dict(kept.to_dict()) == kept


def test_every_disposition_and_kind_has_its_words():
    assert all(one.sentence.endswith(".") for one in Disposition)
    assert all(one.words for one in ReferenceKind)
