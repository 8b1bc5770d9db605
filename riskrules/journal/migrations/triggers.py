"""Triggers that make a table append-only, in the words of each database."""

from __future__ import annotations

from collections.abc import Iterator

MESSAGE = "the journal is append-only"
_FUNCTION = f"""
CREATE FUNCTION journal_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{MESSAGE}'; END $$
"""


def guards(dialect: str, table: str, keys: tuple[str, ...]) -> Iterator[str]:
    """Give the statements that forbid to change or delete rows of a table.

    SQLite also needs ``keys`` (its unique columns) to forbid INSERT OR REPLACE, which deletes
    without a word to the triggers.
    """
    if dialect == "postgresql":
        for name, when, each in (
            ("kept", "UPDATE OR DELETE", "ROW"),
            ("whole", "TRUNCATE", "STATEMENT"),
        ):
            yield (
                f"CREATE TRIGGER {table}_{name} BEFORE {when} ON {table} FOR EACH {each} "
                "EXECUTE FUNCTION journal_append_only()"
            )
        return
    refuse = f"BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
    for verb in ("UPDATE", "DELETE"):
        yield f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} {refuse}"
    taken = " OR ".join(f"{key} = NEW.{key}" for key in keys)
    yield (
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {taken}) {refuse}"
    )


def unguard(dialect: str, table: str) -> Iterator[str]:
    """Give the statements that let a migration, and nobody else, change rows of a table."""
    if dialect == "postgresql":
        yield from (f"DROP TRIGGER {table}_{name} ON {table}" for name in ("kept", "whole"))
        return
    for name in ("no_update", "no_delete", "no_replace"):
        yield f"DROP TRIGGER {table}_{name}"


def function(dialect: str) -> Iterator[str]:
    """Give the statement that the triggers of PostgreSQL call."""
    if dialect == "postgresql":
        yield _FUNCTION
