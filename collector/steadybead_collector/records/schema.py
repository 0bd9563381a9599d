"""The tables. Rows are only ever added, except for the few columns named here.

`quarantine.count` and `quarantine.last_received` count repeats; `diagnosis_state` keeps the
newest state per station (it can be rebuilt from the readings); `weld_index` is rewritten with
each event of a record (it can be rebuilt from the events); `session.ended` closes a session;
`receipt` and `session` rows are dropped when nobody can ask for them any more.
"""

import sqlalchemy as sa

metadata = sa.MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
    }
)
Time = sa.BigInteger  # µs since 1970, UTC
Serial = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def _seq() -> sa.Column[int]:
    return sa.Column("seq", sa.BigInteger, sa.ForeignKey("change.seq"), primary_key=True)


change = sa.Table(
    "change",
    metadata,
    sa.Column("seq", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("kind", sa.String(16), nullable=False),
)

weld_event = sa.Table(
    "weld_event",
    metadata,
    _seq(),
    sa.Column("kind", sa.String(8), nullable=False),
    sa.Column("weld", sa.String(64), nullable=False),
    sa.Column("site", sa.String(64), nullable=False),
    sa.Column("station", sa.String(64), nullable=False),
    sa.Column("gun", sa.String(64), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("actor", sa.Text, nullable=False),
    sa.Column("via", sa.String(16), nullable=False),
    sa.Column("procedure", sa.Text),
    sa.Column("procedure_revision", sa.Integer),
    sa.Column("job", sa.Text),
    sa.Column("seam", sa.Text),
    sa.Column("welder", sa.Text),
    sa.Column("stop", Time),
    sa.Column("details", sa.JSON),
    sa.UniqueConstraint("weld", "kind"),
    sa.Index("ix_weld_event_place", "site", "station", "gun", "kind", "seq"),
    sa.Index("ix_weld_event_start", "kind", "time", "seq"),
)

weld_amendment = sa.Table(
    "weld_amendment",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("weld", sa.String(64), nullable=False),
    sa.Column("number", sa.Integer, nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("author", sa.Text, nullable=False),
    sa.Column("via", sa.String(16), nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("changes", sa.JSON, nullable=False),
    sa.Column("before", sa.JSON, nullable=False),
    sa.Column("entry", sa.String(64)),
    sa.Column("acted", Time),
    sa.UniqueConstraint("weld", "number"),
    sa.Index("ix_weld_amendment_entry", "entry", unique=True),
)

weld_signature = sa.Table(
    "weld_signature",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("weld", sa.String(64), nullable=False),
    sa.Column("as_role", sa.String(16), nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("role", sa.String(16), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("amendments", sa.Integer, nullable=False),
    sa.Index("ix_weld_signature_weld", "weld", "id"),
)

weld_verdict = sa.Table(
    "weld_verdict",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("weld", sa.String(64), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("word", sa.String(24), nullable=False),
    sa.Column("excursions", sa.Integer, nullable=False),
    sa.Column("content", sa.JSON, nullable=False),
    sa.Index("ix_weld_verdict_weld", "weld", "id"),
)

weld_index = sa.Table(
    "weld_index",
    metadata,
    sa.Column("weld", sa.String(64), primary_key=True),
    sa.Column("seq", sa.BigInteger, nullable=False),
    sa.Column("site", sa.String(64), nullable=False),
    sa.Column("station", sa.String(64), nullable=False),
    sa.Column("gun", sa.String(64), nullable=False),
    sa.Column("start", Time, nullable=False),
    sa.Column("stop", Time),
    sa.Column("procedure", sa.Text),
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("seam", sa.Text, nullable=False),
    sa.Column("welder", sa.Text, nullable=False),
    sa.Column("verdict", sa.String(24), nullable=False),
    sa.Column("excursions", sa.Integer, nullable=False),
    sa.Column("kinds", sa.String(8), nullable=False),
    sa.Index("ix_weld_index_start", "start", "seq"),
    sa.Index("ix_weld_index_place", "site", "station", "gun", "start", "seq"),
    sa.Index("ix_weld_index_job", "job", "seam", "start", "seq"),
    sa.Index("ix_weld_index_seam", "seam", "start", "seq"),
    sa.Index("ix_weld_index_welder", "welder", "start", "seq"),
    sa.Index("ix_weld_index_verdict", "verdict", "start", "seq"),
    sa.Index("ix_weld_index_stop", "stop"),
)

procedure_approval = sa.Table(
    "procedure_approval",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("procedure", sa.String(64), nullable=False),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("role", sa.String(16), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.UniqueConstraint("procedure", "revision"),
)

procedure = sa.Table(
    "procedure",
    metadata,
    _seq(),
    sa.Column("id", sa.String(64), nullable=False),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("author", sa.Text, nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("content", sa.JSON, nullable=False),
    sa.UniqueConstraint("id", "revision"),
)

alarm_act = sa.Table(
    "alarm_act",
    metadata,
    _seq(),
    sa.Column("alarm", sa.String(128), nullable=False),
    sa.Column("kind", sa.String(32), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("actor", sa.Text, nullable=False),
    sa.Column("until", Time),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("of_raise", Time),
    sa.Index("ix_alarm_act_alarm", "alarm", "seq"),
)

alarm_fact = sa.Table(
    "alarm_fact",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("first", sa.Boolean, nullable=False),
    sa.Column("alarm", sa.String(128), nullable=False),
    sa.Column("fingerprint", sa.String(128), nullable=False),
    sa.Column("kind", sa.String(64), nullable=False),
    sa.Column("site", sa.String(64), nullable=False),
    sa.Column("station", sa.String(64), nullable=False),
    sa.Column("gun", sa.String(64)),
    sa.Column("channel", sa.String(260)),
    sa.Column("time", Time, nullable=False),
    sa.Column("active", sa.Boolean, nullable=False),
    sa.Column("priority", sa.String(8), nullable=False),
    sa.Column("latching", sa.Boolean, nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("value", sa.Double),
    sa.Column("limit", sa.Double),
    sa.Column("unit", sa.String(32), nullable=False),
    sa.Column("cause", sa.Text, nullable=False),
    sa.Column("to_do", sa.Text, nullable=False),
    sa.Column("for_whom", sa.Text, nullable=False),
    sa.Column("suppressed", sa.Boolean, nullable=False),
    sa.Column("merged_into", sa.String(128), nullable=False),
    sa.UniqueConstraint("alarm", "time", "active"),
    sa.Index("ix_alarm_fact_first", "first", "time", "id"),
    sa.Index("ix_alarm_fact_time", "time", "id"),
)

notice = sa.Table(
    "notice",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("notice", sa.String(64), nullable=False, unique=True),
    sa.Column("receiver", sa.String(64), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("subject", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("told", sa.JSON, nullable=False),
    sa.Index("ix_notice_time", "time", "id"),
)

notice_attempt = sa.Table(
    "notice_attempt",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("notice", sa.String(64), sa.ForeignKey("notice.notice"), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("outcome", sa.String(16), nullable=False),
    sa.Column("detail", sa.Text, nullable=False),
    sa.Index("ix_notice_attempt_notice", "notice", "id"),
)

finding = sa.Table(
    "finding",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("finding", sa.String(64), nullable=False),
    sa.Column("subject", sa.String(320), nullable=False),
    sa.Column("kind", sa.String(64), nullable=False),
    sa.Column("site", sa.String(64), nullable=False),
    sa.Column("station", sa.String(64), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("since", Time, nullable=False),
    sa.Column("content", sa.JSON, nullable=False),
    sa.UniqueConstraint("finding", "time"),
    sa.Index("ix_finding_subject", "subject", "time", "id"),
    sa.Index("ix_finding_time", "time", "id"),
)

receipt = sa.Table(
    "receipt",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("message_id", sa.Integer, nullable=False),
    sa.Column("topic", sa.Text, nullable=False),
    sa.Column("payload_sha256", sa.LargeBinary(32), nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.UniqueConstraint("message_id", "topic", "payload_sha256"),
)

quarantine = sa.Table(
    "quarantine",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("fingerprint", sa.LargeBinary(32), nullable=False, unique=True),
    sa.Column("topic", sa.Text, nullable=False),
    sa.Column("payload", sa.LargeBinary, nullable=False),
    sa.Column("payload_sha256", sa.LargeBinary(32), nullable=False),
    sa.Column("received", Time, nullable=False),
    sa.Column("last_received", Time, nullable=False),
    sa.Column("count", sa.BigInteger, nullable=False),
    sa.Column("outcome", sa.String(64), nullable=False),
    sa.Column("detail", sa.Text, nullable=False),
    sa.Column("remedy", sa.Text, nullable=False),
    sa.Column("record", sa.Integer),
)

diagnosis_state = sa.Table(
    "diagnosis_state",
    metadata,
    sa.Column("site", sa.String(64), primary_key=True),
    sa.Column("station", sa.String(64), primary_key=True),
    sa.Column("position", sa.BigInteger, nullable=False),
    sa.Column("state", sa.LargeBinary, nullable=False),
)

plant_version = sa.Table(
    "plant_version",
    metadata,
    sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("sha256", sa.String(64), nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("valid_from", Time, nullable=False),
)

token = sa.Table(
    "token",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("sha256", sa.LargeBinary(32), nullable=False, unique=True),
    sa.Column("actor", sa.Text, nullable=False),
    sa.Column("role", sa.String(16), nullable=False),
    sa.Column("created", Time, nullable=False),
    sa.Column("created_by", sa.Text, nullable=False),
)

token_revocation = sa.Table(
    "token_revocation",
    metadata,
    sa.Column("token", Serial, sa.ForeignKey("token.id"), primary_key=True, autoincrement=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("actor", sa.Text, nullable=False),
)

account = sa.Table(
    "account",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("name", sa.String(64), nullable=False),
    sa.Column("name_key", sa.String(192), nullable=False, unique=True),
    sa.Column("created", Time, nullable=False),
    sa.Column("created_by", sa.Text, nullable=False),
)

account_fact = sa.Table(
    "account_fact",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("account", Serial, sa.ForeignKey("account.id"), nullable=False),
    sa.Column("kind", sa.String(16), nullable=False),
    sa.Column("value", sa.Text, nullable=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("actor", sa.Text, nullable=False),
    sa.Index("ix_account_fact_account", "account", "id"),
)

tablet = sa.Table(
    "tablet",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("sha256", sa.LargeBinary(32), nullable=False, unique=True),
    sa.Column("place", sa.Text, nullable=False),
    sa.Column("created", Time, nullable=False),
    sa.Column("created_by", sa.Text, nullable=False),
)

tablet_withdrawal = sa.Table(
    "tablet_withdrawal",
    metadata,
    sa.Column("tablet", Serial, sa.ForeignKey("tablet.id"), primary_key=True, autoincrement=False),
    sa.Column("time", Time, nullable=False),
    sa.Column("actor", sa.Text, nullable=False),
)

session = sa.Table(
    "session",
    metadata,
    sa.Column("sha256", sa.LargeBinary(32), primary_key=True),
    sa.Column("token", Serial, sa.ForeignKey("token.id")),
    sa.Column("account", Serial, sa.ForeignKey("account.id")),
    sa.Column("actor", sa.Text, nullable=False),
    sa.Column("role", sa.String(16), nullable=False),
    sa.Column("created", Time, nullable=False),
    sa.Column("expires", Time, nullable=False),
    sa.Column("ended", Time),
    sa.Index("ix_session_expires", "expires"),
)

audit = sa.Table(
    "audit",
    metadata,
    sa.Column("id", Serial, primary_key=True),
    sa.Column("time", Time, nullable=False),
    sa.Column("actor", sa.Text, nullable=False),
    sa.Column("via", sa.String(16), nullable=False),
    sa.Column("what", sa.String(64), nullable=False),
    sa.Column("subject", sa.Text, nullable=False),
    sa.Column("detail", sa.JSON, nullable=False),
    sa.Column("previous", sa.LargeBinary(32)),
    sa.Column("sha256", sa.LargeBinary(32), nullable=False),
)


def _revisions(name: str) -> sa.Table:
    """Make a table of records with revisions: `about` is what it is of, `at` when it happened."""
    return sa.Table(
        name,
        metadata,
        _seq(),
        sa.Column("id", sa.String(64), nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("about", sa.String(260), nullable=False),
        sa.Column("at", Time, nullable=False),
        sa.Column("author", sa.Text, nullable=False),
        sa.Column("time", Time, nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.UniqueConstraint("id", "revision"),
        sa.Index(f"ix_{name}_about", "about", "at"),
        sa.Index(f"ix_{name}_at", "at", "seq"),
    )


instrument = _revisions("instrument")
fitting = _revisions("fitting")
calibration = _revisions("calibration")
reference_check = _revisions("reference_check")
filter_change = _revisions("filter_change")
cut_plan = _revisions("cut_plan")
cut_result = _revisions("cut_result")
