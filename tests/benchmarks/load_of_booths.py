"""Fifty booths send twenty ballots each at the same time; prints latencies, asserts no time.

    python tests/benchmarks/load_of_booths.py [booths] [ballots] [seconds between taps]

The app runs in its network mode, on a record of its own. Each booth is a connection that
speaks as a browser does: a tap on an answer goes to the route of answers, after a pause so does a
tap on 'send', which gives the next ballot; a pause. The page is opened once, by the framework's own
messages. Clients and server share the machine, so the CPU a tap is what can be compared; that of
opening the pages is counted apart.

Before the route gave the next ballot: `git show 05dc334:tests/benchmarks/load_of_booths.py`; before
there was the route: `git show 8fb5127:tests/benchmarks/load_of_booths.py`.
"""

from __future__ import annotations

import asyncio
import json
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, workflow
from sensory.sessions.allergens import served_samples
from sensory.store.repository import open_store

ROOT = Path(__file__).parents[2]
LONGEST_WAIT = 60.0


@dataclass
class Shown:
    """What one run of the script has shown so far."""

    data: dict = field(default_factory=dict)
    done: bool = False

    def take(self, message: ForwardMsg) -> None:
        kind = message.WhichOneof("type")
        if kind == "script_finished":
            self.done = message.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY
        if kind != "delta" or message.delta.WhichOneof("type") != "new_element":
            return
        element = message.delta.new_element
        if element.WhichOneof("type") == "bidi_component":
            self.data |= json.loads(element.bidi_component.json or "{}")


class Way:
    """A connection to the route of answers, kept open as browsers do."""

    def __init__(self, port: int):
        self.port, self.ends = port, None

    async def post(self, path: str, content: dict) -> dict:
        """What is told; a connection that the server has closed meanwhile is opened anew."""
        try:
            return await self._post(path, content)
        except (asyncio.IncompleteReadError, ConnectionError):
            self.ends = None
            return await self._post(path, content)

    async def _post(self, path: str, content: dict) -> dict:
        if self.ends is None:
            self.ends = await asyncio.open_connection("127.0.0.1", self.port)
        body, (source, target) = json.dumps(content).encode(), self.ends
        host = f"127.0.0.1:{self.port}"
        target.write(
            f"POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
            f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n".encode()
            + body
        )
        head = (await source.readuntil(b"\r\n\r\n")).decode().casefold()
        told = await source.readexactly(int(head.partition("content-length: ")[2].split()[0]))
        if " 200 " not in head.splitlines()[0]:
            raise RuntimeError(f"{head.splitlines()[0]}: {told.decode()}")
        return json.loads(told)


class Booth:
    """One assessor at one connection."""

    def __init__(self, socket: ClientConnection, way: Way, token: str, rng: random.Random):
        self.socket, self.way, self.token, self.rng = socket, way, token, rng
        self.view, self.turn, self.shown = {}, 0, Shown()

    async def open(self) -> float:
        """Open the page; the time until its ballot is there."""
        sent = BackMsg()
        sent.rerun_script.query_string = f"booth={self.token}"
        start = time.perf_counter()
        await self.socket.send(sent.SerializeToString())
        async with asyncio.timeout(LONGEST_WAIT):
            while not (self.shown.done and "view" in self.shown.data):
                message = ForwardMsg.FromString(await self.socket.recv())
                if message.WhichOneof("type") == "new_session":
                    self.shown = Shown()
                self.shown.take(message)
        self.view = json.loads(self.shown.data["view"])
        return time.perf_counter() - start

    async def answer(self) -> float:
        """Tap one sample; the time until it is acknowledged and may be sent."""
        (asked,) = (each for each in self.view["fields"] if each["name"] == "answer")
        code, _ = self.rng.choice(asked["choices"])
        start = time.perf_counter()
        told = await self.post(row=asked["row"], name=asked["name"], given=code, over=[""])
        took = time.perf_counter() - start
        if told != {"text": code, "open": []}:
            raise RuntimeError(str(told))
        asked["held"] = code
        return took

    async def send(self) -> float:
        """Tap 'send': the time until it is acknowledged and the next ballot is there."""
        shown = [[each["row"], each["name"], each["held"]] for each in self.view["fields"]]
        start = time.perf_counter()
        self.view = (await self.post(shown=shown))["next"]
        return time.perf_counter() - start

    async def post(self, **content: object) -> dict:
        self.turn += 1
        data, window = self.shown.data, {"window": f"{id(self):032x}", "turn": self.turn}
        line = self.view["line"]
        return await self.way.post(
            data["route"], {"token": self.token, "line": line, **window, **content}
        )


async def sit(port: int, token: str, seed: int, ballots: int, pause: float, found, opened) -> None:
    """From opening the link to the thanks."""
    rng = random.Random(seed)
    await asyncio.sleep(rng.uniform(0, 5))
    try:
        async with connect(
            f"ws://127.0.0.1:{port}/_stcore/stream",
            origin=f"http://127.0.0.1:{port}",
            subprotocols=["streamlit"],
            proxy=None,
            max_size=None,
        ) as wire:
            booth = Booth(wire, Way(port), token, rng)
            found["opened"].append(await booth.open())
            await opened.wait()
            for _ in range(ballots):
                await asyncio.sleep(rng.uniform(0.5, 1.5) * pause)
                found["answered"].append(await booth.answer())
                await asyncio.sleep(rng.uniform(0.5, 1.5) * pause)
                found["sent"].append(await booth.send())
    except Exception as error:
        found["errors"].append(f"{type(error).__name__}: {error}")


def prepare(url: str, people: int, ballots: int) -> tuple[str, list[str]]:
    """A session with its plan; everybody has consented."""
    store = open_store(url)
    prepared = workflow.read_prepared(ROOT / "demo_data", "suspect_batch")
    del prepared["cells"]
    session = workflow.open_session(
        store, workflow.new_session_id(), **prepared, who="benchmark", why="benchmark"
    )
    workflow.agree(store, session.id, who="benchmark")
    plan = serving_plan("triangle", people, seed=2**128 + 1, replicates=ballots)
    booth_plans.serve(store, session.id, plan, ballot_lines(plan), who="benchmark")
    declared = dict.fromkeys(served_samples(store.session(session.id)), "sulphites")
    exclusions.declare_allergens(store, session.id, declared, who="benchmark")
    tokens = list(booth_plans.open_booths(store, session.id, who="benchmark").values())
    for token in tokens:
        booths.consent(store, token)
    store.close()
    return session.id, tokens


def start(url: str, log: Path) -> tuple[subprocess.Popen[bytes], int]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with log.open("wb") as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "sensory.screens.command", "network", "--port", str(port)],
            cwd=ROOT,
            env=os.environ | {"SENSORY_RECORD": url, "SENSORY_PASSCODE": "plum cordial"},
            stdout=said,
            stderr=said,
            start_new_session=True,
        )
    for _ in range(150):
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2).close()
        except OSError:
            time.sleep(0.2)
        else:
            return process, port
    raise RuntimeError(log.read_text())


def said(name: str, seconds: list[float]) -> str:
    if not seconds:
        return f"{name}: none"
    cuts = statistics.quantiles(seconds, n=20, method="inclusive")
    thousandths = [1000 * one for one in (statistics.median(seconds), cuts[18], max(seconds))]
    median, late, worst = (f"{one:.0f}" for one in thousandths)
    return f"{name}: {len(seconds)}, median {median} ms, 95th {late} ms, worst {worst} ms"


def core_of(process: subprocess.Popen[bytes]) -> float:
    """Seconds of a core that a process has used so far."""
    used = Path(f"/proc/{process.pid}/stat").read_text().split()
    return sum(map(int, used[13:15])) / os.sysconf("SC_CLK_TCK")


async def all_at_once(port: int, tokens: list[str], ballots: int, pause: float, core) -> dict:
    """What each booth found, and the core that the server had used when all were open."""
    found = {"opened": [], "answered": [], "sent": [], "errors": []}
    opened = asyncio.Event()
    seats = [
        asyncio.create_task(sit(port, token, seed, ballots, pause, found, opened))
        for seed, token in enumerate(tokens)
    ]
    while len(found["opened"]) + len(found["errors"]) < len(tokens):
        await asyncio.sleep(0.2)
    await asyncio.sleep(2)
    found["core"] = core()
    opened.set()
    await asyncio.gather(*seats)
    return found


def main(people: int = 50, ballots: int = 20, pause: float = 2.0) -> None:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'record.sqlite3'}"
        session_id, tokens = prepare(url, people, ballots)
        process, port = start(url, Path(folder) / "server.log")
        print(f"{people} booths, {ballots} ballots each, {pause} s between taps", flush=True)
        try:
            began, before = time.perf_counter(), core_of(process)
            found = asyncio.run(all_at_once(port, tokens, ballots, pause, lambda: core_of(process)))
            took, core = time.perf_counter() - began, core_of(process) - found["core"]
        finally:
            os.killpg(process.pid, signal.SIGTERM)
            process.wait(30)
        for name in ("opened", "answered", "sent"):
            print(said(name, found[name]))
        taps = len(found["answered"]) + len(found["sent"])
        each = 1000 * core / taps
        page = 1000 * (found["core"] - before) / people
        print(f"{took:.0f} s; the server used {core:.1f} s of a core, {each:.1f} ms a tap")
        print(f"opening took {page:.0f} ms of a core a page, with the first imports")
        print(f"errors: {len(found['errors'])}", *found["errors"][:5], sep="\n  ")
        store = open_store(url)
        sent = sum(bool(texts.get("sent")) for texts in store.cells(session_id).values())
        assert sent == people * ballots, f"{sent} ballots on record"
        assert store.verify() == []
        store.close()
        print(f"{sent} ballots on record, each once; the journal is sound")


if __name__ == "__main__":
    main(*(cast(text) for cast, text in zip((int, int, float), sys.argv[1:], strict=False)))
