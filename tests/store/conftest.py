"""Records to test on: SQLite files, and a private PostgreSQL cluster where one can be started."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from functools import partial
from itertools import count
from pathlib import Path

import pytest
import sqlalchemy as sa

from ..programs import Program

_NUMBERS = count(1)


def _postgres_programs() -> Path | None:
    if found := shutil.which("initdb"):
        return Path(found).resolve().parent
    kept = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return kept[-1].parent if kept else None


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """Folder of the socket of a private cluster, which is stopped and removed afterwards."""
    programs = _postgres_programs()
    if programs is None:
        reason = "no PostgreSQL server programs on this machine (initdb, pg_ctl)"
        if os.environ.get("CI", "").casefold() == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    # The server refuses to run as root.
    account = {"user": "postgres", "group": "postgres", "extra_groups": []}
    account = account if os.geteuid() == 0 else {}
    if account:
        shutil.chown(folder, "postgres", "postgres")

    def run(program: str, *arguments: str) -> None:
        # Output goes to a file: the server inherits it, and a pipe would stay open.
        with (folder / "output.txt").open("ab") as output:
            done = subprocess.run(
                [programs / program, *arguments],
                cwd=folder,
                stdout=output,
                stderr=output,
                timeout=120,
                check=False,
                **account,
            )
        if done.returncode:
            pytest.fail(f"{program}: {(folder / 'output.txt').read_text()}")

    data = str(folder / "data")
    run("initdb", "-D", data, "-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C", "-N")
    options = f"-c listen_addresses='' -c unix_socket_directories='{folder}' -c fsync=off"
    run("pg_ctl", "-D", data, "-l", str(folder / "log"), "-o", options, "-w", "start")
    try:
        yield str(folder)
    finally:
        run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)


@pytest.fixture
def postgres_url(postgres_server: str) -> str:
    """URL of a new, empty schema: made much faster than a database of its own."""
    name = f"record{next(_NUMBERS)}"
    whole = f"postgresql+psycopg://postgres@/postgres?host={postgres_server}"
    engine = sa.create_engine(whole, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(sa.text(f"CREATE SCHEMA {name}"))
    engine.dispose()
    return f"{whole}&options=-csearch_path%3D{name}"


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
