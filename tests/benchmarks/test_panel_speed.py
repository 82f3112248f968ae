"""The page Panel over a year of 2,000 sessions with 60 assessors and 200,000 ballots on record.

Prints CPU time beside what is wanted, 0.5 s; asserts no time. "First" is the first look of a
server that has all its modules; "after a write" the next look after an entry that has nothing to
do with the panel, "after a closing" after one more sitting; reading the same rows as JSON, with
nothing else, is the anchor. Before sums of alike sessions were worked out together the first look
took 2.5 s and each look after any write 1.2 s. With four times more to do than the two cores of
the machine could, so that the anchor took 0.4 s: first 0.9 to 1.0 s, again 0.1 s, after a write
0.15 to 0.27 s, after a closing 0.54 to 0.59 s. "Made ready" is the look after a thread of the
server has worked the panel out, which it does once a page was drawn and after each closing: with
the anchor at 0.46 s 0.32 s at first (1.39 s without) and 0.25 s after a closing (0.79 s without).

Run with: python -m pytest -q -s --override-ini addopts= --import-mode=importlib
tests/benchmarks/test_panel_speed.py
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import streamlit as st

from sensory.catalogue.question import Question
from sensory.screens import panel_history
from sensory.sessions.session import SessionDetails, StoredSession
from sensory.sessions.sitting import Sitting
from sensory.store import register
from sensory.store.repository import Repository, open_store

from ..panel.years import panels_of_a_plant
from ..screens.pages import run, words
from ..shared import add
from .shared import against, cpu_of, to_be_filled

SESSIONS, LINES = 2000, 100
WANTED = 0.5
WHO = {"who": "Änne Weiß", "why": "invented"}


def filled(path: Path) -> Repository:
    store = to_be_filled(path)
    sittings = panels_of_a_plant(np.random.default_rng(1), SESSIONS)
    for sitting in sittings:
        many = len(sitting.assessors)
        cells = {
            line: {"assessor": sitting.assessors[line % many], "answer": str(100 + line)}
            for line in range(LINES)
        }
        details = SessionDetails(title="Cordial", leader="leader", held_on=sitting.held_on)
        session = StoredSession(
            id=sitting.session,
            created_at=f"{sitting.held_on}T08:00:00",
            details=details,
            question=Question(pd_limit=0.30),
            cautions={},
        )
        add(store, session, cells, **WHO)
    kept(store, *sittings)
    store.close()
    return open_store(f"sqlite:///{path}")


def kept(store: Repository, *sittings: Sitting) -> None:
    back = date.today() - timedelta(days=1)
    newest = date.fromisoformat(max(each.held_on for each in sittings))
    with store.action(**WHO) as act:
        for each in sittings:
            day = date.fromisoformat(each.held_on) + (back - newest)
            act.keep_sitting(replace(each, held_on=day.isoformat()))


def test_page_panel(tmp_path: Path) -> None:
    path = tmp_path / "plant.sqlite3"
    store = filled(path)
    url = f"sqlite:///{path}"
    numbers = iter(range(10**6))

    app = run("people", url, None)

    def looked() -> None:
        assert "60 assessors" in words(app.run())

    def written() -> None:
        new = StoredSession(
            id=f"n{next(numbers)}", created_at="2026-01-01T08:00:00", details=SessionDetails(),
            question=Question(pd_limit=0.30), cautions={},
        )  # fmt: skip
        add(store, new, {}, **WHO)

    def closed() -> None:
        more = panels_of_a_plant(np.random.default_rng(2), 5)[-1]
        kept(store, replace(more, session=f"n{next(numbers)}"))

    def from_nothing() -> None:
        st.cache_resource.clear()
        panel_history._judged.cache_clear()
        register._noun.cache_clear()
        register._references.cache_clear()

    with closing(sqlite3.connect(path)) as plain:
        rows = [row for (row,) in plain.execute("SELECT content FROM register")]
    assert len(rows) == SESSIONS
    anchor = cpu_of(3, lambda: [json.loads(row) for row in rows])

    def ready(before: Callable[[], None]) -> Callable[[], None]:
        return lambda: (before(), panel_history.work_out(store))[0]

    for work, before in (("first", from_nothing), ("first, made ready", ready(from_nothing)),
                         ("again", lambda: None), ("after a write", written),
                         ("after a closing", closed),
                         ("after a closing, made ready", ready(closed))):  # fmt: skip
        times = []
        for _ in range(3):
            before()
            times.append(cpu_of(1, looked))
        print(against(f"page Panel, {work}", min(times), WANTED, "the rows as JSON", anchor))
    store.close()
