"""The report and the charts of a session, whatever its test, read back out of the PDF."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from openpyxl import load_workbook

from sensory.base.results import Interval
from sensory.catalogue.outcome import Span
from sensory.catalogue.outcome_of import outcome_of
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import PAIRED, TRIANGLE
from sensory.report.documents import session_pdf, session_words
from sensory.report.outcome_figures import lines_figure, outcome_figure
from sensory.report.printed import drawn
from sensory.report.session_pictures import session_pictures
from sensory.report.sheets import ballots_csv
from sensory.report.workbooks import workbook
from sensory.sessions import workflow
from sensory.sessions.finding import session_report
from sensory.store.repository import open_store

from .shared import OURS, fonts_of, pages_of, text_of

DEMO = Path(__file__).parents[2] / "demo_data"
CHOICES = ("reformulation", "suspect_batch", "new_supplier")
OTHERS = ("shop_light", "new_thickener", "water", "gasket", "aftertaste", "pressing")


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    opened = open_store(f"sqlite:///{tmp_path_factory.mktemp('record') / 'record.sqlite3'}")
    for name in (*CHOICES, *OTHERS):
        prepared = workflow.read_prepared(DEMO, name)
        workflow.open_session(opened, name, **prepared, who="test", why="test")
        workflow.agree(opened, name, who="A. Leader")
        workflow.close(opened, name, who="A. Leader")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def summaries(store):
    return {name: session_report(store, name, version="1.2.3") for name in (*CHOICES, *OTHERS)}


@pytest.mark.parametrize("name", [*CHOICES, *OTHERS])
def test_pdf_states_what_the_report_clauses_ask(summaries, name):
    summary = summaries[name]
    made = session_pdf(summary)
    pages = pages_of(made)
    text = " ".join(pages)
    assert len(pages) <= {
        "pressing": 4,
        "aftertaste": 2,
        "new_supplier": 2,
        "reformulation": 2,
    }.get(name, 1)
    question, details, outcome = summary.question, summary.details, summary.outcome
    for asked in (
        details.title, question.what_changed, question.decision, question.if_different,
        outcome.sentence, *summary.reasons, question.standard, details.samples[0].batch,
        details.samples[1].batch, details.samples[1].preparation, details.assessors,
        details.information, details.place, details.conditions, details.held_on, details.leader,
        details.decides, "sulphites", "Limits of this result", *summary.cannot_tell(),
        summary.session.digest, "Release of food stays with", "program version 1.2.3",
    ):  # fmt: skip
        assert "".join(asked.split()) in text.replace(" ", ""), asked  # however lines break
    if name in CHOICES:
        assert f"{outcome.counts.correct} of {outcome.counts.trials} correct" in text
    for order, times in outcome.counts.orders.items():
        assert f"{order} {times}" in text
    assert session_pdf(summary) == made


def test_chart_text_is_text_in_the_font_that_ships(summaries):
    text = text_of(session_pdf(summaries["suspect_batch"]))
    assert "agreed limit 53 %" in text
    assert "guessing 33 %" in text
    assert fonts_of(session_pdf(summaries["suspect_batch"])) == OURS


def test_long_texts_shrink_and_nothing_is_cut(summaries):
    summary = summaries["suspect_batch"]
    long = "The cordial was served after a pause. " * 12
    texts = {"what_changed": long + "END-1", "retest_rule": long + "END-2"}
    question = replace(summary.question, **texts)
    details = replace(summary.details, information=long + "END-3")
    remarks = tuple(f"remark number {n}" for n in range(40))
    summary = replace(
        summary,
        session=replace(summary.session, question=question, details=details),
        outcome=replace(summary.outcome, remarks=remarks),
    )
    pages = pages_of(session_pdf(summary))
    text = " ".join(pages)
    assert all(f"END-{n}" in text for n in (1, 2, 3))
    assert "and 34 more, in the record" in text
    assert len(pages) <= 2


def test_markup_in_texts_is_shown_as_text(summaries):
    nasty = '#panic("x") *bold* $x$ <script>alert(1)</script> @ref \\'
    summary = summaries["suspect_batch"]
    session = replace(summary.session, details=replace(summary.details, place=nasty))
    assert nasty in text_of(session_pdf(replace(summary, session=session)))


def test_changes_after_the_finding_are_apart(summaries):
    summary = replace(summaries["suspect_batch"], afterwards=("row 3, answer: '1' became '2'",))
    blocks = session_words(summary)["below"]
    assert blocks[-1]["heading"] == "Done after the finding was seen"
    assert blocks[-1]["lines"] == ["row 3, answer: '1' became '2'"]


def test_figure_holds_guess_level_estimate_limits_and_agreed_limit(summaries):
    outcome = summaries["reformulation"].outcome
    test = choice_test(TRIANGLE, outcome.counts.correct, outcome.counts.trials)
    drawn = json.dumps(outcome_figure(outcome.figure))
    for value in (1 / 3, test.pc, test.pc_limits.low, test.pc_limits.high, test.pc_upper, 8 / 15):
        assert str(float(value)) in drawn


def test_figure_of_a_two_sided_question_has_a_limit_on_both_sides():
    outcome = outcome_of(choice_test(PAIRED, 12, 40, two_sided=True))
    drawn = json.dumps(outcome_figure(outcome.figure))
    assert '"at": 0.65' in drawn
    assert '"at": 0.35' in drawn


def test_chart_draws_infinite_limits_at_the_edge(summaries):
    limits = Interval(low=1.0, high=math.inf, level=0.95)
    span = Span(label="far", estimate=math.inf, limits=limits, margin=1.0)
    figure = replace(summaries["water"].outcome.figure, spans=(span,))
    drawn = outcome_figure(figure)
    name = drawn["layer"][1]["data"]["name"]
    rows = drawn["datasets"][name]
    assert all(math.isfinite(row[key]) for row in rows for key in ("low", "high", "estimate"))
    assert rows[0]["high"] == rows[0]["estimate"] > 1


def test_journal_says_what_was_found(store):
    closed = [entry for entry in store.entries("shop_light") if entry.what == "closed"]
    assert closed[0].why == "Different, 47 answers"
    assert store.verify() == []


def test_results_as_a_workbook_hold_every_table(summaries):
    summary = summaries["water"]
    book = load_workbook(io.BytesIO(workbook(summary.tables())))
    assert len(book.sheetnames) == len(summary.tables())
    rows = list(book["The numbers"].iter_rows(values_only=True))
    filtered = next(row for row in rows if row[0] == "filtered")
    estimate = summary.outcome.figure.spans[0].estimate
    assert filtered[2] == pytest.approx(estimate, rel=1e-15)  # as many digits as a cell holds
    assert ("session", summary.details.title) in book["Session"].iter_rows(values_only=True)


def test_the_pictures_of_a_session_are_those_of_its_outcome(summaries):
    titles = {
        name: [picture.title for picture in session_pictures(summaries[name].outcome)]
        for name in ("water", "pressing")
    }
    assert titles["water"] == ["finding"]
    assert titles["pressing"] == [
        "finding", "means", "profile lines", "spider", "sample map", "assessors", "agreement"
    ]  # fmt: skip
    picture = session_pictures(summaries["water"].outcome)[0]
    assert drawn(picture.text, "png").startswith(b"\x89PNG")
    assert drawn(picture.text, "svg").startswith(b"<svg")


def test_ballots_as_csv_keep_their_columns(store):
    lines = list(csv.reader(io.StringIO(ballots_csv(store.cells("water")).decode("utf-8-sig"))))
    assert set(lines[0]) == {"row", "assessor", "sample", "code", "answer"}
    assert len(lines) == 91


def test_words_hold_the_agreed_settings(summaries):
    right = session_words(summaries["new_thickener"])["right"]
    assert ["Agreed limit: d-prime", "1.5"] in right[-1]["rows"]


def test_intraclass_correlation_stands_beside_the_scorecard(summaries):
    summary = summaries["pressing"]
    headings = [named.heading for named in summary.outcome.panel_tables]
    assert headings.index("Intraclass correlation") == 1
    table = summary.outcome.panel_tables[1].table
    card = dict(zip(summary.outcome.panel_tables[0].table.columns,
                    summary.outcome.panel_tables[0].table.rows[0], strict=True))  # fmt: skip
    first = dict(zip(table.columns, table.rows[0], strict=True))
    assert first["attribute"] == card["attribute"]
    assert first["estimate"] == pytest.approx(card["icc"], rel=1e-9)
    assert first["low"] < first["estimate"] < first["high"]
    assert "Intraclass correlation" in text_of(session_pdf(summary))


def test_a_reversed_assessor_and_the_lines_of_all_stand_in_the_report(summaries):
    summary = summaries["pressing"]
    made = session_pdf(summary)
    text = " ".join(pages_of(made))
    for words in (
        "P04 scored sour the other way round",
        "If the sour of P04 is left out: -0.97 for new press, p 0.0096",
        "P04 accounts for 65 % of it",
        "disagrees most",  # of the picture: its text is text
        "panel mean",
        "raspberry",
        "Map of the samples: ",
        "axis 1, ",
        "Margins 1",  # labels, no prompts of a form
    ):
        assert words in text
    assert "separated by semicolons" not in text
    assert text.count("old press, warm new press reference") <= 1  # one legend
    assert "does not tell" not in text
    assert fonts_of(made) == fonts_of(session_pdf(summaries["water"]))


def test_the_lines_rise_with_the_panel_and_the_reversed_is_named(summaries):
    chart = lines_figure(summaries["pressing"].outcome)
    assert [panel["title"]["text"] for panel in chart["concat"]] == [
        "sweet", "sour", "raspberry", "cooked", "bitter", "body",
    ]  # fmt: skip
    sour = chart["concat"][1]["layer"]
    order = sour[0]["encoding"]["x"]["sort"]
    assert order == ["new press", "reference", "old press, warm"]

    def rows(layer):
        return chart["datasets"][layer["data"]["name"]]

    (panel,) = [layer for layer in sour if layer["mark"].get("strokeWidth") == 4]
    means = [row["mean"] for row in rows(panel)]
    assert means == sorted(means)
    (reversed_line,) = [layer for layer in sour if layer["mark"].get("strokeWidth") == 2.5]
    assert {row["who"] for row in rows(reversed_line)} == {"P04"}
    assert [row["who"] for row in rows(sour[-1])] == ["P04"]
    bitter = [row["at"] for row in rows(chart["concat"][4]["layer"][-1])]
    assert bitter[1] - bitter[0] > 0.5  # names do not cover each other


def test_an_outcome_without_lines_has_no_picture_of_them(summaries):
    words = session_words(summaries["water"])
    assert (words["lines_width"], words["panel_width"]) == (0, 0)
    words = session_words(summaries["pressing"])  # four attributes with lines, two judged
    assert (words["lines_width"], words["panel_width"]) == (100, 50)
