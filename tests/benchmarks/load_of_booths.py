"""Fifty booths send twenty ballots each at the same time; prints latencies, asserts no time.

    python tests/benchmarks/load_of_booths.py [booths] [ballots] [seconds between taps]

The app runs in its network mode, on a record of its own. Each booth is a connection that
speaks as a browser does: a tap on an answer goes to the route of answers, after a pause so does a
tap on 'send', and when that is acknowledged the page is asked for the next ballot by the
framework's own messages; a pause. It goes on when the server has shown that. Clients and server
share the machine, so the CPU a tap is what can be compared.

Before 'send' went to the route: `git show 106977d:tests/benchmarks/load_of_booths.py`; before there
was the route: `git show 8fb5127:tests/benchmarks/load_of_booths.py`.
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
    """What one run of the script has shown so far, by the keys of the page."""

    ids: dict[str, str] = field(default_factory=dict)
    options: list[str] = field(default_factory=list)
    data: dict = field(default_factory=dict)
    title: str = ""
    done: bool = False

    def take(self, message: ForwardMsg) -> None:
        kind = message.WhichOneof("type")
        if kind == "script_finished":
            self.done = message.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY
        if kind != "delta" or message.delta.WhichOneof("type") != "new_element":
            return
        element = message.delta.new_element
        match element.WhichOneof("type"):
            case "radio":
                self.ids["answer"], self.options = element.radio.id, list(element.radio.options)
            case "button" if element.button.is_form_submitter:
                self.ids["send"] = element.button.id
            case "button" if not element.button.label:
                self.ids["again"] = element.button.id
            case "bidi_component":
                self.data = json.loads(element.bidi_component.json or "{}")
            case "heading" if element.heading.tag == "h1":
                self.title = element.heading.body


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
        self.page, self.fields, self.turn = "", [], 0
        self.shown = Shown()

    def message(self, tapped: str = "") -> bytes:
        """What a browser sends where the page is to be drawn anew: no field, they are in a form."""
        sent = BackMsg()
        sent.rerun_script.query_string = f"booth={self.token}"
        sent.rerun_script.page_script_hash = self.page
        states = sent.rerun_script.widget_states.widgets
        if tapped:
            states.add(id=tapped, trigger_value=True)
        return sent.SerializeToString()

    async def until(self, is_there) -> None:
        """Read until a run has ended that shows it."""
        async with asyncio.timeout(LONGEST_WAIT):
            while not (self.shown.done and is_there(self.shown)):
                message = ForwardMsg.FromString(await self.socket.recv())
                if message.WhichOneof("type") == "new_session":
                    self.shown = Shown()
                    self.page = message.new_session.page_script_hash
                self.shown.take(message)

    async def timed(self, message: bytes, is_there) -> float:
        self.shown.done = False
        start = time.perf_counter()
        await self.socket.send(message)
        await self.until(is_there)
        return time.perf_counter() - start

    async def answer(self) -> float:
        """Tap one sample; the time until it is acknowledged and may be sent."""
        code, data = self.rng.choice(self.shown.options), self.shown.data
        self.fields = json.loads(data["fields"])
        (field,) = (each for each in self.fields if each["name"] == "answer")
        place = {"row": field["row"], "name": field["name"]}
        start = time.perf_counter()
        told = await self.post(**place, given=code, over=[""])
        took = time.perf_counter() - start
        if told != {"text": code, "open": []}:
            raise RuntimeError(str(told))
        field["held"] = code
        return took

    async def send(self) -> tuple[float, float]:
        """Tap 'send': the time until it is acknowledged, and until the next ballot, or the thanks,
        are shown."""
        before, start = self.shown.ids["send"], time.perf_counter()
        shown = [[each["row"], each["name"], each["held"]] for each in self.fields]
        if await self.post(shown=shown) != {"sent": True}:
            raise RuntimeError("not sent")
        took = time.perf_counter() - start
        drawn = await self.timed(
            self.message(self.shown.ids["again"]),
            lambda shown: shown.title and shown.ids.get("send") != before,
        )
        return took, took + drawn

    async def post(self, **content: object) -> dict:
        self.turn += 1
        data, window = self.shown.data, {"window": f"{id(self):032x}", "turn": self.turn}
        return await self.way.post(
            data["route"], {"token": self.token, "line": data["line"], **window, **content}
        )


async def sit(port: int, token: str, seed: int, ballots: int, pause: float, found) -> None:
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
            found["opened"].append(
                await booth.timed(booth.message(), lambda shown: "send" in shown.ids)
            )
            for _ in range(ballots):
                await asyncio.sleep(rng.uniform(0.5, 1.5) * pause)
                found["answered"].append(await booth.answer())
                await asyncio.sleep(rng.uniform(0.5, 1.5) * pause)
                sent, drawn = await booth.send()
                found["sent"].append(sent)
                found["next shown"].append(drawn)
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


async def all_at_once(port: int, tokens: list[str], ballots: int, pause: float) -> dict:
    found = {"opened": [], "answered": [], "sent": [], "next shown": [], "errors": []}
    seats = [sit(port, one, seed, ballots, pause, found) for seed, one in enumerate(tokens)]
    await asyncio.gather(*seats)
    return found


def main(people: int = 50, ballots: int = 20, pause: float = 2.0) -> None:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'record.sqlite3'}"
        session_id, tokens = prepare(url, people, ballots)
        process, port = start(url, Path(folder) / "server.log")
        print(f"{people} booths, {ballots} ballots each, {pause} s between taps", flush=True)
        try:
            before = core_of(process)
            began = time.perf_counter()
            found = asyncio.run(all_at_once(port, tokens, ballots, pause))
            took = time.perf_counter() - began
            core = core_of(process) - before
        finally:
            os.killpg(process.pid, signal.SIGTERM)
            process.wait(30)
        for name in ("opened", "answered", "sent", "next shown"):
            print(said(name, found[name]))
        taps = len(found["answered"]) + len(found["sent"])
        each = 1000 * core / taps
        print(f"{took:.0f} s; the server used {core:.1f} s of a core, {each:.1f} ms a tap")
        print(f"errors: {len(found['errors'])}", *found["errors"][:5], sep="\n  ")
        store = open_store(url)
        sent = sum(bool(texts.get("sent")) for texts in store.cells(session_id).values())
        assert sent == people * ballots, f"{sent} ballots on record"
        assert store.verify() == []
        store.close()
        print(f"{sent} ballots on record, each once; the journal is sound")


if __name__ == "__main__":
    main(*(cast(text) for cast, text in zip((int, int, float), sys.argv[1:], strict=False)))
