"""What a booth shows between ballots: the warm-up sample and the break, in words."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from sensory.base.languages import ballot_words, languages
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booth_sittings, booths, exclusions, workflow
from sensory.store.repository import open_store

from .test_pages import DEMO, words

SCRIPT = """
from pathlib import Path
from sensory.screens import booth
from sensory.screens.frame import Frame, remember
from sensory.store.repository import open_store

remember(Frame(store=open_store({url!r}), demo=Path({demo!r})), [])
booth.page({token!r})
"""


@pytest.fixture
def url(tmp_path):
    return f"sqlite:///{tmp_path / 'record.sqlite3'}"


@pytest.fixture
def store(url):
    return open_store(url)


def booth(store, url, language, minutes, warm_up="none"):
    """The booth of Anna after consent, with two triangles in two sittings."""
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    del prepared["cells"]
    workflow.open_session(store, "0" * 32, **prepared, who="t", why="t")
    workflow.agree(store, "0" * 32, who="A. Leader")
    plan = serving_plan("triangle", ["Anna"], seed=3, replicates=2, sittings=2, warm_up="syrup")
    booth_plans.serve(store, "0" * 32, plan, ballot_lines(plan), language=language,
                      break_minutes=minutes, who="L")  # fmt: skip
    exclusions.declare_allergens(store, "0" * 32, {"syrup": warm_up}, who="L")
    token = booth_plans.open_booths(store, "0" * 32, who="L")["Anna"]
    booths.consent(store, token)
    script = SCRIPT.format(url=url, demo=str(DEMO), token=token)
    return token, AppTest.from_string(script, default_timeout=30).run()


@pytest.mark.parametrize("minutes", [0, 15])
@pytest.mark.parametrize("language", languages())
def test_warm_up_then_ballot_then_break(store, url, language, minutes):
    said = ballot_words(language)
    token, app = booth(store, url, language, minutes)
    assert said["warm_up"] in words(app)
    assert said["warm_up_asks"] in words(app)
    assert said["sitting_of"].format(number=1, all=2) in words(app)
    code = booths.visit(store, token).halt.code
    app.button(key=f"warm-up-{code}").click().run()
    assert not app.exception
    ballot = booths.visit(store, token).ballot
    assert [radio.options for radio in app.radio] == [list(ballot.codes)]
    app.radio[0].set_value(ballot.codes[0]).run()
    app.button(key=f"send-{ballot.line}").click().run()
    assert not app.exception
    assert said["break"] in words(app)
    expected = said["break_minutes"].format(minutes=15) if minutes else said["break_leader"]
    assert expected in words(app)
    assert not app.button
    if not minutes:
        booth_sittings.start_sitting(store, "0" * 32, 2, who="L")
        assert said["warm_up"] in words(app.run())


@pytest.mark.parametrize("language", languages())
def test_a_warm_up_sample_states_its_allergens_and_can_be_left_out(store, url, language):
    said = ballot_words(language)
    token, app = booth(store, url, language, 0, warm_up="celery")
    assert said["warm_up_allergens"].format(allergens="celery") in words(app)
    code = booths.visit(store, token).halt.code
    assert app.button(key=f"leave-warm-up-{code}").label == said["warm_up_leave"]
    app.button(key=f"leave-warm-up-{code}").click().run()
    assert not app.exception
    ballot = booths.visit(store, token).ballot
    assert [radio.options for radio in app.radio] == [list(ballot.codes)]
    app.button(key=f"leave-{ballot.line}").click().run()
    assert said["left_out"].format(numbers=1) in words(app)
    assert said["break"] in words(app)
