"""The booth page: links that are none, and two windows on one link."""

from __future__ import annotations

from contextlib import contextmanager

import pytest
from streamlit.testing.v1 import AppTest

from sensory.base.errors import UnreachableError
from sensory.base.languages import ballot_words, languages
from sensory.screens.server import SCRIPT
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions
from sensory.sessions.allergens import served_samples
from sensory.sessions.live_board import live_board
from sensory.store.repository import Repository

from ..sessions.shared import answered
from ..shared import write_lines
from .pages import BY, ballot, booth, put, words

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
    app = AppTest.from_file(str(SCRIPT), default_timeout=30)
    app.query_params["booth"] = token
    app.run()
    assert not app.exception
    assert ["not valid" in title.value for title in app.title] == [True]
    assert not token or token not in words(app)
    assert not [*app.button, *app.text_input, *app.error]
    assert sorted(path.name for path in tmp_path.iterdir() if "record" not in path.name) == []


SESSION = "0" * 32
SEAT_LINE = 1


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


def test_while_the_record_is_away_a_booth_keeps_its_ballot_and_goes_on_by_itself(
    store, window, away
):
    """The script keeps what is marked, and is drawn as it was (`test_dropped_network.py`)."""
    app = window()
    before = ballot(app)
    with away():
        for _ in range(2):
            app.run()
            assert not app.exception
            assert not app.title
            away_words = "Not reachable at the moment. Keep this page open: nothing is lost"
            assert [error.value.startswith(away_words) for error in app.error] == [True]
            assert ballot(app) == before
    app.run()  # as its timer does
    assert not app.error
    assert ballot(app) == before


def test_a_window_that_opens_meanwhile_says_so_in_every_language(window, away):
    with away():
        app = window()
        assert "not valid" not in words(app)
        for code in languages():
            assert ballot_words(code)["away"] in words(app)
            assert ballot_words(code)["away_hint"] in words(app)
    app.run()
    assert ballot(app)


def test_who_feels_unwell_meanwhile_is_reported_afterwards(store, window, away):
    app = window()
    with away():
        app.button(key="booth-unwell").click().run()
        assert not app.exception
    assert not store.session(SESSION).details.care.stopped
    app.run()
    assert store.session(SESSION).details.care.stopped
    assert not app.error or ballot_words("en")["stopped_hint"] in words(app)


def test_a_database_that_is_down_at_the_start_is_said_at_booths(monkeypatch):
    """Nothing listens on port 1: the driver itself says that the connection was refused."""
    monkeypatch.setenv("SENSORY_RECORD", "postgresql+psycopg://panel@127.0.0.1:1/panel")
    app = AppTest.from_file(str(SCRIPT), default_timeout=30)
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


def test_who_stops_halfway_keeps_what_was_sent_and_can_come_back(store, window, url):
    token = booth_plans.open_booths(store, SESSION, who=BY)["Anna"]
    answered(store, token)
    app = booth(url, token)
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


def test_cards_of_the_samples_are_the_answers(window):
    """The codes stood there twice: on cards that did nothing, and on buttons below them."""
    view = ballot(window())
    answer, guess, comment = view["fields"]
    assert (answer["card"], len(answer["choices"]), view["cards"]) == (True, 3, [])
    assert [field["name"] for field in (guess, comment)] == ["guess", "comment"]
