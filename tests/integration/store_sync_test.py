"""What is acknowledged is on disk: SQLite's own calls are watched."""

from pathlib import Path
from typing import Any

import apsw

from steadybead_collector.stores import SqliteReadings
from steadybead_collector.stores.database import FILE_NAME
from store_samples import NOZZLE, OTHER, START, batch, reading

Events = list[tuple[str, str]]


class Watched(apsw.VFSFile):
    """A file whose writes and syncs are noted."""

    def __init__(self, base: str, name: Any, flags: list[int], seen: Events) -> None:
        super().__init__(base, name, flags)
        path = name.filename() if isinstance(name, apsw.URIFilename) else str(name)
        self._name, self._seen = Path(path).name, seen

    def xWrite(self, data: bytes, offset: int) -> None:  # noqa: N802 — SQLite's name
        super().xWrite(data, offset)
        self._seen.append((self._name, "write"))

    def xSync(self, flags: int) -> None:  # noqa: N802 — SQLite's name
        super().xSync(flags)
        self._seen.append((self._name, "sync"))


class WatchedDisk(apsw.VFS):
    """The disk, with an eye on what SQLite asks of it."""

    def __init__(self, seen: Events) -> None:
        self._base, self._seen = apsw.vfs_names()[0], seen
        super().__init__("watched", self._base, makedefault=True)

    def xOpen(self, name: Any, flags: list[int]) -> apsw.VFSFile:  # noqa: N802 — SQLite's name
        return Watched(self._base, name, flags, self._seen)


def test_an_append_is_on_disk_before_it_returns(tmp_path: Path) -> None:
    """The last that is done to the log in every append is a sync, also with new channels."""
    seen: Events = []
    disk = WatchedDisk(seen)
    try:
        store = SqliteReadings(tmp_path)
        for i, channel in enumerate((NOZZLE, NOZZLE, OTHER)):
            seen.clear()
            store.append(batch({channel: [reading(START + i, 1.0)]}))
            log = [event for name, event in seen if name == f"{FILE_NAME}-wal"]
            assert log.count("write") > 0
            assert log[-1] == "sync"
        seen.clear()
        assert store.append(batch({NOZZLE: [reading(START, 1.0)]})).duplicates == 1
        assert seen == []
        store.close()
    finally:
        disk.unregister()
