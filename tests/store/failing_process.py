"""Runs one action under a fault that lasts for the whole process, and says what came of it.

python failing_process.py full URL SESSION     files may not grow beyond 400 kB
python failing_process.py rights URL SESSION   without the right to write, also as root
python failing_process.py count URL SESSION N  adds 1 to the number in the title, N times
"""

from __future__ import annotations

import os
import resource
import signal
import sys
from dataclasses import replace

from sensory.base.errors import RecordError
from sensory.store.repository import open_store

NOBODY = 65534
LARGEST = 400_000


def full(url: str, session: str) -> None:
    """Write until the file may not grow any more; print each number that was acknowledged."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    store = open_store(url)
    resource.setrlimit(resource.RLIMIT_FSIZE, (LARGEST, LARGEST))
    for number in range(1000):
        try:
            cell = {number: {"comment": "flat " * 1000}}
            with store.action(who="writer", why="typed") as act:
                act.write_lines(session, cell)
        except RecordError as error:
            print(error, flush=True)
            return
        print(number, flush=True)


def rights(url: str, session: str) -> None:
    """Read and write as somebody who may only read."""
    open_store("sqlite://")  # loads what is loaded late, while files can be read
    if os.geteuid() == 0:
        os.setegid(NOBODY)
        os.seteuid(NOBODY)
    try:
        store = open_store(url)
        print(sorted(store.cells(session)), flush=True)
        with store.action(who="writer", why="typed") as act:
            act.write_lines(session, {9: {"answer": "412"}})
        print("written", flush=True)
    except RecordError as error:
        print(error, flush=True)


def count(url: str, session: str, times: str) -> None:
    """Read, add 1, write if nobody was faster; again until it is done."""
    store = open_store(url)
    for _ in range(int(times)):
        while True:
            now = store.session(session)
            title = str(int(now.details.title) + 1)
            new = replace(now, details=replace(now.details, title=title))
            try:
                with store.action(who="counter", why="typed") as act:
                    act.put(new, expect=now, what="described")
            except RecordError as error:
                if "another window" not in str(error):
                    raise
                continue
            break
    print("done", flush=True)


if __name__ == "__main__":
    {"full": full, "rights": rights, "count": count}[sys.argv[1]](*sys.argv[2:])
