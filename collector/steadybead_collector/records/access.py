"""Tokens and sessions: secrets are kept as SHA-256 only, so a copy of the file opens nothing.

A token has 256 random bits; a slow password hash would add nothing.
"""

import hashlib
import secrets
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import audit
from steadybead_collector.records.database import Database
from steadybead_collector.records.schema import session, token, token_revocation
from steadybead_domain.people import Actor, Role
from steadybead_domain.times import HOUR

TOKEN_PREFIX = "sb_"  # noqa: S105
SESSION_LENGTH = 12 * HOUR


@dataclass(frozen=True, slots=True)
class TokenRow:
    """A token without its secret; `revoked` is None while it is good."""

    id: int
    actor: Actor
    created: int
    created_by: str
    revoked: int | None


class AccessRecords:
    """Who may come in. Rows of tokens are never changed; a revocation is a row of its own."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def create_token(self, actor: Actor, by: Actor, now: int, via: str) -> str:
        """Make a bearer token; this is the only time that its text is known."""
        secret = TOKEN_PREFIX + secrets.token_urlsafe(32)
        values = {"actor": actor.name, "role": actor.role.value, "created_by": by.name}
        with self._database.write() as connection:
            made = connection.execute(
                sa.insert(token).values(sha256=secret_hash(secret), created=now, **values)
            )
            key = made.inserted_primary_key
            subject = "" if key is None else str(key[0])
            audit.note(connection, now, by, via, "token created", subject=subject, **values)
        return secret

    def token_actor(self, secret: str) -> Actor | None:
        """Tell who holds a token; None if it is unknown or revoked."""
        with self._database.read() as connection:
            row = _good_token(connection, secret)
        return None if row is None else Actor(row.actor, Role(row.role))

    def revoke_token(self, token_id: int, by: Actor, now: int, via: str) -> bool:
        """Revoke a token and end its sessions; False if it is unknown or already revoked."""
        with self._database.write() as connection:
            gone = sa.select(token_revocation.c.token)
            known = sa.select(token.c.id).where(token.c.id == token_id, token.c.id.not_in(gone))
            if connection.scalar(known) is None:
                return False
            values = {"token": token_id, "time": now, "actor": by.name}
            connection.execute(sa.insert(token_revocation).values(**values))
            open_here = sa.and_(session.c.token == token_id, session.c.ended.is_(None))
            connection.execute(sa.update(session).where(open_here).values(ended=now))
            audit.note(connection, now, by, via, "token revoked", subject=str(token_id))
            return True

    def tokens(self) -> list[TokenRow]:
        """List all tokens ever made, the newest first."""
        joined = token.outerjoin(token_revocation)
        query = sa.select(token, token_revocation.c.time.label("revoked")).select_from(joined)
        with self._database.read() as connection:
            found = connection.execute(query.order_by(token.c.id.desc())).all()
        return [
            TokenRow(r.id, Actor(r.actor, Role(r.role)), r.created, r.created_by, r.revoked)
            for r in found
        ]

    def log_in(self, secret: str, now: int, via: str) -> str | None:
        """Open a session for the holder of a token; give the session's secret."""
        with self._database.write() as connection:
            row = _good_token(connection, secret)
            if row is None:
                return None
            actor = Actor(row.actor, Role(row.role))
            return _open_session(connection, actor, now, via, token=row.id)

    def open_session(
        self, actor: Actor, now: int, via: str, account: int, length: int | None = None
    ) -> str:
        """Open a session for the holder of an account; give its secret."""
        with self._database.write() as connection:
            return _open_session(connection, actor, now, via, account=account, length=length)

    def open_demo_session(self, actor: Actor, now: int) -> str:
        """Open a session that stands on no token; give its secret."""
        with self._database.write() as connection:
            return _open_session(connection, actor, now, "demo")

    def session_actor(self, secret: str, now: int) -> Actor | None:
        """Tell whose session it is; None if it is unknown, ended or too old."""
        query = sa.select(session).where(
            session.c.sha256 == secret_hash(secret),
            session.c.ended.is_(None),
            session.c.expires > now,
        )
        with self._database.read() as connection:
            row = connection.execute(query).first()
        return None if row is None else Actor(row.actor, Role(row.role))

    def log_out(self, secret: str, now: int, via: str) -> bool:
        """End a session; False if there is no open one."""
        mine = sa.and_(session.c.sha256 == secret_hash(secret), session.c.ended.is_(None))
        with self._database.write() as connection:
            row = connection.execute(sa.select(session).where(mine)).first()
            if row is None:
                return False
            connection.execute(sa.update(session).where(mine).values(ended=now))
            by = Actor(row.actor, Role(row.role))
            audit.note(connection, now, by, via, "logged out", subject=row.actor)
            return True


def secret_hash(secret: str) -> bytes:
    """Give the form in which a secret of 256 bits is kept."""
    return hashlib.sha256(secret.encode(errors="surrogatepass")).digest()


def _good_token(connection: Connection, secret: str) -> Any:
    gone = sa.select(token_revocation.c.token)
    mine = sa.select(token).where(token.c.sha256 == secret_hash(secret), token.c.id.not_in(gone))
    return connection.execute(mine).first()


def _open_session(
    connection: Connection,
    actor: Actor,
    now: int,
    via: str,
    *,
    token: int | None = None,
    account: int | None = None,
    length: int | None = None,
) -> str:
    secret = secrets.token_urlsafe(32)
    connection.execute(sa.delete(session).where(session.c.expires < now))
    connection.execute(
        sa.insert(session).values(
            sha256=secret_hash(secret),
            token=token,
            account=account,
            actor=actor.name,
            role=actor.role.value,
            created=now,
            expires=now + (length or SESSION_LENGTH),
        )
    )
    audit.note(connection, now, actor, via, "logged in", subject=actor.name)
    return secret
