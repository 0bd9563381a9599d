"""Notices to receivers and the attempts to deliver them; longer words for acts on alarms."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None
_SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make both tables, parents first."""
    op.create_table(
        "notice",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("notice", sa.String(length=64), nullable=False),
        sa.Column("receiver", sa.String(length=64), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("told", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice")),
        sa.UniqueConstraint("notice", name=op.f("uq_notice_notice")),
    )
    op.create_index("ix_notice_time", "notice", ["time", "id"], unique=False)
    op.create_table(
        "notice_attempt",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("notice", sa.String(length=64), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["notice"], ["notice.notice"], name=op.f("fk_notice_attempt_notice")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice_attempt")),
    )
    op.create_index("ix_notice_attempt_notice", "notice_attempt", ["notice", "id"], unique=False)
    with op.batch_alter_table("alarm_act") as alarm_act:
        alarm_act.alter_column("kind", type_=sa.String(length=32), existing_nullable=False)
