"""Training on the pages: opened, agreed, marked at a booth, looked at, and who is trained."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sensory.panel.assessors import Role
from sensory.panel.register import enter_assessor, the_register
from sensory.panel.vocabulary_desk import define
from sensory.store.repository import open_store

from ..panel import test_training, test_training_sessions
from ..panel.test_training_sessions import MARKS, at_booths, send
from ..panel.test_vocabulary import PRODUCT, SOUR, WHY
from ..sessions.shared import BY
from ..shared import put_noun
from .pages import booth, click, keys, run, words


@pytest.fixture
def store(url):
    opened = open_store(url)
    yield opened
    opened.close()


def test_a_training_session_is_opened_with_targets_of_the_standards(url, store):
    assert "Define words on the page Products first" in words(run("people", url, None))
    define(store, PRODUCT, SOUR, **WHY)
    assert "to-training" in keys(run("people", url, None))
    app = run("training", url, None)
    assert "No training session is closed yet" in words(app)
    (targets,) = [area for area in app.text_area if area.label.startswith("Targets")]
    assert targets.value == "sour base; Sour; 5; 4.5 to 5.5"
    targets.set_value("sour base; Sour").run()
    click(app, "train-open")
    assert "Targets, line 1" in words(app)
    next(a for a in app.text_area if a.label.startswith("Targets")).set_value(targets.value).run()
    session = test_training_sessions.opened(store)
    asked = run("question", url, session.id)
    assert "nothing of this session counts as a result" in words(asked)
    assert not [area for area in asked.text_input if area.label.startswith("What differs")]
    assert not [area for area in asked.number_input if area.label.startswith("alpha")]
    listed = run("sessions", url, None)
    assert "training, profile" in words(listed)


def test_a_booth_shows_own_mark_and_target_and_goes_on(url, store):
    here, tokens = at_booths(store)
    app = booth(url, tokens["Anna"])
    assert "Training: nothing of this counts as a result." in words(app)
    for name in ("Anna", "Bo"):
        learned = send(store, tokens[name], MARKS[name]).learned
        app = booth(url, tokens[name])
        assert f"Sample {learned.code}: your marks" in words(app)
        if learned.marks[0].target:
            above = "Your mark is 0.7 above this range." if name == "Anna" else "within this range"
            assert above in words(app)
        else:
            assert "Too few others have marked this sample" in words(app)
        assert "send" not in " ".join(keys(app))
        app = click(app, f"learned-{learned.line}")
        assert "Ballot 2 of 2" in words(app)
        assert "Sample" not in [part.value for part in app.subheader]
    marks = run("ballots", url, here)
    assert "Who still spreads?" in words(marks)
    assert "What they answered is shown when" not in words(marks)


def test_a_closed_training_has_marks_and_no_finding(url, store):
    here = test_training_sessions.closed(store)
    app = run("finding", url, here)
    assert "Anna (6.2), Cleo (4.0)" in words(app)
    assert "Finding:" not in words(app)
    assert "to-progress" in keys(app)
    assert "Next: look at the marks" in words(run("sessions", url, None))


def test_progress_names_who_is_not_trained_and_qualifies_the_others(url, store):
    define(store, "sloe cordial", replace(SOUR, standards=()), **WHY)
    rng = np.random.default_rng(11)
    for session in range(6):
        each = test_training.training(session, rng)
        put_noun(store, each, expect=None, what="training recorded", who=BY)
    enter_assessor(store, "Ada", panel="day shift", role=Role.TRAINING, who=BY)
    app = run("training", url, None)
    assert "Go on: 4 of 5 assessors trained for sour." in words(app)
    assert "Bo: not yet on sour" in words(app)
    assert "Agreement with the others is no accuracy" in words(app)
    click(app, "training-qualify")
    (ada,) = the_register(store)
    assert ada.qualified[0].attributes == ("sour",)
    rows = run("people", url, None).table[0].value["qualified for"]
    assert rows[0].replace("\\", "").startswith("sloe cordial (trained: sour) since")
    for area in app.number_input:
        if area.key == "rule-accuracy":
            area.set_value(0.02).run()
    click(app, "training-rule")
    assert "Go on: 0 of 5 assessors trained" in words(app)
