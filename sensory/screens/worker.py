"""Heavy work in one process beside the server, so that nobody else waits for it.

Why so
------
The worker starts with the server and gets ready by itself: the first document after a start took
8.7 s, most of it imports and fonts. It is started before Streamlit runs a script; one that is
started later, in the place of one that died, imports `script.py`, hence the guard at its end. A
server that is killed takes its worker along.
"""

from __future__ import annotations

import copyreg
import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import cache
from threading import Thread
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the server draws no document
    from ..report.printed import Shown


def _read_only(table: dict[object, object]) -> MappingProxyType[object, object]:
    return MappingProxyType(table)


# Results hold read-only tables, which do not travel to another process by themselves.
copyreg.pickle(MappingProxyType, lambda table: (_read_only, (dict(table),)))


@cache
def _pool() -> ProcessPoolExecutor:
    spawn = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(1, mp_context=spawn, initializer=_end_with_server)


def _end_with_server() -> None:
    Thread(target=_await_end, daemon=True).start()


def _await_end() -> None:
    if server := multiprocessing.parent_process():
        server.join()
        os._exit(0)


def _get_ready() -> None:
    from ..report.printed import get_ready

    get_ready()


def _printed(shown: Shown) -> bytes:
    from ..report.printed import printed

    return printed(shown)


def _picture(chart: str, ending: str) -> bytes:
    from ..report.printed import drawn

    return drawn(chart, ending)


def start() -> Future[None]:
    """Start the worker, which gets ready while the server does."""
    return _pool().submit(_get_ready)


def pdf_of(shown: Shown) -> bytes:
    """The document of a session, a batch or a month, by the worker."""
    return _made(_printed, shown)


def picture_file(chart: str, ending: str) -> bytes:
    """A picture as SVG or PNG, by the worker."""
    return _made(_picture, chart, ending)


def _made(make: Callable[..., bytes], *given: object) -> bytes:
    """What the worker makes; one that died is replaced once."""
    try:
        return _pool().submit(make, *given).result(timeout=60)
    except BrokenProcessPool:
        _pool.cache_clear()
        return _pool().submit(make, *given).result(timeout=60)
