"""Runs the steps on the connection that the store hands over."""

from alembic import context

from steadybead_collector.records.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
