"""The audit trail chained by hashes, and closed to changes.

Entries that are there are chained as they are found; a mark behind them says so.
"""

import time

import sqlalchemy as sa
from alembic import op

from steadybead_collector.records.chain import MARK, append, entry_hash

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None
_SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_AUDIT = sa.Table(
    "audit",
    sa.MetaData(),
    sa.Column("id", _SERIAL, primary_key=True),
    sa.Column("time", sa.BigInteger()),
    sa.Column("actor", sa.Text()),
    sa.Column("via", sa.String(16)),
    sa.Column("what", sa.String(64)),
    sa.Column("subject", sa.Text()),
    sa.Column("detail", sa.JSON()),
    sa.Column("previous", sa.LargeBinary(32)),
    sa.Column("sha256", sa.LargeBinary(32)),
)
_REFUSAL = "the audit trail is only added to"
_POSTGRESQL = (
    f"""CREATE FUNCTION audit_is_kept() RETURNS trigger LANGUAGE plpgsql AS
    $$ BEGIN RAISE EXCEPTION '{_REFUSAL}'; END $$""",
    """CREATE TRIGGER audit_is_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON audit
    FOR EACH STATEMENT EXECUTE FUNCTION audit_is_kept()""",
)
_SQLITE = tuple(
    f"CREATE TRIGGER audit_no_{name} BEFORE {act} BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
    for name, act in {
        "update": "UPDATE ON audit",
        "delete": "DELETE ON audit",
        "replace": "INSERT ON audit WHEN EXISTS (SELECT 1 FROM audit WHERE id = NEW.id)",
    }.items()
)


def upgrade() -> None:
    """Add the columns, chain what is there, mark it, and refuse changes from now on."""
    op.add_column("audit", sa.Column("previous", sa.LargeBinary(length=32), nullable=True))
    op.add_column("audit", sa.Column("sha256", sa.LargeBinary(length=32), nullable=True))
    _chain(op.get_bind())
    with op.batch_alter_table("audit") as audit:
        audit.alter_column("sha256", nullable=False, existing_type=sa.LargeBinary(length=32))
    is_server = op.get_bind().dialect.name == "postgresql"
    for statement in _POSTGRESQL if is_server else _SQLITE:
        op.execute(statement)


def _chain(connection: sa.Connection) -> None:
    last, previous = 0, None
    for row in connection.execute(sa.select(_AUDIT).order_by(_AUDIT.c.id)).mappings().all():
        last, digest = row["id"], entry_hash(row, previous)
        found = sa.update(_AUDIT).where(_AUDIT.c.id == last)
        connection.execute(found.values(previous=previous, sha256=digest))
        previous = digest
    if last:
        mark = {"time": time.time_ns() // 1000, "actor": "update", "via": "migration"}
        detail = {"role": "none", "earlier": last}
        append(connection, _AUDIT, {**mark, "what": MARK, "subject": "audit", "detail": detail})
