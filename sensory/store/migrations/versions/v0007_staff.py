"""People who sign, with their roles; an agreed question keeps the role of who agreed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Make the table and the column; an older record has nobody, and no role."""
    op.create_table(
        "staff",
        sa.Column("person", sa.String(40), primary_key=True),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.add_column("sessions", sa.Column("agreed_role", sa.Text))
    op.execute("UPDATE schema SET version = 7")
