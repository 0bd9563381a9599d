"""An amendment may carry the id of its entry and the time at which somebody acted."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add both columns; an id stands once."""
    op.add_column("weld_amendment", sa.Column("entry", sa.String(length=64), nullable=True))
    op.add_column("weld_amendment", sa.Column("acted", sa.BigInteger(), nullable=True))
    op.create_index("ix_weld_amendment_entry", "weld_amendment", ["entry"], unique=True)
