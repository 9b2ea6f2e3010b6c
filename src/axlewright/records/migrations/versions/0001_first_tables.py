"""Make the tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "design_texts",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_design_texts")),
    )
    op.create_table(
        "files",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("suffix", sa.String(length=16), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("added_at", sa.String(length=27), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_files")),
    )
    op.create_table(
        "instruments",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("resolution", sa.Text(), nullable=False),
        sa.Column("calibrated_on", sa.Date(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_instruments")),
    )
    op.create_table(
        "people",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("pin_hash", sa.Text(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("wrong_tries", sa.Integer(), nullable=False),
        sa.Column("locked_until", sa.String(length=27), nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_people")),
    )
    op.create_table(
        "stock",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("thickness_mm", sa.Double(), nullable=False),
        sa.Column("nominal_mm", sa.Double(), nullable=True),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("design_name", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_stock_kind"), "stock", ["kind"], unique=False)
    op.create_table(
        "jobs",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("design_name", sa.Text(), nullable=False),
        sa.Column("design_sha256", sa.String(length=64), nullable=False),
        sa.Column("vehicle", sa.Text(), nullable=False),
        sa.Column("complaint", sa.Text(), nullable=False),
        sa.Column("set_number", sa.Text(), nullable=False),
        sa.Column("reference", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("head", sa.String(length=64), nullable=False),
        sa.Column("entry_count", sa.Integer(), nullable=False),
        sa.Column("search_text", sa.Text(), nullable=False),
        sa.Column("created_at", sa.String(length=27), nullable=False),
        sa.Column("changed_at", sa.String(length=27), nullable=False),
        sa.ForeignKeyConstraint(
            ["design_sha256"], ["design_texts.sha256"], name=op.f("fk_jobs_design_sha256_design_texts")
        ),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_jobs")),
        sa.UniqueConstraint("uid", name=op.f("uq_jobs_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_jobs_changed_at"), "jobs", ["changed_at"], unique=False)
    op.create_index(op.f("ix_jobs_set_number"), "jobs", ["set_number"], unique=False)
    op.create_index(op.f("ix_jobs_state_changed_at"), "jobs", ["state", "changed_at"], unique=False)
    op.create_table(
        "entries",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_number", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("step", sa.String(length=32), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("instrument", sa.Text(), nullable=False),
        sa.Column("calibrated_on", sa.Date(), nullable=True),
        sa.Column("files", sa.Text(), nullable=False),
        sa.Column("idempotency_key", sa.Text(), nullable=True),
        sa.Column("supersedes", sa.Integer(), nullable=True),
        sa.Column("previous", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["job_number"], ["jobs.number"], name=op.f("fk_entries_job_number_jobs")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entries")),
        sa.UniqueConstraint(
            "job_number", "idempotency_key", name=op.f("uq_entries_job_number_idempotency_key")
        ),
        sa.UniqueConstraint("job_number", "seq", name=op.f("uq_entries_job_number_seq")),
    )
    op.create_table(
        "stock_moves",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stock_id", sa.Integer(), nullable=False),
        sa.Column("change", sa.Integer(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("job_number", sa.Integer(), nullable=True),
        sa.Column("idempotency_key", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["job_number"], ["jobs.number"], name=op.f("fk_stock_moves_job_number_jobs")),
        sa.ForeignKeyConstraint(["stock_id"], ["stock.id"], name=op.f("fk_stock_moves_stock_id_stock")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_moves")),
        sa.UniqueConstraint("idempotency_key", name=op.f("uq_stock_moves_idempotency_key")),
    )
    op.create_index(op.f("ix_stock_moves_stock_id"), "stock_moves", ["stock_id"], unique=False)


def downgrade() -> None:
    """Remove the tables."""
    op.drop_index(op.f("ix_stock_moves_stock_id"), table_name="stock_moves")
    op.drop_table("stock_moves")
    op.drop_table("entries")
    op.drop_index(op.f("ix_jobs_state_changed_at"), table_name="jobs")
    op.drop_index(op.f("ix_jobs_set_number"), table_name="jobs")
    op.drop_index(op.f("ix_jobs_changed_at"), table_name="jobs")
    op.drop_table("jobs")
    op.drop_index(op.f("ix_stock_kind"), table_name="stock")
    op.drop_table("stock")
    op.drop_table("people")
    op.drop_table("instruments")
    op.drop_table("files")
    op.drop_table("design_texts")
