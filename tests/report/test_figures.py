"""Every chart is a valid one, by the schema of Vega-Lite that altair brings along."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from altair.vegalite.schema import load_schema
from jsonschema import Draft7Validator, ValidationError

from sensory.choices.plans import panel_plan
from sensory.choices.protocols import TRIANGLE
from sensory.release.batch_trend import trend_of_batches
from sensory.report import figures, outcome_figures, trend_figures
from sensory.report.figure_parts import column, dressed, marks
from sensory.report.month_figures import months_figure
from sensory.sessions import workflow
from sensory.sessions.finding import session_report

from .test_month_documents import report

SCHEMA = Draft7Validator(load_schema())
DEMO = Path(__file__).parents[2] / "demo_data"


def of_sessions(store):
    for name in ("suspect_batch", "water", "gasket", "pressing"):
        prepared = workflow.read_prepared(DEMO, name)
        workflow.open_session(store, name, **prepared, who="test", why="test")
        workflow.agree(store, name, who="A. Leader")
        workflow.close(store, name, who="A. Leader")
        outcome = session_report(store, name, version="1.2.3").outcome
        if outcome.figure is not None:
            yield outcome_figures.outcome_figure(outcome.figure)
        if outcome.means:
            yield outcome_figures.profile_figure(outcome)
            yield outcome_figures.panel_figure(outcome)
            yield outcome_figures.lines_figure(outcome)
            yield outcome_figures.map_figure(outcome.places)


def of_release(year):
    scores = year(60)
    yield trend_figures.trend_figure(trend_of_batches(scores, year.scores))
    yield trend_figures.trend_figure(trend_of_batches(year(rule=year.choices), year.choices))
    yield trend_figures.characteristic_figure(year.scores)
    yield trend_figures.characteristic_figure(year.choices)
    yield months_figure(report(scores, year.scores))
    yield figures.characteristic_figure(panel_plan(TRIANGLE, 24))


def test_every_chart_follows_the_schema(opens, year):
    charts = [*of_sessions(opens()), *of_release(year)]
    assert len(charts) == 14
    for chart in charts:
        rows = {name: rows[:1] for name, rows in chart["datasets"].items()}
        SCHEMA.validate(chart | {"datasets": rows})  # raises where the schema is not kept
        assert json.loads(json.dumps(chart)) == chart


def test_the_schema_finds_what_is_no_chart():
    place = {"x": column("at:Q"), "y": {"fields": "wrong"}}
    with pytest.raises(ValidationError):
        SCHEMA.validate(dressed(marks("rule", [{"at": 1.0}], place)))


def test_rows_that_layers_share_are_sent_once():
    rows = [{"at": 1.0}]
    layer = marks("rule", rows, {"x": column("at:Q")})
    chart = dressed({"layer": [layer, {"layer": [layer]}, marks("point", [{"at": 2.0}], {})]})
    assert chart["datasets"] == {"rows 1": rows, "rows 2": [{"at": 2.0}]}
    assert chart["layer"][1]["layer"][0]["data"] == {"name": "rows 1"}
    assert layer["data"] == {"values": rows}
