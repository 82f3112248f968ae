"""In a real Chromium: from complaint to trace, and from suspect batch to decision."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from sensory.release import product_desk, reference_desk, tastings
from sensory.release.batches import Batch, Disposition, RawLot
from sensory.release.references import Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.sessions import workflow
from sensory.sessions.session import CAUTIONS
from sensory.store.repository import open_store

from .test_accessible import serious

PRODUCT = "Sloe cordial"
OFF = {"SC-4": 3.0}


@pytest.fixture(scope="module")
def desk(server):
    """Five batches on the record of the server; the fourth smells of rubber."""
    store = open_store(f"sqlite:///{server.record}")
    product_desk.enter_product(store, PRODUCT, who="Mira")
    numbers = {"limit": 1.5, "assessors": 8, "scatter": 0.8}
    rule = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", decides="release officer", **numbers)
    product_desk.agree_rule(store, PRODUCT, rule, who="Mira", why="management")
    days = {"made_on": "2026-01-02", "usable_until": "2036-12-31"}
    kind = ReferenceKind.FRESHLY_MADE
    reference = Reference(name="S1", product=PRODUCT, kind=kind, **days)
    reference_desk.take_over(store, reference, who="Mira", why="approved recipe")
    for number in range(1, 6):
        name = f"SC-{number}"
        lots = (RawLot(material="sweetener", lot="SW-118" if number > 2 else "SW-117"),)
        made = {"made_on": f"2026-03-0{number}", "line": "line 1", "raw_lots": lots}
        batch = Batch(number=name, product=PRODUCT, **made)
        product_desk.enter_batch(store, batch, who="Mira")
        stated = {"by": "Otto Brandt", "on": "2026-03-06", "who": "Mira"}
        product_desk.clear_batch(store, name, food_safe=True, allergens=(), **stated)
        tasted(store, name, OFF.get(name, 0.0))
    yield store
    store.close()


def tasted(store, name: str, beyond: float) -> None:
    session = tastings.open_tasting(store, name, who="Mira")
    workflow.describe(store, session.id, cautions={c.key: True for c in CAUTIONS}, who="Mira")
    workflow.agree(store, session.id, who="Mira")
    cells = {}
    for person in range(8):
        for place, sample in enumerate(("blind reference", name)):
            score = 1 + person % 3 + (0.25 * (person % 2) + beyond if place else 0)
            cells[2 + 2 * person + place] = {
                "assessor": f"P{person}",
                "sample": sample,
                "code": str(101 + 2 * person + place),
                "score": str(score),
            }
    workflow.enter_cells(store, session.id, cells, who="Mira")
    tastings.close_and_note(store, session.id, who="Mira")


def test_a_complaint_leads_to_everything_in_two_clicks_and_to_one_pdf(visit, desk):
    visitor = visit()
    page = visitor.page
    visitor.open()
    visitor.to("batches")  # first click
    sought = page.get_by_label(
        "Find a batch: number, raw-material lot, reference, product or cause"
    )
    sought.fill("sc-4")
    sought.press("Enter")
    page.get_by_text("1 batch for").wait_for()
    visitor.click("batch-found-SC-4")  # second click
    visitor.heading("Rejection is recommended.")
    for part in ("SW-118", "points above the blind control", "S1", "2 batches more", "Otto Brandt"):
        page.get_by_text(part).first.wait_for()
    printed = "\n".join(visitor.pdf("batch-pdf"))
    for part in ("SC-4", "SW-118", "SC-3", "SC-5", "Otto Brandt"):
        assert part in printed
    page.get_by_text("sweetener, lot SW-118").click()
    page.wait_for_timeout(1000)  # a click in a box that is still unfolding gets lost
    visitor.click("kin-0-SC-5")
    visitor.heading("Release is recommended.")
    assert "batch=SC-5" in page.url
    page.get_by_role("button", name="To the finding of tasting 1").click()
    page.get_by_text("Finding: ").first.wait_for()
    assert visitor.asked_only_the_server()


def test_a_suspect_batch_is_decided_with_name_role_and_reason(visit, desk):
    visitor = visit(width=768)
    page = visitor.page
    visitor.goto("batch?batch=SC-4")
    visitor.heading("Rejection is recommended.")
    assert visitor.width() <= 768
    button = page.locator(".st-key-decide button")
    expect(button).to_be_disabled()
    page.get_by_text("Reject", exact=True).click()
    page.get_by_label("Name", exact=True).fill("Nora Sand")
    visitor.settled()
    visitor.choose('[class*="st-key-decide-cause-"]', "line")
    page.get_by_label("Reason", exact=True).fill("rubber")
    page.get_by_text("I am release officer").click()
    expect(button).to_be_enabled()
    button.click()
    visitor.heading("Decided: reject")
    decision = product_desk.the_batch(desk, "SC-4").decision
    assert decision is not None
    assert (decision.disposition, decision.decided_by) == (Disposition.REJECT, "Nora Sand")
    assert desk.verify() == []


def test_the_trend_shows_the_batch_that_stands_out_and_the_month_is_two_pages(visit, desk):
    visitor = visit()
    visitor.goto("trend")
    visitor.at("trend")
    visitor.drawn("trend-figure")
    assert "The month on two pages" in visitor.text()
    pages = visitor.pdf("month-pdf")
    assert len(pages) == 2
    assert "5 batches" in pages[0]


def test_axe_finds_nothing_serious_on_pages_of_batches(visit, desk):
    visitor = visit()
    page = visitor.page
    found = []
    for address, ready in (
        ("batches", ".st-key-find-batch input"),
        ("batch?batch=SC-2", ".st-key-batch-pdf button"),
        ("trend", ".st-key-month-pdf button"),
        ("product", ".st-key-characteristic-figure .vega-embed .marks"),
    ):
        visitor.goto(address)
        page.locator(ready).first.wait_for()
        visitor.settled()
        found += serious(page, address)
    assert found == []
