"""How Alembic reaches the journal: through a connection that is already in a transaction."""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
context.run_migrations()
