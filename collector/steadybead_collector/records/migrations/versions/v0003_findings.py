"""Findings of the diagnosis, and work on filters."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None
_SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make both tables."""
    _findings()
    _filter_changes()


def _findings() -> None:
    op.create_table(
        "finding",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("finding", sa.String(length=64), nullable=False),
        sa.Column("subject", sa.String(length=320), nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("site", sa.String(length=64), nullable=False),
        sa.Column("station", sa.String(length=64), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("since", sa.BigInteger(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding")),
        sa.UniqueConstraint("finding", "time", name=op.f("uq_finding_finding")),
    )
    op.create_index("ix_finding_subject", "finding", ["subject", "time", "id"], unique=False)
    op.create_index("ix_finding_time", "finding", ["time", "id"], unique=False)


def _filter_changes() -> None:
    name = "filter_change"
    op.create_table(
        name,
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("about", sa.String(length=260), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["seq"], ["change.seq"], name=op.f(f"fk_{name}_seq")),
        sa.PrimaryKeyConstraint("seq", name=op.f(f"pk_{name}")),
        sa.UniqueConstraint("id", "revision", name=op.f(f"uq_{name}_id")),
    )
    op.create_index(f"ix_{name}_about", name, ["about", "at"], unique=False)
    op.create_index(f"ix_{name}_at", name, ["at", "seq"], unique=False)
