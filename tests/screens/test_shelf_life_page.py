"""Shelf life: food safety's date first, then a series, then a date with its lower limit."""

from __future__ import annotations

from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from sensory.release.product_desk import enter_product
from sensory.report.printed import printed
from sensory.report.study_documents import StudyReport
from sensory.report.workbooks import workbook
from sensory.screens.frame import day
from sensory.store.repository import open_store

from ..release.shared import ONE, PRODUCT, held, made, triangles, with_product
from ..report.shared import text_of
from .pages import DEMO, SCRIPT, click, fill, run, sound, words


@pytest.fixture
def app(url):
    script = SCRIPT.format(page="shelf_life", url=url, demo=str(DEMO), asked={}, arguments=())
    script = script.replace(f"demo=Path({str(DEMO)!r})", f"demo=Path({str(DEMO)!r}), invented=True")
    return sound(AppTest.from_string(script, default_timeout=60).run())


def test_nothing_is_read_before_the_date_of_food_safety(app):
    assert "First the date of food safety" in words(app)
    assert not app.get("file_uploader")
    sound(app.date_input(key="study-shelf-start").set_value(date(2026, 3, 2)).run())
    assert not app.get("file_uploader")
    sound(app.date_input(key="study-shelf-safe").set_value(date(2026, 9, 18)).run())
    assert app.get("file_uploader")


@pytest.mark.parametrize(
    ("number", "kind", "until"),
    [(0, "panel scores, 70 rows", "13 June"), (1, "consumers who accept", "28 May"),
     (2, "choice tests, 6 rows", "11 June")],
)  # fmt: skip
def test_each_invented_series_leads_to_a_date(app, number, kind, until):
    click(app, f"shelf-demo-{number}")
    said = words(app)
    assert kind in said
    assert f"Sensory shelf life shown until {until} 2026 (lower limit, one-sided 95 %)." in said
    assert "Limits of this result" in said


def test_an_earlier_date_of_food_safety_is_the_finding(app):
    click(app, "shelf-demo-0")
    sound(app.date_input(key="study-shelf-safe").set_value(date(2026, 5, 1)).run())
    assert "shown until 1 May 2026 (food safety's date" in words(app)
    sound(app.date_input(key="study-shelf-safe").set_value(date(2026, 3, 1)).run())
    assert "safety_date" not in words(app)
    assert "Food safety's date must lie after the start of storage" in words(app)


def test_no_limit_is_proposed(app):
    click(app, "shelf-demo-0")
    sound(app.number_input(key="study-shelf-scores-limit").set_value(None).run())
    assert "Nothing is proposed. Still to be agreed: Agreed limit of the mean." in words(app)
    assert "Sensory shelf life shown" not in words(app)


@pytest.mark.parametrize(("number", "kind"), [(0, "scores"), (1, "consumers"), (2, "choices")])
def test_a_shelf_life_is_kept_and_opened_again(url, app, number, kind):
    enter_product(open_store(url), "Quince cordial", who="Mira")
    click(app, f"shelf-demo-{number}")
    sentence = app.subheader[0].value.replace("\\", "")
    assert "Sensory shelf life shown until" in sentence
    fill(app, shelf_title="Stored in spring", shelf_by="Mira")
    click(app, "shelf-keep")
    (kept,) = open_store(url).studies(product="Quince cordial")
    assert (kept.kind, kept.agreed_by) == (f"shelf {kind}", "A. Leader, head of quality")
    assert f"On record: Stored in spring, {day(kept.held_on)}, Quince cordial" in words(app)
    assert kept.settings["safe"] == "2026-09-18"
    report = StudyReport(study=kept, kept=True, printed_at="2026-11-28T08:00:00+00:00")
    text = text_of(printed(report))
    assert sentence in text
    assert "2026-09-18" in text
    assert workbook(report.tables()).startswith(b"PK")
    again = run("studies", url, None)
    again.session_state["study-opened"] = kept.key
    sound(again.run())
    assert sentence == again.subheader[0].value.replace("\\", "")


def test_sessions_on_record_lead_to_the_same_finding(url, app):
    store = with_product(open_store(url), ONE)
    made(store, "SC-1")
    for day_held, correct in (("2026-04-23", 7), ("2026-07-02", 10)):
        held(store, "SC-1", triangles(correct, 12), on=day_held)
    sound(app.date_input(key="study-shelf-start").set_value(date(2026, 3, 4)).run())
    sound(app.date_input(key="study-shelf-safe").set_value(date(2026, 5, 10)).run())
    sound(app.radio(key="shelf-source").set_value("sessions on record").run())
    assert "closed sessions whose samples name this batch" in words(app)
    sound(app.text_input(key="shelf-stored").set_value("SC-7").run())
    assert "There is no batch 'SC-7' on record" in words(app)
    sound(app.text_input(key="shelf-stored").set_value("SC-1").run())
    assert "2 sessions: choice tests, any difference." in words(app)
    sound(app.number_input(key="study-shelf-choices-limit").set_value(3.0).run())
    assert "shown until 10 May 2026 (food safety's date" in words(app)
    assert [each.label for each in app.text_input].count("Batch and storage") == 1
    fill(app, shelf_by="Mira")
    click(app, "shelf-keep")
    (kept,) = store.studies(kind="shelf choices")
    assert (kept.product, kept.batch, kept.size) == (PRODUCT, "SC-1", 2)
    assert kept.file == "closed sessions of batch SC-1"


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        (
            "consumer,days,accepts\nK1,0,yes\nK1,30,yes\nK2,0,yes\nK2,30,yes\n",
            "of 2 consumers rejected",
        ),
        ("consumer,days,accepts\nK1,0,no\nK1,30,no\nK2,0,no\nK2,30,no\n", "fresh"),
        ("consumer,days,accepts\nK1,0,yes\nK1,30,no\n", "consumer"),
        ("days,score\n0,1\n0,1.2\n", "one storage time"),
        ("days,score\n0,much\n30,1.2\n", "row 2"),
    ],
)
def test_bad_designs_get_a_sentence(app, rows, sentence):
    kind = "consumers" if "accepts" in rows else "scores"
    click(app, f"shelf-demo-{1 if kind == 'consumers' else 0}")
    app.file_uploader(key="shelf-upload").upload("bad.csv", rows.encode())
    sound(app.run())
    assert sentence in words(app)


def test_a_trial_is_planned_with_its_pull_dates(app):
    for key, on in (("safe", date(2027, 6, 30)), ("start", date(2026, 11, 30))):
        app.date_input(key=f"shelf-plan-{key}").set_value(on)
    sound(app.number_input(key="shelf-plan-expected").set_value(90).run())
    assert "tasted at 7 storage times" in words(app)
    sound(app.radio(key="shelf-plan-design").set_value("reversed").run())
    assert "all tasted on 22 March 2027" in words(app)
