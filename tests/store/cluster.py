"""A private PostgreSQL that can be started anew."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import sqlalchemy as sa

_NUMBERS = count(1)
_OPTIONS = ("-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C", "-N")


def postgres_programs() -> Path | None:
    """Folder of the server's programs; None where there are none."""
    if at := shutil.which("initdb"):
        return Path(at).resolve().parent
    kept = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return kept[-1].parent if kept else None


def new_schema(server: str) -> str:
    """URL of a new, empty schema: made much faster than a database of its own."""
    name = f"record{next(_NUMBERS)}"
    whole = f"postgresql+psycopg://postgres@/postgres?host={server}"
    engine = sa.create_engine(whole, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(sa.text(f"CREATE SCHEMA {name}"))
    engine.dispose()
    return f"{whole}&options=-csearch_path%3D{name}"


class Cluster:
    """Its socket stands in `folder`; `options` are those of the server's program."""

    def __init__(self, programs: Path, options: str = ""):
        self.programs, self.folder = programs, Path(tempfile.mkdtemp(prefix="pg"))
        self.options = (
            f"-c listen_addresses='' -c unix_socket_directories='{self.folder}' {options}"
        )

    @contextmanager
    def running(self) -> Iterator[Cluster]:
        if os.geteuid() == 0:
            shutil.chown(self.folder, "postgres", "postgres")
        data = str(self.folder / "data")
        self._run(
            "initdb",
            "-D",
            data,
            *["-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C", "-N"],
        )
        self._control("start")
        try:
            yield self
        finally:
            self._control("stop", "immediate")
            shutil.rmtree(self.folder)

    def restart(self, mode: str) -> None:
        """Start it anew: ``fast`` ends what is going on in order, ``immediate`` as a crash does."""
        self._control("restart", mode)

    def _control(self, what: str, mode: str = "") -> None:
        given = ("-m", mode) if mode else ()
        if what != "stop":
            given += ("-l", str(self.folder / "log"), "-o", self.options)
        self._run("pg_ctl", "-D", str(self.folder / "data"), *given, "-w", what)

    def _run(self, program: str, *arguments: str) -> None:
        # The server refuses to run as root.
        account = {"user": "postgres", "group": "postgres", "extra_groups": []}
        # Output goes to a file: the server inherits it, and a pipe would stay open.
        with (self.folder / "output.txt").open("ab") as output:
            done = subprocess.run(
                [self.programs / program, *arguments],
                cwd=self.folder,
                stdout=output,
                stderr=output,
                timeout=120,
                check=False,
                **(account if os.geteuid() == 0 else {}),
            )
        if done.returncode:
            raise RuntimeError(f"{program}: {(self.folder / 'output.txt').read_text()}")
