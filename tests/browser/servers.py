"""A real server with a record of its own."""

from __future__ import annotations

import os
import shutil
import socket
import ssl
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest

from ..programs import Program

UNKNOWN_CERTIFICATE = ssl._create_unverified_context()  # a test makes its own


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
        self.process: Program | None = None

    def command(self) -> list[str]:
        return ["streamlit", "run", "app.py", "--server.port", str(self.port)]

    def environment(self) -> dict[str, str]:
        return {"SENSORY_RECORD": f"sqlite:///{self.record}"}

    def start(self) -> None:
        self.process = Program("-m", *self.command(), log=self.log, more=self.environment())
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
        if self.process:
            self.process.kill()
            self.process.stdout.close()


class NetworkServer(Server):
    """The app in its network mode, where each signs in; first the one of this name."""

    name = "A. Leader"
    passcode = "plum cordial"
    options: tuple[str, ...] = ()

    def command(self) -> list[str]:
        return ["sensory.screens.command", "network", "--port", str(self.port), *self.options]

    def environment(self) -> dict[str, str]:
        account = {"SENSORY_NAME": self.name, "SENSORY_PASSCODE": self.passcode}
        return super().environment() | account


@contextmanager
def started(running: Server):
    try:
        running.start()
        yield running
    finally:
        running.kill()
