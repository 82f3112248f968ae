"""The network mode: booths come from other machines, and a leader has to sign in."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
import tomllib
from pathlib import Path

from starlette.middleware import Middleware

from ..base.errors import ArgumentError, RecordError
from . import provider
from .access import serve_others
from .guard import Guard
from .passcode import Keeper, set_passcode
from .patience import Patience
from .places import data_folder, file_of, record_url, secrets_file
from .server import serve
from .sign_in import Doors

PASSCODE = "SENSORY_PASSCODE"


def serve_network(wanted: argparse.Namespace) -> None:
    """Ask for a passcode if there is none yet, then serve until stopped.

    `wanted` are the options of ``sensory network``, see `sensory.screens.command`. Raises
    ArgumentError, RecordError when there is no passcode and nobody to ask, a file cannot be read
    or written, or nothing can listen on that address and port.
    """
    path = access_file(record_url(), data_folder())
    if wanted.new_passcode or not path.exists():
        _keep(path, _new_passcode())
    keeper = Keeper(path)
    secrets = wanted.secrets or secrets_file()
    others = has_provider(secrets)
    os.environ.pop(PASSCODE, None)  # the worker process has no need of it
    serve_others(keeper)
    serve(
        options(wanted, secrets),
        routes=Doors(keeper, Patience()).routes(),
        middleware=[Middleware(Guard, keeper=keeper, other_leaders=others)],
    )


def access_file(url: str, folder: Path) -> Path:
    """Where hash and key are kept: beside an SQLite record, else in the data folder.

    >>> access_file("sqlite:////srv/panel/record.sqlite3", Path("/srv/data")).as_posix()
    '/srv/panel/record.access.json'
    >>> access_file("postgresql://plant/panel", Path("/srv/data")).as_posix()
    '/srv/data/record.access.json'
    """
    record = file_of(url)
    return record.with_suffix(".access.json") if record else folder / "record.access.json"


def options(wanted: argparse.Namespace, secrets: Path) -> dict[str, object]:
    """What the network mode sets otherwise than the program's file does."""
    network: dict[str, object] = {
        "server.address": wanted.address,
        "server.port": wanted.port,
        "browser.serverAddress": wanted.name,
        "secrets.files": [str(secrets)],
    }
    if wanted.certificate:
        files = {"server.sslCertFile": wanted.certificate, "server.sslKeyFile": wanted.key}
        network |= {name: str(file) for name, file in files.items()}
    return network


def has_provider(secrets: Path) -> bool:
    """Whether leaders may sign in by a provider; known before the server starts."""
    if not secrets.is_file():
        return False
    try:
        return bool(provider.named_in(tomllib.loads(secrets.read_text(encoding="utf-8"))))
    except (OSError, ValueError) as error:
        raise ArgumentError(f"{secrets} cannot be read: {error}.") from error


def _keep(path: Path, passcode: str) -> None:
    try:
        set_passcode(path, passcode)
    except OSError as error:
        raise RecordError(
            f"The passcode cannot be kept in {path}: {error.strerror}. Set SENSORY_RECORD to "
            "keep it and the record elsewhere."
        ) from error


def _new_passcode() -> str:
    given = os.environ.get(PASSCODE)
    if given is not None:
        return given
    if not sys.stdin.isatty():
        raise ArgumentError(
            f"No passcode yet, and nobody to ask: start in a terminal, or set {PASSCODE}."
        )
    first = getpass.getpass("New passcode of the panel leader, at least 8 characters: ")
    if getpass.getpass("Again: ") != first:
        raise ArgumentError("The two passcodes differ; nothing was changed. Start again.")
    return first
