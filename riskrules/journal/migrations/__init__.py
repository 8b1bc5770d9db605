"""How the journal's database came to be as it is: one step a schema, run by Alembic."""
