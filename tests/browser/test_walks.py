"""The walks of a day, counted: clicks of the pointer, and text fields beside the answers.

What a plant has settled before (defaults, product, reference, batch) stands on record, as on any
day but the first.
"""

from __future__ import annotations

import io

import pytest
from openpyxl import Workbook
from playwright.sync_api import expect

from sensory.release import plant_desk, product_desk, reference_desk
from sensory.release.batches import Batch, RawLot
from sensory.release.file_shapes import shapes_for
from sensory.release.plant import Defaults
from sensory.release.references import Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.store.repository import open_store

from .test_typing import type_ballots
from .visitor import FROM_A_FILE, LIMIT

PRODUCT, BATCH, REFERENCE = "Plum cordial", "PC-7", "PR-1"
WHO = "Mira"
COUNT = """
window.counted = {clicks: 0, fields: {}}
addEventListener("click", event => {
  if (event.isTrusted && event.detail) counted.clicks += 1  // none of the keyboard, or of labels
}, true)
addEventListener("input", event => {
  const box = event.target
  const label = box.getAttribute("aria-label") || ""
  const typed = box.matches('input:not([type="radio"]):not([type="checkbox"]), textarea')
  if (typed && box.getAttribute("role") !== "combobox" && !label.startsWith("row "))
    counted.fields[label] = true
}, true)
"""


@pytest.fixture(scope="module")
def plant(server):
    """A product with its rule, reference, a batch of late and the plant's defaults on record."""
    store = open_store(f"sqlite:///{server.record}")
    product_desk.enter_product(store, PRODUCT, who=WHO)
    rule = ReleaseRule(test="TRIANGLE", limit=0.3, assessors=66, decides="quality manager")
    product_desk.agree_rule(store, PRODUCT, rule, who=WHO, why="management")
    days = {"made_on": "2026-01-02", "usable_until": "2036-12-31"}
    kind = ReferenceKind.FRESHLY_MADE
    reference = Reference(name=REFERENCE, product=PRODUCT, kind=kind, **days)
    reference_desk.take_over(store, reference, who=WHO, why="approved recipe")
    lots = (RawLot(material="sweetener", lot="SW-1"),)
    batch = Batch(number=BATCH, product=PRODUCT, made_on="2026-03-01", line="1", raw_lots=lots)
    product_desk.enter_batch(store, batch, who=WHO)
    stated = {"by": "Otto Brandt", "on": "2026-03-02", "who": WHO}
    product_desk.clear_batch(store, BATCH, food_safe=True, allergens=(), **stated)
    done = {"if_different": "hold", "if_similar": "release", "if_undecided": "taste again"}
    defaults = Defaults(dprime_limit=1.64, decides="quality manager", **done)
    plant_desk.keep_defaults(store, defaults, who=WHO)
    yield store
    store.close()


@pytest.fixture
def counted(visit, plant):
    """A visitor whose clicks and typed fields are counted from now on."""
    visitor = visit()
    visitor.page.add_init_script(COUNT)
    visitor.goto("")
    visitor.page.get_by_role("heading", name="Today", level=1).wait_for(timeout=120_000)
    visitor.settled()
    yield visitor
    visitor.page.close()  # with its script, which would count for the next one too


def clicks(visitor) -> int:
    return visitor.page.evaluate("counted.clicks") - visitor.repeated


def fields(visitor) -> list[str]:
    return visitor.page.evaluate("Object.keys(counted.fields)")


def yes_to_all(visitor) -> None:
    groups = visitor.page.get_by_role("radiogroup")
    for number in range(groups.count() - 5, groups.count()):
        groups.nth(number).get_by_text("yes", exact=True).click()
        visitor.settled()


def test_a_paper_triangle_from_new_session_to_pdf(counted):
    visitor, page = counted, counted.page
    visitor.click("new-session")
    visitor.at("new")
    visitor.choose(".st-key-new-batches", BATCH)
    page.keyboard.press("Escape")
    visitor.click("start-session")
    visitor.at("question")
    for label in ("What differs between the samples?", "What depends on the answer?"):
        visitor.fill(label, "new press")
    visitor.fill("Panel leader", WHO)
    assert page.get_by_label(LIMIT, exact=True).input_value() not in ("", "0")
    yes_to_all(visitor)
    visitor.click("agree")
    visitor.at("serve")  # codes and orders are on the paper already: no plan is made here
    visitor.to("ballots")
    type_ballots(visitor, range(6))
    visitor.saved()
    page.get_by_text("These 6 of ").click()
    visitor.settled()
    visitor.click("close")
    visitor.heading("A difference is perceptible")
    assert "%PDF" in str(visitor.download("pdf")[:8])
    assert clicks(visitor) <= 15
    assert len(fields(visitor)) <= 4, fields(visitor)


def messy() -> bytes:
    """A sheet as exported: merged title, German headings, decimal commas, what nobody needs."""
    book = Workbook()
    sheet = book.active
    sheet.merge_cells("A1:G1")
    sheet["A1"] = "Profilprüfung Pflaume, Ergebnisse"
    sheet.append([])
    sheet.append(["Prüfer", "Probe", "Datum", "süß", "bitter", "bittr", "Bemerkung"])
    people = ("Anna K.", "Bo", "Cem", "Dora", "Eli", "Fay")
    for number, person in enumerate(people):
        for place, sample in enumerate(("Referenz", "Charge 1127", "Charge 1128")):
            # Anna K. stands there in three spellings, one a sample.
            named = ("Anna K.", "anna k", "Anna  K")[place] if number == 0 else person
            sweet = f"{4 + 0.5 * (number % 3) + 2 * (place == 2)}".replace(".", ",")
            bitter = f"{3 + 0.5 * (number % 2)}".replace(".", ",")
            row = [named, sample, "03.11.2026", sweet]
            row += ["", bitter] if number == 5 else [bitter, ""]
            sheet.append([*row, "etwas dumpf" if number == 1 and place == 2 else ""])
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def test_a_messy_export_to_its_finding_without_touching_the_file(counted, plant, tmp_path):
    visitor, page = counted, counted.page
    file = tmp_path / "Ergebnisse November.xlsx"
    file.write_bytes(messy())
    visitor.click("new-session")
    visitor.at("new")
    page.get_by_role("radiogroup").get_by_text(FROM_A_FILE, exact=True).click()
    visitor.settled()
    page.locator('input[type="file"]').first.set_input_files(file)
    page.get_by_text("What does each column hold?").wait_for()
    visitor.settled()
    ticks = page.locator('[class*="st-key-import-merge-"]')
    expect(ticks).not_to_have_count(0)
    for number in range(ticks.count()):
        ticks.nth(number).locator("label").first.click()
        visitor.settled()
    page.get_by_text("18 ballots read: 18 ready.").wait_for()
    visitor.choose(".st-key-new-reference-of", "Referenz")
    visitor.click("start-session")
    visitor.at("question")
    for label in ("What differs between the samples?", "What depends on the answer?"):
        visitor.fill(label, "new press")
    visitor.fill("Panel leader", WHO)
    visitor.clear()
    yes_to_all(visitor)
    visitor.click("agree")
    visitor.at("ballots")
    if (few := page.get_by_text("are all there will be")).count():
        few.click()
        visitor.settled()
    visitor.click("close")
    page.get_by_role("heading", name="Limits of this result").wait_for()
    assert "Charge 1128" in visitor.text()
    (kept,) = shapes_for(plant, ["Prüfer", "Probe", "Datum", "süß", "bitter", "bittr", "Bemerkung"])
    assert (kept.name, kept.reference) == ("Ergebnisse November", "Referenz")


def test_a_complaint_leads_to_the_file_of_its_batch_in_three_clicks(counted):
    visitor, page = counted, counted.page
    find = page.get_by_label("Find a batch, lot, session or assessor")
    find.click()
    find.fill(BATCH)
    find.press("Enter")
    page.get_by_text("Found").first.wait_for()
    visitor.click(f"hit-batch-{BATCH}")
    page.locator(".st-key-batch-pdf").wait_for()
    assert "SW-1" in "\n".join(visitor.pdf("batch-pdf"))
    assert clicks(visitor) <= 3
