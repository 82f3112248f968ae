"""The report and the chart of sessions that are no forced choice."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from sensory.base.errors import RecordError
from sensory.base.results import Interval
from sensory.catalogue.reading import Span
from sensory.report.reading_documents import reading_pdf, reading_words
from sensory.report.reading_figures import reading_figure
from sensory.report.sheets import ballots_csv, tables_csv
from sensory.sessions import workflow
from sensory.store.repository import open_store

DEMO = Path(__file__).parents[2] / "demo_data"
METHOD_DEMOS = ("shop_light", "new_thickener", "water", "gasket", "aftertaste", "pressing")


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    opened = open_store(f"sqlite:///{tmp_path_factory.mktemp('record') / 'r.sqlite3'}")
    for name in METHOD_DEMOS:
        workflow.open_session(
            opened, name, **workflow.read_prepared(DEMO, name), who="test", why="test"
        )
        workflow.agree(opened, name, who="A. Leader")
        workflow.close(opened, name, who="A. Leader")
    yield opened
    opened._engine.dispose()


@pytest.mark.parametrize("name", METHOD_DEMOS)
def test_pdf_states_what_a_report_has_to(store, name):
    read = workflow.read_session(store, name, version="1.2.3")
    made = reading_pdf(read)
    reader = PdfReader(io.BytesIO(made))
    words = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    assert len(reader.pages) <= {"pressing": 4, "aftertaste": 2}.get(name, 1)
    for text in (
        read.reading.sentence,
        read.reading.because,
        read.question.what_changed,
        read.question.if_different,
        read.details.title,
        "What this session cannot tell",
        "sulphites",
        "A. Leader",
        "This finding is advice",
        read.session.digest,
        "program version 1.2.3",
    ):
        assert " ".join(text.split()) in words, text
    assert reading_pdf(read) == made


def test_journal_says_what_was_found(store):
    closed = [entry for entry in store.entries("shop_light") if entry.what == "closed"]
    assert closed[0].why == "Different, 47 answers"
    assert store.verify() == []


def test_a_reading_is_no_summary_and_the_other_way_round(store):
    with pytest.raises(RecordError, match="no forced choice"):
        workflow.summarise(store, "water", version="1")


def test_chart_draws_infinite_limits_at_the_edge(store):
    read = workflow.read_session(store, "water", version="1")
    spans = (
        Span(
            label="far",
            estimate=math.inf,
            limits=Interval(low=1.0, high=math.inf, level=0.95),
            margin=1.0,
        ),
    )
    drawn = reading_figure(replace(read.reading, spans=spans)).to_dict()
    name = drawn["layer"][1]["data"]["name"]
    rows = drawn["datasets"][name]
    assert all(math.isfinite(row[key]) for row in rows for key in ("low", "high", "estimate"))
    assert rows[0]["high"] == rows[0]["estimate"] > 1


def test_tables_as_csv_hold_every_number(store):
    read = workflow.read_session(store, "water", version="1")
    text = tables_csv(read.reading.tables).decode("utf-8-sig")
    lines = list(csv.reader(io.StringIO(text)))
    assert lines[0] == ["The numbers"]
    at = next(i for i, line in enumerate(lines) if line[:1] == ["filtered"])
    assert float(lines[at][2]) == read.reading.spans[0].estimate
    assert ["The counts"] in lines


def test_ballots_as_csv_keep_their_columns(store):
    lines = list(csv.reader(io.StringIO(ballots_csv(store.cells("water")).decode("utf-8-sig"))))
    assert set(lines[0]) == {"row", "assessor", "sample", "code", "answer"}
    assert len(lines) == 91


def test_words_hold_the_agreed_settings(store):
    right = reading_words(workflow.read_session(store, "new_thickener", version="1"))["right"]
    assert ["Agreed limit: d-prime", "1.5"] in right[0]["rows"]
