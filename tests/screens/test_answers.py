"""The route of answers, as a web server calls it: what it keeps, and whom it refuses."""

from __future__ import annotations

import json
from itertools import count
from types import SimpleNamespace

import pytest
from starlette.applications import Starlette

from sensory.base.errors import UnreachableError
from sensory.screens.answers import ANSWERS, LONGEST, Answers
from sensory.screens.ballot_view import view_of
from sensory.screens.guard import OwnMachine
from sensory.sessions import booth_answers, booths
from sensory.sessions.exclusions import stop_today
from sensory.sessions.reactions import feel_unwell, report_reaction
from sensory.sessions.workflow import close

from ..panel.test_training_sessions import at_booths as at_training
from ..sessions.shared import BY, answered, at_booths, finish, seat, waiting
from .asgi import OURS, ask

JSON, WINDOW = "application/json", "ab" * 16


@pytest.fixture
def booth(store):
    """Anna, who has consented and has two triangles to answer, and the way of her answers."""
    session_id, token = seat(store, people=("Anna",), replicates=2)
    app = Starlette(routes=Answers(lambda invented: store).routes())
    ballot = waiting(store, token)

    turns = count(1)

    def say(given=ballot.codes[0], *, origin=OURS, kind=JSON, body=None, over=("",), **changed):
        words = {"token": token, "line": ballot.line, "window": WINDOW, "turn": next(turns)}
        words |= {
            "row": ballot.line,
            "name": "answer",
            "given": given,
            "over": list(over),
            **changed,
        }
        content = json.dumps(words).encode() if body is None else body
        headers = {"origin": origin, "content-type": kind}
        return ask(app, ANSWERS, body=content, **headers)

    def send(*shown, **changed):
        words = {"token": token, "line": ballot.line, "window": WINDOW, "turn": next(turns)}
        words["shown"] = [[ballot.line, name, text] for name, text in shown]
        words |= changed
        return ask(
            app, ANSWERS, body=json.dumps(words).encode(), origin=OURS, **{"content-type": JSON}
        )

    def plainly(**what):
        words = {"token": token, "line": ballot.line, "window": WINDOW, "turn": next(turns)}
        body = json.dumps(words | what).encode()
        return ask(app, ANSWERS, body=body, origin=OURS, **{"content-type": JSON})

    def recorded(name="answer"):
        return store.cells(session_id)[ballot.line].get(name, "")

    return SimpleNamespace(
        app=app, say=say, send=send, ask=plainly, recorded=recorded, store=store,
        session=session_id, token=token, codes=ballot.codes, line=ballot.line,
    )  # fmt: skip


def test_an_answer_is_acknowledged_when_it_is_on_record_with_its_entry(booth):
    before = len(booth.store.entries(booth.session))
    told = booth.say()
    assert (told.status, json.loads(told.text)) == (200, {"text": booth.codes[0], "open": []})
    assert told.headers["cache-control"] == "no-store"
    assert booth.recorded() == booth.codes[0]
    (entry,) = booth.store.entries(booth.session)[before:]
    assert (entry.by, entry.what, entry.why) == ("booth of Anna", "cells", "answered")
    assert booth.say().status == 200  # its acknowledgement got lost, and it comes again
    assert len(booth.store.entries(booth.session)) == before + 1
    assert booth.store.verify() == []


def test_a_comment_and_a_guess_are_kept_and_say_what_is_open_still(booth):
    told = booth.say("  rather   sour ", name="comment")
    assert json.loads(told.text) == {"text": "rather sour", "open": ["?"]}
    assert booth.say("x", name="guess").status == 200
    assert (booth.recorded("comment"), booth.recorded("guess")) == ("rather sour", "x")
    assert booth.recorded() == ""


def test_a_mark_on_a_line_is_kept_as_its_score(store):
    session_id, token = seat(store, "DIFFERENCE_FROM_CONTROL")
    line = waiting(store, token).line
    app = Starlette(routes=Answers(lambda invented: store).routes())
    sent = {"token": token, "line": line, "row": line, "name": "score", "window": WINDOW}
    turns = count(1)

    def say(given, over):
        content = json.dumps({**sent, "given": given, "over": over, "turn": next(turns)}).encode()
        return ask(app, ANSWERS, body=content, origin=OURS, **{"content-type": JSON}).status

    assert (say(0.25, [""]), say(1, [0.25]), say(0.5, [0.25])) == (200, 200, 409)
    assert store.cells(session_id)[line]["score"] == "10.00"


def test_an_old_answer_is_not_written_over_a_newer_one_of_another_window(booth):
    assert booth.say(booth.codes[2]).status == 200
    told = booth.say(booth.codes[1], over=[""])
    assert (told.status, "Another window" in told.text) == (409, True)
    assert booth.recorded() == booth.codes[2]
    assert booth.say(booth.codes[1], over=["", booth.codes[2]]).status == 200
    assert booth.recorded() == booth.codes[1]


def test_an_answer_given_up_that_comes_late_is_not_put_over_a_later_one(booth):
    """Marked A, B and A again; the request with B was given up, and arrives last."""
    first, second, _ = booth.codes
    assert booth.say(first, turn=1).status == 200
    given_up = {"given": second, "over": [first], "turn": 2}
    assert booth.say(first, over=[first, second], turn=3).status == 200
    before = len(booth.store.entries(booth.session))
    told = booth.say(**given_up)
    assert (told.status, "marked later is on record" in told.text) == (409, True)
    assert booth.send(("answer", first), turn=2).status == 409  # nor is it sent by an old press
    assert (booth.recorded(), booth.recorded("sent")) == (first, "")
    assert len(booth.store.entries(booth.session)) == before
    assert booth.say(second, over=[first], turn=1, window="cd" * 16).status == 200  # another window
    assert booth.say(first, over=[second], turn=4).status == 200
    assert booth.store.verify() == []


def test_a_number_of_a_message_that_was_refused_is_free_again(booth):
    assert booth.say("000", turn=7).status == 409
    assert booth.say(turn=7).status == 200


def sent(booth):
    answered(booth.store, booth.token)


def closed(booth):
    finish(booth.store, booth.token)
    close(booth.store, booth.session, who=BY)


def unwell(booth):
    feel_unwell(booth.store, booth.token)


def stopped_by_the_leader(booth):
    report_reaction(booth.store, booth.session, who=BY)


def left(booth):
    stop_today(booth.store, booth.token)


def erased(booth):
    booth.store.erase_person("Anna", who=BY, why="asked for it")


REFUSED = {
    sent: "not the one that waits",
    closed: "This session is closed",
    unwell: "Tasting is stopped",
    stopped_by_the_leader: "Tasting is stopped",
    left: "Not before the cautions",
    erased: "This link is not valid",
}


@pytest.mark.parametrize("done", REFUSED, ids=lambda done: done.__name__)
def test_what_no_longer_takes_an_answer_refuses_it(booth, done):
    done(booth)
    before = (booth.store.cells(booth.session), len(booth.store.entries(booth.session)))
    told = booth.say(booth.codes[1], over=["", booth.codes[0]])
    assert (told.status, REFUSED[done] in told.text) == (409, True), told.text
    assert (booth.store.cells(booth.session), len(booth.store.entries(booth.session))) == before


def test_nothing_is_taken_before_consent(store):
    _, _, tokens = at_booths(store, people=("Anna",))
    ballot = waiting(store, tokens["Anna"])
    with pytest.raises(booths.RecordError, match="Not before the cautions"):
        booth_answers.answer(
            store,
            tokens["Anna"],
            ballot.line,
            (ballot.line, "answer"),
            ballot.codes[0],
            [""],
            booth_answers.Turn(WINDOW, 1),
        )


def test_what_the_ballot_does_not_ask_for_is_refused(booth):
    before = booth.store.cells(booth.session)
    for changed in (
        {"given": "000"},
        {"name": "sent"},
        {"name": "assessor", "given": "Bo"},
        {"row": 10**30},
        {"line": -1},
        {"token": f"{'0' * 32}.{'a' * 32}"},
        {"token": "' or '1'='1' --"},
    ):
        told = booth.say(**changed)
        assert (told.status, list(json.loads(told.text))) == (409, ["error", "next"]), changed
    assert booth.store.cells(booth.session) == before


def test_another_page_has_no_answers_to_give(booth):
    for origin in (None, "http://elsewhere", "null", "https://plant:1"):
        assert booth.say(origin=origin).status == 403, origin
    assert booth.say(kind="text/plain").status == 415
    assert booth.recorded() == ""


def test_on_one_machine_only_its_own_names_are_taken(booth):
    body = b"{}"
    told = ask(
        OwnMachine(booth.app), ANSWERS, body=body, host="evil.test", origin="http://evil.test"
    )
    assert told.status == 403


def test_what_is_no_answer_gets_one_sentence(booth):
    for body, status in {
        b"": 400,
        b"\xff\xfe": 400,
        b"[]": 400,
        b"{}": 400,
        b"[" * 20_000: 400,
        b'{"token":' * 3_000: 400,
        b"x" * (LONGEST + 1): 413,
    }.items():
        told = booth.say(body=body)
        assert (told.status, list(json.loads(told.text))) == (status, ["error"]), body[:20]
    assert booth.recorded() == ""


def test_a_field_of_another_kind_gets_the_same_sentence(booth):
    for changed in (
        {"token": 7},
        {"line": True},
        {"row": "2"},
        {"row": 2.0},
        {"given": None},
        {"given": ["412"]},
        {"given": float("nan")},
        {"given": 1.5},
        {"given": True},
        {"given": "\0"},
        {"given": "\ud800", "name": "comment"},
        {"over": []},
        {"over": [""] * 9},
        {"invented": "yes"},
        {"window": None},
        {"window": "'; --"},
        {"window": "a" * 37},
        {"turn": 0},
        {"turn": 1.5},
        {"turn": 2**53},
    ):
        told = booth.say(**{"over": [""], **changed})
        assert (told.status, "no answer of a booth" in told.text) == (400, True), changed
    assert booth.recorded() == ""


def test_while_the_record_is_away_the_page_is_told_to_try_again(booth, monkeypatch):
    def away(*_, **__):
        raise UnreachableError("The record is busy.")

    with monkeypatch.context() as shut:
        shut.setattr("sensory.store.repository.writing", away)
        assert booth.say().status == 503
    assert booth.say().status == 200


def test_a_ballot_is_sent_once_with_its_entry_as_its_window_shows_it(booth):
    booth.say(booth.codes[0])
    shown = [("answer", booth.codes[0]), ("guess", ""), ("comment", "")]
    before = len(booth.store.entries(booth.session))
    told = booth.send(*shown)
    waits = waiting(booth.store, booth.token)
    following = json.loads(told.text)["next"]
    assert (told.status, following["line"], following["open"]) == (200, waits.line, ["?"])
    assert [code for code, _ in following["fields"][0]["choices"]] == list(waits.codes)
    assert told.headers["cache-control"] == "no-store"
    assert booth.recorded("sent")
    (entry,) = booth.store.entries(booth.session)[before:]
    assert (entry.by, entry.what, entry.why) == ("booth of Anna", "cells", "ballot sent")
    assert booth.send(*shown).status == 200  # its acknowledgement got lost, and it comes again
    assert len(booth.store.entries(booth.session)) == before + 1
    other = booth.send(("answer", booth.codes[1]))
    assert (other.status, "sent this ballot with other answers" in other.text) == (409, True)
    assert (waiting(booth.store, booth.token).number, booth.store.verify()) == (2, [])


def test_what_is_not_answered_or_not_shown_is_not_sent(booth):
    told = booth.send(("answer", ""))
    assert (told.status, "Still to be answered: ?" in told.text) == (409, True)
    booth.say(booth.codes[0])
    booth.say(booth.codes[1], over=[booth.codes[0]])  # by another window
    told = booth.send(("answer", booth.codes[0]))
    assert (told.status, "Another window" in told.text, booth.recorded("sent")) == (409, True, "")
    shown = json.loads(told.text)["next"]  # what the other one gave is shown before it is sent
    assert (shown["line"], shown["fields"][0]["held"]) == (booth.line, booth.codes[1])
    assert booth.send(("answer", booth.codes[1])).status == 200


@pytest.mark.parametrize(
    "done", [each for each in REFUSED if each is not sent], ids=lambda d: d.__name__
)
def test_what_no_longer_takes_an_answer_is_not_sent_either(booth, done):
    booth.say(booth.codes[0])
    shown = ("answer", booth.codes[0])
    done(booth)
    before = len(booth.store.entries(booth.session))
    told = booth.send(shown)
    assert (told.status, REFUSED[done] in told.text) == (409, True), told.text
    assert len(booth.store.entries(booth.session)) == before


def test_what_shows_nothing_is_not_sent(booth):
    booth.say(booth.codes[0])
    for shown in ([], [[]], [["1", "answer", "x"]], [[1, "answer", None]], [[True, "a", "b"]], {}):
        told = booth.send(shown=shown)
        assert (told.status, "no answer of a booth" in told.text) == (400, True), shown
    assert booth.recorded("sent") == ""


def test_a_ballot_is_left_out_once_and_the_next_one_is_given(booth, monkeypatch):
    def away(*_, **__):
        raise UnreachableError("The record is busy.")

    with monkeypatch.context() as shut:
        shut.setattr("sensory.store.repository.writing", away)
        assert booth.ask(leave=True).status == 503
    assert booth.recorded("not served") == ""
    for _ in range(2):  # its acknowledgement got lost, and it comes again
        told = booth.ask(leave=True)
        following = json.loads(told.text)["next"]
        assert (told.status, following["line"]) == (200, waiting(booth.store, booth.token).line)
        assert following["told"] == ["Left out for you: ballot 1. That is all right; nothing is "
                                     "asked about it."]  # fmt: skip
    assert booth.recorded("not served") == "not this sample"
    assert booth.ask(leave=True, line=booth.line + 9).status == 409
    assert booth.store.verify() == []


def test_how_a_ballot_stands_is_said_without_writing(booth):
    before = len(booth.store.entries(booth.session))
    booth.say(booth.codes[1])
    shown = json.loads(booth.ask(look=True).text)["next"]
    assert shown["fields"][0]["held"] == booth.codes[1]
    assert len(booth.store.entries(booth.session)) == before + 1
    assert booth.ask(look="yes").status == 400
    for done in (unwell, erased):
        done(booth)
        assert json.loads(booth.ask(look=True).text) == {"next": None}


def test_own_marks_come_before_the_next_ballot_in_training(store):
    _, tokens = at_training(store)
    ballot = waiting(store, tokens["Anna"])
    app = Starlette(routes=Answers(lambda invented: store).routes())
    booths.keep(store, tokens["Anna"], ballot.line, {ballot.line: {"sour": "5.00"}})
    words = {"token": tokens["Anna"], "line": ballot.line, "window": WINDOW, "turn": 1}
    body = json.dumps({**words, "shown": [[ballot.line, "sour", "5.00"]]}).encode()
    told = ask(app, ANSWERS, body=body, origin=OURS, **{"content-type": JSON})
    assert (told.status, json.loads(told.text)) == (200, {"next": None})
    assert view_of(booths.visit(store, tokens["Anna"]))["number"] == "Ballot 2 of 2"
