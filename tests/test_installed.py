"""The wheel, made from the source archive and installed where nothing else of this folder is.

The environment is empty but for the libraries of the one that runs the tests, so no index is
asked.
"""

from __future__ import annotations

import email
import json
import os
import signal
import socket
import subprocess
import sys
import sysconfig
import tarfile
import time
import urllib.request
import zipfile
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect

from sensory.base.version import __version__
from sensory.release.batch_records import BatchRecord
from sensory.store.repository import open_store

ROOT = Path(__file__).parents[1]
CARRIED = "sensory/screens/program"


def done(*words: str | Path, **options) -> str:
    run = subprocess.run([str(word) for word in words], capture_output=True, text=True, **options)
    assert run.returncode == 0, run.stdout + run.stderr
    return run.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """Built as an installer builds it: from the source archive alone."""
    folder = tmp_path_factory.mktemp("built")
    build = [sys.executable, "-m", "hatchling", "build", "-d", folder, "-t"]
    done(*build, "sdist", cwd=ROOT)
    (source,) = folder.glob("*.tar.gz")
    with tarfile.open(source) as archive:
        archive.extractall(folder, filter="data")
    done(*build, "wheel", cwd=folder / source.name.removesuffix(".tar.gz"))
    (made,) = folder.glob("*.whl")
    return made


class Installed:
    """An environment with the wheel, and a user at home in a folder of their own."""

    def __init__(self, folder: Path):
        self.bin = folder / "venv" / "bin"
        self.home = folder / "home"
        self.away = folder / "away"
        self.away.mkdir()
        self.record = self.home / "data" / "sensory" / "record.sqlite3"
        self.environment = {
            "PATH": os.environ["PATH"],
            "HOME": str(self.home),
            "XDG_DATA_HOME": str(self.home / "data"),
            "OMP_NUM_THREADS": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }

    def run(self, program: str, *words: str | Path) -> str:
        return done(self.bin / program, *words, cwd=self.away, env=self.environment)


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory) -> Installed:
    folder = tmp_path_factory.mktemp("installed")
    done(sys.executable, "-m", "venv", "--without-pip", folder / "venv")
    there = Installed(folder)
    python = there.bin / "python"
    quiet = ["--quiet", "--disable-pip-version-check", "--no-index", "--no-deps"]
    done(sys.executable, "-m", "pip", "--python", python, "install", *quiet, wheel)
    # Folders named in a .pth file are searched, but .pth files in them are not read; so
    # whatever makes this checkout importable here does not reach there.
    libraries = {sysconfig.get_paths()[name] for name in ("purelib", "platlib")}
    site = there.run("python", "-c", "import sysconfig; print(sysconfig.get_paths()['purelib'])")
    (Path(site.strip()) / "libraries.pth").write_text("\n".join(sorted(libraries)))
    return there


def test_wheel_holds_the_package_and_what_it_carries_and_nothing_else(wheel):
    listed = done("git", "ls-files", "-zco", "--exclude-standard", "sensory", cwd=ROOT).split("\0")
    expected = {path for path in listed if path and (ROOT / path).exists()}
    data = [path for kind in ("csv", "json") for path in (ROOT / "demo_data").glob(f"*.{kind}")]
    expected |= {f"{CARRIED}/demo_data/{path.name}" for path in data}
    expected.add(f"{CARRIED}/.streamlit/config.toml")
    assert {
        "sensory/py.typed",
        "sensory/base/texts/fr.json",
        "sensory/report/templates/session.typ",
        "sensory/report/fonts/OpenSans-Regular.ttf",
        "sensory/report/fonts/LICENSE.txt",
        "sensory/screens/assets/grid.js",
        "sensory/store/migrations/versions/v0001_first_tables.py",
        f"{CARRIED}/demo_data/year.csv",
        f"{CARRIED}/demo_data/suspect_batch.json",
    } <= expected
    with zipfile.ZipFile(wheel) as opened:
        there = {name for name in opened.namelist() if ".dist-info/" not in name}
    assert there == expected


def test_wheel_says_whose_it_is_and_what_it_needs(wheel):
    with zipfile.ZipFile(wheel) as opened:
        (name,) = (name for name in opened.namelist() if name.endswith("/METADATA"))
        told = email.message_from_bytes(opened.read(name))
        licences = [opened.read(f"{Path(name).parent}/licenses/{path}").decode()
                    for path in told.get_all("License-File")]  # fmt: skip
    assert told["Version"] == __version__
    assert told["Author"] == "the sensory contributors"
    assert told["License-Expression"] == "GPL-3.0-or-later AND Apache-2.0"
    assert "GNU GENERAL PUBLIC LICENSE" in licences[0]
    assert "Apache License" in licences[1]
    needed = told.get_all("Requires-Dist")
    assert not [line for line in needed if ">=" not in line or "<" not in line]


def test_nothing_of_this_folder_reaches_the_environment(installed):
    code = "import json, sys, sensory; print(json.dumps([sensory.__file__, *sys.path]))"
    package, *path = json.loads(installed.run("python", "-c", code))
    assert Path(package).is_relative_to(installed.bin.parent)
    assert not [place for place in path if place and Path(place) == ROOT]
    assert installed.run("sensory", "--version") == f"sensory {__version__}\n"


class Started:
    """The program as its user starts it, from a folder that has nothing to do with it."""

    def __init__(self, installed: Installed):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.log = installed.home.with_name("server.log")
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [installed.bin / "sensory", "--port", str(self.port)],
                cwd=installed.away,
                env=installed.environment,
                stdout=log,
                stderr=log,
            )

    def asked(self, path: str) -> str:
        """An answer over HTTP, as soon as there is one."""
        end = time.monotonic() + 60
        while time.monotonic() < end and self.process.poll() is None:
            try:
                with urllib.request.urlopen(f"{self.url}{path}", timeout=10) as answer:
                    return answer.read().decode()
            except OSError:
                time.sleep(0.2)
        raise RuntimeError(f"no answer:\n{self.log.read_text()}")

    def page(self) -> bytes:
        """All that the server sends for the first page, up to its last element."""
        sent = BackMsg()
        sent.rerun_script.query_string = ""
        address = f"ws://127.0.0.1:{self.port}/_stcore/stream"
        frames = []
        with connect(
            address, origin=self.url, subprotocols=["streamlit"], proxy=None, max_size=None
        ) as wire:
            wire.send(sent.SerializeToString())
            while True:
                frames.append(wire.recv(timeout=60))
                message = ForwardMsg.FromString(frames[-1])
                if message.WhichOneof("type") == "script_finished":
                    assert message.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY
                    return b"".join(frames)


@pytest.fixture(scope="module")
def started(installed):
    running = Started(installed)
    yield running
    running.process.kill()
    running.process.wait()


def test_program_answers_and_keeps_its_record_where_it_says(installed, started):
    assert started.asked("/_stcore/health") == "ok"
    assert "<title>" in started.asked("/")
    assert installed.record.is_file()
    assert f"The record is kept in {installed.record}\n" in started.log.read_text()
    with closing(open_store(f"sqlite:///{installed.record}")) as store:
        assert store.verify() == []


def test_first_page_is_the_leaders_and_shows_where_the_record_is(installed, started):
    started.asked("/_stcore/health")
    page = started.page()
    assert b"demo-suspect_batch" in page
    assert str(installed.record).encode() in page


def test_program_leaves_nothing_in_the_folder_where_it_was_started(installed, started):
    started.asked("/_stcore/health")
    assert not list(installed.away.iterdir())


def test_program_stops_when_told_to(installed, started):
    started.asked("/_stcore/health")
    started.process.send_signal(signal.SIGINT)
    assert started.process.wait(timeout=30) == 0
    assert "Traceback" not in started.log.read_text()


def test_data_folder_that_cannot_be_made_is_one_sentence(installed):
    run = subprocess.run(
        [installed.bin / "sensory", "--port", "8599"],
        cwd=installed.away,
        env=installed.environment | {"XDG_DATA_HOME": "/dev/null"},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert run.returncode == 1
    (sentence,) = run.stderr.splitlines()
    assert sentence.startswith("sensory: /dev/null/sensory/record.sqlite3: ")


def test_year_goes_on_record_from_the_wheel_alone_whole_or_not_at_all(installed):
    """Stopped in its first January; `test_demo_year` has the whole of it, from the same files."""
    file = installed.home.with_name("year.sqlite3")
    with subprocess.Popen(
        [installed.bin / "sensory", "demo-year", file],
        cwd=installed.away,
        env=installed.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=partial(signal.signal, signal.SIGINT, signal.SIG_DFL),  # as in a terminal
    ) as loading:
        assert loading.stdout.readline() == "A year is put on record, month by month:\n"
        assert any(line.endswith("2026-01\n") for line in loading.stdout)
        loading.send_signal(signal.SIGINT)
        told = loading.stderr.read()
    assert (loading.returncode, told) == (
        1,
        f"sensory: {file}: stopped; nothing of the year is on record.\n",
    )
    with closing(open_store(f"sqlite:///{file}")) as store:
        assert store.nouns(BatchRecord) == []
        assert store.verify() == []
