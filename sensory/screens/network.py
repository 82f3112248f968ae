"""The network mode: booths come from other machines, and each who leads or signs has to sign in.

Why so
------
The first account is asked for at the first start, and whenever nobody is left who can sign in and
manage people. A passcode of an older program, which knew one leader, becomes that of the first
account. Without a name to go by it is called 'administrator' and may only manage people: an office
signs nothing.
"""

from __future__ import annotations

import argparse
import getpass
import os
import sys
import tomllib
from functools import partial
from pathlib import Path

from starlette.middleware import Middleware

from ..base.errors import ArgumentError, RecordError
from ..sessions.staff import active_people, appoint, managers, note_door, who_is
from ..store.repository import Repository, open_store
from . import provider, server
from .access import serve_others
from .guard import Guard
from .leaders import Leaders
from .passcode import Keeper, check_passcode
from .patience import Patience
from .places import data_folder, file_of, login, record_url, secrets_file
from .server import serve
from .sign_in import Doors, ProviderDoors

PASSCODE, NAME = "SENSORY_PASSCODE", "SENSORY_NAME"
OFFICE = "administrator"


def serve_network(wanted: argparse.Namespace) -> None:
    """Ask for a first account if there is none yet, then serve until stopped.

    `wanted` are the options of ``sensory network``, see `sensory.screens.command`. Raises
    ArgumentError, RecordError when there is no passcode and nobody to ask, a file cannot be read
    or written, or nothing can listen on that address and port.
    """
    path = access_file(record_url(), data_folder())
    keeper = Keeper(path)
    server.check_free(wanted.address, wanted.port)  # before anything is made or changed
    asked = _asked() if wanted.new_passcode or not path.exists() else None
    server.opened_record(record_url())
    store = open_store(record_url())
    _first_account(store, keeper, asked)
    secrets = wanted.secrets or secrets_file()
    others = has_provider(secrets)
    for name in (PASSCODE, NAME):  # the worker process has no need of them
        os.environ.pop(name, None)
    serve_others(keeper)
    listed = {"listed": provider.leaders} if others else {}
    leaders, note = Leaders(keeper, store.people, **listed), partial(note_door, store)
    middleware = [Middleware(Guard, leaders=leaders)]
    if others:
        middleware.append(Middleware(ProviderDoors, leaders=leaders, note=note))
    serve(
        options(wanted, secrets),
        routes=Doors(keeper, Patience(), partial(key_of, store), note).routes(),
        middleware=middleware,
    )


def key_of(store: Repository, name: str) -> str | None:
    """The key of the person of a name who signs."""
    person = who_is(active_people(store), name)
    return person.key if person else None


def access_file(url: str, folder: Path) -> Path:
    """Where hashes and keys are kept: beside an SQLite record, else in the data folder.

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
        "server.allowedHosts": [],  # the names of a plant's machine are its own affair
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


def _first_account(store: Repository, keeper: Keeper, asked: tuple[str, str] | None) -> None:
    """See to it that somebody can sign in and manage people."""
    if asked is None and managers(store.people(), keeper.able()):
        return
    if asked is None and keeper.single:
        name, passcode = _name(), ""
    else:
        name, passcode = asked or _asked()
    if not name and len(there := managers(store.people())) == 1:
        name = there[0].name
    person = appoint(store, name or OFFICE, named_by=login(), signs=bool(name))
    try:
        if passcode:
            keeper.set_passcode(person.key, passcode, given=False)
        else:
            keeper.adopt(person.key)
    except OSError as error:
        raise RecordError(
            f"The passcode cannot be kept: {error.strerror} ({error.filename}). Set "
            "SENSORY_RECORD to keep it and the record elsewhere."
        ) from error
    print(f"{person.name} can sign in and manage people.", flush=True)


def _asked() -> tuple[str, str]:
    """Name and passcode of the first account; the name may be empty, the passcode is checked."""
    given = os.environ.get(PASSCODE)
    if given is not None:
        check_passcode(given)
        return _name(), given
    if not sys.stdin.isatty():
        raise ArgumentError(
            f"No passcode yet, and nobody to ask: start in a terminal, or set {NAME} and "
            f"{PASSCODE}."
        )
    name = _name()
    first = getpass.getpass("Passcode, at least 8 characters: ")
    check_passcode(first)
    if getpass.getpass("Again: ") != first:
        raise ArgumentError("The two passcodes differ; nothing was changed. Start again.")
    return name, first


def _name() -> str:
    """Who manages people: from the surroundings, or asked for; empty where nobody says it."""
    given = os.environ.get(NAME)
    if given is None and sys.stdin.isatty():
        given = input("Your name, as it shall stand in the journal: ")
    return " ".join((given or "").split())
