"""Studies are kept in the register: content that older programs do not know."""

from __future__ import annotations

from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Keep older programs out, which would take a study for damage; the tables stay as they are."""
    op.execute("UPDATE schema SET version = 10")
