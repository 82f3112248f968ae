"""The invented year of a panel: what its script hides is found on the page Panel, in few clicks.

What is to be found stands in `demo_data/make_panel.py`.
"""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest

from sensory.base.errors import RecordError
from sensory.panel.assessors import Assessor, Role
from sensory.panel.prepared_panel import load_panel
from sensory.panel.training import training_progress
from sensory.panel.training_desk import the_training_rule, trainings_of
from sensory.sessions.sitting import Sitting
from sensory.store.repository import open_store

from .pages import DEMO, fill, run, words

TODAY = date.today()


@pytest.fixture(scope="module")
def record(tmp_path_factory) -> str:
    url = f"sqlite:///{tmp_path_factory.mktemp('panel') / 'record.sqlite3'}"
    store = open_store(url)
    assert load_panel(store, DEMO, today=TODAY.isoformat(), who="demo") == 48 + 5  # training
    store.close()
    return url


def test_the_four_are_found_within_five_clicks_and_nobody_else(record):
    """Two clicks lead from Today to the page Panel, by the tile; two more open an assessor."""
    app = run("people", record, None)
    warned = "\n".join(each.value for each in app.warning).replace("\\", "")
    assert "T05 drifts upwards in sour: 0.23 a month against the others" in warned
    assert "T08 scores bitter the other way round" in warned
    assert "T09 hardly follows the panel in any attribute" in warned
    assert set(re.findall(r"T\d\d", warned)) == {"T05", "T08", "T09"}
    own = words(fill(app, assessor_open="T03"))
    change = re.search(r"scatter ([\d.]+) times .* limits ([\d.]+) to ([\d.]+)", own)
    assert change, own
    value, low, high = map(float, change.groups())
    assert low < value < high < 0.8
    sound = words(fill(run("people", record, None), assessor_open="T04"))
    low, high = map(float, re.search(r"limits ([\d.]+) to ([\d.]+)", sound).groups())
    assert low < 1 < high


def test_the_year_ends_with_the_week_before_and_is_loaded_once(record):
    store = open_store(record)
    days = [each.held_on for each in store.sittings()]
    assert (TODAY - timedelta(days=7)).isoformat() < max(days) <= TODAY.isoformat()
    roles = {each.person: each.panels[0].role for each in store.nouns(Assessor)}
    assert len(roles) == 10
    assert roles["T03"] is Role.TRAINING
    with pytest.raises(RecordError, match="are in the register"):
        load_panel(store, DEMO, today=TODAY.isoformat(), who="demo")
    assert len(store.sittings()) == 48
    store.close()


def test_the_training_names_who_learnt_and_who_scatters(record):
    """Marks of five sessions: T03 is within at the end, T09 is not trained, no result is left."""
    store = open_store(record)
    held = trainings_of(store, "Gooseberry cordial")
    progress = training_progress(held, rule=the_training_rule(store))
    assert set(progress.assessors) - set(progress.trained) == {"T09"}
    own = progress.curve[progress.curve["assessor"] == "T03"]["error"].tolist()
    assert own[0] > 1.4
    assert max(own[2:]) < 0.6
    assert not store.nouns(Sitting, most=100)[0].title.startswith("Training")
    store.close()
    app = run("training", record, None)
    assert "Go on: 9 of 10 assessors trained for sour" in words(app)
