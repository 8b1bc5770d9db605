"""Run the steps on the connection that the journal hands over, inside its transaction."""

from alembic import context

from riskrules.journal.tables import VERSION_TABLE

context.configure(connection=context.config.attributes["connection"], version_table=VERSION_TABLE)
with context.begin_transaction():
    context.run_migrations()
