"""A study and a limit from a file to the record, and back after the server was started again."""

from __future__ import annotations

from contextlib import closing

import pytest

from sensory.release.product_desk import agree_rule, enter_product, the_product
from sensory.release.rule import ReleaseRule
from sensory.store.repository import open_store

from ..programs import ROOT
from .servers import Server, started
from .test_accessible import serious

PRODUCT = "Sloe cordial"
POINTS = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=12, scatter=0.7)
SENTENCE = "Half of the tastings are noticed at 6.59 µg/l (3.66 to 9.81, 95 %)."
LIMIT = "Limit to agree: 0.936 points, the lower limit."


@pytest.fixture(scope="module")
def own_server(tmp_path_factory):
    """A server that a test may kill, with a product that has a rule."""
    running = Server(tmp_path_factory.mktemp("studies"))
    with closing(open_store(f"sqlite:///{running.record}")) as store:
        enter_product(store, PRODUCT, who="Mira")
        agree_rule(store, PRODUCT, POINTS, who="Mira", why="management")
    with started(running):
        yield running


def signed(visitor, key: str) -> None:
    """Sign by a name that is typed, or chosen where there is somebody on record."""
    page = visitor.page
    page.locator(f".st-key-{key}-who input, .st-key-{key} input").first.wait_for()
    if page.locator(f".st-key-{key}-who").count():
        visitor.choose(f".st-key-{key}-who", "Mira")
        return
    page.locator(f".st-key-{key} input").fill("Mira")
    page.keyboard.press("Tab")
    visitor.settled()


def test_a_threshold_is_kept_and_opened_after_a_restart(visitor_of, own_server):
    visitor = visitor_of(own_server)
    page = visitor.page
    visitor.goto("studies")
    visitor.heading("Studies")
    visitor.fill("Unit of the concentration", "µg/l")
    page.locator('input[type="file"]').first.set_input_files(ROOT / "demo_data/threshold.csv")
    visitor.heading(SENTENCE)
    visitor.drawn("study-figure-0")
    visitor.fill("Title", "Taint of May")
    signed(visitor, "study-by")
    visitor.click("study-keep")
    page.get_by_text("On record: Taint of May").wait_for()
    own_server.kill()
    own_server.start()
    visitor.goto("plan")
    visitor.heading("Plan")
    page.get_by_role("button", name="Open the study").click()
    visitor.heading(SENTENCE)
    visitor.drawn("study-figure-0")
    assert serious(page, "study on record") == []
    assert SENTENCE in " ".join(visitor.pdf("study-pdf"))
    assert visitor.download("study-archive").startswith(b"PK")
    assert visitor.asked_only_the_server()


def test_a_limit_by_consumers_is_kept_and_agreed(visitor_of, own_server):
    visitor = visitor_of(own_server)
    page = visitor.page
    visitor.goto("limit")
    visitor.heading("Limit")
    page.locator('input[type="file"]').first.set_input_files(ROOT / "demo_data/consumers.csv")
    visitor.fill("Share of consumers whose rejection is accepted, %", "25")
    visitor.heading(LIMIT)
    visitor.drawn("limit-consumers-figure-0")
    assert serious(page, "limit") == []
    assert LIMIT in " ".join(visitor.pdf("limit-consumers-pdf"))
    page.get_by_text("Keep it on record").first.click()
    page.wait_for_timeout(700)
    signed(visitor, "limit-consumers-by")
    visitor.click("limit-consumers-keep")
    page.get_by_text("On record: Limit by consumers who accept or reject").first.wait_for()
    visitor.fill("Limit, points above the blind control", "0.93")
    page.get_by_text("A fair pass takes 7 assessors").wait_for()
    page.get_by_label("Why this limit").fill("study of March")
    page.keyboard.press("Tab")
    visitor.settled()
    visitor.fill("Agreed by", "Nora")
    visitor.choose(".st-key-limit-rests-Sloe-cordial", "answers of consumers")
    visitor.click("limit-agree")
    page.get_by_text("Agreed by Nora").wait_for()
    store = open_store(f"sqlite:///{own_server.record}")
    (kept,) = store.studies(product=PRODUCT)
    assert kept.outcome.sentence.startswith(LIMIT)
    (_, entry) = [
        each
        for each in store.noun_entries(the_product(store, PRODUCT))
        if each.what == "rule agreed"
    ]
    assert kept.digest[:12] in entry.why
    visitor.goto("limit")
    visitor.heading("Studies on record")
    assert LIMIT in visitor.text()
    assert store.verify() == []
    store.close()
