"""Who watches which station: claims that lapse unless they are renewed."""

from collections.abc import Sequence

import sqlalchemy as sa

from steadybead_collector.records.database import Database
from steadybead_collector.records.schema import Time, metadata
from steadybead_domain.ids import StationId
from steadybead_domain.times import SECOND

HOLDS_FOR = 15 * SECOND

station_claim = sa.Table(
    "station_claim",
    metadata,
    sa.Column("site", sa.String(64), primary_key=True),
    sa.Column("station", sa.String(64), primary_key=True),
    sa.Column("holder", sa.String(64), nullable=False),
    sa.Column("until", Time, nullable=False),
)


class Claims:
    """One row a station, taken over when its holder no longer renews it.

    `now` is the wall clock in µs; clocks of the collectors' machines must agree to a few seconds.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def take(self, stations: Sequence[StationId], holder: str, now: int) -> list[StationId]:
        """Claim all of the stations, or none; give those that another one holds. StoreError."""
        wanted = set(stations)
        with self._database.write() as connection:
            rows = connection.execute(sa.select(station_claim)).all()
            theirs = [
                place
                for row in rows
                if row.holder != holder
                and row.until > now
                and (place := StationId(row.site, row.station)) in wanted
            ]
            if theirs:
                return theirs
            for station in wanted:
                connection.execute(sa.delete(station_claim).where(_of(station)))
            if wanted:
                connection.execute(
                    sa.insert(station_claim),
                    [
                        {
                            "site": s.site,
                            "station": s.station,
                            "holder": holder,
                            "until": now + HOLDS_FOR,
                        }
                        for s in sorted(wanted)
                    ],
                )
        return []

    def renew(self, stations: Sequence[StationId], holder: str, now: int) -> bool:
        """Hold on for another while; False if a station is no longer ours. StoreError."""
        mine = station_claim.c.holder == holder
        with self._database.write() as connection:
            held = connection.execute(
                sa.update(station_claim).where(mine).values(until=now + HOLDS_FOR)
            )
            return held.rowcount >= len(set(stations))

    def newest(self) -> int | None:
        """Give until when the newest claim holds; None if nobody ever claimed. StoreError."""
        with self._database.read() as connection:
            until = connection.scalar(sa.select(sa.func.max(station_claim.c.until)))
        return None if until is None else int(until)

    def release(self, holder: str) -> None:
        """Let go of everything. StoreError."""
        with self._database.write() as connection:
            connection.execute(sa.delete(station_claim).where(station_claim.c.holder == holder))


def _of(station: StationId) -> sa.ColumnElement[bool]:
    table = station_claim.c
    return sa.and_(table.site == station.site, table.station == station.station)
