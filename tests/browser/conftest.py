"""A real server with a record of its own, and a real Chromium, for each test that asks."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import pytest

ROOT = Path(__file__).parents[2]
CHROMIUM = "/usr/bin/chromium"
UNKNOWN_CERTIFICATE = ssl._create_unverified_context()  # a test makes its own
# What Chromium needs as root and without a network; see its own --help.
OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def pytest_collection_modifyitems(items):
    for item in items:
        if Path(item.fspath).is_relative_to(Path(__file__).parent):
            item.add_marker(pytest.mark.browser)


def needed(path: str, package: str) -> None:
    """Skip without a program of the system, but fail where everything has to be there."""
    if shutil.which(path):
        return
    reason = f"{path} is missing: install Debian's package {package}"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)


class Server:
    """The app as a process that can be killed and started again on the same record."""

    def __init__(self, folder: Path):
        self.record = folder / "record.sqlite3"
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.log = folder / "server.log"
        self.process: subprocess.Popen | None = None

    def command(self) -> list[str]:
        return ["streamlit", "run", "app.py", "--server.port", str(self.port)]

    def environment(self) -> dict[str, str]:
        return {"SENSORY_RECORD": f"sqlite:///{self.record}"}

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", *self.command()],
                cwd=ROOT,
                env=os.environ | self.environment(),
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        end = time.monotonic() + 60
        while time.monotonic() < end:
            try:
                with urllib.request.urlopen(
                    f"{self.url}/_stcore/health", timeout=2, context=UNKNOWN_CERTIFICATE
                ) as answer:
                    if answer.status == 200:
                        return
            except OSError:
                time.sleep(0.2)
        raise RuntimeError(f"the server did not start:\n{self.log.read_text()}")

    def kill(self) -> None:
        if self.process and self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()


class NetworkServer(Server):
    """The app in its network mode, where the leader signs in."""

    passcode = "plum cordial"
    options: tuple[str, ...] = ()

    def command(self) -> list[str]:
        return ["sensory.screens.command", "network", "--port", str(self.port), *self.options]

    def environment(self) -> dict[str, str]:
        return super().environment() | {"SENSORY_PASSCODE": self.passcode}


@pytest.fixture(scope="session")
def needed_program():
    return needed


@pytest.fixture(scope="session")
def server_class():
    return Server


@pytest.fixture(scope="session")
def network_class():
    return NetworkServer


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    running = NetworkServer(tmp_path_factory.mktemp("network"))
    running.start()
    yield running
    running.kill()


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    running = Server(tmp_path_factory.mktemp("server"))
    running.start()
    yield running
    running.kill()


@pytest.fixture(scope="session")
def chromium():
    needed(CHROMIUM, "chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=OPTIONS)
        yield browser
        browser.close()


class Visitor:
    """A page that remembers every host it was asked to fetch from."""

    def __init__(self, browser, server, width=1280, scheme="light", touch=False):
        self.server = server
        self.hosts: set[str] = set()
        self.context = browser.new_context(
            ignore_https_errors=True,
            viewport={"width": width, "height": 900},
            color_scheme=scheme,
            has_touch=touch,
            accept_downloads=True,
        )
        self.context.on("request", lambda request: self._asked(request.url))
        self.page = self.context.new_page()
        self.frames: list[bytes] = []
        self.page.on("websocket", self._connected)

    def _asked(self, url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme in ("http", "https", "ws", "wss"):
            self.hosts.add(parts.netloc)

    def _connected(self, socket) -> None:
        self._asked(socket.url)
        socket.on(
            "framereceived",
            lambda frame: self.frames.append(frame if isinstance(frame, bytes) else frame.encode()),
        )

    def open(self) -> None:
        self.page.goto(self.server.url)
        self.page.get_by_role("heading", name="Does the batch still match").wait_for()
        self.settled()

    def settled(self) -> None:
        self.page.locator(
            '[data-testid="stApp"][data-test-script-state="notRunning"]'
            '[data-test-connection-state="CONNECTED"]'
        ).wait_for(timeout=30_000)

    def click(self, key: str) -> None:
        self.settled()  # a click on a page that is being drawn anew can get lost
        self.page.locator(f".st-key-{key} button").click()

    def heading(self, words: str) -> None:
        try:
            self.page.get_by_role("heading", name=words).first.wait_for(timeout=30_000)
        except Exception as error:
            raise AssertionError(f"no heading {words!r} on the page:\n{self.text()}") from error
        self.settled()

    def saved(self) -> None:
        self.page.get_by_text("all saved", exact=True).wait_for(timeout=30_000)
        self.settled()

    def text(self) -> str:
        return self.page.locator("body").inner_text()


@pytest.fixture(scope="session")
def visitor_class():
    return Visitor


@pytest.fixture
def visitor_of(chromium):
    visitors = []

    def _visitor_of(server, **options) -> Visitor:
        visitors.append(Visitor(chromium, server, **options))
        return visitors[-1]

    yield _visitor_of
    for visitor in visitors:
        visitor.context.close()


@pytest.fixture
def visit(visitor_of, server):
    return lambda **options: visitor_of(server, **options)
