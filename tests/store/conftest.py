"""Records to test on: SQLite files, and a private PostgreSQL cluster where one can be started."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

from ..programs import Program
from .cluster import Cluster, new_schema, postgres_programs


@pytest.fixture(scope="session")
def postgres_cluster() -> Iterator[Cluster]:
    """A private cluster, which is stopped and removed afterwards."""
    programs = postgres_programs()
    if programs is None:
        reason = "no PostgreSQL server programs on this machine (initdb, pg_ctl)"
        if os.environ.get("CI", "").casefold() == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    with Cluster(programs, "-c fsync=off").running() as cluster:
        yield cluster


@pytest.fixture(scope="session")
def postgres_server(postgres_cluster: Cluster) -> str:
    """Folder of its socket."""
    return str(postgres_cluster.folder)


@pytest.fixture
def postgres_url(postgres_server: str) -> str:
    """URL of a new, empty schema: made much faster than a database of its own."""
    return new_schema(postgres_server)


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    """URL of a SQLite file that does not exist yet, in a folder that does not either."""
    return f"sqlite:///{tmp_path / 'record' / 'panel.sqlite3'}"


@pytest.fixture(params=["sqlite", "postgresql"])
def any_url(request: pytest.FixtureRequest) -> str:
    """URL of an empty record, once for each kind of database."""
    kind = {"sqlite": "sqlite_url", "postgresql": "postgres_url"}[request.param]
    return str(request.getfixturevalue(kind))


@pytest.fixture
def run_script() -> Iterator[Callable[..., Program]]:
    """Starts a script of this folder in processes of its own: (name, arguments)."""
    started: list[Program] = []

    def start(name: str, *arguments: object) -> Program:
        started.append(Program(Path(__file__).with_name(name), *arguments))
        return started[-1]

    yield start
    for process in started:
        process.kill()
        process.stdout.close()


@pytest.fixture
def run_writer(run_script) -> Callable[..., Program]:
    """Starts `writing_process.py`: (url, session, line, how many)."""
    return partial(run_script, "writing_process.py")
