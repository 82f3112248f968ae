"""The network between a booth and the server goes away and comes back."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from sensory.sessions import booths

from .served import put, serve, written
from .wire import Wire


@pytest.fixture
def wire(server):
    laid = Wire(server.port)
    yield laid
    laid.cut()


def seated(store, name, key, samples=None):
    """A session, and the link of somebody who consented."""
    here = put(store, name)
    token = serve(store, here, key, people=("Anna", "Bo"), samples=samples)[1]["Anna"]
    booths.consent(store, token)
    return here, token


def tap_a_code(page):
    """The second code, and the mark of a guess, while nobody answers."""
    page.get_by_role("radio").nth(1).check(force=True)
    page.get_by_role("checkbox").check()
    return {"answer": [page.locator(".choices label").nth(1).inner_text()], "guess": ["x"]}


def mark_a_line(page):
    page.get_by_role("slider").press("End")
    page.get_by_role("slider").press("ArrowLeft")
    return {"score": ["9.80"]}  # a key moves the mark by 2 of 100 on a scale to 10


@pytest.mark.parametrize(
    ("name", "key", "samples", "answer", "after"),
    [
        ("suspect_batch", "TRIANGLE", None, tap_a_code, "All your ballots are sent."),
        ("gasket", "DIFFERENCE_FROM_CONTROL", ["blind", "batch"], mark_a_line, "Ballot 2 of 2"),
    ],
)
def test_what_was_answered_meanwhile_arrives_once(
    visitor_of, wire, store, name, key, samples, answer, after
):
    session_id, token = seated(store, name, key, samples)
    visitor = visitor_of(wire, width=768)
    page = visitor.page
    page.goto(f"{wire.url}/?booth={token}")
    button = page.locator("button.send")
    button.wait_for()
    page.locator("p.echo[role=status]").wait_for(state="attached")  # its code has come
    visitor.settled()
    wire.swallows = True
    expected = answer(page)
    expect(page.locator("p.echo")).to_have_text("saving")
    expect(button).to_be_disabled()
    page.get_by_text("not sent yet, keep this page open").wait_for()  # the line looks open still
    wire.cut()
    page.locator('.stApp:not([data-test-connection-state="CONNECTED"])').wait_for()
    page.get_by_text("not sent yet, keep this page open").wait_for()
    assert not any(written(store, session_id, column) for column in expected)
    wire.mend()
    expect(page.locator("p.echo")).to_have_text("saved", timeout=60_000)
    visitor.settled()
    button.click()
    page.get_by_text(after).wait_for()
    assert {column: written(store, session_id, column) for column in expected} == expected
    assert len(written(store, session_id, "sent")) == 1
    assert store.verify() == []


def test_a_page_without_answers_says_as_well_that_nobody_answers(visitor_of, wire, store):
    """Cautions and breaks said nothing, and Streamlit's English words lay over every page."""
    here = put(store, "suspect_batch")
    arranged = {"replicates": 2, "sittings": 2, "language": "de"}
    token = serve(store, here, "TRIANGLE", people=("Anna", "Bo"), **arranged)[1]["Anna"]
    visitor = visitor_of(wire, width=390)
    page = visitor.page
    page.goto(f"{wire.url}/?booth={token}")
    line = page.locator("p.echo[role=status]")
    line.wait_for(state="attached", timeout=120_000)
    wire.swallows = True
    page.get_by_text("noch nicht gesendet, lassen Sie diese Seite offen").wait_for()
    expect(line).to_be_in_viewport()
    booths.consent(store, token)
    ballot = booths.visit(store, token).ballot
    answered = {ballot.line: {"answer": ballot.codes[0]}}
    booths.keep(store, token, ballot.line, answered)
    booths.send(store, token, ballot.line, shown=answered)
    wire.swallows = False
    page.reload()
    visitor.heading("Pause")
    line.wait_for(state="attached")
    wire.cut()
    page.get_by_text("Im Moment nicht erreichbar.").wait_for()
    expect(line).to_be_in_viewport()
    theirs = page.locator(".stDialog")
    theirs.wait_for(state="attached")
    expect(theirs).to_be_hidden()
    theirs.wait_for(state="detached")  # it kept the page from readers of the screen
    wire.mend()
    page.get_by_text("Im Moment nicht erreichbar.").wait_for(state="detached")


@pytest.mark.parametrize("samples", [None, ["blind", "batch"]], ids=["choice", "line"])
def test_a_server_that_was_started_anew_takes_new_answers_and_no_old_ones(
    visitor_of, server, store, samples
):
    """One window is left open; another one answers while the server is down."""
    name, key = ("gasket", "DIFFERENCE_FROM_CONTROL") if samples else ("suspect_batch", "TRIANGLE")
    session_id, token = seated(store, name, key, samples)
    visitor = visitor_of(server, width=768)
    page = visitor.page
    column = "score" if samples else "answer"

    def mark(place):
        if samples:
            page.get_by_role("slider").press("End" if place else "Home")
        else:
            page.get_by_role("radio").nth(place).check(force=True)

    def recorded():
        here = booths.visit(store, token).ballot
        return next(asked.given for asked in here.asked if asked.name == column)

    visitor.goto(f"?booth={token}")
    page.locator("p.echo[role=status]").wait_for(state="attached")
    visitor.settled()
    mark(0)
    page.get_by_text("saved", exact=True).first.wait_for()
    visitor.settled()
    ballot = booths.visit(store, token).ballot
    newer = "5.00" if samples else ballot.codes[2]
    server.kill()
    booths.keep(store, token, ballot.line, {ballot.line: {column: newer}})
    server.start()
    page.locator('.stApp[data-test-connection-state="CONNECTED"]').wait_for(timeout=60_000)
    visitor.settled()
    if samples:  # the answer of the other window is shown, and stays
        expect(page.get_by_role("slider")).to_have_attribute("aria-valuenow", "50")
    else:
        expect(page.get_by_role("radio").nth(2)).to_be_checked()
    page.wait_for_timeout(2_500)  # what is not acknowledged is sent again every 2 s
    assert recorded() == newer
    server.kill()
    page.locator('.stApp:not([data-test-connection-state="CONNECTED"])').wait_for()
    mark(1)
    page.get_by_text("not sent yet, keep this page open").wait_for()
    server.start()
    page.locator('.stApp[data-test-connection-state="CONNECTED"]').wait_for(timeout=60_000)
    visitor.settled()
    expect(page.locator("p.echo")).to_have_text("saved", timeout=60_000)
    assert recorded() == ("10.00" if samples else ballot.codes[1])
    assert written(store, session_id, column)[1] == newer
