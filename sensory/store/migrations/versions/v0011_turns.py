"""Windows of booths count what they hand over, so that what comes late and is older is known."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Make the table of turns."""
    op.create_table(
        "turns",
        sa.Column("session", sa.String(32), sa.ForeignKey("sessions.id"), nullable=False),
        sa.Column("window", sa.String(36), nullable=False),
        sa.Column("number", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("session", "window"),
    )
    op.execute("UPDATE schema SET version = 11")
