"""Memory of the server over pages that are opened and closed, one after the other.

`PYTHONPATH=. python -m tests.benchmarks.memory_of_pages [pages]` opens 2,000 of them: every page
of the menu, a batch, a finding, and the page of somebody who is not signed in, on a record of an
invented year. Every hundred pages it prints what the server holds. Flat means that the second half
adds less than a tenth to what it held at half time. It held 173 MiB before the first page, 267
after 200 and 268 after 2,000.
"""

from __future__ import annotations

import sys
import tempfile
import time
from http.cookiejar import CookieJar
from itertools import cycle
from pathlib import Path
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, Request, build_opener

from sensory.release.batch_records import BatchRecord
from sensory.release.prepared_year import load_year
from sensory.screens.access import SIGN_IN
from sensory.screens.opened import MENU
from sensory.screens.passcode import COOKIE
from sensory.store.repository import open_store

from ..browser.servers import NetworkServer, started
from ..browser.unseen import Drawn
from ..programs import ROOT

EACH, MOST_GROWTH = 100, 0.10


def held_by(pid: int) -> float:
    """MiB that a program holds."""
    status = Path(f"/proc/{pid}/status").read_text()
    return next(int(line.split()[1]) for line in status.splitlines() if "VmRSS" in line) / 1024


def signed_in(server: NetworkServer) -> dict[str, str]:
    """The cookie of the first account."""
    typed = urlencode({"name": server.name, "passcode": server.passcode}).encode()
    form = Request(f"{server.url}{SIGN_IN}", typed, {"Origin": server.url})
    jar = CookieJar()
    build_opener(HTTPCookieProcessor(jar)).open(form, timeout=60).close()
    return {cookie.name: cookie.value or "" for cookie in jar if cookie.name == COOKIE}


def main(pages: int = 2000) -> None:
    with tempfile.TemporaryDirectory() as made:
        server = NetworkServer(Path(made))
        store = open_store(f"sqlite:///{server.record}")
        load_year(store, ROOT / "demo_data", who="benchmark")
        batch, session = store.nouns(BatchRecord)[-1].name, store.sessions(1)[0].id
        store.close()
        with started(server):
            leader = signed_in(server)
            ways = [(name if name != "today" else "", "", leader) for name in MENU]
            ways += [
                ("batch", urlencode({"batch": batch}), leader),
                ("trend", urlencode({"batch": batch}), leader),
                ("finding", urlencode({"session": session}), leader),
                ("", "", {}),
            ]
            grown(server.process.pid, server.url, ways, pages)


def grown(pid: int, url: str, ways: list[tuple[str, str, dict[str, str]]], pages: int) -> None:
    held, began = [held_by(pid)], time.monotonic()
    print(f"{len(ways)} ways; before the first page {held[0]:.0f} MiB", flush=True)
    for number, (page, asked, cookies) in zip(range(1, pages + 1), cycle(ways), strict=False):
        drawn = Drawn(url, cookies, page=page, asked=asked)
        if ("Traceback" in drawn.text) or (bool(cookies) is ("Sign in with your" in drawn.text)):
            raise RuntimeError(f"{page or 'today'} was not drawn:\n{drawn.text[-2000:]}")
        if number % EACH == 0:
            held.append(held_by(pid))
            minutes = (time.monotonic() - began) / 60
            print(f"{number} pages in {minutes:.1f} min: {held[-1]:.0f} MiB", flush=True)
    half = held[len(held) // 2]
    growth = held[-1] / half - 1
    red = "  RED" if growth > MOST_GROWTH else ""
    print(f"from half time to the end {growth:+.1%} (at most {MOST_GROWTH:.0%}){red}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
