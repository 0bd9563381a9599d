"""The newest diagnosis state of each station, with the journal position it has seen."""

from collections.abc import Mapping

import sqlalchemy as sa

from steadybead_collector.records.database import Database
from steadybead_collector.records.schema import diagnosis_state
from steadybead_domain.ids import StationId


class StateRecords:
    """States can be rebuilt from the readings, so only the newest one is kept."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def save(self, position: int, states: Mapping[StationId, bytes]) -> None:
        """Keep states in place of the stations' older ones."""
        with self._database.write() as connection:
            for station, state in states.items():
                values = {"position": position, "state": state}
                update = sa.update(diagnosis_state).where(_mine(station)).values(**values)
                if connection.execute(update).rowcount == 0:
                    row = {"site": station.site, "station": station.station, **values}
                    connection.execute(sa.insert(diagnosis_state).values(**row))

    def load(self, station: StationId) -> tuple[int, bytes] | None:
        """Give position and state, None if there is none."""
        with self._database.read() as connection:
            row = connection.execute(sa.select(diagnosis_state).where(_mine(station))).first()
        return None if row is None else (row.position, bytes(row.state))


def _mine(station: StationId) -> sa.ColumnElement[bool]:
    table = diagnosis_state.c
    return sa.and_(table.site == station.site, table.station == station.station)
