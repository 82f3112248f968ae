"""Sessions that are no forced choice, in a real Chromium."""

from __future__ import annotations

from pathlib import Path

import pytest
from pypdf import PdfReader

DEMO = Path(__file__).parents[2] / "demo_data"
METHODS = {
    "shop_light": "The batch deviates perceptibly from the reference.",
    "new_thickener": "The batch deviates perceptibly from the reference.",
    "water": "filtered: different; softened: undecided.",
    "pressing": "new press: different; old press, warm: undecided.",
    "gasket": "batch 118: similar; batch 119: different.",
    "aftertaste": "Perceptibly different from sugar: blend 2, blend 3.",
}


@pytest.mark.parametrize(("name", "sentence"), METHODS.items())
def test_from_the_demo_to_the_finding_and_its_report(visit, server, tmp_path, name, sentence):
    visitor = visit(width=768)
    visitor.open()
    visitor.page.get_by_text("Other methods").click()
    visitor.click(f"demo-{name}")
    visitor.heading("What is asked, and with which risks?")
    visitor.click("agree")
    visitor.heading("Ballots")
    visitor.click("close")
    visitor.heading(sentence)
    visitor.page.locator(".st-key-outcome-figure .vega-embed .marks").first.wait_for()
    with visitor.page.expect_download() as waiting:
        visitor.click("pdf")
    waiting.value.save_as(tmp_path / "report.pdf")
    words = " ".join(PdfReader(tmp_path / "report.pdf").pages[0].extract_text().split())
    assert sentence in words
    assert visitor.page.evaluate("document.documentElement.scrollWidth") <= 768
    assert visitor.hosts == {f"127.0.0.1:{server.port}"}


def test_file_of_pairs_is_recognised_and_a_bad_cell_is_mended(visit, tmp_path):
    text = (
        (DEMO / "new_thickener.csv").read_text(encoding="utf-8").replace("different", "unlike", 1)
    )
    (tmp_path / "pairs.csv").write_text(text, encoding="utf-8")
    visitor = visit()
    visitor.open()
    page = visitor.page
    page.locator('input[type="file"]').first.set_input_files(tmp_path / "pairs.csv")
    page.get_by_text("60 ballots read.").wait_for()
    visitor.click("use-file")
    visitor.heading("What is asked, and with which risks?")
    assert "Are the two samples of this pair the same, or different?" in visitor.text()
    page.get_by_role("link", name="Ballots").click()
    visitor.heading("Ballots")
    page.get_by_text("1 thing to mend").first.wait_for()
    wrong = page.locator('input[aria-invalid="true"]')
    assert wrong.input_value() == "unlike"
    wrong.fill("different")
    wrong.press("Tab")
    page.get_by_text("0 things to mend").first.wait_for()
    visitor.saved()
