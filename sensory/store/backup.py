"""Copies of a SQLite record, taken while it is in use."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from itertools import chain, count
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from ..base.errors import RecordError
from .connections import file_of, for_its_owner, reason


def copy_sqlite(engine: Engine, to: Path) -> None:
    """Copy a SQLite record as it is at one moment; others may go on writing.

    The copy is one file. It appears under its name only when it is whole and has been
    checked.

    Raises RecordError when the record is no SQLite file, the copy exists already, or it cannot be
    written.
    """
    if engine.dialect.name != "sqlite":
        raise RecordError(
            "A record on a server is not copied from here: use pg_dump, which also copies "
            "while the record is in use."
        )
    if to.exists():
        raise RecordError(f"{to} is there already and is not written over: choose another name.")
    part = to.with_name(f"{to.name}.{os.getpid()}.part")
    try:
        for_its_owner(part)
        _copy(engine, part)
        part.rename(to)
    except (sqlite3.Error, sa.exc.SQLAlchemyError, OSError) as error:
        raise RecordError(f"The copy {to} could not be written: {reason(error)}.") from error
    finally:
        for beside in ("", "-journal", "-wal", "-shm"):
            part.with_name(f"{part.name}{beside}").unlink(missing_ok=True)


def copy_before_upgrade(file: Path, version: int) -> Path:
    """A free name beside the record for the copy made before it becomes `version`."""
    names = (
        file.with_name(f"{file.stem}-before-version-{version}{more}{file.suffix}")
        for more in chain([""], (f"-{number}" for number in count(2)))
    )
    return next(name for name in names if not name.exists())


def copies_beside(engine: Engine) -> list[Path]:
    """The copies that were made before upgrades and still stand beside the record."""
    file = file_of(engine)
    if file is None:
        return []
    start = f"{file.stem}-before-version-"
    beside = [path for path in file.parent.iterdir() if path.suffix == file.suffix]
    return sorted(path for path in beside if path.name.startswith(start))


def without_traces(engine: Engine) -> list[str]:
    """Write the database anew, so that erased text is in none of its free pages.

    Returns what could not be reached.
    """
    sqlite = engine.dialect.name == "sqlite"
    try:
        with engine.connect() as connection:
            if not sqlite:
                outside = connection.execution_options(isolation_level="AUTOCOMMIT")
                outside.exec_driver_sql("VACUUM FULL people")
                return []
            cursor = connection.connection.cursor()
            cursor.execute("VACUUM")
            held = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    except (sa.exc.SQLAlchemyError, sqlite3.Error) as error:
        return [f"Free pages of the database: {reason(error)}"]
    return ["The log of the database, until all programs that use it are closed"] if held else []


def _copy(engine: Engine, part: Path) -> None:
    source = engine.raw_connection()
    try:
        with closing(sqlite3.connect(part)) as target:
            source.driver_connection.backup(target)  # type: ignore[union-attr]
            target.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
            if (wrong := target.execute("PRAGMA quick_check").fetchone()[0]) != "ok":
                raise sqlite3.DatabaseError(wrong)
    finally:
        source.close()
