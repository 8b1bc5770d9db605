"""Each record is linked to the one before it, and knows whether it came second to a correction.

A row changed or taken out by another program breaks the chain; clashes are found without a look
at all corrections.
"""

from hashlib import sha256

import sqlalchemy as sa
from alembic import op

from riskrules.journal.migrations import triggers

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add both columns, and fill them in for the records there are."""
    dialect = op.get_bind().dialect.name
    link = sa.Column("chain", sa.String(64), nullable=False, server_default="")
    op.add_column("record", link)
    late = sa.Column("clashing", sa.Boolean, nullable=False, server_default=sa.false())
    op.add_column("record", late)
    for statement in triggers.unguard(dialect, "record"):
        op.execute(statement)
    _fill(op.get_bind())
    for statement in triggers.guards(dialect, "record", ("seq", "id")):
        op.execute(statement)
    only = sa.text("clashing" if dialect == "postgresql" else "clashing = 1")
    op.create_index("record_clashing", "record", ["seq"], sqlite_where=only, postgresql_where=only)


def _fill(conn: sa.Connection) -> None:
    names = ("seq", "hash", "received", "replaces", "chain", "clashing")
    record = sa.table("record", *(sa.column(name) for name in names))
    wanted = (record.c.seq, record.c.hash, record.c.received, record.c.replaces)
    before, replaced, new = "", set(), []
    for seq, content, received, replaces in conn.execute(sa.select(*wanted).order_by("seq")):
        before = sha256(f"{before}{content}{received}".encode()).hexdigest()
        late = replaces is not None and replaces in replaced
        new.append({"number": seq, "link": before, "late": late})
        replaced.add(replaces)
    change = (
        sa.update(record)
        .where(record.c.seq == sa.bindparam("number"))
        .values(chain=sa.bindparam("link"), clashing=sa.bindparam("late", type_=sa.Boolean))
    )
    if new:
        conn.execute(change, new)


def downgrade() -> None:
    """Refuse: a journal is never taken down."""
    raise NotImplementedError("a journal is never taken back to an earlier schema")
