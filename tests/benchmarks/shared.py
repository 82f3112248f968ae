"""A clock, and a record that is filled without waiting for the disk."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import sqlalchemy as sa

from sensory.store.repository import Repository, open_store


def best_of(rounds: int, action: Callable[[], object]) -> float:
    """Seconds of the quickest of some rounds."""
    times = []
    for _ in range(rounds):
        start = perf_counter()
        action()
        times.append(perf_counter() - start)
    return min(times)


def to_be_filled(path: Path) -> Repository:
    store = open_store(f"sqlite:///{path}")

    @sa.event.listens_for(store._engine, "connect")
    def _fast(connection, _record) -> None:
        connection.execute("PRAGMA synchronous = OFF")  # only to fill it

    store.close()
    return store
