"""Start the program for a network: ``python -m sensory.screens.network --port 8501``."""

from __future__ import annotations

import argparse
import getpass
import os
import socket
import sys
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import streamlit as st
from starlette.middleware import Middleware

from ..base.errors import ArgumentError, SensoryError
from . import provider
from .access import serve_others
from .frame import record_url
from .guard import Guard
from .passcode import Keeper, set_passcode
from .patience import Patience
from .sign_in import Doors

HOME = Path(__file__).parents[2]
PASSCODE = "SENSORY_PASSCODE"


def main(words: Sequence[str] | None = None) -> None:
    """Ask for a passcode if there is none yet, then serve until stopped."""
    wanted = _wanted(words)
    try:
        path = access_file(record_url(HOME), HOME)
        if wanted.new_passcode or not path.exists():
            set_passcode(path, _new_passcode())
        keeper = Keeper(path)
        others = has_provider(wanted.secrets)
    except (SensoryError, tomllib.TOMLDecodeError) as error:
        sys.exit(str(error))
    os.environ.pop(PASSCODE, None)  # the worker process has no need of it
    serve_others(keeper)
    st.App(
        HOME / "app.py",
        routes=Doors(keeper, Patience()).routes(),
        middleware=[Middleware(Guard, keeper=keeper, other_leaders=others)],
    ).run(config=settings(wanted, HOME / ".streamlit" / "config.toml"))


def access_file(url: str, home: Path) -> Path:
    """Where hash and key are kept: beside an SQLite record, else in the folder ``.data``.

    >>> access_file("sqlite:////srv/panel/record.sqlite3", Path("/opt/sensory")).as_posix()
    '/srv/panel/record.access.json'
    >>> access_file("postgresql://plant/panel", Path("/opt/sensory")).as_posix()
    '/opt/sensory/.data/record.access.json'
    """
    kind, _, path = url.partition(":///")
    inside = path.partition("?")[0]
    if kind.startswith("sqlite") and inside and inside != ":memory:":
        return Path(inside).with_suffix(".access.json")
    return home / ".data" / "record.access.json"


def settings(wanted: argparse.Namespace, file: Path) -> dict[str, Any]:
    """Streamlit's settings: those of the file, whatever the working folder, and the network's."""
    with file.open("rb") as opened:
        of_file = dict(_flat(tomllib.load(opened)))
    network = {
        "server.address": wanted.address,
        "server.port": wanted.port,
        "server.baseUrlPath": "",
        "server.enableCORS": True,
        "server.enableXsrfProtection": True,
        "server.trustedUserHeaders": "{}",
        "browser.serverAddress": wanted.name,
        "secrets.files": [str(wanted.secrets)],
    }
    if wanted.certificate:
        network |= {"server.sslCertFile": wanted.certificate, "server.sslKeyFile": wanted.key}
    return of_file | network


def has_provider(secrets: Path) -> bool:
    """Whether leaders may sign in by a provider; known before the server starts."""
    if not secrets.is_file():
        return False
    with secrets.open("rb") as opened:
        return bool(provider.named_in(tomllib.load(opened)))


def _flat(tree: Mapping[str, Any], stem: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in tree.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{stem}{name}.")
        else:
            yield f"{stem}{name}", value


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


def _wanted(words: Sequence[str] | None) -> argparse.Namespace:
    asked = argparse.ArgumentParser(prog="python -m sensory.screens.network", description=__doc__)
    asked.add_argument("--port", type=int, default=8501)
    asked.add_argument("--address", default="0.0.0.0", help="where to listen (all addresses)")
    asked.add_argument("--name", default=socket.gethostname(), help="name of this machine")
    asked.add_argument("--certificate", help="file for https, PEM")
    asked.add_argument("--key", help="file with the key of the certificate, PEM")
    secrets = HOME / ".streamlit" / "secrets.toml"
    asked.add_argument("--secrets", type=Path, default=secrets, help="file of a provider")
    asked.add_argument("--new-passcode", action="store_true", help="replace the passcode")
    wanted = asked.parse_args(words)
    if bool(wanted.certificate) != bool(wanted.key):
        asked.error("--certificate and --key go together")
    return wanted


if __name__ == "__main__":
    main()
