"""Studies: a file, a question, an answer with what it cannot tell."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from .pages import DEMO, SCRIPT, click, fill, sound, words


@pytest.fixture
def app(url):
    script = SCRIPT.format(page="studies", url=url, demo=str(DEMO), asked={}, arguments=())
    script = script.replace(f"demo=Path({str(DEMO)!r})", f"demo=Path({str(DEMO)!r}), invented=True")
    return sound(AppTest.from_string(script, default_timeout=60).run())


@pytest.mark.parametrize(
    ("study", "headline", "cannot"),
    [
        ("threshold", "Half of the tastings are noticed at", "not what is harmful"),
        ("recipes", "no difference is shown", "Lots of both recipes are taken to scatter alike"),
        ("graders", "stop a batch", "Votes are taken as independent"),
    ],
)
def test_each_invented_study_leads_to_its_answer(app, study, headline, cannot):
    fill(app, study=study)
    click(app, f"study-demo-{study}")
    assert headline in app.subheader[0].value
    said = words(app)
    assert cannot in said
    assert "Nothing of this page is kept on record" in said


def test_thresholds_answer_how_many_notice(app):
    click(app, "study-demo-threshold")
    fill(app, study_unit="µg/l", study_at="3 12,5")
    said = words(app)
    assert "At 3 µg/l about" in said
    assert "At 12.5 µg/l about" in said
    fill(app, study_at="much")
    assert "Concentrations must be numbers" in words(app)


def test_a_margin_shows_what_is_similar(app):
    fill(app, study="recipes")
    click(app, "study-demo-recipes")
    fill(app, study_margin=3.0)
    assert "differ by less than 3" in app.subheader[0].value


def test_graders_who_cannot_keep_the_risks_are_told_so(app):
    fill(app, study="graders")
    click(app, "study-demo-graders")
    fill(app, study_good=0.1, study_bad=0.1)
    assert "cannot see the limit well enough" in app.subheader[0].value


def test_nothing_is_shown_before_there_is_a_file(app):
    assert not app.subheader
    assert "Columns: assessor, concentration, correct." in words(app)
