"""A server that is killed while booths send: what was acknowledged is there, once.

`python tests/sessions/test_booth_faults.py [kills] [before]` does so 200 times in two ways: over
the route of answers, where every acknowledged answer is looked for as well, and by the use cases
alone; with `before`, it goes on where so many were done.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import time
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPException
from itertools import count
from pathlib import Path
from threading import Timer

from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, workflow
from sensory.store.repository import open_store
from tests.programs import Program

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_data"
# One process for all booths: each answers its next ballot, sends it, and says so.
CHILD = """
import sys, threading
from sensory.sessions import booths
from sensory.store.repository import open_store
store = open_store(sys.argv[1])
lock = threading.Lock()
def sit(token):
    while True:
        here = booths.visit(store, token)
        if here.ballot is None:
            return
        line = here.ballot.line
        booths.keep(store, token, line, {line: {"answer": here.ballot.codes[0]}})
        booths.send(store, token, line, shown={})
        with lock:
            print(line, flush=True)
print("ready", flush=True)
threads = [threading.Thread(target=sit, args=(token,)) for token in sys.argv[2:]]
[one.start() for one in threads]
[one.join() for one in threads]
print("done", flush=True)
"""


def killed_again_and_again(tmp_path, people, sets, kills, seed):
    """Kill the process `kills` times at random moments; then let it finish."""
    url, session_id, tokens = arranged(tmp_path, people, sets)
    rng, acknowledged, killed, finished = random.Random(seed), [], 0, False
    while not finished:
        child = Program("-c", CHILD, url, *tokens)
        assert child.stdout.readline() == "ready\n"
        if killed < kills:
            time.sleep(rng.uniform(0.01, 0.25))
            child.kill()
            killed += 1
        rest = child.rest().split()
        finished = "done" in rest
        acknowledged += [int(line) for line in rest if line.isdecimal()]
    return open_store(url), session_id, acknowledged, people * sets, killed


def arranged(tmp_path, people, sets):
    """A record with a session at booths, where everybody has consented, and their links."""
    url = f"sqlite:///{tmp_path / 'r.sqlite3'}"
    store = open_store(url)
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    del prepared["cells"]
    session = workflow.open_session(store, workflow.new_session_id(), **prepared, who="t", why="t")
    workflow.agree(store, session.id, who="A. Leader")
    plan = serving_plan("triangle", people, seed=2**128 + 1, replicates=sets)
    booth_plans.serve(store, session.id, plan, ballot_lines(plan), who="A. Leader")
    tokens = booth_plans.open_booths(store, session.id, who="A. Leader").values()
    for token in tokens:
        booths.consent(store, token)
    store.close()
    return url, session.id, list(tokens)


class Window:
    """A booth page: it answers, sends, and begins again with what the record holds."""

    def __init__(self, store, token, place):
        self.store, self.token = store, token
        self.window, self.turns = f"{place:032x}", count(1)
        self.answers, self.sent = {}, []

    def sit(self, port):
        """Until all is sent, or the server is gone; what it has acknowledged is kept."""
        try:
            while (ballot := booths.visit(self.store, self.token).ballot) is not None:
                line, code = ballot.line, ballot.codes[ballot.line % 3]
                place = {"row": line, "name": "answer", "over": [ballot.asked[0].given]}
                if self.post(port, line, given=code, **place) == {"text": code, "open": []}:
                    self.answers[line] = code
                if "next" in self.post(port, line, shown=[[line, "answer", code]]):
                    self.sent.append(line)
        except (OSError, HTTPException):
            return False
        return True

    def post(self, port, line, **content):
        content |= {"token": self.token, "line": line, "window": self.window}
        request = urllib.request.Request(
            f"http://127.0.0.1:{port}/booth-answer",
            json.dumps(content | {"turn": next(self.turns)}).encode(),
            {"Content-Type": "application/json", "Host": "plant", "Origin": "http://plant"},
        )
        with urllib.request.urlopen(request, timeout=30) as told:
            return json.load(told)


def killed_over_the_route(tmp_path, people, sets, kills, seed):
    """The same with a server that has the route, and pages that post to it."""
    url, session_id, tokens = arranged(tmp_path, people, sets)
    store, rng, killed, finished = open_store(url), random.Random(seed), 0, False
    windows = [Window(store, token, place) for place, token in enumerate(tokens)]
    command = [sys.executable, ROOT / "tests" / "store" / "answers_process.py", url]
    around = os.environ | {"PYTHONPATH": str(ROOT)}
    while not finished:
        with subprocess.Popen(
            command, stdout=subprocess.PIPE, text=True, cwd=ROOT, env=around
        ) as server:
            port = server.stdout.readline().strip()
            if killed < kills:
                Timer(rng.uniform(0.01, 0.4), server.kill).start()
                killed += 1
            with ThreadPoolExecutor(people) as pool:
                finished = all(pool.map(Window.sit, windows, [port] * people))
            server.kill()
    kept = store.cells(session_id)
    for window in windows:
        for line, code in window.answers.items():
            assert kept[line]["answer"] == code, "an acknowledged answer is lost"
    acknowledged = [line for window in windows for line in window.sent]
    return store, session_id, acknowledged, people * sets, killed


def check(store, session_id, acknowledged, ballots, killed):
    cells = store.cells(session_id)
    sent = {line for line, texts in cells.items() if texts.get("sent")}
    assert len(set(acknowledged)) == len(acknowledged), "acknowledged twice"
    assert set(acknowledged) <= sent
    assert len(sent) == ballots
    entries = store.entries(session_id)
    written = [
        change["line"]
        for entry in entries
        for change in entry.content.get("changes", [])
        if change["name"] == "sent"
    ]
    assert sorted(written) == sorted(sent), "a ballot was sent twice"
    assert store.verify() == []
    return len(acknowledged), killed


def test_nothing_acknowledged_is_lost_and_nothing_is_there_twice(tmp_path):
    found = killed_again_and_again(tmp_path, people=6, sets=5, kills=6, seed=3)
    acknowledged, killed = check(*found)
    assert killed >= 3
    assert acknowledged >= 20


if __name__ == "__main__":
    import tempfile

    most, before = (int(text) for text in (*sys.argv[1:], *("200", "0")[len(sys.argv) - 1 :]))
    for way in (killed_over_the_route, killed_again_and_again):
        rounds = before
        while rounds < most:
            with tempfile.TemporaryDirectory() as folder:
                _, times = check(*way(Path(folder), 20, 5, 10, rounds))
            rounds += times
            print(f"{way.__name__}: {rounds} kills, nothing acknowledged was lost", flush=True)
