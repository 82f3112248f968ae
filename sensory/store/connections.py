"""How the record is reached: engine, transactions, and database errors put into words.

Why so
------
No file of a record is opened here but by SQLite. Whoever closes a file lets go of all locks of the
process on it (POSIX, fcntl), also those of connections that were there before: another program that
closes the record then takes itself for the last and removes the log, and what is written here
afterwards is lost. In the network mode the record is opened twice, for the doors and for the pages.
"""

from __future__ import annotations

import json
import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from enum import Enum, auto
from functools import lru_cache
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine, RootTransaction

from ..base.errors import RecordError, UnreachableError

_WRITING = threading.RLock()
_LONG = 10_000
_SECONDS = 5
# What passes by itself: no connection, no answer in time, a lock that others hold.
_AWAY = (sa.exc.OperationalError, sa.exc.InterfaceError, sa.exc.TimeoutError)
_LOCKED = "The record is busy or cannot be written. What is on the screen is not saved yet: "


def engine_for(url: str) -> Engine:
    """An engine for a SQLAlchemy URL, with the settings that SQLite needs.

    Raises RecordError when the URL cannot be read, has no driver here, or its folder cannot be
    made.
    """
    address = None
    try:
        address = sa.make_url(url)
        if address.get_backend_name() == "sqlite" and address.database:
            Path(address.database).parent.mkdir(parents=True, exist_ok=True)
            if not address.database.startswith(("file:", ":memory:")):
                for_its_owner(Path(address.database))
        local = address.get_backend_name() == "sqlite"
        read = _text_only if local else _plain
        engine = sa.create_engine(address, json_deserializer=read, **_of_a_server(address))
    except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError, ImportError, OSError) as error:
        shown = str(address) if address is not None else "that URL"
        raise RecordError(f"The record at {shown} cannot be opened: {error}.") from error
    if engine.dialect.name == "sqlite":
        _sqlite_settings(engine)
    return engine


class NoJson:
    """What stands where JSON should: no field takes it, and it is like nothing else."""

    def __init__(self, text: object):
        self._text = text

    def __repr__(self) -> str:
        return f"what is no JSON ({self._text!r:.60})"


class Damage(Enum):
    """What another hand, or a disk, did to the file: nothing, one text, or the file as a whole."""

    NONE, TEXT, FILE = auto(), auto(), auto()


def damage_in(error: sa.exc.DBAPIError) -> Damage:
    """What an error of the database says of the file; a record that is away is not damaged."""
    text = str(error.orig)
    if "Could not decode to UTF-8" in text:
        return Damage.TEXT
    whole = "image is malformed" in text or "not a database" in text
    return Damage.FILE if whole and isinstance(error.orig, sqlite3.Error) else Damage.NONE


@contextmanager
def with_any_text(connection: Connection) -> Iterator[None]:
    """Read texts of a SQLite file also where they are no UTF-8, each wrong byte as a surrogate."""
    raw = connection.connection.driver_connection
    if not isinstance(raw, sqlite3.Connection):
        yield
        return
    raw.text_factory = lambda content: content.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        raw.text_factory = str


def _text_only(text: object) -> object:
    """JSON of a SQLite column, which takes numbers and bytes as well."""
    return _plain(text) if isinstance(text, str) else NoJson(text)


def _of_a_server(address: sa.URL) -> dict[str, Any]:
    """Options for a database on a server: one that was started anew costs nobody an error, and
    one that does not answer is given up after seconds."""
    if address.get_backend_name() == "sqlite":
        return {}
    waits = {} if "connect_timeout" in address.query else {"connect_timeout": _SECONDS}
    return {"pool_pre_ping": True, "connect_args": waits}


def _plain(text: str) -> object:
    """JSON; a serving plan, hundreds of KiB that every tap at a booth asks for, only once.

    So what it gives back is shared: nobody may change it in place.
    """
    try:
        return _long_plain(text) if len(text) > _LONG else json.loads(text)
    except (ValueError, RecursionError):
        return NoJson(text)


@lru_cache(maxsize=8)
def _long_plain(text: str) -> object:
    return json.loads(text)


def for_its_owner(file: Path) -> None:
    """Make a file, or have it, that nobody else on this machine can read: it holds names.

    What SQLite puts beside it, log and journal, gets the rights of the file. One that is there is
    not opened, see *Why so*.
    """
    with suppress(OSError):  # there, not ours, or not to be written: then SQLite says so
        os.close(os.open(file, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    for each in (file, *(file.with_name(f"{file.name}{end}") for end in ("-wal", "-shm"))):
        with suppress(OSError):
            if each.stat().st_mode & 0o077:
                each.chmod(0o600)


def file_of(engine: Engine) -> Path | None:
    """The file of a SQLite record, or None where the record is no file."""
    name = engine.url.database
    if engine.dialect.name != "sqlite" or not name or name == ":memory:":
        return None
    return Path(name)


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction that alone may write; RecordError where the database refuses or is away."""
    try:
        with _WRITING, engine.connect() as connection, _begun(connection):
            if engine.dialect.name != "sqlite":
                connection.execute(sa.text("SELECT pg_advisory_xact_lock(7214025)"))
            yield connection
    except sa.exc.IntegrityError as error:
        raise RecordError(f"This does not fit what is on record: {error.orig}.") from error
    except (sa.exc.DBAPIError, sa.exc.TimeoutError) as error:
        if "readonly database" in str(reason(error)) and file_of(engine) is not None:
            engine.dispose()  # a connection stays as it was opened; the next one may write again
        raise _kind_of(error)(f"{_LOCKED}{reason(error)}.") from error


def _begun(connection: Connection) -> RootTransaction:
    """The option on the connection: on the engine it costs a tap at a booth half a millisecond."""
    return connection.execution_options(write=True).begin()


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A transaction that sees one state of the record throughout, whoever writes meanwhile."""
    if engine.dialect.name != "sqlite":  # SQLite does so by itself
        engine = engine.execution_options(isolation_level="REPEATABLE READ")
    try:
        with engine.connect() as connection:
            yield connection
    except (sa.exc.DBAPIError, sa.exc.TimeoutError) as error:
        raise _kind_of(error)(f"The record cannot be read: {reason(error)}.") from error


def _kind_of(error: sa.exc.DBAPIError | sa.exc.TimeoutError) -> type[RecordError]:
    """Away, which passes by itself, or refused; what is damaged does not come back."""
    damaged = isinstance(error, sa.exc.DBAPIError) and damage_in(error) is not Damage.NONE
    return UnreachableError if isinstance(error, _AWAY) and not damaged else RecordError


def reason(error: Exception) -> object:
    """What the database itself said."""
    return getattr(error, "orig", None) or error


def _sqlite_settings(engine: Engine) -> None:
    @sa.event.listens_for(engine, "connect")
    def _on_connect(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # transactions begin in _on_begin below
        for pragma in (
            "busy_timeout = 30000",
            "journal_mode = WAL",
            "synchronous = FULL",
            "foreign_keys = ON",
            "secure_delete = ON",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        write = connection.get_execution_options().get("write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")
