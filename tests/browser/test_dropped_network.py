"""The network between a booth and the server goes away and comes back."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress

import pytest
from playwright.sync_api import expect

from sensory.sessions import booths

from .served import put, serve


class Wire:
    """A TCP proxy on an address of its own that can be cut and mended.

    Before it is cut it can swallow what is sent, as a network does that nobody answers on.
    """

    def __init__(self, to: int):
        self.to, self.port = to, 0
        self.ends: list[socket.socket] = []
        self.lock = threading.Lock()
        self.swallows = False
        self.mend()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def mend(self) -> None:
        self.swallows = False
        self.door = socket.create_server(("127.0.0.1", self.port))
        self.port = self.door.getsockname()[1]
        threading.Thread(target=self._accept, args=(self.door,), daemon=True).start()

    def cut(self) -> None:
        with self.lock:
            ends, self.ends = [self.door, *self.ends], []
        for end in ends:
            with suppress(OSError):  # the other side was quicker
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def _accept(self, door: socket.socket) -> None:
        while True:
            try:
                near, _ = door.accept()
                far = socket.create_connection(("127.0.0.1", self.to))
            except OSError:
                return
            with self.lock:
                if self.door is not door or door.fileno() < 0:
                    near.close()
                    far.close()
                    return
                self.ends += [near, far]
            for pair in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=pair, daemon=True).start()

    def _carry(self, source: socket.socket, target: socket.socket) -> None:
        with suppress(OSError):
            while part := source.recv(65536):
                if not self.swallows:
                    target.sendall(part)
        for end in (source, target):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


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


def written(store, session_id, name):
    """What the journal says was written into one column, in order."""
    return [
        change["new"]
        for entry in store.entries(session_id)
        for change in entry.content.get("changes", [])
        if change["name"] == name
    ]


def tap_a_code(page):
    """The second code, and the mark of a guess, while nobody answers."""
    page.get_by_role("radio").nth(1).check(force=True)
    page.locator(".stCheckbox label").click()
    return {"answer": [page.locator(".stRadio label p").nth(2).inner_text()], "guess": ["x"]}


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
    button = page.locator('[class*="st-key-send-"] button')
    button.wait_for()
    page.locator("p.echo[role=status]").wait_for(state="attached")  # its code has come
    visitor.settled()
    wire.swallows = True
    expected = answer(page)
    page.get_by_text("saving", exact=True).wait_for()
    expect(button).to_be_disabled()
    page.get_by_text("not sent yet, keep this page open").wait_for()  # the line looks open still
    wire.cut()
    page.locator('.stApp:not([data-test-connection-state="CONNECTED"])').wait_for()
    page.get_by_text("not sent yet, keep this page open").wait_for()
    assert not any(written(store, session_id, column) for column in expected)
    wire.mend()
    page.get_by_text("saved", exact=True).wait_for(timeout=60_000)
    visitor.settled()
    button.click()
    page.get_by_text(after).wait_for()
    assert {column: written(store, session_id, column) for column in expected} == expected
    assert len(written(store, session_id, "sent")) == 1
    assert store.verify() == []


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
    page.wait_for_timeout(2_500)  # what is not echoed is sent again every 2 s
    assert recorded() == newer
    server.kill()
    page.locator('.stApp:not([data-test-connection-state="CONNECTED"])').wait_for()
    if samples:
        mark(1)
        page.get_by_text("saving", exact=True).first.wait_for()
    else:  # Streamlit's own fields take nothing without a server
        expect(page.get_by_role("radio").nth(1)).to_be_disabled()
    server.start()
    page.locator('.stApp[data-test-connection-state="CONNECTED"]').wait_for(timeout=60_000)
    visitor.settled()
    if samples:
        page.get_by_text("saved", exact=True).first.wait_for(timeout=60_000)
    assert recorded() == ("10.00" if samples else newer)
    assert written(store, session_id, column)[1] == newer
