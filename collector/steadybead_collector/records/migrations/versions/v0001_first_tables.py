"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None
SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables, parents first."""
    _alarm_fact()
    _audit()
    _change()
    _diagnosis_state()
    _plant_version()
    _quarantine()
    _receipt()
    _token()
    _alarm_act()
    _procedure()
    _session()
    _token_revocation()
    _weld_event()


def _alarm_fact() -> None:
    op.create_table(
        "alarm_fact",
        sa.Column("id", SERIAL, nullable=False),
        sa.Column("first", sa.Boolean(), nullable=False),
        sa.Column("alarm", sa.String(length=128), nullable=False),
        sa.Column("fingerprint", sa.String(length=128), nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("site", sa.String(length=64), nullable=False),
        sa.Column("station", sa.String(length=64), nullable=False),
        sa.Column("gun", sa.String(length=64), nullable=True),
        sa.Column("channel", sa.String(length=260), nullable=True),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("priority", sa.String(length=8), nullable=False),
        sa.Column("latching", sa.Boolean(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("limit", sa.Double(), nullable=True),
        sa.Column("unit", sa.String(length=32), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("to_do", sa.Text(), nullable=False),
        sa.Column("for_whom", sa.Text(), nullable=False),
        sa.Column("suppressed", sa.Boolean(), nullable=False),
        sa.Column("merged_into", sa.String(length=128), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alarm_fact")),
        sa.UniqueConstraint("alarm", "time", "active", name=op.f("uq_alarm_fact_alarm")),
    )
    op.create_index("ix_alarm_fact_first", "alarm_fact", ["first", "time", "id"], unique=False)
    op.create_index("ix_alarm_fact_time", "alarm_fact", ["time", "id"], unique=False)


def _audit() -> None:
    op.create_table(
        "audit",
        sa.Column("id", SERIAL, nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("via", sa.String(length=16), nullable=False),
        sa.Column("what", sa.String(length=64), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
    )


def _change() -> None:
    op.create_table(
        "change",
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_change")),
    )


def _diagnosis_state() -> None:
    op.create_table(
        "diagnosis_state",
        sa.Column("site", sa.String(length=64), nullable=False),
        sa.Column("station", sa.String(length=64), nullable=False),
        sa.Column("position", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("site", "station", name=op.f("pk_diagnosis_state")),
    )


def _plant_version() -> None:
    op.create_table(
        "plant_version",
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("valid_from", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_plant_version")),
    )


def _quarantine() -> None:
    op.create_table(
        "quarantine",
        sa.Column("id", SERIAL, nullable=False),
        sa.Column("fingerprint", sa.LargeBinary(length=32), nullable=False),
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.Column("payload_sha256", sa.LargeBinary(length=32), nullable=False),
        sa.Column("received", sa.BigInteger(), nullable=False),
        sa.Column("last_received", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.Column("outcome", sa.String(length=64), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("remedy", sa.Text(), nullable=False),
        sa.Column("record", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quarantine")),
        sa.UniqueConstraint("fingerprint", name=op.f("uq_quarantine_fingerprint")),
    )


def _receipt() -> None:
    op.create_table(
        "receipt",
        sa.Column("id", SERIAL, nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("payload_sha256", sa.LargeBinary(length=32), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_receipt")),
        sa.UniqueConstraint(
            "message_id", "topic", "payload_sha256", name=op.f("uq_receipt_message_id")
        ),
    )


def _token() -> None:
    op.create_table(
        "token",
        sa.Column("id", SERIAL, nullable=False),
        sa.Column("sha256", sa.LargeBinary(length=32), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("created", sa.BigInteger(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token")),
        sa.UniqueConstraint("sha256", name=op.f("uq_token_sha256")),
    )


def _alarm_act() -> None:
    op.create_table(
        "alarm_act",
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("alarm", sa.String(length=128), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("until", sa.BigInteger(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("of_raise", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["seq"], ["change.seq"], name=op.f("fk_alarm_act_seq")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_alarm_act")),
    )
    op.create_index("ix_alarm_act_alarm", "alarm_act", ["alarm", "seq"], unique=False)


def _procedure() -> None:
    op.create_table(
        "procedure",
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["seq"], ["change.seq"], name=op.f("fk_procedure_seq")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_procedure")),
        sa.UniqueConstraint("id", "revision", name=op.f("uq_procedure_id")),
    )


def _session() -> None:
    op.create_table(
        "session",
        sa.Column("sha256", sa.LargeBinary(length=32), nullable=False),
        sa.Column("token", SERIAL, nullable=True),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("created", sa.BigInteger(), nullable=False),
        sa.Column("expires", sa.BigInteger(), nullable=False),
        sa.Column("ended", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["token"], ["token.id"], name=op.f("fk_session_token")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_session")),
    )
    op.create_index("ix_session_expires", "session", ["expires"], unique=False)


def _token_revocation() -> None:
    op.create_table(
        "token_revocation",
        sa.Column("token", SERIAL, autoincrement=False, nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["token"], ["token.id"], name=op.f("fk_token_revocation_token")),
        sa.PrimaryKeyConstraint("token", name=op.f("pk_token_revocation")),
    )


def _weld_event() -> None:
    op.create_table(
        "weld_event",
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("weld", sa.String(length=64), nullable=False),
        sa.Column("site", sa.String(length=64), nullable=False),
        sa.Column("station", sa.String(length=64), nullable=False),
        sa.Column("gun", sa.String(length=64), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("via", sa.String(length=16), nullable=False),
        sa.Column("procedure", sa.Text(), nullable=True),
        sa.Column("procedure_revision", sa.Integer(), nullable=True),
        sa.Column("job", sa.Text(), nullable=True),
        sa.Column("seam", sa.Text(), nullable=True),
        sa.Column("welder", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["seq"], ["change.seq"], name=op.f("fk_weld_event_seq")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_weld_event")),
        sa.UniqueConstraint("weld", "kind", name=op.f("uq_weld_event_weld")),
    )
    op.create_index(
        "ix_weld_event_place", "weld_event", ["site", "station", "gun", "kind", "seq"], unique=False
    )
    op.create_index("ix_weld_event_start", "weld_event", ["kind", "time", "seq"], unique=False)
