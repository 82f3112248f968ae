"""The one way in which the server is started, for this machine or for a network."""

from __future__ import annotations

import errno
import socket
import sys
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from threading import Thread
from typing import Any

import streamlit as st
from starlette.middleware import Middleware
from starlette.routing import BaseRoute

from ..base.errors import ArgumentError, RecordError
from ..base.version import __version__
from ..store.repository import Repository, open_store
from . import opened, worker
from .answers import Answers
from .guard import OwnMachine
from .places import HOME, invented_url, kept_in, record_url

SCRIPT = Path(__file__).with_name("script.py")
OWN_MACHINE = (Middleware(OwnMachine),)
# What no configuration of a user or of a working folder may change.
_FIXED = {
    "server.baseUrlPath": "",
    "server.enableCORS": True,
    "server.enableXsrfProtection": True,
    "server.trustedUserHeaders": "{}",
    "logger.hideWelcomeMessage": True,
    "runner.magicEnabled": False,  # the script would be looked through for lone expressions
}


def serve_this_machine(port: int) -> None:
    """Serve whoever sits at this machine; raises as `serve` does."""
    serve({"server.port": port}, middleware=OWN_MACHINE)


def serve(
    options: Mapping[str, Any],
    *,
    routes: Sequence[BaseRoute] = (),
    middleware: Sequence[Middleware] = (),
) -> None:
    """Open the record, say where it is, and serve until stopped.

    Options are those of Streamlit, by their dotted names; ``server.port`` is needed. Routes and
    middleware are put before the pages. Raises ArgumentError when nothing
    can listen on that address and port, RecordError when the record cannot be opened.
    """
    given = settings(options)
    check_free(given["server.address"], given["server.port"])
    place = opened_record(record_url())
    scheme = "https" if "server.sslCertFile" in given else "http"
    address = f"{scheme}://{given['browser.serverAddress']}:{given['server.port']}"
    print(
        f"sensory {__version__} is at {address}; Ctrl+C stops it.\nThe record is kept in {place}",
        flush=True,
    )
    worker.start()
    Thread(target=opened.import_the_rest, daemon=True).start()
    sys.argv = [str(HOME / "app.py")]  # what Streamlit takes for the place of its settings
    st.App(SCRIPT, routes=[*ways(), *routes], middleware=middleware).run(config=given)


def ways() -> list[BaseRoute]:
    """What comes past the pages in each way of starting the program."""
    return [*Answers(_record).routes()]


@cache
def _record(invented: bool) -> Repository:
    """The record, or that of invented data, for what comes past the pages."""
    url = record_url()
    return open_store(invented_url(url) if invented else url)


def settings(options: Mapping[str, Any]) -> dict[str, Any]:
    """Options of Streamlit: those of the program's file, the fixed ones, and `options`.

    They are handed over as flags, which count before all files, since Streamlit by itself
    reads the file of the working folder.
    """
    with (HOME / ".streamlit" / "config.toml").open("rb") as opened:
        return {**dict(_flat(tomllib.load(opened))), **_FIXED, **options}


def check_free(address: str, port: int) -> None:
    """Refuse an address and port on which nothing can listen.

    >>> with socket.create_server(("127.0.0.1", 0)) as taken:
    ...     check_free("127.0.0.1", taken.getsockname()[1])  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    sensory.base.errors.ArgumentError: Port ... is taken. Stop the program that listens there ...
    """
    try:
        family = socket.getaddrinfo(address, port, type=socket.SOCK_STREAM)[0][0]
        socket.create_server((address, port), family=family).close()
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            raise ArgumentError(
                f"Port {port} is taken. Stop the program that listens there (it may be this "
                "one, started before), or choose another with --port."
            ) from error
        raise ArgumentError(
            f"The program cannot listen on {address}, port {port}: {error.strerror}."
        ) from error


def opened_record(url: str) -> str:
    """Where the record is, after it was made or brought up to date.

    Raises RecordError when it cannot be opened.
    """
    place = kept_in(url)
    try:
        open_store(url).close()
    except RecordError as error:
        raise RecordError(
            f"{place}: {error} Set SENSORY_RECORD to keep the record elsewhere."
        ) from error
    return place


def _flat(tree: Mapping[str, object], stem: str = "") -> Iterator[tuple[str, object]]:
    for name, value in tree.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{stem}{name}.")
        else:
            yield f"{stem}{name}", value
