"""Weld records with amendments, sign-offs, verdicts and a search index; approved procedures."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None
_SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Add two columns to the events, and the tables beside them."""
    op.add_column("weld_event", sa.Column("stop", sa.BigInteger(), nullable=True))
    op.add_column("weld_event", sa.Column("details", sa.JSON(), nullable=True))
    _amendments()
    _signatures()
    _verdicts()
    _index()
    _approvals()


def _amendments() -> None:
    op.create_table(
        "weld_amendment",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("weld", sa.String(length=64), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("via", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("changes", sa.JSON(), nullable=False),
        sa.Column("before", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weld_amendment")),
        sa.UniqueConstraint("weld", "number", name=op.f("uq_weld_amendment_weld")),
    )


def _signatures() -> None:
    op.create_table(
        "weld_signature",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("weld", sa.String(length=64), nullable=False),
        sa.Column("as_role", sa.String(length=16), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("amendments", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weld_signature")),
    )
    op.create_index("ix_weld_signature_weld", "weld_signature", ["weld", "id"], unique=False)


def _verdicts() -> None:
    op.create_table(
        "weld_verdict",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("weld", sa.String(length=64), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("word", sa.String(length=24), nullable=False),
        sa.Column("excursions", sa.Integer(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weld_verdict")),
    )
    op.create_index("ix_weld_verdict_weld", "weld_verdict", ["weld", "id"], unique=False)


def _index() -> None:
    name = "weld_index"
    op.create_table(
        name,
        sa.Column("weld", sa.String(length=64), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("site", sa.String(length=64), nullable=False),
        sa.Column("station", sa.String(length=64), nullable=False),
        sa.Column("gun", sa.String(length=64), nullable=False),
        sa.Column("start", sa.BigInteger(), nullable=False),
        sa.Column("stop", sa.BigInteger(), nullable=True),
        sa.Column("procedure", sa.Text(), nullable=True),
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("seam", sa.Text(), nullable=False),
        sa.Column("welder", sa.Text(), nullable=False),
        sa.Column("verdict", sa.String(length=24), nullable=False),
        sa.Column("excursions", sa.Integer(), nullable=False),
        sa.Column("kinds", sa.String(length=8), nullable=False),
        sa.PrimaryKeyConstraint("weld", name=op.f("pk_weld_index")),
    )
    for what, columns in _INDEXES.items():
        op.create_index(f"ix_{name}_{what}", name, columns, unique=False)


_INDEXES = {
    "start": ["start", "seq"],
    "place": ["site", "station", "gun", "start", "seq"],
    "job": ["job", "seam", "start", "seq"],
    "seam": ["seam", "start", "seq"],
    "welder": ["welder", "start", "seq"],
    "verdict": ["verdict", "start", "seq"],
    "stop": ["stop"],
}


def _approvals() -> None:
    op.create_table(
        "procedure_approval",
        sa.Column("id", _SERIAL, nullable=False),
        sa.Column("procedure", sa.String(length=64), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_procedure_approval")),
        sa.UniqueConstraint("procedure", "revision", name=op.f("uq_procedure_approval_procedure")),
    )
