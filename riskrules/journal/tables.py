"""The tables of the journal's database as they are now; migrations make them so."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    true,
)

HEAD = "0002"
"""The newest schema that this version of the program knows; its migrations lead up to it."""
VERSION_TABLE = "journal_version"
Whole = BigInteger().with_variant(Integer, "sqlite")

metadata = MetaData()

record = Table(
    "record",
    metadata,
    Column("seq", Whole, primary_key=True, autoincrement=False),
    Column("id", String(36), nullable=False, unique=True),
    Column("block", Text),
    Column("kind", String(32), nullable=False),
    Column("time", BigInteger, nullable=False),
    Column("end", BigInteger),
    Column("who", Text, nullable=False),
    Column("made", BigInteger, nullable=False),
    Column("received", BigInteger, nullable=False),
    Column("replaces", String(36)),
    Column("why", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("came_by", String(32), nullable=False),
    Column("body", Text, nullable=False),
    Column("hash", String(64), nullable=False),
    Column("chain", String(64), nullable=False, server_default=""),
    Column("clashing", Boolean, nullable=False),
)
"""One row a record, in the order received; never changed. ``clashing``: when it came, another
record had replaced the same one already."""
Index("record_block_time", record.c.block, record.c.time)
Index("record_replaces", record.c.replaces)
Index(
    "record_clashing",
    record.c.seq,
    sqlite_where=record.c.clashing == true(),
    postgresql_where=record.c.clashing == true(),
)

differing = Table(
    "differing",
    metadata,
    Column("number", Whole, primary_key=True, autoincrement=False),
    Column("id", String(36), ForeignKey("record.id"), nullable=False),
    Column("received", BigInteger, nullable=False),
    Column("content", Text, nullable=False),
    Column("hash", String(64), nullable=False),
    UniqueConstraint("id", "hash"),
)
"""Records that came with an identifier that was taken, and other content: whole, as JSON."""

photo = Table(
    "photo",
    metadata,
    Column("hash", String(64), primary_key=True),
    Column("media_type", String(32), nullable=False),
    Column("received", BigInteger, nullable=False),
    Column("data", LargeBinary, nullable=False),
)
"""Photos by the SHA-256 of their bytes."""
