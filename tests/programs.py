"""Programs in processes of their own, begun at once.

Why so
------
Each process that a test starts spent one to eight seconds of a core on imports, a server most of
all. Python's own fork server has them all imported, and no thread; each program is a copy of it.
How a program starts from nothing is tested with an installed one.
"""

from __future__ import annotations

import multiprocessing
import os
import runpy
import signal
import sys
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

ROOT = Path(__file__).parents[1]
_FORKED = multiprocessing.get_context("forkserver")
_FORKED.set_forkserver_preload(["tests.imported"])


class Program:
    """Python with these words, in the folder of the project; its output is a pipe or a file."""

    def __init__(self, *words: object, log: Path | None = None, more: Mapping[str, str] = {}):
        reader, writer = _FORKED.Pipe(duplex=False)
        environment = {**os.environ, **more}
        given = ([str(word) for word in words], environment, writer, log)
        self._process = _FORKED.Process(target=_run, args=given)
        self._process.start()
        self.pid = self._process.pid
        self.stdout = os.fdopen(os.dup(reader.fileno()), encoding="utf-8")
        writer.close()
        reader.close()

    @property
    def returncode(self) -> int | None:
        return self._process.exitcode

    def poll(self) -> int | None:
        return self.returncode

    def wait(self, timeout: float | None = None) -> int | None:
        self._process.join(timeout)
        if self.returncode is None:
            raise TimeoutError(f"process {self.pid} does not end")
        return self.returncode

    def rest(self) -> str:
        """What it still says, once it has ended."""
        with self.stdout:
            said = self.stdout.read()
        self.wait(120)
        return said

    def kill(self) -> None:
        """End it at once, with the processes that it began."""
        with suppress(ProcessLookupError):
            os.killpg(self.pid, signal.SIGKILL)
        self.wait()


def _run(words: list[str], environment: dict[str, str], writer, log: Path | None) -> None:
    os.setsid()
    os.chdir(ROOT)
    os.environ.clear()
    os.environ.update(environment)
    os.dup2(writer.fileno(), 1)
    writer.close()
    if log:
        kept = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.dup2(kept, 1)
        os.dup2(kept, 2)
    how, *given = words
    if how == "-m":
        sys.argv = given
        runpy.run_module(given[0], run_name="__main__", alter_sys=True)
    elif how == "-c":
        sys.argv = ["-c", *given[1:]]
        exec(given[0], {"__name__": "__main__"})
    else:
        sys.argv = words
        runpy.run_path(how, run_name="__main__")
