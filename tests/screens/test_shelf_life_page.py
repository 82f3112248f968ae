"""Shelf life: food safety's date first, then a series, then a date with its lower limit."""

from __future__ import annotations

from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from sensory.report.printed import printed
from sensory.report.workbooks import workbook
from sensory.screens import shelf_life

from .pages import DEMO, SCRIPT, click, sound, words


@pytest.fixture
def app(url):
    script = SCRIPT.format(page="shelf_life", url=url, demo=str(DEMO), asked={}, arguments=())
    script = script.replace(f"demo=Path({str(DEMO)!r})", f"demo=Path({str(DEMO)!r}), invented=True")
    return sound(AppTest.from_string(script, default_timeout=60).run())


def test_nothing_is_read_before_the_date_of_food_safety(app):
    assert "First the date of food safety" in words(app)
    assert not app.get("file_uploader")
    sound(app.date_input(key="shelf-start").set_value(date(2026, 3, 2)).run())
    assert not app.get("file_uploader")
    sound(app.date_input(key="shelf-safe").set_value(date(2026, 9, 18)).run())
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
    sound(app.date_input(key="shelf-safe").set_value(date(2026, 5, 1)).run())
    assert "shown until 1 May 2026 (food safety's date" in words(app)
    sound(app.date_input(key="shelf-safe").set_value(date(2026, 3, 1)).run())
    assert "safety_date" not in words(app)
    assert "Food safety's date must lie after the start of storage" in words(app)


def test_no_limit_is_proposed(app):
    click(app, "shelf-demo-0")
    sound(app.number_input(key="shelf-limit-SCORES").set_value(None).run())
    assert "No limit yet" in words(app)
    assert "Sensory shelf life shown" not in words(app)


def test_report_and_workbook_hold_the_finding(app, monkeypatch):
    reports = []
    monkeypatch.setattr(shelf_life, "_found", reports.append)
    click(app, "shelf-demo-1")
    (report,) = reports
    assert printed(report).startswith(b"%PDF")
    assert workbook(report.tables()).startswith(b"PK")
    asked = dict(report.asked())
    assert asked["Product"] == "Quince cordial"
    assert asked["Food safety's date"] == "18 September 2026"
    assert asked["Agreed limit"] == "25 % reject"


def test_a_trial_is_planned_with_its_pull_dates(app):
    for key, day in (("safe", date(2027, 6, 30)), ("start", date(2026, 11, 30))):
        app.date_input(key=f"shelf-plan-{key}").set_value(day)
    sound(app.number_input(key="shelf-plan-expected").set_value(90).run())
    assert "tasted at 7 storage times" in words(app)
    sound(app.radio(key="shelf-plan-design").set_value("reversed").run())
    assert "all tasted on 22 March 2027" in words(app)
