"""Versions of the record: made new, brought up to date, or refused.

Why so
------
The upgrade to version 2 wrote the chain anew, since version 1 had names inside it. The last entry
says so and keeps number and hash of the old last entry, which can be compared with the copy that
was made before (`...-before-version-2.sqlite3`). Entries that were not sound before keep their
old hash: `verify` goes on naming them. Programs of version 1 refuse the new record; stop those
that are running before the first start of a newer one.
"""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic.config import Config
from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.engine import Connection, Engine

from ..base.errors import RecordError
from .backup import copy_before_upgrade, copy_sqlite
from .connections import file_of, reading, writing
from .tables import SCHEMA_VERSION, schema

_STEPS = Path(__file__).with_name("migrations")


def prepare(engine: Engine) -> None:
    """Create the tables of an empty record, or bring an older one up to date.

    All steps run in one transaction. A SQLite file is copied beside itself before.

    Raises RecordError when the record was written by a newer version, or cannot be written.
    """
    with reading(engine) as connection:
        if _version(connection) == SCHEMA_VERSION:
            return
    with writing(engine) as connection:
        version = _version(connection)
        if version > SCHEMA_VERSION:
            raise RecordError(
                f"The record has version {version}, this program knows "
                f"{SCHEMA_VERSION}. Install the newer program."
            )
        if version == SCHEMA_VERSION:  # another process was faster
            return
        file = file_of(engine)
        if version and file is not None:
            copy_sqlite(engine, copy_before_upgrade(file, SCHEMA_VERSION))
        _upgrade(connection, version)


def _version(connection: Connection) -> int:
    """The version of a record, 0 where it is empty."""
    if not sa.inspect(connection).has_table(schema.name):
        return 0
    return connection.scalar(sa.select(sa.func.max(schema.c.version))) or 1


def _upgrade(connection: Connection, version: int) -> None:
    settings = Config()
    settings.set_main_option("script_location", str(_STEPS).replace("%", "%%"))
    steps = ScriptDirectory.from_config(settings)
    context = MigrationContext.configure(connection)
    start = f"{version:04}" if version else "base"
    if version and context.get_current_revision() != start:
        context.stamp(steps, start)
    for step in reversed(list(steps.iterate_revisions("head", start))):
        with Operations.context(context):
            step.module.upgrade()
        context.stamp(steps, step.revision)
