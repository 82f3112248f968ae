"""A server that is killed while booths send: what was acknowledged is there, once."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, workflow
from sensory.store.repository import open_store

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
    rng, acknowledged, killed, finished = random.Random(seed), [], 0, False
    while not finished:
        command = [sys.executable, "-c", CHILD, url, *tokens]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) as child:
            assert child.stdout.readline() == "ready\n"
            if killed < kills:
                time.sleep(rng.uniform(0.01, 0.25))
                child.kill()
                killed += 1
            rest = child.stdout.read().split()
        finished = "done" in rest
        acknowledged += [int(line) for line in rest if line.isdecimal()]
    return open_store(url), session.id, acknowledged, people * sets, killed


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

    rounds = 0
    for turn in range(20):
        with tempfile.TemporaryDirectory() as folder:
            _, times = check(*killed_again_and_again(Path(folder), 50, 2, 10, turn))
        rounds += times
        print(f"{rounds} kills with 50 booths sending: nothing acknowledged was lost", flush=True)
