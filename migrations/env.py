"""Alembic's way in: it runs on the connection that vinebook gives it, inside vinebook's own transaction."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=None,
    transaction_per_migration=False,
    transactional_ddl=False,
)
context.run_migrations()
