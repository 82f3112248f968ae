"""The page Panel is worked out by a thread, so that whoever opens it does not wait for it."""

from __future__ import annotations

from threading import Event, Thread
from time import monotonic, sleep

import numpy as np

from sensory.screens import panel_history, panel_ready
from sensory.store.repository import open_store

from ..panel.years import year
from .pages import BY, put, run


def waited(holds) -> bool:
    until = monotonic() + 60
    while not holds() and monotonic() < until:
        sleep(0.02)
    return holds()


def test_the_panel_is_ready_after_the_first_page_and_after_a_closing(url, monkeypatch):
    """What is worked out is counted; the look at the page afterwards adds nothing."""
    counted: list[object] = []
    plain = panel_history.attention
    monkeypatch.setattr(
        panel_history, "attention", lambda past: (counted.append(past), plain(past))[1]
    )
    store, stop = open_store(url), Event()
    sittings = year(np.random.default_rng(3))[-20:]
    with store.action(who=BY, why="invented") as act:
        for each in sittings[:-1]:
            act.keep_sitting(each)
    drawn = Event()
    panel_ready.WANTED.clear()
    thread = Thread(target=panel_ready.keep_ready, args=(store, drawn, stop), daemon=True)
    thread.start()
    try:
        assert counted == []  # no page was drawn yet
        drawn.set()
        assert waited(lambda: len(counted) == 1)
        with store.action(who=BY, why="invented") as act:
            act.keep_sitting(sittings[-1])
        put(store, "suspect_batch", "agreed")
        app = run("ballots", url)
        app.button(key="close").click().run()
        assert store.session("s1").closed
        assert waited(lambda: len(counted) == 2 and not panel_ready.WANTED.is_set())
    finally:
        stop.set()
        panel_ready.WANTED.set()
        thread.join(60)
    before = len(counted)
    panel_history.work_out(store)  # as the page asks for it
    assert len(counted) == before
    store.close()
