"""The booth page: links that are none, and two windows on one link."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from sensory.base.errors import RecordError
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions
from sensory.sessions.allergens import served_samples
from sensory.store.action import Action

from .pages import BY, booth, put, words

ROOT = Path(__file__).parents[2]
STRANGE = {
    "empty": "",
    "unicode": "Pflaume \N{SNOWMAN} \u202e",
    "markup": "<script>alert(1)</script> **bold** ![x](http://127.0.0.1:9/x.png)",
    "path": "../../../../etc/passwd",
    "query": "' or '1'='1' --",
    "NUL": "\0" * 65,
    "very long": "a" * 100_000,
    "unknown": f"{'0' * 32}.{'a' * 32}",
}


@pytest.mark.parametrize("token", STRANGE.values(), ids=STRANGE)
def test_what_is_no_link_gets_one_sentence(token, tmp_path, monkeypatch):
    monkeypatch.setenv("SENSORY_RECORD", f"sqlite:///{tmp_path / 'record.sqlite3'}")
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=30)
    app.query_params["booth"] = token
    app.run()
    assert not app.exception
    assert ["not valid" in title.value for title in app.title] == [True]
    assert not token or token not in words(app)
    assert not [*app.button, *app.text_input, *app.error]
    assert sorted(path.name for path in tmp_path.iterdir() if "record" not in path.name) == []


SESSION = "0" * 32


@pytest.fixture
def window(store, url):
    """Opens windows on the link of Anna, who has two triangles to answer."""
    put(store, stage="agreed", cells=False, here=SESSION)
    plan = serving_plan("triangle", ["Anna"], seed=2**128 + 3, replicates=2)
    booth_plans.serve(store, SESSION, plan, ballot_lines(plan), who=BY)
    declared = dict.fromkeys(served_samples(store.session(SESSION)), "none")
    exclusions.declare_allergens(store, SESSION, declared, who=BY)
    token = booth_plans.open_booths(store, SESSION, who=BY)["Anna"]
    booths.consent(store, token)
    return lambda: booth(url, token)


def first(store):
    """The ballot line of Anna that comes first."""
    cells = store.cells(SESSION)
    return cells[min(cells)]


def test_a_window_left_open_does_not_write_its_old_answers_over_newer_ones(store, window):
    old = window()
    codes = old.radio[0].options
    old.radio[0].set_value(codes[0]).run()
    old.checkbox[0].check().run()
    old.text_area[0].set_value("harsh  (at first)").run()
    new = window()
    assert (new.radio[0].value, new.text_area[0].value) == (codes[0], "harsh (at first)")
    new.radio[0].set_value(codes[2]).run()
    new.checkbox[0].uncheck().run()
    new.text_area[0].set_value("harsh, then sweet").run()
    count = len(store.entries(SESSION))
    old.run()
    assert len(store.entries(SESSION)) == count
    assert first(store)["answer"] == codes[2]
    assert first(store)["comment"] == "harsh, then sweet"
    assert not first(store).get("guess")
    assert old.radio[0].value == codes[2]
    assert old.text_area[0].value == "harsh, then sweet"
    assert not old.checkbox[0].value
    assert not old.exception
    assert not old.warning


def test_one_field_changed_in_an_older_window_is_written_alone(store, window):
    old, new = window(), window()
    codes = old.radio[0].options
    new.radio[0].set_value(codes[1]).run()
    new.text_area[0].set_value("sweet").run()
    old.checkbox[0].check().run()
    written = [first(store)[name] for name in ("answer", "guess", "comment")]
    assert written == [codes[1], "x", "sweet"]
    old.radio[0].set_value(codes[0]).run()
    assert first(store)["answer"] == codes[0]


def test_answers_of_another_window_are_shown_before_they_are_sent(store, window):
    old = window()
    codes = old.radio[0].options
    old.radio[0].set_value(codes[0]).run()
    new = window()
    new.radio[0].set_value(codes[1]).run()
    old.button[-1].click().run()
    assert not first(store).get("sent")
    assert old.radio[0].value == codes[1]
    old.button[-1].click().run()
    assert first(store)["sent"]
    assert first(store)["answer"] == codes[1]


def test_what_could_not_be_written_is_written_by_the_next_run(store, window, monkeypatch):
    app = window()
    codes = app.radio[0].options

    def fails(*_, **__):
        raise RecordError("The record is locked.")

    with monkeypatch.context() as broken:
        broken.setattr(Action, "write_lines", fails)
        app.radio[0].set_value(codes[1]).run()
    assert [error.value for error in app.error] == ["The record is locked."]
    assert (app.radio[0].value, first(store).get("answer")) == (codes[1], None)
    app.run()
    assert not app.error
    assert first(store)["answer"] == codes[1]
