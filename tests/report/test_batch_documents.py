"""The file of a batch, made by the use cases and read back out of the PDF."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.release.batch_desk import batch_file, decide
from sensory.release.batch_records import Complaint
from sensory.release.batches import Batch, Disposition, RawLot
from sensory.release.product_desk import (
    agree_rule,
    clear_batch,
    enter_batch,
    enter_product,
)
from sensory.release.reference_desk import take_over
from sensory.release.references import Reference
from sensory.release.rule import ReleaseRule
from sensory.report.batch_documents import SAFETY, batch_pdf, batch_words, not_to_be_tasted
from sensory.store.repository import open_store

from ..release.shared import held, scores
from .shared import OURS, fonts_of, pages_of, text_of

ROLE = "the authorised person of the plant"
HOSTILE = '#panic("x") *bold* $x$ <tag> @ref \\'
PRODUCT = "Rhubarb cordial"


def taste(desk, number, *, beyond, seed):
    """A difference from control by 12 assessors, the batch so far beyond the blind control."""
    held(desk, number, scores(number, beyond, seed, people=12))


@pytest.fixture(scope="module")
def desk():
    made = open_store("sqlite://")
    enter_product(made, PRODUCT, who="Ada")
    rule = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=12)
    agree_rule(made, PRODUCT, rule, who="Ada", why="agreed with management")
    reference = Reference(
        name="R1", product=PRODUCT, kind="FRESHLY_MADE", made_on="2026-01-02",
        usable_until="2099-12-31",
    )  # fmt: skip
    take_over(made, reference, who="Ada", why="first")
    lots = (RawLot(material="sweetener", lot="SW-1"),)
    for at, name in enumerate(("RC-1", "RC-2", "RC-3", "RC-4", HOSTILE)):
        line = HOSTILE if name == HOSTILE else "line 1"
        day = f"2026-01-1{at}"
        batch = Batch(number=name, product=PRODUCT, made_on=day, line=line, raw_lots=lots)
        enter_batch(made, batch, who="Ada")
    for at, (name, beyond) in enumerate((("RC-1", 0.1), ("RC-2", 0.2), ("RC-3", 2.5))):
        cleared = {"food_safe": True, "allergens": ("sulphites",), "by": "Food safety"}
        clear_batch(made, name, **cleared, on="2026-01-20", who="Ada")
        taste(made, name, beyond=beyond, seed=at)
    clear_batch(made, "RC-4", food_safe=False, by="Food safety", on="2026-01-20", who="Ada")
    signed = {"by": "N. Example", "role": ROLE}
    decide(made, "RC-1", Disposition.RELEASE, **signed, reason="as recommended")
    decide(made, "RC-3", Disposition.HOLD, **signed, reason=f"the lot is asked after {HOSTILE}")
    yield made
    made._engine.dispose()


def test_an_ordinary_batch_fits_on_one_page(desk):
    file = batch_file(desk, "RC-1")
    pages = pages_of(batch_pdf(file))
    text = " ".join(pages)
    assert len(pages) == 1
    entries = desk.noun_entries(file.record)
    for asked in (
        "Batch RC-1", PRODUCT, "2026-01-10", "line 1", "lot SW-1", "R1", "cleared (Food safety",
        "sulphites", file.finding.sentence, *file.finding.reasons, file.finding.finding.sentence,
        "Released", f"N. Example, {ROLE}", "as recommended", "difference from control",
        "Release of food stays with", "food law", SAFETY, *file.rule.words()[:3],
        *(f"{one.number} {one.at[:10]}" for one in entries),
    ):  # fmt: skip
        assert " ".join(asked.split()) in text, asked
    estimate, se = file.record.latest.differences["difference"]
    assert f"difference {estimate:+.2f} (standard error {se:.2f})" in text
    assert "must not be tasted" not in text


def test_what_is_recommended_is_not_printed_as_decided(desk):
    words = batch_words(batch_file(desk, "RC-2"))
    assert words["recommended"]["heading"] == "Release"
    assert words["decided"]["heading"] == "Not decided"
    text = text_of(batch_pdf(batch_file(desk, "RC-2")))
    assert "Released" in text  # of RC-1, which shares the lot
    before, _, after = text.partition("Batches from the same lots")
    assert "Released" not in before
    assert "Decided" not in before
    assert "RC-1 2026-01-10 line 1 Similar Released" in after
    assert f"Decision of {ROLE}:" in text


def test_a_departing_decision_says_so_with_its_reason(desk):
    text = text_of(batch_pdf(batch_file(desk, "RC-3")))
    assert "Reject Rejection is recommended. This is a recommendation" in text
    assert "Held N. Example" in text
    assert "It departs from what was recommended then: reject." in text
    assert f"the lot is asked after {HOSTILE}" in text


def test_a_batch_that_is_not_cleared_must_not_be_tasted(desk):
    refused, waiting = batch_file(desk, "RC-4"), batch_file(desk, HOSTILE)
    assert "Food safety refused it: the batch must not be tasted." in text_of(batch_pdf(refused))
    text = text_of(batch_pdf(waiting))
    said = "must not be tasted before food safety has cleared it and its allergens are declared"
    assert said in text
    assert "Release is blocked." in text
    undeclared = replace(batch_file(desk, "RC-1").record.clearance, allergens=None)
    record = replace(batch_file(desk, "RC-1").record, clearance=undeclared)
    assert not_to_be_tasted(record) == (
        "The batch must not be tasted before its allergens are declared."
    )


def test_a_complaint_bars_tasting_and_stands_beside_the_earlier_decision(desk):
    file = batch_file(desk, "RC-1")
    complaint = Complaint(text=f"bitter {HOSTILE}", received_on="2026-03-01", after=1)
    cleared = replace(file.record.clearance, food_safe=None, food_safe_by="", food_safe_on="")
    record = replace(file.record, complaints=(complaint,), clearance=cleared)
    text = text_of(batch_pdf(replace(file, record=record)))
    assert "must not be tasted before food safety has cleared it after the complaint" in text
    assert "Open again: complaint Before: released." in text
    assert f"2026-03-01 bitter {HOSTILE}" in text
    assert "It waits for: clearance by food safety after a complaint." in text
    assert f"Decision of {ROLE}:" in text


def test_markup_is_shown_as_text(desk):
    text = text_of(batch_pdf(batch_file(desk, HOSTILE)))
    assert f"Batch {HOSTILE}" in text
    assert f"Line {HOSTILE}" in text
    unbroken = "W" * 120
    file = batch_file(desk, "RC-2")
    long = replace(file.record, batch=replace(file.record.batch, line=unbroken))
    content = batch_pdf(replace(file, record=long))
    assert unbroken in text_of(content).replace(" ", "")


def test_the_same_form_gives_the_same_bytes_in_our_font(desk):
    file = batch_file(desk, "RC-3")
    content = batch_pdf(file)
    assert batch_pdf(file) == content
    assert fonts_of(content) == OURS


def test_every_related_batch_is_named_once_on_as_many_pages_as_it_takes(desk):
    """A recall needs all of them: 180 batches of two lots, of which 60 share both."""
    file = batch_file(desk, "RC-2")
    (kin,) = file.kin
    model = kin.batches[0]

    def others(numbers):
        return tuple(
            replace(model, batch=replace(model.batch, number=f"OC-{at:04}"), clearance=None)
            for at in numbers
        )

    both = (
        replace(kin, batches=others(range(120))),
        replace(kin, name="acid, lot A-7", batches=others(range(60, 180))),
    )
    pages = pages_of(batch_pdf(replace(file, kin=both)))
    text = " ".join(pages)
    assert len(pages) > 1
    assert [text.count(f"OC-{at:04}") for at in range(180)] == [1] * 180
    assert text.count("sweetener, lot SW-1; acid, lot A-7") == 60
    assert "180 batches, 180 of them released." in text  # all are like RC-1
    assert f"1 / {len(pages)}" in text


def test_decisions_one_after_the_other_are_all_there(desk):
    file = batch_file(desk, "RC-3")
    first = file.record.decision
    later = replace(first, disposition=Disposition.REJECT, reason="as recommended, at last")
    record = replace(file.record, decisions=(first, later))
    text = text_of(batch_pdf(replace(file, record=record)))
    assert "Rejected N. Example" in text
    assert text.index("Decisions; the last one stands") < text.index("reject reject N. Example")


def test_without_a_rule_there_is_no_recommendation(desk):
    file = replace(batch_file(desk, "RC-2"), finding=None, rule=None, reference=None, why_none="")
    text = text_of(batch_pdf(file))
    assert "Recommendation None No release rule is agreed." in text
    assert "Rule none agreed" in text
