"""Notices to receivers and what came of them. Written by the collector; rows are only added."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_collector.records.rows import storable
from steadybead_collector.records.schema import notice, notice_attempt
from steadybead_domain.alarms.delivery import Attempt, Outcome, is_over
from steadybead_domain.alarms.notices import Notice, Told

_MANY = 400


@dataclass(frozen=True, slots=True)
class Sent:
    """A notice and all attempts to deliver it, in their order."""

    notice: Notice
    attempts: tuple[Attempt, ...] = ()

    @property
    def waits(self) -> bool:
        """Tell whether it is still to be delivered."""
        return not is_over(self.attempts)

    @property
    def state(self) -> str:
        """Say how it stands: waiting, or what its last attempt came to."""
        return "waiting" if self.waits else self.attempts[-1].outcome.value


class NoticeRecords:
    """The outbox: a notice is kept before anybody tries to deliver it."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, notices: Sequence[Notice]) -> None:
        """Keep notices; one that is known is a no-op."""
        if not notices:
            return
        with self._database.write() as connection:
            for item in notices:
                same = sa.select(notice.c.id).where(notice.c.notice == item.id)
                if connection.execute(same).first() is None:
                    connection.execute(sa.insert(notice).values(**_values(item)))

    def note(self, notice_id: str, attempt: Attempt) -> None:
        """Keep what came of an attempt."""
        values = {
            "notice": notice_id,
            "time": attempt.time,
            "outcome": attempt.outcome.value,
            "detail": storable(attempt.detail),
        }
        with self._database.write() as connection:
            connection.execute(sa.insert(notice_attempt).values(**values))

    def waiting(self) -> list[Sent]:
        """List what is not delivered and not given up, in the order of its decision."""
        over = sa.select(notice_attempt.c.id).where(
            notice_attempt.c.notice == notice.c.notice,
            notice_attempt.c.outcome != Outcome.FAILED.value,
        )
        query = sa.select(notice).where(sa.not_(sa.exists(over))).order_by(notice.c.id)
        with self._database.read() as connection:
            return _sent(connection, connection.execute(query).all())

    def since(self, time: int) -> list[Notice]:
        """List what was decided since a time, in its order."""
        query = sa.select(notice).where(notice.c.time >= time).order_by(notice.c.id)
        with self._database.read() as connection:
            return [_notice(row) for row in connection.execute(query)]

    def page(self, limit: int, after: Key | None = None) -> Page[Sent]:
        """List notices, the newest first."""
        query = sa.select(notice).order_by(notice.c.time.desc(), notice.c.id.desc())
        if after is not None:
            time, row = after
            same = sa.and_(notice.c.time == time, notice.c.id < row)
            query = query.where(sa.or_(notice.c.time < time, same))
        with self._database.read() as connection:
            found = connection.execute(query.limit(limit + 1)).all()
            items = _sent(connection, found)
        return cut(items, [(r.time, r.id) for r in found], limit)

    def newest(self, receiver: str) -> Sent | None:
        """Find the newest notice of a receiver."""
        query = sa.select(notice).where(notice.c.receiver == receiver)
        query = query.order_by(notice.c.id.desc()).limit(1)
        with self._database.read() as connection:
            found = _sent(connection, connection.execute(query).all())
        return found[0] if found else None


def _sent(connection: Connection, found: Sequence[Any]) -> list[Sent]:
    attempts: defaultdict[str, list[Attempt]] = defaultdict(list)
    names = [row.notice for row in found]
    for i in range(0, len(names), _MANY):
        part = notice_attempt.c.notice.in_(names[i : i + _MANY])
        query = sa.select(notice_attempt).where(part).order_by(notice_attempt.c.id)
        for row in connection.execute(query):
            attempts[row.notice].append(Attempt(row.time, Outcome(row.outcome), row.detail))
    return [Sent(_notice(row), tuple(attempts[row.notice])) for row in found]


def _values(item: Notice) -> dict[str, Any]:
    return {
        "notice": item.id,
        "receiver": item.receiver,
        "time": item.time,
        "subject": storable(item.subject),
        "body": storable(item.body),
        "told": [asdict(told) for told in item.told],
    }


def _notice(row: Any) -> Notice:
    told = tuple(Told(**members) for members in row.told)
    return Notice(row.notice, row.receiver, row.time, row.subject, row.body, told)
