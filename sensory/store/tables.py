"""The tables of the record."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Column,
    ForeignKey,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
)

SCHEMA_VERSION = 1

metadata = MetaData()

schema = Table("schema", metadata, Column("version", Integer, primary_key=True))

sessions = Table(
    "sessions",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("created_at", String(32), nullable=False),
    Column("details", JSON, nullable=False),
    Column("question", JSON, nullable=False),
    Column("cautions", JSON, nullable=False),
    Column("agreed_at", String(32)),
    Column("agreed_by", Text),
    Column("digest", String(64)),
    Column("ballots_at_agreement", Integer),
    Column("closed_at", String(32)),
)

ballot_cells = Table(
    "ballot_cells",
    metadata,
    Column("session", String(32), ForeignKey("sessions.id"), nullable=False),
    Column("line", Integer, nullable=False),
    Column("name", String(40), nullable=False),
    Column("text", Text, nullable=False),
    PrimaryKeyConstraint("session", "line", "name"),
)

journal = Table(
    "journal",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("at", String(32), nullable=False),
    Column("session", String(32), nullable=False, index=True),
    Column("who", Text, nullable=False),
    Column("what", String(40), nullable=False),
    Column("why", Text, nullable=False),
    Column("content", Text, nullable=False),
    Column("before", String(64), nullable=False),
    Column("sha256", String(64), nullable=False),
)
