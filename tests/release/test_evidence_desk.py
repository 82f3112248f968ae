"""Tastings of a batch and of a product joined; causes of batches by their choice tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sensory import choice_test, combine_evidence, planned_looks
from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.choices.protocols import TRIANGLE
from sensory.release import batch_desk, product_desk
from sensory.release.batch_causes import causes_of_batches
from sensory.release.batch_records import BatchRecord, Tasting
from sensory.release.batches import Batch, Clearance, RawLot
from sensory.release.evidence_desk import (
    agree_looks,
    evidence_of_product,
    evidence_of_reference,
)
from sensory.release.rule import ReleaseRule
from sensory.report.batch_documents import batch_words

from .shared import ONE, PRODUCT, desk_with, held, made, scores, triangles


def test_tastings_of_a_batch_are_joined_from_two_on(store):
    made(store, "SC-1")
    held(store, "SC-1", triangles(18, 36))
    assert batch_desk.batch_file(store, "SC-1").evidence is None
    held(store, "SC-1", triangles(14, 36), on="2026-03-11")
    file = batch_desk.batch_file(store, "SC-1")
    joined = combine_evidence([choice_test("triangle", [18, 14], 36)]).groups.iloc[0]
    row = file.evidence.groups.iloc[0]
    assert row["estimate"] == joined["estimate"]
    assert file.evidence.dprime_limit == pytest.approx(float(TRIANGLE.dprime(0.6)))
    assert row["reference"] == "S1"
    block = next(
        part for part in batch_words(file)["right"] if part["heading"] == "All tastings together"
    )
    assert "2 sessions with 72 answers show a d-prime of" in str(block)
    made(store, "SC-2")
    held(store, "SC-2", triangles(13, 36), on="2026-03-12")
    product = product_desk.the_product(store, PRODUCT)
    together = evidence_of_product(store, product)
    assert together.groups["sessions"].tolist() == [3]
    assert together.sessions["session"].tolist()[-1] == "SC-2, 2026-03-12"
    assert evidence_of_reference(store, product) is None


def test_difference_from_control_joins_and_agreed_looks_are_said():
    store = desk_with(
        ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=2.0, assessors=10, decides="QA")
    )
    made(store, "SC-1")
    for seed, on in ((1, "2026-03-09"), (2, "2026-03-11")):
        held(store, "SC-1", scores("SC-1", 0.8, seed), on=on)
    evidence = batch_desk.batch_file(store, "SC-1").evidence
    assert evidence.sessions["protocol"].tolist() == ["difference from control"] * 2
    sitting = store.sitting(store.noun(BatchRecord, "SC-1").tastings[0].session)
    control = sitting.samples.index("blind reference")
    pairs = [(row[1 - control], row[control]) for row in sitting.attributes[0].means]
    first = evidence.sessions.iloc[0]
    assert first["correct"] == sum(batch > blind for batch, blind in pairs)
    assert first["equal"] == sum(batch == blind for batch, blind in pairs)
    assert evidence.groups.iloc[0]["trials"] == 20
    with pytest.raises(RecordError, match="Say why these looks"):
        agree_looks(store, PRODUCT, test="TRIANGLE", sizes=[12, 12], alpha=0.05, who="A", why=" ")
    agree_looks(store, PRODUCT, test="TRIANGLE", sizes=[12, 12], alpha=0.05, who="A", why="small")
    record = product_desk.the_product(store, PRODUCT)
    assert record.looks.plan().different_from == planned_looks("triangle", [12, 12]).different_from
    assert store.verify_noun(record) == []
    words = " ".join(batch_desk.batch_file(store, "SC-1").evidence.says())
    assert f"Looks were agreed on {record.looks.agreed_on}; no session here is later." in words
    old = replace(record, looks=replace(record.looks, agreed_on="2026-03-10"))
    with store.action(who="A") as act:
        act.put_noun(old, expect=record, what="looks agreed")
    words = " ".join(batch_desk.batch_file(store, "SC-1").evidence.says())
    assert "difference from control among the sessions their counts do not apply" in words


def tasted(number: int, lot: str, correct: int | None, **more: object) -> BatchRecord:
    """A batch on record, with a triangle of 36 where it was tasted."""
    name = f"SC-{number}"
    batch = Batch(
        number=name,
        product=PRODUCT,
        made_on=f"2026-03-{number:02d}",
        line=f"line {1 + number % 2}",
        raw_lots=(RawLot(material="sugar", lot=lot, supplier="Mill A"),),
    )
    tasting = Tasting(
        session=f"s{number}",
        test="TRIANGLE",
        held_on=f"2026-03-{number:02d}",
        finding=Finding.SIMILAR,
        correct=correct,
        trials=36,
    )
    cleared = Clearance(
        batch=name,
        food_safe=True,
        allergens=(),
        food_safe_by="Otto",
        food_safe_on="2026-03-01",
        allergens_by="Otto",
        allergens_on="2026-03-01",
    )
    there = (tasting,) if correct is not None else ()
    return replace(BatchRecord(batch=batch, clearance=cleared, tastings=there), **more)


def test_causes_are_sought_in_choice_tests_too():
    rng = np.random.default_rng(6)
    pc = [0.37 if number <= 14 else 0.75 for number in range(1, 25)]
    records = [
        tasted(number, "S1" if number <= 14 else "S2", int(rng.binomial(36, pc[number - 1])))
        for number in range(1, 25)
    ]
    causes = causes_of_batches(records, ONE)
    assert causes.result.named == ("sugar lot S2 rather than sugar lot S1",)
    row = causes.result.causes.iloc[0]
    true = (0.75 - 0.37) / (1 - 1 / 3)
    assert row["low"] < true < row["high"]
    assert causes.of_batch("SC-20") == causes.headlines
    assert "All batches have sugar supplier Mill A" in " ".join(causes.result.remarks)
    # Food safety refuses one that is not tasted: it is not among those that could be.
    refused = tasted(25, "S2", None)
    refused = replace(refused, clearance=replace(refused.clearance, food_safe=False))
    again = causes_of_batches([*records, refused], ONE)
    assert again.headlines == causes.headlines


def test_too_few_batches_get_a_sentence():
    causes = causes_of_batches([tasted(1, "S1", 12)], ONE)
    assert causes.result is None
    assert causes.says() == ()
    assert causes.remarks == ("Causes are sought from 8 tasted batches on; 1 so far.",)
