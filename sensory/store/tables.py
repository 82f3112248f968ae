"""The tables of the record, as the newest version has them.

Older versions, and the steps from one to the next, stand in `migrations`. The trigger by which a
ballot line that was sent takes no other answer stands in `v0008_sent_ballots_stand` alone.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
)

SCHEMA_VERSION = 11

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
    Column("serving", JSON(none_as_null=True)),
    Column("agreed_role", Text),
    Index("ix_sessions_created_at", "created_at"),
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

turns = Table(
    "turns",
    metadata,
    Column("session", String(32), ForeignKey("sessions.id"), nullable=False),
    Column("window", String(36), nullable=False),
    Column("number", BigInteger, nullable=False),
    PrimaryKeyConstraint("session", "window"),
)
"""Of each window of a booth, which it has counted last of what it handed over."""

outcomes = Table(
    "outcomes",
    metadata,
    Column("session", String(32), ForeignKey("sessions.id"), primary_key=True),
    Column("content", JSON, nullable=False),
)
"""What closed sessions showed; the journal holds the SHA-256 of each content."""

people = Table(
    "people",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("name", Text),
    Column("sought", String(64)),
    Column("salt", String(32)),
    Column("erased", Integer),
    UniqueConstraint("sought", name="uq_people_sought"),
)

staff = Table(
    "staff",
    metadata,
    Column("person", String(40), primary_key=True),
    Column("content", JSON, nullable=False),
)
"""Who signs: a reference to `people`, and roles and rights as the journal has them."""

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

checks = Table(
    "checks",
    metadata,
    Column("at", String(32), primary_key=True),
    Column("number", Integer, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("wrong", JSON, nullable=False),
)
"""When the whole record was checked, what its newest entry was then, and what was wrong."""

register = Table(
    "register",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("kind", String(20), nullable=False),
    Column("name", Text, nullable=False),
    Column("product", Text, nullable=False),
    Column("on_date", String(10), nullable=False),
    Column("line", Text, nullable=False),
    Column("state", String(20), nullable=False),
    Column("content", JSON, nullable=False),
    Index("ix_register_dates", "kind", "product", "on_date"),
    Index("ix_register_states", "kind", "state", "on_date"),
)
"""Products, references, batches, studies, lists; columns but the content follow from it."""

register_links = Table(
    "register_links",
    metadata,
    Column("id", String(32), ForeignKey("register.id"), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("value", Text, nullable=False),
    PrimaryKeyConstraint("id", "kind", "value"),
    Index("ix_register_links_value", "kind", "value"),
)
