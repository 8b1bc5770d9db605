"""Bring a database to the schema of this version of the program, or say why that cannot be."""

from __future__ import annotations

from pathlib import Path
from threading import Lock

from sqlalchemy import Connection, inspect, text

from riskrules.journal.database import Database
from riskrules.journal.tables import HEAD, VERSION_TABLE, metadata
from riskrules.journal.trouble import JournalError

_ONE_AT_A_TIME = Lock()
"""Alembic keeps what it works on in the module, so two threads must not migrate at once."""


def bring_up(database: Database, to: str = HEAD) -> None:
    """Make the tables where there are none, and migrate those of an older version.

    Raises
    ------
    JournalError
        If the database is something else, or of a newer version.
    """
    with database.reading() as conn:
        found = schema_of(conn, database)
    database.settle()
    if found == to:
        return
    with database.writing() as conn:
        # Another program may have done it while this one waited for its turn.
        if schema_of(conn, database) != to:
            _upgrade(conn, to)


def schema_of(conn: Connection, database: Database) -> str | None:
    """Return the name of a database's schema; None where it is empty.

    Raises
    ------
    JournalError
        If the database is something else, or of a newer version.
    """
    tables = set(inspect(conn).get_table_names())
    if VERSION_TABLE not in tables:
        # A server's database may hold other things beside; a file is a journal or it is not.
        if tables & set(metadata.tables) or database.is_sqlite and tables:
            message = f"{database.name} is not a journal; it holds other tables"
            raise JournalError(message)
        if not database.is_sqlite:
            _refuse_narrow(conn, database)
        return None
    found = conn.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()
    if found is not None and found > HEAD:
        message = f"{database.name} was made by a newer version of the program"
        raise JournalError(f"{message} (schema {found}; this one knows {HEAD}): update it")
    return found


def _refuse_narrow(conn: Connection, database: Database) -> None:
    encoding = conn.exec_driver_sql("SHOW server_encoding").scalar()
    if encoding != "UTF8":
        message = f"{database.name} keeps text as {encoding}; expected a database in UTF8"
        raise JournalError(message)


def _upgrade(conn: Connection, to: str) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    folder = str(Path(__file__).parent / "migrations")
    config.set_main_option("script_location", folder.replace("%", "%%"))
    config.attributes["connection"] = conn
    with _ONE_AT_A_TIME:
        command.upgrade(config, to)
