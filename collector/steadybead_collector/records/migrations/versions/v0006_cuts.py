"""Cut plans and the results of cut strips."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make both tables."""
    for name in ("cut_plan", "cut_result"):
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
