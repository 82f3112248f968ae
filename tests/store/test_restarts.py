"""PostgreSQL is started anew while booths answer: what was acknowledged is there, once, and the
server of the booths, which is not started anew, comes back by itself.

`PYTHONPATH=. python -m tests.store.test_restarts [restarts]` does so 50 times, by turns in order
and as a crash does, with a database that writes through to the disk. In 50 restarts, the longest of
7.6 s on a busy machine, 1,500 answers and ballots were acknowledged, none lost and none doubled;
7,872 tries came while it was away, and the first was acknowledged at most 0.26 s after a restart.
"""

from __future__ import annotations

import json
import math
import random
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import count
from typing import Any

from sensory.base.errors import UnreachableError
from sensory.screens.answers import ANSWERS
from sensory.sessions import booths
from sensory.sessions.booth_ballots import BoothBallot
from sensory.sessions.store import Store
from sensory.store.repository import open_store

from ..programs import ROOT, Program
from ..sessions.shared import answers_written, at_booths
from .cluster import Cluster, new_schema, postgres_programs

MODES = ("fast", "immediate")


@dataclass
class Booth:
    """A booth page: it marks one sample, then another, and sends, each until it is acknowledged."""

    store: Store
    port: str
    token: str
    window: str
    pause: float
    turns: Iterator[int] = field(default_factory=lambda: count(1))
    given: dict[int, list[str]] = field(default_factory=dict)
    acknowledged: list[float] = field(default_factory=list)
    refused: int = 0

    def sit(self) -> None:
        while (ballot := self.waiting()) is not None:
            line, known = ballot.line, [""]
            for code in (ballot.codes[0], ballot.codes[2]):
                place = {"row": line, "name": "answer", "over": [*known, code]}
                assert self.until_taken(line, given=code, **place)["text"] == code
                self.given.setdefault(line, []).append(code)
                known = [code]
            assert "next" in self.until_taken(line, shown=[[line, "answer", known[0]]])

    def waiting(self) -> BoothBallot | None:
        while True:
            try:
                return booths.visit(self.store, self.token).ballot
            except UnreachableError:
                time.sleep(0.05)

    def until_taken(self, line: int, **content: Any) -> dict[str, Any]:
        """As the script of the page does: again and again while the record is away."""
        time.sleep(self.pause)
        while True:
            sent = {"token": self.token, "line": line, "window": self.window, **content}
            request = urllib.request.Request(
                f"http://127.0.0.1:{self.port}{ANSWERS}",
                json.dumps(sent | {"turn": next(self.turns)}).encode(),
                {"Content-Type": "application/json", "Host": "plant", "Origin": "http://plant"},
            )
            try:
                with urllib.request.urlopen(request, timeout=60) as told:
                    self.acknowledged.append(time.monotonic())
                    return dict(json.load(told))
            except urllib.error.HTTPError as error:
                if error.code != 503:
                    raise AssertionError(error.read().decode()) from error
                self.refused += 1
                time.sleep(0.05)


@dataclass
class Told:
    """Answers and ballots acknowledged, tries while the database was away, how long each restart
    took, and how long after it, and before the next, the first was acknowledged."""

    acknowledged: int
    refused: int
    restarts: list[float]
    back: list[float]


def answered_under_restarts(
    url: str, restart: Callable[[str], None], *, people: int, sets: int, restarts: int, seed: int
) -> Told:
    """Booths answer until all is sent; meanwhile the database is started anew some times."""
    store, rng = open_store(url), random.Random(seed)
    names = [f"P{number}" for number in range(people)]
    session_id, _, tokens = at_booths(store, people=names, replicates=sets)
    server = Program(ROOT / "tests" / "store" / "answers_process.py", url)
    port = server.stdout.readline().strip()
    for token in tokens.values():
        booths.consent(store, token)
    pause = 0.25 * restarts / sets
    at = [Booth(store, port, token, f"{n:032x}", pause) for n, token in enumerate(tokens.values())]
    done: list[tuple[float, float]] = []
    try:
        with ThreadPoolExecutor(people) as pool:
            sitting = [pool.submit(booth.sit) for booth in at]
            while len(done) < restarts and not all(each.done() for each in sitting):
                time.sleep(rng.uniform(0.05, 0.5))
                began = time.monotonic()
                restart(MODES[(seed + len(done)) % 2])
                done.append((began, time.monotonic()))
            for each in sitting:
                each.result(300)
        assert server.poll() is None, "the server of the booths has ended"
    finally:
        server.kill()
        server.stdout.close()
    compare(store, session_id, at, people * sets)
    store.close()
    times = sorted(moment for booth in at for moment in booth.acknowledged)
    again = [*(began for began, _ in done[1:]), math.inf]
    firsts = [next((each for each in times if each > end), math.inf) for _, end in done]
    return Told(
        acknowledged=len(times),
        refused=sum(booth.refused for booth in at),
        restarts=[end - began for began, end in done],
        back=[
            first - end
            for first, (_, end), next_one in zip(firsts, done, again, strict=True)
            if first < next_one
        ],
    )


def compare(store: Store, session_id: str, at: list[Booth], ballots: int) -> None:
    """The record holds every acknowledged answer once, in its order, and nothing else."""
    given = {line: codes for booth in at for line, codes in booth.given.items()}
    written, sent = answers_written(store, session_id)
    assert written == given, "an acknowledged answer is lost, or there twice"
    assert sorted(sent) == sorted(given), "a ballot is not sent, or sent twice"
    assert len(given) == ballots
    kept = store.cells(session_id)
    assert all(kept[line]["answer"] == codes[-1] for line, codes in given.items())
    assert store.verify() == []


def test_nothing_acknowledged_is_lost_when_the_database_is_started_anew(
    postgres_cluster, postgres_url
):
    told = answered_under_restarts(
        postgres_url, postgres_cluster.restart, people=3, sets=2, restarts=1, seed=1
    )
    assert (len(told.restarts), told.acknowledged) == (1, 3 * 2 * 3)


def long_form(wanted: int) -> None:
    """Rounds of ten booths with ten ballots each."""
    programs = postgres_programs()
    if programs is None:
        sys.exit("No PostgreSQL server programs on this machine (initdb, pg_ctl).")
    acknowledged, refused, restarts, back = 0, 0, list[float](), list[float]()
    with Cluster(programs).running() as cluster:
        for seed in count():
            if len(restarts) >= wanted:
                break
            told = answered_under_restarts(
                new_schema(str(cluster.folder)), cluster.restart,
                people=10, sets=10, restarts=min(10, wanted - len(restarts)), seed=seed,
            )  # fmt: skip
            restarts += told.restarts
            acknowledged += told.acknowledged
            refused += told.refused
            back += told.back
            print(
                f"{len(restarts)} restarts, the longest {max(restarts):.1f} s; {acknowledged} "
                f"answers and ballots acknowledged, none lost, none doubled; {refused} tries while "
                f"it was away; the first acknowledged at most {max(back):.2f} s after a restart",
                flush=True,
            )


if __name__ == "__main__":
    long_form(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
