"""From a question in words to a plan with its number, in a real Chromium."""

from __future__ import annotations

from ..programs import ROOT
from .test_accessible import serious


def test_from_a_question_in_words_to_a_session_with_its_number(visit):
    visitor = visit()
    visitor.open()
    page = visitor.page
    visitor.to("plan")
    page.get_by_text("Is the difference small enough to be accepted?").first.click()
    visitor.settled()
    people = page.get_by_label("How many people can you get?")
    people.fill("70")
    people.press("Enter")
    visitor.heading("Recommended: triangle")
    page.get_by_text("share of assessors who notice", exact=True).click()
    visitor.settled()
    visitor.fill("Agreed limit: share of assessors who may notice, 0.2 for 20 %", "0.3")
    # ISO 4120: 66 triangles at alpha = beta = 0.05 and pd 30 % (from memory); which other
    # sizes keep both risks is scanned with scipy in tests/decisions.
    visitor.heading("70 just misses: take ")
    visitor.click("plan-open-66")
    visitor.at("new")
    assert "Triangle, 66 ballots, as planned." in visitor.text()
    visitor.wish()
    visitor.click("start-session")
    visitor.at("question")
    assert page.get_by_label("Ballots planned").input_value() == "66"
    assert "95.3 %" in visitor.text()
    assert visitor.asked_only_the_server()


def test_from_a_product_to_its_shelf_life_by_a_file(visit):
    visitor = visit()
    page = visitor.page
    visitor.goto("product?invented=1")
    visitor.heading("Products")
    visitor.fill("Name of the product", "Quince cordial")
    visitor.click("product-enter")
    visitor.click("to-shelf-life")
    visitor.heading("Shelf life")
    page.get_by_text("First the date of food safety").first.wait_for()
    visitor.click("shelf-demo-0")
    visitor.heading("Sensory shelf life shown until 13 June 2026")
    page.locator('input[type="file"]').first.set_input_files(ROOT / "demo_data/shelf_choices.csv")
    page.get_by_text("choice tests, 6 rows").wait_for()
    visitor.settled()
    visitor.fill("Agreed d-prime", "1.0")
    visitor.heading("Sensory shelf life shown until 8 May 2026")
    visitor.drawn("shelf-figure-0")
    visitor.settled()
    assert serious(page, "shelf life") == []
    assert "Sensory shelf life shown until 8 May 2026" in visitor.pdf("shelf-pdf")[0]
    assert visitor.asked_only_the_server()
