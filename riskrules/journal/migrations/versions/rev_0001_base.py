"""Records, what differs from them, and photos; append-only."""

import sqlalchemy as sa
from alembic import op

from riskrules.journal.migrations import triggers

revision = "0001"
down_revision = None
GUARDED = {"record": ("seq", "id"), "differing": ("number",), "photo": ("hash",)}


def upgrade() -> None:
    """Make the tables."""
    _records()
    whole = sa.BigInteger().with_variant(sa.Integer, "sqlite")
    op.create_table(
        "differing",
        sa.Column("number", whole, primary_key=True, autoincrement=False),
        sa.Column("id", sa.String(36), sa.ForeignKey("record.id"), nullable=False),
        sa.Column("received", sa.BigInteger, nullable=False),
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.UniqueConstraint("id", "hash"),
    )
    op.create_table(
        "photo",
        sa.Column("hash", sa.String(64), primary_key=True),
        sa.Column("media_type", sa.String(32), nullable=False),
        sa.Column("received", sa.BigInteger, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    dialect = op.get_bind().dialect.name
    for statement in triggers.function(dialect):
        op.execute(statement)
    for table, keys in GUARDED.items():
        for statement in triggers.guards(dialect, table, keys):
            op.execute(statement)


def _records() -> None:
    whole = sa.BigInteger().with_variant(sa.Integer, "sqlite")
    op.create_table(
        "record",
        sa.Column("seq", whole, primary_key=True, autoincrement=False),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        sa.Column("block", sa.Text),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("time", sa.BigInteger, nullable=False),
        sa.Column("end", sa.BigInteger),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("made", sa.BigInteger, nullable=False),
        sa.Column("received", sa.BigInteger, nullable=False),
        sa.Column("replaces", sa.String(36)),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("came_by", sa.String(32), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
    )
    op.create_index("record_block_time", "record", ["block", "time"])
    op.create_index("record_replaces", "record", ["replaces"])


def downgrade() -> None:
    """Refuse: a journal is never taken down."""
    raise NotImplementedError("a journal is never taken back to an earlier schema")
