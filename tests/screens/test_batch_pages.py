"""Pages of batches, started on a real record in each state."""

from __future__ import annotations

from itertools import cycle
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from sensory.choices.protocols import TRIANGLE
from sensory.choices.two_stage import two_stage_plan
from sensory.release import batch_desk, product_desk, tastings
from sensory.release.batches import Batch, Disposition, RawLot
from sensory.release.references import Bridge, Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.sessions import workflow
from sensory.sessions.session import CAUTIONS
from sensory.store.repository import Repository, open_store

from .test_pages import DEMO, words

PRODUCT = "Sloe *cordial*"
SCRIPT = """
from pathlib import Path
import streamlit as st
from sensory.screens import {page}
from sensory.screens.frame import Frame, remember
from sensory.store.repository import open_store

names = "Sessions Plan Question Serve Ballots Finding Batches Batch Trend Product".split()
pages = [st.Page(lambda: None, title=name, url_path=name) for name in names]
remember(Frame(store=open_store({url!r}), demo=Path({demo!r})), pages)
if {batch!r}:
    st.query_params["batch"] = {batch!r}
{page}.page()
"""


def run(page: str, url: str, batch: str = "") -> AppTest:
    script = SCRIPT.format(page=page, url=url, demo=str(DEMO), batch=batch)
    app = AppTest.from_string(script, default_timeout=60).run()
    assert not app.exception
    return app


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'record.sqlite3'}"


@pytest.fixture
def store(url: str) -> Repository:
    """A product with its rule and reference, and one batch that nothing was said of yet."""
    store = open_store(url)
    product_desk.enter_product(store, PRODUCT, who="Mira")
    rule = ReleaseRule(test="TRIANGLE", limit=0.4, assessors=36, decides="release officer")
    product_desk.agree_rule(store, PRODUCT, rule, who="Mira", why="management")
    reference = Reference(
        name="S1",
        product=PRODUCT,
        kind=ReferenceKind.FRESHLY_MADE,
        made_on="2026-01-02",
        usable_until="2036-12-31",
    )
    product_desk.take_over(store, reference, who="Mira", why="approved recipe")
    entered(store, "SC-1")
    return store


def entered(store: Repository, number: str) -> None:
    batch = Batch(
        number=number,
        product=PRODUCT,
        made_on="2026-03-04",
        line="line [1]",
        raw_lots=(RawLot(material="sweetener", lot="SW-118"),),
    )
    product_desk.enter_batch(store, batch, who="Mira")


def cleared(store: Repository, number: str = "SC-1") -> None:
    said = {"by": "Otto", "on": "2026-03-05", "who": "Mira"}
    product_desk.clear_batch(store, number, food_safe=True, allergens=(), **said)


def tasted(store: Repository, correct: int, number: str = "SC-1") -> None:
    cells = {}
    for line, order in zip(range(36), cycle(TRIANGLE.orders), strict=False):
        codes = [str(101 + 3 * line + place) for place in range(3)]
        odd = next(place for place, one in enumerate(order) if order.count(one) == 1)
        said = codes[odd if line < correct else (odd + 1) % 3]
        row = {"assessor": f"P{line}", "order": order, "codes": " ".join(codes), "answer": said}
        cells[line + 2] = row
    session = tastings.open_tasting(store, number, who="Mira")
    workflow.describe(store, session.id, cautions={c.key: True for c in CAUTIONS}, who="Mira")
    workflow.agree(store, session.id, who="Mira")
    workflow.enter_cells(store, session.id, cells, who="Mira")
    tastings.close_and_note(store, session.id, who="Mira")


@pytest.mark.parametrize("page", ["batches", "batch", "trend", "product"])
def test_an_empty_record_says_what_comes_first(url: str, page: str):
    open_store(url).close()
    app = run(page, url)
    assert app.title[0].value.endswith("?")
    assert not app.error


def test_the_board_groups_by_what_is_waited_for(url: str, store: Repository):
    entered(store, "SC-2")
    cleared(store)
    app = run("batches", url)
    said = words(app)
    assert "2 batches open" in said
    assert "#### Waits for tasting" in said
    assert "#### Waits for clearance by food safety" in said
    assert "Sloe \\*cordial\\*" in said
    app.text_input(key="find-batch").set_value("sw-118").run()
    assert "2 batches for 'sw-118'" in words(app)
    app.text_input(key="find-batch").set_value("nothing").run()
    assert "0 batches for 'nothing'" in words(app)


def test_a_batch_is_entered_and_a_wrong_lot_is_named(url: str, store: Repository):
    app = run("batches", url)
    app.text_input(key="batch-number").set_value("SC-7")
    app.text_area(key="batch-lots").set_value("sweetener; SW-9\nacid CA-2").run()
    app.button(key="batch-enter").click().run()
    assert "line 2\\: write material; lot; supplier" in app.error[0].value
    assert store.seek("SC-7") == []
    app.text_area(key="batch-lots").set_value("sweetener; SW-9; north mill\nacid; CA-2").run()
    app.button(key="batch-enter").click().run()
    (found,) = store.seek("SC-7")
    assert [one.lot for one in found.batch.raw_lots] == ["SW-9", "CA-2"]
    assert found.batch.raw_lots[0].supplier == "north mill"


def test_clearance_opens_the_way_to_the_tasting(url: str, store: Repository):
    app = run("batch", url, "SC-1")
    assert "Not tasted: hold the batch" in words(app)
    assert not [one for one in app.button if one.key == "open-tasting"]
    app.radio(key="safe-SC-1").set_value("cleared for tasting and release")
    app.text_input(key="safe-by-SC-1").set_value("Otto").run()
    app.button(key="safe").click().run()
    app.text_input(key="allergens-SC-1").set_value("none")
    app.text_input(key="allergens-by-SC-1").set_value("Otto").run()
    app.button(key="allergens").click().run()
    record = product_desk.the_batch(store, "SC-1")
    assert record.clearance is not None
    assert (record.clearance.complete, record.clearance.allergens) == (True, ())
    app.button(key="open-tasting").click().run()
    assert product_desk.the_batch(store, "SC-1").waits_for == "ballots of its tasting"


@pytest.mark.parametrize(
    ("correct", "headline"),
    [(12, "Release is recommended."), (17, "Hold the batch."), (25, "Rejection is recommended.")],
)
def test_the_recommendation_is_the_headline(
    url: str, store: Repository, correct: int, headline: str
):
    cleared(store)
    tasted(store, correct)
    app = run("batch", url, "SC-1")
    assert app.title[0].value == headline
    chosen = app.radio(key="decide-SC-1")
    assert chosen.value is None  # nothing is chosen beforehand
    assert "Retest" not in chosen.options
    assert app.button(key="decide").disabled
    chosen.set_value(Disposition.HOLD)
    app.text_input(key="decide-by-SC-1").set_value("Nora")
    app.text_input(key="decide-why-SC-1").set_value("more to see")
    app.checkbox(key="decide-role-SC-1").check().run()
    app.button(key="decide").click().run()
    decision = product_desk.the_batch(store, "SC-1").decision
    assert decision is not None
    assert (decision.disposition, decision.role) == (Disposition.HOLD, "release officer")


def test_release_is_not_offered_while_it_is_blocked(url: str, store: Repository):
    product_desk.clear_batch(store, "SC-1", food_safe=False, by="O", on="2026-03-05", who="M")
    app = run("batch", url, "SC-1")
    assert "Release" not in app.radio(key="decide-SC-1").options
    assert "Release is blocked" in words(app)


def test_a_complaint_is_recorded_and_shown(url: str, store: Repository):
    cleared(store)
    tasted(store, 12)
    by = {"by": "Nora", "role": "release officer", "reason": "similar"}
    batch_desk.decide(store, "SC-1", Disposition.RELEASE, **by)
    app = run("batch", url, "SC-1")
    assert app.title[0].value == "Decided: release"
    app.text_area(key="complaint-SC-1").set_value("smells of <b>rubber</b>").run()
    app.button(key="complaint").click().run()
    assert "smells of \\<b\\>rubber" in words(app)
    assert "clearance by food safety after a complaint" in words(app)


def test_the_trend_needs_batches_and_shows_them(url: str, store: Repository):
    assert "No batch has a finding" in words(run("trend", url)) or "without" in words(
        run("trend", url)
    )
    cleared(store)
    tasted(store, 12)
    for number in ("SC-2", "SC-3"):
        entered(store, number)
        cleared(store, number)
        tasted(store, 13, number)
    app = run("trend", url)
    assert "What it shows" in words(app)
    assert "3 batches made" in words(app)


def test_a_rule_is_agreed_on_its_page(url: str, store: Repository):
    app = run("product", url)
    assert "Each batch is compared with the reference in a triangle test" in words(app)
    key = f"rule-people-{PRODUCT}"
    app.number_input(key=key).set_value(60)
    app.text_input(key=f"rule-why-{PRODUCT}").set_value("management, May").run()
    app.button(key="rule-agree").click().run()
    rule = product_desk.rule_of(product_desk.the_product(store, PRODUCT))
    assert rule is not None
    assert (rule.assessors, rule.limit) == (60, 0.4)


def test_a_reference_takes_over_with_a_reason(url: str, store: Repository):
    app = run("product", url)
    app.text_input(key=f"ref-name-{PRODUCT}").set_value("S2")
    app.text_input(key=f"ref-storage-{PRODUCT}").set_value("4 °C, dark")
    app.text_input(key=f"ref-why-{PRODUCT}").set_value("S1 ages").run()
    app.button(key="ref-enter").click().run()
    assert "needs a bridge to S1" in app.error[0].value
    app.text_input(key=f"br-why-S1-{PRODUCT}").set_value("S1 is used up").run()
    app.button(key="ref-enter").click().run()
    assert product_desk.the_product(store, PRODUCT).references == ("S1", "S2")


def test_a_second_tasting_is_planned_with_its_risks(url: str, store: Repository):
    app = run("product", url)
    app.checkbox(key=f"rule-retest-{PRODUCT}").check().run()
    app.text_input(key=f"rule-why-{PRODUCT}").set_value("fewer answers").run()
    assert "An unchanged batch would be released with a chance of" in words(app)
    app.button(key="rule-agree").click().run()
    rule = product_desk.rule_of(product_desk.the_product(store, PRODUCT))
    assert rule is not None
    assert rule.retest is not None
    expected = two_stage_plan(TRIANGLE, most=120, pd_limit=0.4)
    assert repr(rule.retest) == repr(expected)
    assert rule.assessors == rule.retest.first == expected.first


def test_attributes_are_typed_and_a_wrong_line_is_named(url: str, store: Repository):
    app = run("product", url)
    field = app.text_area(key=f"attributes-{PRODUCT}")
    field.set_value("sour; 0,8\ncolour 2-6")
    app.text_input(key=f"attributes-why-{PRODUCT}").set_value("consumers").run()
    app.button(key="attributes").click().run()
    assert "Attributes, line 2" in app.error[0].value
    app.text_area(key=f"attributes-{PRODUCT}").set_value(
        "sour; 0,8\ncolour; 2 to 6\nhaze; to 3"
    ).run()
    app.button(key="attributes").click().run()
    found = product_desk.the_product(store, PRODUCT).product.attributes
    assert [(one.attribute, one.margin, one.low, one.high) for one in found] == [
        ("sour", 0.8, None, None),
        ("colour", None, 2.0, 6.0),
        ("haze", None, None, 3.0),
    ]
    assert run("product", url).text_area(key=f"attributes-{PRODUCT}").value == (
        "sour; 0.8\ncolour; 2 to 6\nhaze; to 3"
    )


def test_the_reference_in_use_is_compared_again(url: str, store: Repository):
    step = Bridge(reference="S2", to="S1", held_on="2026-03-01", reason="S1 is used up")
    second = Reference(
        name="S2",
        product=PRODUCT,
        kind=ReferenceKind.FRESHLY_MADE,
        made_on="2026-03-01",
        usable_until="2036-12-31",
        bridged_to_previous=step,
        bridged_to_first=step,
    )
    product_desk.take_over(store, second, who="Mira", why="S1 is used up")
    app = run("product", url)
    app.selectbox(key=f"br-again-S1-{PRODUCT}").set_value("SIMILAR")
    app.number_input(key=f"br-est-again-S1-{PRODUCT}").set_value(0.4)
    app.number_input(key=f"br-se-again-S1-{PRODUCT}").set_value(0.1)
    app.text_input(key=f"again-why-{PRODUCT}").set_value("half a year old").run()
    app.button(key="again").click().run()
    found = store.noun(Reference, "S2")
    assert found is not None
    assert [(one.to, one.estimate) for one in found.later] == [("S1", 0.4)]
    assert "It lies +0.40 from S1" in words(run("product", url)).replace("\\", "")


def test_cells_of_grids_show_texts_as_they_are(url: str, store: Repository):
    """A grid draws its cells as texts: what markup needs would be seen there."""
    for number in ("SC_1 (B)", "SC_2", "SC_3"):
        entered(store, number)
        cleared(store, number)
        tasted(store, 12, number)
    bridge = Bridge(reference="S_2 (new)", to="S1", held_on="2026-02-02", reason="S1 is used up")
    second = Reference(
        name="S_2 (new)",
        product=PRODUCT,
        kind=ReferenceKind.FRESHLY_MADE,
        made_on="2026-02-02",
        usable_until="2036-12-31",
        bridged_to_previous=bridge,
        bridged_to_first=bridge,
    )
    product_desk.take_over(store, second, who="Mira", why="approved")
    shown = {
        page: [str(cell) for grid in run(page, url, batch).dataframe for cell in texts_of(grid)]
        for page, batch in (("batch", "SC_1 (B)"), ("trend", "SC_1 (B)"), ("product", ""))
    }
    assert any("(" in cell for cell in shown["batch"])
    assert "SC_1 (B)" in shown["trend"]
    assert "S_2 (new)" in shown["product"]
    assert not [cell for cells in shown.values() for cell in cells if "\\" in cell]


def texts_of(grid: object) -> list[object]:
    return list(grid.value.to_numpy().ravel())


def test_a_new_product_is_chosen_and_its_field_emptied(url: str, store: Repository):
    app = run("product", url)
    app.text_input(key="product-name").set_value("Plum cordial").run()
    app.button(key="product-enter").click().run()
    assert app.selectbox(key="product").value == "Plum cordial"
    assert app.text_input(key="product-name").value == ""


def test_a_recorded_decision_empties_its_form(url: str, store: Repository):
    cleared(store)
    tasted(store, 12)
    app = run("batch", url, "SC-1")
    app.radio(key="decide-SC-1").set_value(Disposition.HOLD)
    app.text_input(key="decide-by-SC-1").set_value("Nora")
    app.text_input(key="decide-why-SC-1").set_value("more to see")
    app.checkbox(key="decide-role-SC-1").check().run()
    app.button(key="decide").click().run()
    assert app.title[0].value == "Held"
    assert app.radio(key="decide-SC-1").value is None
    assert app.text_input(key="decide-by-SC-1").value == ""
    assert [one.value for one in app.toast] == ["Recorded."]
