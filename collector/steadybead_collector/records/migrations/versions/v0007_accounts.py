"""Accounts of people, shared tablets, and the account that a session belongs to."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None
_SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables, parents first."""
    op.create_table(
        "account",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("name_key", sa.String(length=192), nullable=False),
        sa.Column("created", sa.BigInteger(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("name_key", name=op.f("uq_account_name_key")),
    )
    op.create_table(
        "account_fact",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("account", _SERIAL, nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["account"], ["account.id"], name=op.f("fk_account_fact_account")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account_fact")),
    )
    op.create_index("ix_account_fact_account", "account_fact", ["account", "id"], unique=False)
    op.create_table(
        "tablet",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("sha256", sa.LargeBinary(length=32), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("created", sa.BigInteger(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tablet")),
        sa.UniqueConstraint("sha256", name=op.f("uq_tablet_sha256")),
    )
    op.create_table(
        "tablet_withdrawal",
        sa.Column("tablet", _SERIAL, autoincrement=False, nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["tablet"], ["tablet.id"], name=op.f("fk_tablet_withdrawal_tablet")
        ),
        sa.PrimaryKeyConstraint("tablet", name=op.f("pk_tablet_withdrawal")),
    )
    with op.batch_alter_table("session") as session:
        session.add_column(sa.Column("account", _SERIAL, nullable=True))
        session.create_foreign_key(op.f("fk_session_account"), "account", ["account"], ["id"])
