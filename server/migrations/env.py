"""Runs the steps on the connection that `server.database.upgrade` hands over."""

from alembic import context

from server.tables import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    # SQLite can undo changes of the schema; each step is one transaction.
    transactional_ddl=True,
    transaction_per_migration=True,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
