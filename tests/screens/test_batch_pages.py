"""Pages of batches, started on a real record in each state."""

from __future__ import annotations

from dataclasses import replace
from itertools import cycle

import pytest
from streamlit.testing.v1 import AppTest

from sensory.choices.protocols import TRIANGLE
from sensory.choices.two_stage import two_stage_plan
from sensory.release import (
    batch_desk,
    complaint_desk,
    plant_desk,
    product_desk,
    reference_desk,
    tastings,
)
from sensory.release.batches import AttributeLimit, Batch, Disposition, RawLot
from sensory.release.references import Bridge, Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.screens import offered_sessions
from sensory.sessions import workflow
from sensory.sessions.session import CAUTIONS
from sensory.sessions.signing import TYPED, signed_words
from sensory.store.repository import Repository, open_store

from ..sessions.shared import newer
from ..shared import ALL_YES, CARE
from .pages import click, fill, keys, marked, run, words

PRODUCT = "Sloe *cordial*"


def shown(page: str, url: str, batch: str = "") -> AppTest:
    return run(page, url, None, batch=batch)


@pytest.fixture
def store(url: str) -> Repository:
    """A product with its rule and reference, and one batch that nothing was said of yet."""
    store = open_store(url)
    product_desk.enter_product(store, PRODUCT, who="Mira")
    rule = ReleaseRule(test="TRIANGLE", limit=0.4, assessors=36, decides="release officer")
    product_desk.agree_rule(store, PRODUCT, rule, who="Mira", why="management")
    reference_desk.take_over(store, made("S1"), who="Mira", why="approved recipe")
    entered(store, "SC-1")
    return store


def made(name: str, **bridges: Bridge) -> Reference:
    kind, until = ReferenceKind.FRESHLY_MADE, "2036-12-31"
    return Reference(
        name=name, product=PRODUCT, kind=kind, made_on="2026-01-02", usable_until=until, **bridges
    )


def second(store: Repository, name: str) -> None:
    """S1 is used up, and another reference takes over."""
    decided = {"decided_by": "Nora", "role": "release officer", "reason": "S1 is used up"}
    step = Bridge(reference=name, to="S1", held_on="2026-03-01", **decided)
    reference = made(name, bridged_to_previous=step, bridged_to_first=step)
    reference_desk.take_over(store, reference, who="Mira", why="S1 is used up")


def entered(store: Repository, number: str) -> None:
    lots = (RawLot(material="sweetener", lot="SW-118"),)
    made_on, line = "2026-03-04", "line [1]"
    batch = Batch(number=number, product=PRODUCT, made_on=made_on, line=line, raw_lots=lots)
    product_desk.enter_batch(store, batch, who="Mira")


def cleared(store: Repository, number: str = "SC-1") -> None:
    stated = {"by": "Otto", "on": "2026-03-05", "who": "Mira"}
    product_desk.clear_batch(store, number, food_safe=True, allergens=(), **stated)


def tasted(store: Repository, correct: int, number: str = "SC-1") -> None:
    cleared(store, number)
    cells = {}
    for line, order in zip(range(36), cycle(TRIANGLE.orders), strict=False):
        codes = [str(101 + 3 * line + place) for place in range(3)]
        odd = next(place for place, letter in enumerate(order) if order.count(letter) == 1)
        answer = codes[odd if line < correct else (odd + 1) % 3]
        row = {"assessor": f"P{line}", "order": order, "codes": " ".join(codes)}
        cells[line + 2] = row | {"answer": answer}
    session = tastings.open_tasting(store, number, who="Mira")
    workflow.describe(store, session.id, cautions={c.key: True for c in CAUTIONS}, who="Mira")
    workflow.agree(store, session.id, who="Mira")
    workflow.enter_cells(store, session.id, cells, who="Mira")
    tastings.close_and_note(store, session.id, who="Mira")


@pytest.mark.parametrize("page", ["batches", "batch", "trend", "product"])
def test_an_empty_record_says_what_comes_first(url: str, page: str):
    open_store(url).close()
    app = shown(page, url)
    assert app.title[0].value == {"product": "Products"}.get(page, page.title())
    assert not app.error


def test_the_board_groups_by_what_is_waited_for(url: str, store: Repository):
    entered(store, "SC-2")
    cleared(store)
    app = shown("batches", url)
    text = marked(app)
    for part in ("2 batches open", "Waits for tasting", "Waits for clearance by food safety"):
        assert part in text
    assert "Sloe \\*cordial\\*" in text
    app.text_input(key="find-batch").set_value("sw-118").run()
    assert "2 batches for 'sw-118'" in words(app)
    app.text_input(key="find-batch").set_value("nothing").run()
    assert "0 batches for 'nothing'" in words(app)


def test_a_long_board_has_pages_and_a_long_search_says_so(url, store, monkeypatch):
    entered(store, "SC-2")
    monkeypatch.setattr("sensory.screens.batches.ON_A_PAGE", 1)
    monkeypatch.setattr("sensory.screens.batches._FOUND", 1)
    app = shown("batches", url)
    assert "2 batches open" in marked(app)
    pages = app.selectbox(key="board-page")
    assert pages.options[1] == "2 to 2 of 2, counted from the latest"
    first = {key for key in keys(app) if key.startswith("batch-")}
    pages.set_value(1).run()
    assert first != {key for key in keys(app) if key.startswith("batch-")}
    app.text_input(key="find-batch").set_value("sw-118").run()
    assert "More than 1 batch for 'sw-118'" in words(app)
    assert "Only the latest are listed" in words(app)


def test_a_batch_is_entered_and_a_wrong_lot_is_named(url: str, store: Repository):
    lots = "sweetener; SW-9\nacid CA-2"
    app = fill(shown("batches", url), batch_number="SC-7", batch_lots=lots)
    click(app, "batch-enter")
    assert "line 2" in app.error[0].value
    assert store.seek("SC-7") == []
    fill(app, batch_lots="sweetener; SW-9; north mill\nacid; CA-2")
    click(app, "batch-enter")
    (record,) = store.seek("SC-7")
    assert [lot.lot for lot in record.batch.raw_lots] == ["SW-9", "CA-2"]
    assert record.batch.raw_lots[0].supplier == "north mill"


def test_clearance_opens_the_way_to_the_tasting(url: str, store: Repository):
    app = shown("batch", url, "SC-1")
    assert "Not tasted: hold the batch" in words(app)
    assert "open-tasting" not in keys(app)
    fill(app, safe_SC_1="cleared for tasting and release", safe_by_SC_1="Otto")
    click(app, "safe")
    fill(app, allergens_SC_1="none", allergens_by_SC_1_who="Otto")  # on record by now
    click(app, "allergens")
    record = product_desk.the_batch(store, "SC-1")
    assert record.clearance is not None
    assert (record.clearance.complete, record.clearance.allergens) == (True, ())
    click(app, "open-tasting")
    assert product_desk.the_batch(store, "SC-1").waits_for == "ballots of its tasting"


@pytest.mark.parametrize(
    ("correct", "headline"),
    [(12, "Release is recommended."), (17, "Hold the batch."), (30, "Rejection is recommended.")],
)
def test_the_recommendation_is_the_headline(
    url: str, store: Repository, correct: int, headline: str
):
    tasted(store, correct)
    app = shown("batch", url, "SC-1")
    assert app.title[0].value == headline
    chosen = app.radio(key="decide-SC-1")
    assert chosen.value is None  # nothing is chosen beforehand
    assert "Retest" not in chosen.options
    assert app.button(key="decide").disabled
    fill(app, decide_SC_1=Disposition.HOLD, decide_role_SC_1=True)
    fill(app, decide_by_SC_1="Nora", decide_why_SC_1="more to see")
    click(app, "decide")
    decision = product_desk.the_batch(store, "SC-1").decision
    assert decision is not None
    assert (decision.disposition, decision.role) == (Disposition.HOLD, "release officer")
    assert app.title[0].value == "Held"  # and the form is empty again
    assert app.radio(key="decide-SC-1").value is None
    assert app.selectbox(key="decide-by-SC-1-who").value is None
    assert app.selectbox(key="decide-by-SC-1-who").options == ["Nora", "Somebody else"]
    assert len(app.toast) == 1


def test_release_is_not_offered_while_it_is_blocked(url: str, store: Repository):
    product_desk.clear_batch(store, "SC-1", food_safe=False, by="O", on="2026-03-05", who="M")
    app = shown("batch", url, "SC-1")
    assert "Release" not in app.radio(key="decide-SC-1").options
    assert "Release is blocked" in words(app)


def test_a_complaint_is_recorded_and_shown(url: str, store: Repository):
    tasted(store, 12)
    by = {"by": "Nora", "role": "release officer", "reason": "similar"}
    batch_desk.decide(store, "SC-1", Disposition.RELEASE, **by)
    app = shown("batch", url, "SC-1")
    assert app.title[0].value == "Decided: release"
    fill(app, complaint_SC_1="smells of <b>rubber</b>", complaint_by_SC_1="Ann *A*")
    click(app, "complaint")
    assert "smells of \\<b\\>rubber" in marked(app)
    assert "recorded by Ann *A*, panel leader" in words(app)
    assert "after a complaint" in words(app)
    assert app.title[0].value == "Open again: complaint"
    board = shown("batches", url)
    assert "open again: complaint" in words(board)
    assert "release: similar" not in words(board)
    board.text_input(key="find-batch").set_value("SC-1").run()
    assert "open again: complaint" in words(board)
    assert "release: similar" not in words(board)


def test_a_complaint_is_followed_up_and_closed(url: str, store: Repository):
    tasted(store, 12)
    by = {"by": "Nora", "role": "release officer", "reason": "similar"}
    complaint_desk.record_complaint(store, "SC-1", "stale", received_on="2026-03-04", who="Mira")
    app = shown("batch", url, "SC-1")
    assert "Owner: nobody yet" in words(app)
    assert app.button(key="close-complaint-1").disabled
    fill(app, owner_1_SC_1="Karim", action_1_SC_1="line cleaned", complaint_cause_1_SC_1="line")
    click(app, "look-into-1")
    cleared(store)
    batch_desk.decide(store, "SC-1", Disposition.RELEASE, **by)
    assert "Complaints not closed yet" in words(shown("batches", url))
    app = shown("batch", url, "SC-1")
    assert app.title[0].value == "Decided: release"
    fill(app, closed_by_1_SC_1="Nora")
    click(app, "close-complaint-1")
    (complaint,) = product_desk.the_batch(store, "SC-1").complaints
    assert (complaint.owner, complaint.cause, complaint.closed) == ("Karim", "line", True)
    assert "Complaints not closed yet" not in words(shown("batches", url))


def test_sessions_of_a_batch_are_offered_or_found_and_no_others(url, store, monkeypatch):
    tasted(store, 12)
    entered(store, "SC-2")
    newer(store, store.sessions(1)[0].id, 3)
    monkeypatch.setattr(offered_sessions, "MOST", 2)
    app = shown("batch", url, "SC-1")
    assert len(app.selectbox(key="attach-SC-1").options) == 2
    assert "Not offered below: 1 earlier session." in words(app)
    app.text_input(key="attach-SC-1-find").set_value("another batch").run()
    assert app.selectbox(key="attach-SC-1").options == []
    assert "No match" in words(app)
    assert "No other agreed session names this batch" in words(shown("batch", url, "SC-2"))


def test_a_rejection_names_its_cause(url: str, store: Repository):
    tasted(store, 25)
    app = shown("batch", url, "SC-1")
    fill(app, decide_SC_1=Disposition.REJECT, decide_role_SC_1=True)
    fill(app, decide_by_SC_1="Nora", decide_why_SC_1="far off")
    assert app.button(key="decide").disabled
    fill(app, decide_cause_SC_1="raw material")
    click(app, "decide")
    decision = product_desk.the_batch(store, "SC-1").decision
    assert decision is not None
    assert decision.cause == "raw material"
    app = shown("batches", url)
    app.text_input(key="find-batch").set_value("raw material").run()
    assert "1 batch for 'raw material'" in words(app)


def test_the_lists_of_the_plant_are_changed_on_the_page_of_products(url: str, store: Repository):
    entered(store, "SC-2")
    app = shown("product", url)
    fill(app, plant_causes="line\nwater\nunknown", plant_causes_why="a new well")
    click(app, "plant-causes-save")
    fill(app, plant_material="sweetener", plant_material_other="glucose", plant_material_by="Mo")
    click(app, "plant-material-save")
    plant = plant_desk.the_plant(store)
    assert plant.causes == ("line", "water", "unknown")
    assert plant.names_of("Glucose") == ("sweetener", "glucose")
    folded = [each.label for each in shown("batch", url, "SC-1").expander]
    assert "sweetener \\(also glucose\\), lot SW-118: 1 batch more" in folded
    fill(app, plant_material_gone="glucose", plant_material_why="other supplier")
    click(app, "plant-material-part")
    assert plant_desk.the_plant(store).materials == ()


def test_the_trend_needs_batches_and_shows_them(url: str, store: Repository):
    assert "without" in words(shown("trend", url))
    tasted(store, 12)
    for number in ("SC-2", "SC-3"):
        entered(store, number)
        tasted(store, 13, number)
    app = shown("trend", url)
    assert "What it cannot tell" in [tab.label for tab in app.tabs]
    assert "3 batches made" in words(app)


def test_a_rule_is_agreed_on_its_page(url: str, store: Repository):
    app = shown("product", url)
    assert "in a triangle test" in words(app)
    fill(app, **{f"rule-people-{PRODUCT}": 60, f"rule-why-{PRODUCT}": "management, May"})
    assert app.button(key="rule-agree").disabled  # as long as nobody agrees
    fill(app, **{f"rule-by-{PRODUCT}": "Mira Lund"})
    click(app, "rule-agree")
    rule = product_desk.rule_of(product_desk.the_product(store, PRODUCT))
    assert rule is not None
    assert (rule.assessors, rule.limit) == (60, 0.4)
    who = "Agreed by Mira Lund, head of quality (name typed, not proven)"
    assert who in words(shown("product", url))


def test_a_reference_takes_over_with_a_reason(url: str, store: Repository):
    app = shown("product", url)
    typed = {"name": "S2", "storage": "4 °C, dark", "why": "S1 ages"}
    fill(app, **{f"ref-{field}-{PRODUCT}": text for field, text in typed.items()})
    click(app, "ref-enter")
    assert "bridge to S1" in app.error[0].value
    fill(app, **{f"br-role-S1-{PRODUCT}": True})
    fill(app, **{f"br-why-S1-{PRODUCT}": "S1 is used up"})
    assert app.button(key="ref-enter").disabled  # nobody decided it yet
    fill(app, **{f"br-by-{PRODUCT}": "Nora"})
    click(app, "ref-enter")
    assert product_desk.the_product(store, PRODUCT).references == ("S1", "S2")
    assert "decided by Nora, release officer: S1 is used up" in words(shown("product", url))
    kept = store.noun(Reference, "S2")
    assert signed_words(store.noun_entries(kept)[-1]) == f"Nora, release officer ({TYPED})"


def compared(store: Repository, newer: str, older: str, cells: dict[int, dict[str, str]]) -> str:
    """The closed session of two references, each profiled with the margins of the product."""
    session = reference_desk.open_comparison(
        store, PRODUCT, newer, older, test="PROFILE", who="Mira"
    )
    told = {"details": replace(session.details, care=CARE), "cautions": ALL_YES}
    workflow.describe(store, session.id, **told, who="Mira")
    workflow.agree(store, session.id, who="Mira")
    workflow.enter_cells(store, session.id, cells, who="Mira")
    workflow.close(store, session.id, who="Mira")
    return session.id


def stale(newer: str, by: float) -> dict[int, dict[str, str]]:
    """Eight assessors with two cups of each; the newer one is so much staler."""
    cups = [(person, cup, sample) for person in range(8) for cup in (1, 2)
            for sample in ("reference", newer)]  # fmt: skip
    return {
        line: {
            "assessor": f"P{person}", "sample": sample, "replicate": str(cup),
            "code": str(100 + line),
            "stale": f"{2 + 0.1 * ((line * line) % 7) + by * (sample == newer):.1f}",
        }
        for line, (person, cup, sample) in enumerate(cups, start=2)
    }  # fmt: skip


def test_a_reference_takes_over_by_a_session_on_record(url: str, store: Repository):
    limits = (AttributeLimit(attribute="stale", margin=1.0),)
    product_desk.tolerate(store, PRODUCT, limits, who="Mira", why="consumers")
    session = compared(store, "S2", "S1", stale("S2", 0.1))
    app = shown("product", url)
    typed = {"name": "S2", "storage": "4 °C, dark", "why": "S1 ages"}
    fill(app, **{f"ref-{field}-{PRODUCT}": text for field, text in typed.items()})
    fill(app, **{f"br-session-S1-{PRODUCT}": session})
    assert not app.error, [each.value for each in app.error]
    assert "Compared with S1 on" in words(app)
    fill(app, **{f"br-attribute-S1-{PRODUCT}": "stale"})
    click(app, "ref-enter")
    assert [each.value for each in app.error] == []
    kept = store.noun(Reference, "S2")
    assert kept is not None
    assert kept.bridged_to_first is not None
    assert (kept.bridged_to_first.session, kept.took_over()) == (session, ())
    assert kept.bridged_to_first.estimate == pytest.approx(apart(stale("S2", 0.1)))


def apart(cells: dict[int, dict[str, str]]) -> float:
    """Mean of the newer one less that of the reference, by hand."""
    newer = [float(each["stale"]) for each in cells.values() if each["sample"] != "reference"]
    older = [float(each["stale"]) for each in cells.values() if each["sample"] == "reference"]
    return sum(newer) / len(newer) - sum(older) / len(older)


def test_a_comparison_is_opened_where_none_is_on_record(url: str, store: Repository):
    app = shown("product", url)
    fill(app, **{f"ref-name-{PRODUCT}": "S2"})
    assert "No closed session on record compares S2 with S1" in words(app)
    click(app, f"br-open-S1-{PRODUCT}")
    (session,) = store.sessions(5)
    assert [sample.name for sample in session.details.samples] == ["S1", "S2"]


def test_a_second_tasting_is_planned_with_its_risks(url: str, store: Repository):
    app = shown("product", url)
    fill(app, **{f"rule-retest-{PRODUCT}": True, f"rule-why-{PRODUCT}": "fewer answers"})
    fill(app, **{f"rule-by-{PRODUCT}": "Mira Lund"})
    assert "An unchanged batch would be released" in words(app)
    click(app, "rule-agree")
    rule = product_desk.rule_of(product_desk.the_product(store, PRODUCT))
    assert rule is not None
    assert rule.retest is not None
    expected = two_stage_plan(TRIANGLE, most=120, pd_limit=0.4)
    assert repr(rule.retest) == repr(expected)
    assert rule.assessors == rule.retest.first == expected.first


def test_attributes_are_typed_and_a_wrong_line_is_named(url: str, store: Repository):
    app = shown("product", url)
    key, why = f"attributes-{PRODUCT}", f"attributes-why-{PRODUCT}"
    by = f"attributes-by-{PRODUCT}"
    fill(app, **{key: "sour; 0,8\ncolour 2-6", why: "consumers", by: "Mira Lund"})
    click(app, "attributes")
    assert "Attributes, line 2" in app.error[0].value
    fill(app, **{key: "sour; 0,8\ncolour; 2 to 6\nhaze; to 3"})
    click(app, "attributes")
    agreed = product_desk.the_product(store, PRODUCT).product.attributes
    assert [(line.attribute, line.margin, line.low, line.high) for line in agreed] == [
        ("sour", 0.8, None, None),
        ("colour", None, 2.0, 6.0),
        ("haze", None, None, 3.0),
    ]
    again = shown("product", url).text_area(key=key).value
    assert again == "sour; 0.8\ncolour; 2 to 6\nhaze; to 3"


def test_the_reference_in_use_is_compared_again(url: str, store: Repository):
    limits = (AttributeLimit(attribute="stale", margin=1.0),)
    product_desk.tolerate(store, PRODUCT, limits, who="Mira", why="consumers")
    second(store, "S2")
    session = compared(store, "S2", "S1", stale("S2", 0.4))
    app = shown("product", url)
    fill(app, **{f"br-session-again-S1-{PRODUCT}": session})
    typed = {"br-attribute-again-S1": "stale", "again-why": "half a year old"}
    fill(app, **{f"{field}-{PRODUCT}": value for field, value in typed.items()})
    click(app, "again")
    kept = store.noun(Reference, "S2")
    assert kept is not None
    assert [(bridge.to, bridge.session) for bridge in kept.later] == [("S1", session)]
    shift = apart(stale("S2", 0.4))
    assert kept.later[0].estimate == pytest.approx(shift)
    app = shown("product", url)
    assert f"{shift:+.2f} from S1" in words(app)
    # A grid cut its last column off at the edge of the page; a table folds its words.
    (known,) = (table.value for table in app.table if "usable until" in table.value)
    assert sorted(known["reference"]) == ["S1", "S2"]


def test_cells_of_grids_show_texts_as_they_are(url: str, store: Repository):
    """A grid draws its cells as texts: what markup needs would be seen there."""
    for number in ("SC_1 (B)", "SC_2", "SC_3"):
        entered(store, number)
        tasted(store, 12, number)
    cells = {
        page: [str(cell) for grid in shown(page, url, batch).dataframe for cell in texts_of(grid)]
        for page, batch in (("batch", "SC_1 (B)"), ("trend", "SC_1 (B)"))
    }
    assert any("(" in cell for cell in cells["batch"])
    assert "SC_1 (B)" in cells["trend"]
    assert not [cell for page in cells.values() for cell in page if "\\" in cell]


def texts_of(grid: object) -> list[object]:
    return list(grid.value.to_numpy().ravel())


def test_a_new_product_is_chosen_and_its_field_emptied(url: str, store: Repository):
    app = shown("product", url)
    fill(app, product_name="Plum cordial")
    click(app, "product-enter")
    assert app.selectbox(key="product").value == "Plum cordial"
    assert app.text_input(key="product-name").value == ""
