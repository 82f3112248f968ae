"""The report of a session, read back out of the PDF."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from sensory.report import figures
from sensory.report.documents import session_pdf, session_words
from sensory.sessions import workflow
from sensory.store.repository import open_store

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="module")
def summaries(tmp_path_factory):
    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('record') / 'record.sqlite3'}")
    made = {}
    for name in ("reformulation", "suspect_batch", "new_supplier"):
        prepared = workflow.read_prepared(DEMO, name)
        workflow.open_session(store, name, **prepared, who="test", why="test")
        workflow.agree(store, name, who="A. Leader")
        workflow.close(store, name, who="A. Leader")
        made[name] = workflow.summarise(store, name, version="0.1.0")
    return made


def words_of(pdf: bytes) -> tuple[str, int]:
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split()), len(pages)


@pytest.mark.parametrize("name", ["reformulation", "suspect_batch", "new_supplier"])
def test_one_page_with_what_the_report_clauses_ask(summaries, name):
    summary = summaries[name]
    text, pages = words_of(session_pdf(summary))
    assert pages == 1
    question, details, test = summary.question, summary.details, summary.result.test
    for asked in (
        details.title, question.what_changed, question.decision, summary.result.sentence,
        summary.protocol.asks, str(summary.protocol.standard), details.samples[0].batch,
        details.samples[1].batch, details.samples[1].preparation, details.assessors,
        details.information, details.place, details.conditions, details.held_on, details.leader,
        details.decides, f"{test.correct} of {test.trials} correct", "sulphites",
        *summary.cannot_tell(), summary.session.digest, "Release of food stays with",
    ):  # fmt: skip
        assert " ".join(asked.split()) in text, asked
    for order, times in summary.orders.items():
        assert f"{order} {times}" in text


def test_the_same_summary_gives_the_same_bytes(summaries):
    summary = summaries["suspect_batch"]
    assert session_pdf(summary) == session_pdf(summary)


def test_chart_text_is_text_in_the_font_that_ships(summaries):
    text, _ = words_of(session_pdf(summaries["suspect_batch"]))
    assert "agreed limit 53 %" in text
    assert "guessing 33 %" in text
    fonts = {
        str(font.get_object()["/BaseFont"]).split("+")[-1]
        for page in PdfReader(io.BytesIO(session_pdf(summaries["suspect_batch"]))).pages
        for font in page["/Resources"]["/Font"].values()
    }
    assert fonts == {"OpenSans", "OpenSans-Semibold"}


def test_long_texts_shrink_and_nothing_is_cut(summaries):
    summary = summaries["suspect_batch"]
    long = "The cordial was served after a pause. " * 12
    summary = replace(
        summary,
        session=replace(
            summary.session,
            question=replace(
                summary.question, what_changed=long + "END-1", retest_rule=long + "END-2"
            ),
            details=replace(summary.details, information=long + "END-3"),
        ),
        remarks=tuple(f"remark number {n}" for n in range(40)),
    )
    text, pages = words_of(session_pdf(summary))
    assert all(f"END-{n}" in text for n in (1, 2, 3))
    assert "and 34 more, in the record" in text
    assert pages <= 2


def test_markup_in_texts_is_shown_as_text(summaries):
    nasty = '#panic("x") *bold* $x$ <script>alert(1)</script> @ref \\'
    summary = summaries["suspect_batch"]
    summary = replace(
        summary,
        session=replace(summary.session, details=replace(summary.details, place=nasty)),
    )
    text, _ = words_of(session_pdf(summary))
    assert '#panic("x") *bold* $x$ <script>alert(1)</script> @ref \\' in text


def test_changes_after_the_finding_are_apart(summaries):
    summary = replace(summaries["suspect_batch"], afterwards=("row 3, answer: '1' became '2'",))
    blocks = session_words(summary)["below"]
    assert blocks[-1]["heading"] == "Done after the finding was seen"
    assert blocks[-1]["lines"] == ["row 3, answer: '1' became '2'"]


def test_figure_holds_guess_level_estimate_limits_and_agreed_limit(summaries):
    summary = summaries["reformulation"]
    test = summary.result.test
    drawn = str(figures.interval_figure(summary).to_dict())
    for value in (1 / 3, test.pc, test.pc_limits.low, test.pc_limits.high, test.pc_upper, 8 / 15):
        assert str(float(value)) in drawn


def test_figure_of_a_two_sided_question_has_a_limit_on_both_sides(summaries):
    from sensory import PAIRED, session_finding

    result = session_finding(PAIRED, 12, 40, two_sided=True)
    summary = replace(summaries["reformulation"], protocol=PAIRED, result=result)
    drawn = str(figures.interval_figure(summary).to_dict())
    assert "'pc': 0.65" in drawn
    assert "'pc': 0.35" in drawn
