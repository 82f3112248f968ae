"""The network between a booth and the server goes away and comes back."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress
from pathlib import Path

import pytest
from playwright.sync_api import expect

from sensory.catalogue.methods import find_test
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, workflow
from sensory.sessions.allergens import served_samples
from sensory.store.repository import open_store

DEMO = Path(__file__).parents[2] / "demo_data"


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


@pytest.fixture
def store(server):
    opened = open_store(f"sqlite:///{server.record}")
    yield opened
    opened.close()


def seated(store, name, key, samples=None):
    """A session, and the link of somebody who consented."""
    prepared = workflow.read_prepared(DEMO, name)
    del prepared["cells"]
    session = workflow.open_session(
        store, workflow.new_session_id(), **prepared, who="test", why="test"
    )
    workflow.agree(store, session.id, who="A. Leader")
    plan = serving_plan(find_test(key), ["Anna", "Bo"], seed=8, samples=samples)
    booth_plans.serve(store, session.id, plan, ballot_lines(plan), who="A. Leader")
    declared = dict.fromkeys(served_samples(store.session(session.id)), "sulphites")
    exclusions.declare_allergens(store, session.id, declared, who="A. Leader")
    token = booth_plans.open_booths(store, session.id, who="A. Leader")["Anna"]
    booths.consent(store, token)
    return session.id, token


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
    wire.cut()
    page.locator('.stApp:not([data-test-connection-state="CONNECTED"])').wait_for()
    page.get_by_text("saving", exact=True).wait_for()
    assert not any(written(store, session_id, column) for column in expected)
    wire.mend()
    page.get_by_text("saved", exact=True).wait_for(timeout=60_000)
    visitor.settled()
    button.click()
    page.get_by_text(after).wait_for()
    assert {column: written(store, session_id, column) for column in expected} == expected
    assert len(written(store, session_id, "sent")) == 1
    assert store.verify() == []
