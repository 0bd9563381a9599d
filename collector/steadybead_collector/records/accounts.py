"""Accounts of people: passwords and PINs as argon2 hashes, every change a row of its own.

A PIN opens a session only on a tablet that an administrator has made a shared one: the tablet
holds a secret of 256 bits, and the PIN tells its users apart.
"""

import functools
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import argon2
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import audit
from steadybead_collector.records.access import AccessRecords, secret_hash
from steadybead_collector.records.database import Database
from steadybead_collector.records.schema import (
    account,
    account_fact,
    session,
    tablet,
    tablet_withdrawal,
    token,
    token_revocation,
)
from steadybead_domain.people import (
    Account,
    Actor,
    Role,
    check_name,
    check_password,
    check_pin,
    name_key,
)
from steadybead_domain.times import HOUR

PIN_SESSION_LENGTH = HOUR
TABLET_PREFIX = "sbt_"
_HASHER = argon2.PasswordHasher()  # RFC 9106, second recommended option (64 MiB, three passes)


class AccountError(ValueError):
    """An act on an account that cannot be done; the message says what to do instead."""


class Way(StrEnum):
    """How a person proves who they are."""

    PASSWORD = "password"  # noqa: S105
    PIN = "pin"


@dataclass(frozen=True, slots=True)
class Tablet:
    """A shared tablet; `withdrawn` is None while it may be used."""

    id: int
    place: str
    created: int
    created_by: str
    withdrawn: int | None


class AccountRecords:
    """People who sign in by name, and the tablets that they share."""

    def __init__(self, database: Database, access: AccessRecords) -> None:
        self._database, self._access = database, access

    def create(
        self, name: str, role: Role, by: Actor, now: int, via: str, *, password: str = ""
    ) -> Account:
        """Make an account; without a password it can be given a PIN. AccountError."""
        kept = _checked(lambda: check_name(name))
        hashed = _HASHER.hash(_checked(lambda: check_password(password, kept))) if password else ""
        values = {"name": kept, "name_key": name_key(kept), "created": now, "created_by": by.name}
        same = sa.select(account.c.id).where(account.c.name_key == values["name_key"])
        with self._database.write() as connection:
            if connection.scalar(same) is not None:
                raise AccountError(f"there is an account {kept!r}: choose another name")
            made = connection.execute(sa.insert(account).values(**values))
            key = made.inserted_primary_key
            number = 0 if key is None else int(key[0])
            _note(connection, number, "role", role.value, by, now)
            if hashed:
                _note(connection, number, Way.PASSWORD, hashed, by, now)
            audit.note(connection, now, by, via, "account made", subject=kept, given=role.value)
        return self.get(number)

    def all(self) -> list[Account]:
        """List all accounts by name."""
        with self._database.read() as connection:
            facts = _folded(connection)
            rows = connection.execute(sa.select(account).order_by(account.c.name_key)).all()
        return [_account(row, facts.get(row.id, {})) for row in rows]

    def get(self, number: int) -> Account:
        """Give one; AccountError if there is none."""
        for found in self.all():
            if found.id == number:
                return found
        raise AccountError("there is no such account: look at the list again")

    def has_administrator(self) -> bool:
        """Tell whether anybody can administer: by an account or by a token."""
        if any(a.role is Role.ADMINISTRATOR and not a.closed for a in self.all()):
            return True
        gone = sa.select(token_revocation.c.token)
        good = sa.select(token.c.id).where(
            token.c.role == Role.ADMINISTRATOR.value, token.c.id.not_in(gone)
        )
        with self._database.read() as connection:
            return connection.execute(good.limit(1)).first() is not None

    def set_role(self, number: int, role: Role, by: Actor, now: int, via: str) -> Account:
        """Give another role; open sessions end. AccountError for the last administrator."""
        found = self.get(number)
        self._keep_one_administrator(found, stays=role is Role.ADMINISTRATOR)
        self._change(found, "role", role.value, by, now, via, shown=role.value)
        return self.get(number)

    def set_closed(self, number: int, by: Actor, now: int, via: str, *, closed: bool) -> Account:
        """Close or open an account; open sessions end. AccountError for the last administrator."""
        found = self.get(number)
        self._keep_one_administrator(found, stays=not closed)
        word = "yes" if closed else "no"
        self._change(found, "closed", word, by, now, via, shown=word)
        return self.get(number)

    def set_secret(
        self, number: int, way: Way, secret: str, by: Actor, now: int, via: str
    ) -> Account:
        """Set a password or PIN, or take it away with ""; open sessions end. AccountError."""
        found = self.get(number)
        if way is Way.PIN and found.role is Role.ADMINISTRATOR and secret:
            raise AccountError("an administrator signs in by password only")
        check = check_pin if way is Way.PIN else lambda said: check_password(said, found.name)
        hashed = _HASHER.hash(_checked(lambda: check(secret))) if secret else ""
        self._change(found, way, hashed, by, now, via, shown="set" if secret else "taken away")
        return self.get(number)

    def proven(self, name: str, way: Way, secret: str) -> Account | None:
        """Give the open account of that name if the secret is its; takes as long if not."""
        with self._database.read() as connection:
            mine = sa.select(account).where(account.c.name_key == name_key(name))
            row = connection.execute(mine).first()
            facts = {} if row is None else _folded(connection, row.id).get(row.id, {})
        hashed = facts.get(way, "")
        good = _is_secret(hashed or _nobody(), secret) and bool(hashed)
        found = None if row is None else _account(row, facts)
        allowed = found is not None and not found.closed
        if found is not None and way is Way.PIN and found.role is Role.ADMINISTRATOR:
            allowed = False
        return found if good and allowed else None

    def log_in(self, who: Account, way: Way, now: int, via: str) -> str:
        """Open a session for somebody who has proven who they are; give its secret."""
        length = PIN_SESSION_LENGTH if way is Way.PIN else None
        return self._access.open_session(who.actor, now, f"{via} {way}", who.id, length)

    def make_tablet(self, place: str, by: Actor, now: int, via: str) -> str:
        """Make a browser a shared tablet; give the secret that it keeps."""
        secret = TABLET_PREFIX + secrets.token_urlsafe(32)
        values = {"place": place, "created": now, "created_by": by.name}
        with self._database.write() as connection:
            connection.execute(sa.insert(tablet).values(sha256=secret_hash(secret), **values))
            audit.note(connection, now, by, via, "tablet made", subject=place)
        return secret

    def tablet_place(self, secret: str) -> str | None:
        """Tell where a shared tablet stands; None if it is none, or was withdrawn."""
        gone = sa.select(tablet_withdrawal.c.tablet)
        mine = sa.select(tablet.c.place).where(
            tablet.c.sha256 == secret_hash(secret), tablet.c.id.not_in(gone)
        )
        with self._database.read() as connection:
            place: str | None = connection.scalar(mine)
        return place

    def tablets(self) -> list[Tablet]:
        """List all tablets, the newest first."""
        joined = tablet.outerjoin(tablet_withdrawal)
        query = sa.select(tablet, tablet_withdrawal.c.time.label("withdrawn")).select_from(joined)
        with self._database.read() as connection:
            rows = connection.execute(query.order_by(tablet.c.id.desc())).all()
        return [Tablet(r.id, r.place, r.created, r.created_by, r.withdrawn) for r in rows]

    def withdraw_tablet(self, number: int, by: Actor, now: int, via: str) -> bool:
        """Make a tablet an ordinary browser again; False if it is unknown or was withdrawn."""
        if not any(t.id == number and t.withdrawn is None for t in self.tablets()):
            return False
        values = {"tablet": number, "time": now, "actor": by.name}
        with self._database.write() as connection:
            connection.execute(sa.insert(tablet_withdrawal).values(**values))
            audit.note(connection, now, by, via, "tablet withdrawn", subject=str(number))
        return True

    def _change(
        self, found: Account, kind: str, value: str, by: Actor, now: int, via: str, *, shown: str
    ) -> None:
        mine = sa.and_(session.c.account == found.id, session.c.ended.is_(None))
        with self._database.write() as connection:
            _note(connection, found.id, kind, value, by, now)
            connection.execute(sa.update(session).where(mine).values(ended=now))
            audit.note(connection, now, by, via, f"account {kind}", subject=found.name, new=shown)

    def _keep_one_administrator(self, found: Account, *, stays: bool) -> None:
        if stays or found.role is not Role.ADMINISTRATOR or found.closed:
            return
        others = [
            a for a in self.all() if a.role is Role.ADMINISTRATOR and not a.closed and a != found
        ]
        if not others:
            raise AccountError("this is the last administrator: make another one first")


def _note(connection: Connection, number: int, kind: str, value: str, by: Actor, now: int) -> None:
    values = {"account": number, "kind": kind, "value": value, "time": now, "actor": by.name}
    connection.execute(sa.insert(account_fact).values(**values))


def _folded(connection: Connection, number: int | None = None) -> dict[int, dict[str, str]]:
    """Give what holds now of each account: its newest fact of each kind."""
    query = sa.select(account_fact.c.account, account_fact.c.kind, account_fact.c.value)
    if number is not None:
        query = query.where(account_fact.c.account == number)
    facts: dict[int, dict[str, str]] = {}
    for row in connection.execute(query.order_by(account_fact.c.id)):
        facts.setdefault(row.account, {})[row.kind] = row.value
    return facts


def _account(row: Any, facts: dict[str, str]) -> Account:
    return Account(
        row.id,
        row.name,
        Role(facts.get("role", Role.VIEWER.value)),
        row.created,
        row.created_by,
        bool(facts.get(Way.PASSWORD)),
        bool(facts.get(Way.PIN)),
        facts.get("closed") == "yes",
    )


def _checked(check: Callable[[], str]) -> str:
    try:
        return check()
    except ValueError as error:
        raise AccountError(str(error)) from None


def _is_secret(hashed: str, secret: str) -> bool:
    try:
        return _HASHER.verify(hashed, secret)
    except (argon2.exceptions.VerificationError, argon2.exceptions.InvalidHashError):
        return False


@functools.cache
def _nobody() -> str:
    """Give a hash that no secret fits, made when it is first needed: it takes a sixth of a second.

    The first wrong name takes that much longer, later ones as long as a wrong secret.
    """
    return _HASHER.hash(secrets.token_urlsafe(16))
