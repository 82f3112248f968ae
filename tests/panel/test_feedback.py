"""Feedback to assessors: after closing only, own answers and the panel's, nobody else's."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from sensory.base.errors import RecordError
from sensory.base.languages import languages
from sensory.panel.feedback import FeedbackSheets, feedback, feedback_of_all
from sensory.report.printed import printed
from sensory.sessions import workflow
from sensory.sessions.sitting import ABSENT, CAME, Sitting
from sensory.store.repository import open_store

from ..shared import CARE

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="module")
def sessions(tmp_path_factory):
    """A triangle and a profile, each open and closed, with their sittings."""
    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('feedback')}/record.sqlite3")
    there = {}
    for key, name in (("a", "suspect_batch"), ("b", "pressing")):
        prepared = workflow.read_prepared(DEMO, name)
        prepared["details"] = replace(prepared["details"], care=CARE)
        workflow.open_session(store, key * 32, **prepared, who="L", why="loaded")
        opened = workflow.agree(store, key * 32, who="L")
        closed = workflow.close(store, key * 32, who="L")
        there[name] = (opened, closed, store.sitting(key * 32))
    yield there
    store.close()


def test_nothing_is_told_before_closing(sessions):
    opened, closed, sitting = sessions["suspect_batch"]
    for session, held in ((opened, sitting), (closed, None), (closed, sitting.emptied())):
        with pytest.raises(RecordError, match="Feedback comes after closing"):
            feedback(session, held, "P01")
    with pytest.raises(RecordError, match="Feedback comes after closing"):
        feedback_of_all(opened, sitting)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", ["suspect_batch", "pressing"])
def test_a_sheet_names_nobody_else_in_any_language(sessions, name, language):
    _, closed, sitting = sessions[name]
    for sheet in feedback_of_all(closed, sitting, language=language):
        text = " ".join([*sheet.sentences, *(cell for row in sheet.rows for cell in row)])
        assert not [other for other in sitting.assessors if re.search(rf"\b{other}\b", text)]
        assert "{" not in text


def test_a_choice_says_own_and_others_together(sessions):
    _, closed, sitting = sessions["suspect_batch"]
    at = sitting.correct.index(0)
    words = " ".join(feedback(closed, sitting, sitting.assessors[at]).sentences)
    assert "Your right answers: 0 of 1." in words
    assert "Right answers of the others together: 18 of 23." in words  # 18 of 24, own one wrong
    assert "guessing alone is right 33 times in 100" in words
    at = sitting.correct.index(1)
    words = " ".join(feedback(closed, sitting, sitting.assessors[at]).sentences)
    assert "together: 17 of 23." in words
    assert "found the difference, and so did you" in words


def test_where_the_panel_found_nothing_nobody_is_judged(sessions):
    _, closed, sitting = sessions["suspect_batch"]
    guessed = tuple(place % 3 == 0 for place in range(24))
    words = feedback(closed, replace(sitting, correct=tuple(map(int, guessed))), "P02").sentences
    assert any("did not show a difference" in sentence for sentence in words)
    assert not any("so did you" in sentence for sentence in words)


def test_of_too_few_others_nothing_is_shown(sessions):
    """From a mean of two, one who knows the own answer reads the other's."""
    _, closed, sitting = sessions["pressing"]
    few = replace(
        sitting,
        assessors=sitting.assessors[:3],
        came=sitting.came[:3],
        attributes=tuple(
            replace(s, means=s.means[:3], sd=s.sd[:3], sd_df=s.sd_df[:3])
            for s in sitting.attributes
        ),
    )
    sheet = feedback(closed, few, few.assessors[0])
    assert sheet.rows == ()
    assert "Too few others took part to show them together." in sheet.sentences


def test_a_profile_shows_own_means_and_the_others_by_hand(sessions):
    _, closed, sitting = sessions["pressing"]
    name = sitting.assessors[2]
    sheet = feedback(closed, sitting, name)
    scores = next(each for each in sitting.attributes if each.attribute == "cooked")
    column = sitting.samples.index("new press")
    others = [means[column] for place, means in enumerate(scores.means) if place != 2]
    expected = (f"{scores.means[2][column]:.1f}", f"{sum(others) / len(others):.1f}")
    assert ("cooked", "new press", *expected) in sheet.rows


def test_who_did_not_come_or_was_erased_gets_none(sessions):
    _, closed, sitting = sessions["suspect_batch"]
    came = (ABSENT, *sitting.came[1:])
    names = (sitting.assessors[0], "erased 1", *sitting.assessors[2:])
    there = replace(sitting, came=came, assessors=names)
    assert len(feedback_of_all(closed, there)) == 22
    for name in names[:2]:
        with pytest.raises(RecordError, match="There is no feedback for"):
            feedback(closed, there, name)
    with pytest.raises(RecordError, match="did not take part"):
        feedback(closed, there, "Zoë")


def test_the_pdf_has_a_page_for_each_with_nobody_else_on_it(sessions):
    _, closed, sitting = sessions["pressing"]
    sheets = tuple(feedback_of_all(closed, sitting, language="de"))
    made = printed(FeedbackSheets(sheets=sheets, printed_at="2026-11-28T10:00:00+00:00"))
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(made)).pages]
    assert len(pages) == len(sitting.assessors)
    for page, name in zip(pages, sitting.assessors, strict=True):
        assert "Ihre Rückmeldung" in page
        shown = {each for each in sitting.assessors if re.search(rf"\b{each}\b", page)}
        assert shown == {name}


def test_one_only_sitting_without_answers_still_gives_a_sheet(sessions):
    _, closed, _ = sessions["suspect_batch"]
    bare = Sitting(session="r", held_on="2026-01-01", test="RANKING", assessors=("Ada",),
                   came=(CAME,))  # fmt: skip
    assert feedback(closed, bare, "Ada").rows == ()
