"""A ballot line that was sent takes no other answer, whatever the program does."""

from __future__ import annotations

from alembic import op

revision = "0008"
down_revision = "0007"

_FREE = (
    "session",
    "protocol",
    "attribute",
    "correct",
    "assessor",
    "order",
    "pair",
    "sample",
    "position",
    "serving order",
    "date",
    "time",
    "replicate",
    "code",
    "codes",
    "code_1",
    "code_2",
    "code_3",
    "code_4",
    "code_5",
    "consent",
    "warm-up tasted",
    "not served",
    "departure",
    "left out",
)
"""Columns that can still be stated of a ballot that was sent; all others are answers."""
_WORDS = "a ballot that was sent takes no other answer"


def upgrade() -> None:
    """Have the database refuse changes of what was sent; the journal stays as it is."""
    connection = op.get_bind()
    free = ", ".join(f"'{name}'" for name in _FREE)
    statements = _sqlite if connection.dialect.name == "sqlite" else _server
    for statement in statements(free):
        connection.exec_driver_sql(statement)
    op.execute("UPDATE schema SET version = 8")


def _sqlite(free: str) -> list[str]:
    rows = {"INSERT": ("NEW",), "UPDATE": ("OLD", "NEW"), "DELETE": ("OLD",)}
    return [
        f"CREATE TRIGGER sent_stands_{event.lower()} BEFORE {event} ON ballot_cells WHEN "
        + " OR ".join(
            f"(lower({row}.name) NOT IN ({free}) AND EXISTS (SELECT 1 FROM ballot_cells AS mark "
            f"WHERE mark.session = {row}.session AND mark.line = {row}.line "
            "AND mark.name = 'sent'))"
            for row in named
        )
        + f" BEGIN SELECT RAISE(ABORT, '{_WORDS}'); END"
        for event, named in rows.items()
    ]


def _server(free: str) -> list[str]:
    refuse = f"RAISE EXCEPTION '{_WORDS}' USING ERRCODE = '23000'"

    def check(row: str) -> str:
        return (
            f"IF lower({row}.name) NOT IN ({free}) AND EXISTS (SELECT 1 FROM ballot_cells AS mark "
            f"WHERE mark.session = {row}.session AND mark.line = {row}.line "
            f"AND mark.name = 'sent') THEN {refuse}; END IF; "
        )

    return [
        "CREATE FUNCTION sent_stands() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF TG_OP <> 'INSERT' THEN {check('OLD')} END IF; "
        f"IF TG_OP <> 'DELETE' THEN {check('NEW')} RETURN NEW; END IF; "
        "RETURN OLD; END $$",
        "CREATE TRIGGER sent_stands BEFORE INSERT OR UPDATE OR DELETE ON ballot_cells "
        "FOR EACH ROW EXECUTE FUNCTION sent_stands()",
    ]
