"""The main job in a real Chromium: from opening to the finding."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from openpyxl import load_workbook
from playwright.sync_api import expect

from sensory.base.findings import Finding
from sensory.sessions.reading import read_ballots

from .visitor import FROM_A_FILE

DEMO = Path(__file__).parents[2] / "demo_data"
FINDINGS = {
    "reformulation": Finding.SIMILAR.sentence,
    "suspect_batch": Finding.BEYOND_LIMIT.sentence,
    "new_supplier": Finding.UNDECIDED.sentence,
}

LIGHT_OR_DARK = """scheme => {
    const colour = getComputedStyle(document.querySelector(".stApp")).backgroundColor
    const lightness = colour.match(/[0-9]+/g).slice(0, 3).reduce((sum, part) => sum + +part, 0)
    return (lightness > 384) === (scheme === "light")
}"""


def to_finding(visitor, name: str) -> None:
    visitor.open()
    visitor.close(name, FINDINGS[name])


@pytest.mark.parametrize("name", FINDINGS)
def test_three_clicks_lead_to_the_finding_and_ask_only_this_machine(visit, name):
    visitor = visit()
    to_finding(visitor, name)
    text = visitor.text()
    assert "Limits of this result" in text
    assert "All numbers" in text
    visitor.drawn("outcome-figure")
    assert visitor.asked_only_the_server()


def test_invented_data_stay_apart_and_are_left_with_one_click(visit, store):
    before = len(store.sessions())
    visitor = visit()
    to_finding(visitor, "suspect_batch")
    visitor.page.reload()  # the address keeps in which record it is
    visitor.heading(FINDINGS["suspect_batch"])
    assert "Invented data." in visitor.text()
    visitor.click("leave-invented")
    visitor.at("today")
    assert "Invented data." not in visitor.text()
    assert "Elderflower" not in visitor.text()
    assert len(store.sessions()) == before


def test_finding_fits_the_window_in_light_and_dark(visit):
    visitor = visit()
    to_finding(visitor, "suspect_batch")
    page = visitor.page
    for width in (1280, 768):
        page.set_viewport_size({"width": width, "height": 900})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.wait_for_function(LIGHT_OR_DARK, arg=scheme)
            assert visitor.width() <= width
            chart = page.locator(".st-key-outcome-figure").bounding_box()
            assert chart["x"] >= 0
            assert chart["x"] + chart["width"] <= width


def test_the_question_shows_the_fair_pass_beside_the_wrong_pass_and_freezes(visit):
    visitor = visit()
    visitor.open()
    visitor.click("demo-reformulation")
    visitor.at("question")
    text = visitor.text()
    # 66 triangles, beta 0.05, pd 30 %: exact values by enumeration in tests/choices.
    assert "95.3 %" in text
    assert "4.9 %" in text
    planned = visitor.page.get_by_label("Ballots planned")
    planned.fill("24")
    planned.press("Enter")
    visitor.page.get_by_text("Take 66.").wait_for()
    visitor.click("agree")
    visitor.at("ballots")
    visitor.page.get_by_role("link", name="Question").click()
    visitor.page.get_by_text("; frozen.").wait_for()
    assert visitor.page.get_by_label("Ballots planned").count() == 0


def test_report_and_downloads_hold_the_finding(visit):
    visitor = visit()
    to_finding(visitor, "reformulation")
    words = " ".join(visitor.pdf())
    for part in (FINDINGS["reformulation"], "23 of 66 answers", "ISO 4120:2021"):
        assert part in words
    visitor.click("downloads")
    book = load_workbook(io.BytesIO(visitor.download("results")))
    numbers = {row[0]: row[1] for row in book["The numbers"].iter_rows(values_only=True)}
    assert numbers["finding"] == "SIMILAR"
    assert numbers["correct answers"] == 23
    assert numbers["answers counted"] == 66
    ballots = read_ballots(visitor.download("ballots-csv"))
    assert ballots["correct"].sum() == 23
    assert visitor.download("finding-png").startswith(b"\x89PNG")
    assert visitor.download("finding-svg").startswith(b"<svg")
    for label, begins in (("Archive, ZIP", b"PK"), ("Feedback sheets, PDF", b"%PDF")):
        with visitor.page.expect_download(timeout=90_000) as waiting:
            visitor.page.get_by_role("button", name=label).click()
        assert waiting.value.path().read_bytes().startswith(begins)


def test_file_with_mistakes_shows_each_beside_its_cell(visit):
    visitor = visit()
    page = visitor.page
    visitor.use(DEMO / "mistakes.csv", 18)
    visitor.to("ballots")
    page.get_by_text("6 errors to fix").wait_for()
    wrong = page.locator('input[aria-invalid="true"]')
    expect(wrong).to_have_count(6)
    assert sorted(wrong.nth(i).input_value() for i in range(wrong.count())) == [
        "181", "4l7", "512", "AAA", "no difference", "p02",
    ]  # fmt: skip
    row = page.locator("tr", has=page.get_by_label("row 4, answer"))
    assert "512 was not" in row.inner_text()
    page.get_by_label("row 4, answer").fill("469")
    page.get_by_text("5 errors to fix").wait_for()
    visitor.saved()


def test_unreadable_file_gets_one_sentence_and_changes_nothing(visit, tmp_path):
    broken = tmp_path / "ballots.xlsx"
    broken.write_bytes(b"PK\x03\x04 no workbook")
    visitor = visit()
    visitor.begin(FROM_A_FILE)
    visitor.page.locator('input[type="file"]').first.set_input_files(broken)
    visitor.page.get_by_text("cannot be opened").wait_for()
    assert visitor.page.locator(".st-key-start-session").count() == 0
