"""A complaint is open until it is closed; causes, bridges from tastings, the plant's lists."""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Link the batches whose complaints nobody closed, which is all that have some.

    The rest is new content of the register, which older programs cannot read: the version keeps
    them out. The journal stays as it is.
    """
    connection = op.get_bind()
    batches = sa.text("SELECT id, content FROM register WHERE kind = 'batch'")
    link = sa.text("INSERT INTO register_links (id, kind, value) VALUES (:id, 'complaint', 'open')")
    for key, content in connection.execute(batches).all():
        if _complained(content):
            connection.execute(link, {"id": key})
    op.execute("UPDATE schema SET version = 6")


def _complained(content: object) -> bool:
    """Whether a batch has complaints; content that cannot be read is left for `verify` to find."""
    try:
        plain = json.loads(content) if isinstance(content, str) else content
    except ValueError:
        return False
    return isinstance(plain, dict) and bool(plain.get("complaints"))
