"""A session keeps its serving plan, the language of its ballots and the links of its booths."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the column; sessions typed from paper have none."""
    op.add_column("sessions", sa.Column("serving", sa.JSON))
    op.execute("UPDATE schema SET version = 3")
