"""The first tables: sessions, cells of ballots, journal."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables of version 1."""
    version = op.create_table("schema", sa.Column("version", sa.Integer, primary_key=True))
    op.bulk_insert(version, [{"version": 1}])
    op.create_table(
        "sessions",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("created_at", sa.String(32), nullable=False),
        sa.Column("details", sa.JSON, nullable=False),
        sa.Column("question", sa.JSON, nullable=False),
        sa.Column("cautions", sa.JSON, nullable=False),
        sa.Column("agreed_at", sa.String(32)),
        sa.Column("agreed_by", sa.Text),
        sa.Column("digest", sa.String(64)),
        sa.Column("ballots_at_agreement", sa.Integer),
        sa.Column("closed_at", sa.String(32)),
    )
    op.create_table(
        "ballot_cells",
        sa.Column("session", sa.String(32), sa.ForeignKey("sessions.id"), nullable=False),
        sa.Column("line", sa.Integer, nullable=False),
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("session", "line", "name"),
    )
    op.create_table(
        "journal",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("session", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("what", sa.String(40), nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("before", sa.String(64), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
    )
    op.create_index("ix_journal_session", "journal", ["session"])
