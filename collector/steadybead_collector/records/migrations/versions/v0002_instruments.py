"""Instruments, where they are fitted, their calibrations, and reference checks."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None
TABLES = ("instrument", "fitting", "calibration", "reference_check")


def upgrade() -> None:
    """Make one table of revisions for each."""
    for name in TABLES:
        _revisions(name)


def _revisions(name: str) -> None:
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
