"""Run by Alembic: it is handed the connection, and all of a migration is one transaction."""

from alembic import context

from zoneplan.book.tables import TABLES

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=TABLES,
    transactional_ddl=True,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
