"""Run the migrations on the connection the store hands over; merely importing this does nothing."""

from __future__ import annotations

from alembic import context

from axlewright.records.models import Base


def run() -> None:
    """Run the migrations; the caller has begun the transaction and commits it."""
    connection = context.config.attributes["connection"]
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        transactional_ddl=True,
    )
    context.run_migrations()


if hasattr(context, "config"):
    run()
