"""Run the migrations on the connection the store hands over."""

from __future__ import annotations

from alembic import context

from axlewright.records.models import Base

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=Base.metadata,
    render_as_batch=connection.dialect.name == "sqlite",
    transactional_ddl=True,
)
# The caller has begun the transaction and commits it.
context.run_migrations()
