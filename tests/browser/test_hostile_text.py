"""Markup in titles, cells and file names is text: nothing is fetched, nothing runs."""

from __future__ import annotations

import pytest

from sensory.base.findings import Finding
from sensory.sessions import workflow

from .served import BY, put

PICTURE = "![x](http://picture.test/x.png)"
LINKS = " http://bare.test/x www.bare.test m@bare.test :material/cake: :cake: 10:31:07"
TAG = "<img src=http://tag.test/x.png onerror=\"document.title='broken'\">"


@pytest.fixture
def hostile_file(tmp_path):
    """Ballots whose cells hold markup, as a file with markup in its name."""
    path = tmp_path / "![f](http:_name.test).csv"
    quoted = TAG.replace('"', '""')
    rows = [
        "assessor;order;code_1;code_2;code_3;answer;comment",
        f'"{PICTURE}";ABB;181;417;512;181;"{quoted}"',
        f"P02;{PICTURE};182;418;513;{PICTURE};ok",
        'P03;BAB;183;419;514;419;"=HYPERLINK(""http://formula.test"",""x"")"',
    ]
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


def assert_shown_as_text(visitor):
    """Addresses lead nowhere, and an icon stays its name."""
    assert LINKS in visitor.text()
    assert visitor.page.locator('a[href*="bare.test"]').count() == 0


def test_markup_in_the_name_of_a_sample_is_text_in_the_finding(visit, store):
    here = put(store, "pressing", cells=True, agreed=False)
    named = {
        line: {"sample": f"**B** {PICTURE}"}
        for line, texts in store.cells(here).items()
        if texts["sample"] == "new press"
    }
    workflow.enter_cells(store, here, named, who=BY)
    workflow.agree(store, here, who=BY)
    workflow.close(store, here, who=BY)
    visitor = visit()
    visitor.goto(f"finding?session={here}")
    visitor.drawn("outcome-figure")
    assert f"**B** {PICTURE}: different" in visitor.text()
    assert visitor.page.locator('img[src*="test"]').count() == 0
    assert visitor.asked_only_the_server()


def test_markup_of_users_is_shown_as_text_on_every_page(visit, hostile_file):
    visitor = visit()
    page = visitor.page
    visitor.use(hostile_file, 3)
    visitor.fill("Title", PICTURE + TAG + LINKS)
    visitor.agree(PICTURE)
    assert PICTURE in visitor.text()
    page.get_by_text("errors to fix").first.wait_for()
    for cell, text in {"order": "BBA", "answer": "513"}.items():
        page.get_by_label(f"row 3, {cell}").fill(text)
        page.get_by_label(f"row 3, {cell}").press("Tab")
    page.get_by_text("0 errors to fix").wait_for()
    visitor.saved()
    visitor.click("close")
    # All three odd samples named: 1/27 by guessing, below 0.05.
    visitor.heading(Finding.DIFFERENT.sentence)
    assert PICTURE in visitor.text()
    visitor.page.get_by_role("link", name="Question").click()
    page.get_by_text("; frozen.").wait_for()
    assert PICTURE in visitor.text()
    assert_shown_as_text(visitor)
    visitor.to("sessions")
    assert PICTURE in visitor.text()
    assert_shown_as_text(visitor)
    assert page.title() != "broken"
    assert visitor.page.locator('img[src*="test"]').count() == 0
    assert visitor.asked_only_the_server()
