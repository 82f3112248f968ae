"""The booth page: links that are none, and two windows on one link."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from sensory.base.errors import RecordError, UnreachableError
from sensory.base.languages import ballot_words, languages
from sensory.screens import components
from sensory.screens.frame import plain
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions
from sensory.sessions.allergens import served_samples
from sensory.sessions.live_board import live_board
from sensory.store.action import Action
from sensory.store.repository import Repository

from ..shared import write_lines
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
SEAT_LINE = 1
ANSWER, SEND = f"answer-{SEAT_LINE}-0", f"send-{SEAT_LINE}"


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
    old.button(key=SEND).click().run()
    assert not first(store).get("sent")
    assert old.radio[0].value == codes[1]
    old.button(key=SEND).click().run()
    assert first(store)["sent"]
    assert first(store)["answer"] == codes[1]


def test_what_could_not_be_written_is_written_by_the_next_run(store, window, monkeypatch):
    app = window()
    codes = app.radio[0].options

    def fails(*_, **__):
        raise RecordError("The record is locked.")

    with monkeypatch.context() as broken:
        broken.setattr(Action, "write_seat", fails)
        app.radio[0].set_value(codes[1]).run()
    assert [error.value for error in app.error] == ["The record is locked."]
    assert (app.radio[0].value, first(store).get("answer")) == (codes[1], None)
    app.run()
    assert not app.error
    assert first(store)["answer"] == codes[1]


def restarted(app, **held):
    """A server that was started anew: it has what the browser sends, and nothing of its own.

    `held`: what the record held of fields, by their keys, as the page was touched last.
    """
    for field in (ANSWER, f"guess-{SEAT_LINE}", f"comment-{SEAT_LINE}"):
        del app.session_state[f"{field}-shown"]
    touch = " ".join(["7", *(f"{key}={components._mark_of(text)}" for key, text in held.items())])
    app.session_state[f"echo-{SEAT_LINE}"] = {"touch": touch}
    return app


def test_a_window_on_a_restarted_server_writes_no_old_answer_over_a_newer_one(store, window):
    old = window()
    codes = old.radio[0].options
    old.radio[0].set_value(codes[0]).run()
    new = window()
    new.radio[0].set_value(codes[2]).run()
    new.text_area[0].set_value("sweet").run()
    count = len(store.entries(SESSION))
    restarted(old, **{ANSWER: "", f"comment-{SEAT_LINE}": ""}).run()
    assert not old.exception
    assert len(store.entries(SESSION)) == count
    assert (old.radio[0].value, old.text_area[0].value) == (codes[2], "sweet")
    old.run()
    assert (first(store)["answer"], first(store)["comment"]) == (codes[2], "sweet")


def test_what_was_tapped_while_the_server_was_down_arrives(store, window):
    app = window()
    codes = app.radio[0].options
    app.radio[0].set_value(codes[0]).run()
    app.radio[0].set_value(codes[1])
    app.checkbox[0].check()
    restarted(app, **{ANSWER: codes[0], f"guess-{SEAT_LINE}": ""}).run()
    assert not app.exception
    assert (first(store)["answer"], first(store)["guess"]) == (codes[1], "x")


@pytest.fixture
def away(monkeypatch):
    """The record does not answer within this block, neither to questions nor to actions."""

    def no_answer(*_, **__):
        raise UnreachableError("The record cannot be read: connection refused.")

    @contextmanager
    def closed():
        with monkeypatch.context() as shut:
            shut.setattr(Repository, "_reading", no_answer)
            shut.setattr("sensory.store.repository.writing", no_answer)
            yield

    return closed


def test_while_the_record_is_away_a_booth_keeps_what_is_marked_and_goes_on_by_itself(
    store, window, away
):
    app = window()
    codes = app.radio[0].options
    app.radio[0].set_value(codes[0]).run()
    with away():
        app.radio[0].set_value(codes[1])
        app.text_area[0].set_value("harsh")
        for _ in range(2):
            app.run()
            assert not app.exception
            assert not app.title[0].value.startswith("This link")
            assert [error.value for error in app.error] == [plain(said(ballot_words("en")))]
            assert (app.radio[0].value, app.text_area[0].value) == (codes[1], "harsh")
    app.run()  # as its timer does
    assert not app.error
    assert (first(store)["answer"], first(store)["comment"]) == (codes[1], "harsh")


def said(words):
    return f"{words['away']}. {words['away_hint']}"


def test_a_window_that_opens_meanwhile_says_so_in_every_language(window, away):
    with away():
        app = window()
        assert "not valid" not in words(app)
        for code in languages():
            assert ballot_words(code)["away"] in words(app)
            assert ballot_words(code)["away_hint"] in words(app)
    app.run()
    assert len(app.radio) == 1


def test_who_feels_unwell_meanwhile_is_reported_afterwards(store, window, away):
    app = window()
    with away():
        app.button(key="booth-unwell").click().run()
        assert not app.exception
    assert not store.session(SESSION).details.care.stopped
    app.run()
    assert store.session(SESSION).details.care.stopped
    assert not app.error or ballot_words("en")["stopped_hint"] in words(app)


def test_what_cannot_be_left_out_meanwhile_is_asked_again(store, window, away, monkeypatch):
    declared = dict.fromkeys(served_samples(store.session(SESSION)), "celery")
    exclusions.declare_allergens(store, SESSION, declared, who=BY)
    app = window()
    key = next(button.key for button in app.button if button.key.startswith("leave-"))
    app.button(key=key).click().run()
    with monkeypatch.context() as shut:
        shut.setattr("sensory.store.repository.writing", refuses)
        app.button(key=f"{key}-sure").click().run()
        assert not app.exception
        assert ballot_words("en")["away_hint"] in words(app)
    app.run()
    app.button(key=key).click().run()
    app.button(key=f"{key}-sure").click().run()
    assert first(store)["not served"] == "not this sample"


def refuses(*_, **__):
    raise UnreachableError("The record is busy.")


def test_a_database_that_is_down_at_the_start_is_said_at_booths(monkeypatch):
    """Nothing listens on port 1: the driver itself says that the connection was refused."""
    monkeypatch.setenv("SENSORY_RECORD", "postgresql+psycopg://panel@127.0.0.1:1/panel")
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=30)
    app.query_params["booth"] = f"{'0' * 32}.{'a' * 32}"
    app.run()
    assert not app.exception
    assert all(ballot_words(code)["away_hint"] in words(app) for code in languages())


def test_not_today_is_asked_once_and_has_a_way_back(store, window, url):
    token = booth_plans.open_booths(store, SESSION, who=BY)["Anna"]
    exclusions.not_today(store, SESSION, "Anna", who=BY)
    app = booth(url, token)
    assert "booth-after-all" not in {button.key for button in app.button}  # the leader's to undo
    exclusions.not_today(store, SESSION, "Anna", taken_back=True, who=BY)
    write_lines(store, SESSION, {SEAT_LINE: {"consent": ""}}, who=BY, why="anew")
    app = booth(url, token)
    app.button(key="booth-not-today").click().run()
    assert not first(store).get("not served")
    app.button(key="booth-not-today-back").click().run()
    app.button(key="booth-not-today").click().run()
    app.button(key="booth-not-today-sure").click().run()
    assert first(store)["not served"] == "not today"
    app.button(key="booth-after-all").click().run()
    assert not first(store).get("not served")
    assert not first(store).get("consent")
    assert "booth-begin" in {button.key for button in app.button}


def test_who_stops_halfway_keeps_what_was_sent_and_can_come_back(store, window):
    app = window()
    app.radio[0].set_value(app.radio[0].options[0]).run()
    app.button(key=SEND).click().run()
    for again in (False, True):
        app.button(key="booth-stop").click().run()
        app.button(key="booth-stop-back" if not again else "booth-stop-sure").click().run()
    marks = [line.get("not served") for line in store.cells(SESSION).values()]
    assert marks == [None, "not today"]
    board = live_board(store, SESSION)
    assert [(str(seat.at), seat.sent) for seat in board.seats] == [("not today", 1)]
    app.button(key="booth-after-all").click().run()
    app.checkbox(key="booth-consent").check().run()
    app.button(key="booth-begin").click().run()
    assert "Ballot 2 of 2" in words(app)
    assert store.verify() == []


def test_cards_of_the_samples_are_the_answers(store, window):
    """The codes stood there twice: on cards that did nothing, and on buttons below them."""
    app = window()
    codes = booths.visit(
        store, booth_plans.open_booths(store, SESSION, who=BY)["Anna"]
    ).ballot.codes
    assert tuple(app.radio[0].options) == codes
    assert not any(code in each.value for code in codes for each in app.markdown)
