"""A closed session keeps what it showed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the table; sessions that were closed before have no row until one is written."""
    op.create_table(
        "outcomes",
        sa.Column("session", sa.String(32), sa.ForeignKey("sessions.id"), primary_key=True),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.execute("UPDATE schema SET version = 5")
