"""Times of a record with 10,000 sessions and 1,000,000 cells; prints, asserts no time.

Run with: python -m pytest -q -s --override-ini addopts= --import-mode=importlib
tests/benchmarks/test_store_speed.py
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import tracemalloc
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import pytest
import sqlalchemy as sa

from sensory.catalogue.question import Question
from sensory.sessions.session import SessionDetails, StoredSession
from sensory.store.archive import archive_session, read_archive
from sensory.store.repository import open_store

from ..shared import add, put, write_lines
from .shared import best_of, to_be_filled

SESSIONS = 10_000
LINES, COLUMNS = 20, ("assessor", "order", "codes", "answer", "comment")
SIZES = (100, 1_000, SESSIONS)  # sessions: 10,000, 100,000 and 1,000,000 cells
WHO = {"who": "Änne Weiß", "why": "typed"}


def session(number: int) -> StoredSession:
    day, rest = divmod(number, 40)
    return StoredSession(
        id=f"s{number}",
        created_at=f"20{10 + day // 336:02}-{1 + day // 28 % 12:02}-{1 + day % 28:02}T08:{rest:02}",
        details=SessionDetails(title=f"Cordial {number}", leader=f"leader {number % 7}"),
        question=Question(pd_limit=0.30),
        cautions={},
    )


def cells(number: int) -> dict[int, dict[str, str]]:
    return {
        line: {
            "assessor": f"P{(number + line) % 150}",
            "order": "ABB",
            "codes": "412 837 265",
            "answer": "412",
            "comment": f"flat {number}",
        }
        for line in range(2, LINES + 2)
    }


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("record") / "panel.sqlite3"


@pytest.fixture(scope="module")
def grown(path: Path) -> dict[int, dict[str, float]]:
    """Milliseconds by number of sessions and by action."""
    store = to_be_filled(path)
    found: dict[int, dict[str, float]] = {}
    done, start = 0, perf_counter()
    for size in SIZES:
        for number in range(done, size):
            add(store, session(number), cells(number), **WHO)
        done = size
        store._engine.dispose()
        found[size] = measured(f"sqlite:///{path}", path, size)
    print(f"\nfilled and measured in {perf_counter() - start:.0f} s")
    return found


def measured(url: str, path: Path, size: int) -> dict[str, float]:
    store = open_store(url)
    key = f"s{size // 2}"
    whole = store.session(key)
    names = iter(range(1000))

    def described() -> None:
        now = store.session(key)
        new = replace(now, cautions={"cleared": not now.cautions.get("cleared", False)})
        put(store, new, expect=now, what="described", **WHO)

    def written(changes: dict[int, dict[str, str]]) -> None:
        write_lines(store, key, changes, **WHO)

    def opened() -> None:
        open_store(url)._engine.dispose()

    actions: dict[str, tuple[int, Callable[[], object]]] = {
        "open the record": (3, opened),
        "list of 50": (5, store.sessions),
        "list of 1,000": (3, lambda: store.sessions(1000)),
        "one session": (20, lambda: store.session(key)),
        "its cells": (20, lambda: store.cells(key)),
        "its journal": (20, lambda: store.entries(key)),
        "write one cell": (20, lambda: written({2: {"comment": f"flat {next(names)}"}})),
        "describe": (10, described),
        "verify one session": (5, lambda: store.verify(key)),
        "verify the record": (1, store.verify),
        "archive, and read it": (3, lambda: read_archive(archive_session(store, key))),
        "backup": (1, lambda: store.backup(path.with_name(f"copy{size}.sqlite3"))),
        "erase a person": (1, lambda: store.erase_person(f"P{size % 150}", **WHO)),
    }
    assert store.session(key) == whole
    times = {name: 1000 * best_of(rounds, action) for name, (rounds, action) in actions.items()}
    store._engine.dispose()
    return times


def test_growth(grown: dict[int, dict[str, float]]) -> None:
    print(f"\n{'milliseconds':>22}" + "".join(f"{size:>10} sessions" for size in SIZES))
    for name in grown[SESSIONS]:
        print(f"{name:>22}" + "".join(f"{grown[size][name]:>19.1f}" for size in SIZES))
    assert set(grown) == set(SIZES)


CHECKED, BALLOTS = (50, 100), 100  # sessions, and ballots in each
WANTED = 3.0  # microseconds a ballot: 3 s for a million


def test_check_of_the_whole_record(tmp_path: Path) -> None:
    """Time for each ballot beside the least: rows as the driver has them, hashed and parsed.

    Memory is that of some sessions, however many there are.
    """
    peaks = []
    for sessions in CHECKED:
        store = to_be_filled(tmp_path / f"{sessions}.sqlite3")
        for number in range(sessions):
            lines = {line: cells(number)[2] | {"code": f"{line}"} for line in range(BALLOTS)}
            add(store, session(number), lines, **WHO)
        tracemalloc.start()
        assert store.verify() == []
        peaks.append(tracemalloc.get_traced_memory()[1] / 2**20)
        tracemalloc.stop()
        ours = best_of(3, store.verify)
        least = best_of(3, lambda file=tmp_path / f"{sessions}.sqlite3": least_check(file))
        each = 1e6 * ours / (sessions * BALLOTS)
        print(
            f"\ncheck of {sessions * BALLOTS} ballots: ours {1e3 * ours:.0f} ms, least "
            f"{1e3 * least:.0f} ms, ratio {ours / least:.1f}; {each:.1f} us a ballot, wanted "
            f"{WANTED}{' RED' if each > WANTED else ''}; {peaks[-1]:.0f} MiB at its peak"
        )
        store.close()
    assert peaks[1] < 1.5 * peaks[0]


def least_check(file: Path) -> int:
    """Each entry hashed and parsed, each cell fetched, by the libraries alone."""
    with closing(sqlite3.connect(file)) as connection:
        for (content,) in connection.execute("SELECT content FROM journal ORDER BY number"):
            hashlib.sha256(content.encode()).hexdigest()
            json.loads(content)
        return sum(
            1 for _ in connection.execute("SELECT session, line, name, text FROM ballot_cells")
        )


def test_size_and_soundness(grown: dict[int, dict[str, float]], path: Path) -> None:
    assert grown
    store = open_store(f"sqlite:///{path}")
    with store._engine.connect() as connection:
        count = connection.scalar(sa.text("SELECT count(*) FROM ballot_cells"))
    assert count == SESSIONS * LINES * len(COLUMNS)
    assert store.verify() == []
    print(f"\n{count} cells, {path.stat().st_size / 2**20:.0f} MiB")
    store._engine.dispose()
