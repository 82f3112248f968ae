"""A clock, and a record that is filled without waiting for the disk."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from time import perf_counter, process_time

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


def cpu_of(rounds: int, action: Callable[..., object], *given: object) -> float:
    """Seconds of this process's CPU in the quickest of some rounds: others may use the machine."""
    times = []
    for _ in range(rounds):
        start = process_time()
        action(*given)
        times.append(process_time() - start)
    return min(times)


def against(work: str, ours: float, wanted: float, anchor: str, theirs: float) -> str:
    """A line of milliseconds: ours, what was wanted, and a general-purpose library's."""
    late = "" if ours <= wanted else "  TOO SLOW"
    return (
        f"\n{work}: {1e3 * ours:.1f} ms (wanted {1e3 * wanted:.0f}){late}; "
        f"{anchor} {1e3 * theirs:.0f} ms, ratio {theirs / ours:.1f}"
    )


def to_be_filled(path: Path) -> Repository:
    store = open_store(f"sqlite:///{path}")

    @sa.event.listens_for(store._engine, "connect")
    def _fast(connection, _record) -> None:
        connection.execute("PRAGMA synchronous = OFF")  # only to fill it

    store.close()
    return store


def told(work: str, ours: float, anchor: float, wanted: float) -> None:
    """Print a line: milliseconds of ours and of the anchor, their ratio, the largest wanted."""
    ratio = ours / anchor
    mark = "" if ratio <= wanted else "  RED"
    print(f"\n{work:>40} {1000 * ours:9.1f} {1000 * anchor:9.1f} {ratio:7.1f} {wanted:7.1f}{mark}")
