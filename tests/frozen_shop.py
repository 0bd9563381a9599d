"""Tiny data folders as this version writes them, to be opened by every later one.

`python tests/frozen_shop.py` writes `tests/data/shop-R.zip`, R being the version of the records'
tables, unless it is there: what is frozen is never made anew. Inside: `shop`, a data folder with
sealed readings, a weld, its daily root and an audit trail; `readings-1`, a readings file of form 1.
"""

import sys
import tempfile
import zipfile
from pathlib import Path
from typing import Final

import apsw
import numpy as np

from steadybead_collector.evidence.keeper import RootKeeper
from steadybead_collector.records.database import FILE_NAME as RECORDS
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import SqliteReadings, journal_codec
from steadybead_collector.stores.database import FILE_NAME as READINGS
from steadybead_collector.stores.schema import _JOURNAL, APPLICATION_ID
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.people import Actor, Role
from steadybead_domain.readings import Batch, Columns
from steadybead_domain.times import DAY, MINUTE, SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind

DATA: Final = Path(__file__).parent / "data"
START: Final = 1_777_879_800_000_000  # 2026-05-04T07:30:00Z
NOZZLE: Final = ChannelId("north", "bay-1", "gun-a/nozzle")
WELD: Final = "w-frozen"
COUNT: Final = 1500
BOSS: Final = Actor("Zoë", Role.ADMINISTRATOR)


def readings() -> Columns:
    """Make 25 minutes at 1 Hz by a formula, so that a test can know each value."""
    number = np.arange(COUNT, dtype=np.int64)
    value = 310.0 + (number % 97) / 100.0
    zeros = np.zeros(COUNT, np.uint8)
    plant = np.ones(COUNT, np.uint32)
    return Columns(START + number * SECOND, value, value, zeros, zeros, plant)


def write_shop(folder: Path) -> None:
    """Write a data folder."""
    now = START + 2 * DAY
    records = open_records("sqlite", folder, lambda: now)
    bay = StationId("north", "bay-1")
    records.welds.add(WeldEvent(WeldEventKind.START, WELD, bay, "a", START, "Ana", "test"))
    end = START + 20 * MINUTE
    records.welds.add(WeldEvent(WeldEventKind.STOP, WELD, bay, "a", end, "Ana", "test"))
    for role in (Role.VIEWER, Role.QUALITY):
        records.access.create_token(Actor(f"the {role}", role), BOSS, now, "test")
    store = SqliteReadings(folder)
    store.append(Batch(START, {NOZZLE: readings()}))
    RootKeeper(store, folder, "north", (), lambda: now, records.audit).look()
    store.close()
    records.close()
    connection = apsw.Connection(str(folder / RECORDS))
    connection.execute("VACUUM")
    connection.close()


def write_form_1(folder: Path) -> None:
    """Write a readings file of form 1, which had a journal and nothing else."""
    folder.mkdir()
    connection = apsw.Connection(str(folder / READINGS))
    connection.execute(_JOURNAL)
    connection.execute("INSERT INTO channel (id, name) VALUES (1, ?)", (str(NOZZLE),))
    ids, starts = np.array([1], np.int64), np.array([0, COUNT], np.int64)
    data = journal_codec.encode(ids, starts, readings())
    connection.execute("INSERT INTO journal VALUES (1, ?, ?, ?)", (START, COUNT, data))
    connection.pragma("application_id", APPLICATION_ID)
    connection.pragma("user_version", 1)
    connection.close()


def main() -> int:
    """Freeze this version, if it was not."""
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        write_shop(top / "shop")
        write_form_1(top / "readings-1")
        connection = apsw.Connection(str(top / "shop" / RECORDS))
        version = connection.execute("SELECT version_num FROM alembic_version").get
        connection.close()
        target = DATA / f"shop-{version}.zip"
        if target.exists():
            sys.stdout.write(f"{target.name} is frozen already\n")
            return 1
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as packed:
            for path in sorted(top.rglob("*")):
                if path.is_file() and not path.name.endswith(("-shm", ".lock")):
                    packed.write(path, path.relative_to(top))
        sys.stdout.write(f"{target.name}: {target.stat().st_size} bytes\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
