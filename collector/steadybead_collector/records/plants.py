"""Accepted versions of the plant file, as text, each with the time from which it holds."""

import hashlib
from dataclasses import dataclass, replace

import sqlalchemy as sa

from steadybead_collector.records.database import Database
from steadybead_collector.records.schema import plant_version
from steadybead_domain.plant import Plant


@dataclass(frozen=True, slots=True)
class PlantVersion:
    """One accepted plant file."""

    version: int
    sha256: str
    text: str
    valid_from: int


class PlantRecords:
    """All versions; the newest one holds."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def accept(self, text: str, plant: Plant, now: int) -> Plant:
        """Keep the file if it is not the newest version already; give the plant its number."""
        sha256 = plant.sha256 or hashlib.sha256(text.encode()).hexdigest()
        table = plant_version.c
        newest = sa.select(table.version, table.sha256).order_by(table.version.desc()).limit(1)
        with self._database.write() as connection:
            row = connection.execute(newest).first()
            version = 0 if row is None else row.version
            if row is None or row.sha256 != sha256:
                version += 1
                values = {"version": version, "sha256": sha256, "text": text, "valid_from": now}
                connection.execute(sa.insert(plant_version).values(**values))
        return replace(plant, version=version, sha256=sha256)

    def versions(self) -> list[PlantVersion]:
        """List all versions, the newest first."""
        query = sa.select(plant_version).order_by(plant_version.c.version.desc())
        with self._database.read() as connection:
            found = connection.execute(query).all()
        return [PlantVersion(r.version, r.sha256, r.text, r.valid_from) for r in found]
