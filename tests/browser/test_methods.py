"""Sessions that are no forced choice, in a real Chromium."""

from __future__ import annotations

from pathlib import Path

from sensory.base.findings import Finding

DEMO = Path(__file__).parents[2] / "demo_data"
METHODS = {
    "shop_light": Finding.DIFFERENT.says(limit=False),
    "new_thickener": Finding.BEYOND_LIMIT.sentence,
    "water": "filtered: different; softened: undecided.",
    "pressing": "new press: different; old press, warm: undecided.",
    "gasket": "batch 118: similar; batch 119: beyond limit.",
    "aftertaste": "Perceptibly different from sugar: blend 2, blend 3.",
    "line_grading": "Out: SC-0314 (2 of 3 votes, metallic); in: SC-0311, SC-0312, SC-0313, "
    "SC-0316; open: SC-0315 (1 of 3 votes).",
    "taint": "Half of the tastings are noticed at 0.908 µg/l (0.411 to 1.64, 95 %).",
    "words": "The samples differ in: jammy, cooked.",
}


def test_from_the_demo_to_the_finding_and_its_report(visit):
    """In one visit: a page that is opened anew reads and compiles all its scripts again."""
    visitor = visit(width=768)
    visitor.look_round()
    for name, sentence in METHODS.items():
        visitor.to("today")
        visitor.close(name, sentence)
        visitor.drawn("outcome-figure")
        assert sentence in visitor.pdf()[0]
        assert visitor.width() <= 768
    assert visitor.asked_only_the_server()


def test_file_of_pairs_is_recognised_and_a_bad_cell_is_mended(visit, tmp_path):
    text = (DEMO / "new_thickener.csv").read_text(encoding="utf-8")
    spoilt = text.replace("different", "unlike", 1)
    (tmp_path / "pairs.csv").write_text(spoilt, encoding="utf-8")
    visitor = visit()
    page = visitor.page
    visitor.use(tmp_path / "pairs.csv", 60)
    assert "the same, or different?" in visitor.text()
    visitor.to("ballots")
    page.get_by_text("1 error to fix").first.wait_for()
    wrong = page.locator('input[aria-invalid="true"]')
    assert wrong.input_value() == "unlike"
    wrong.fill("different")
    wrong.press("Tab")
    page.get_by_text("0 errors to fix").first.wait_for()
    visitor.saved()
