"""Keep the uncertainty that an instrument's certificate states."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; instruments entered before state none."""
    with op.batch_alter_table("instruments") as table:
        table.add_column(sa.Column("uncertainty", sa.Text(), nullable=False, server_default=""))
    with op.batch_alter_table("instruments") as table:
        table.alter_column(
            "uncertainty", server_default=None, existing_type=sa.Text(), existing_nullable=False
        )


def downgrade() -> None:
    """Remove the column."""
    with op.batch_alter_table("instruments") as table:
        table.drop_column("uncertainty")
