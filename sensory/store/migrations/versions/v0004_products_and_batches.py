"""Products, references and batches, with what they hang together with."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the register and its links; an older record has none."""
    op.create_table(
        "register",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("product", sa.Text, nullable=False),
        sa.Column("on_date", sa.String(10), nullable=False),
        sa.Column("line", sa.Text, nullable=False),
        sa.Column("state", sa.String(20), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.create_index("ix_register_dates", "register", ["kind", "product", "on_date"])
    op.create_index("ix_register_states", "register", ["kind", "state", "on_date"])
    op.create_table(
        "register_links",
        sa.Column("id", sa.String(32), sa.ForeignKey("register.id"), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", "kind", "value"),
    )
    op.create_index("ix_register_links_value", "register_links", ["kind", "value"])
    op.execute("UPDATE schema SET version = 4")
