"""A disk that writes down what SQLite asks of it, and what it may hold after a power cut.

A cut keeps what was synced. Of what was written since, each write may be there, be missing, or be
torn at a sector: its rest then is as before, zeros or garbage (the model of SQLite's own crash
tests, "Atomic Commit In SQLite", sections 2 and 6). Files made or renamed by the store itself are
made whole by `make_whole`, which is not watched; the watch begins with an empty store.
"""

import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import apsw

SECTOR = 512
WRITE, SYNC, CUT, GONE, MARK = "write", "sync", "cut", "gone", "mark"


@dataclass(frozen=True, slots=True)
class Event:
    """One request: `at` is an offset, a length, or the number of a mark."""

    kind: str
    file: str
    at: int = 0
    data: bytes = b""


Events = list[Event]


class LoggedFile(apsw.VFSFile):
    def __init__(self, base: str, name: Any, flags: list[int], seen: Events) -> None:
        super().__init__(base, name, flags)
        path = name.filename() if isinstance(name, apsw.URIFilename) else str(name)
        self._name, self._seen = Path(path).name, seen

    def xWrite(self, data: bytes, offset: int) -> None:  # noqa: N802 — SQLite's name
        super().xWrite(data, offset)
        self._seen.append(Event(WRITE, self._name, offset, bytes(data)))

    def xSync(self, flags: int) -> None:  # noqa: N802 — SQLite's name
        super().xSync(flags)
        self._seen.append(Event(SYNC, self._name))

    def xTruncate(self, newsize: int) -> None:  # noqa: N802 — SQLite's name
        super().xTruncate(newsize)
        self._seen.append(Event(CUT, self._name, newsize))


class LoggedDisk(apsw.VFS):
    """The disk; unregister it when done."""

    def __init__(self, seen: Events) -> None:
        self._base, self._seen = apsw.vfs_names()[0], seen
        super().__init__("logged", self._base, makedefault=True)

    def xOpen(self, name: Any, flags: list[int]) -> apsw.VFSFile:  # noqa: N802 — SQLite's name
        return LoggedFile(self._base, name, flags, self._seen)

    def xDelete(self, filename: str, syncdir: bool) -> None:  # noqa: N802 — SQLite's name
        super().xDelete(filename, syncdir)
        self._seen.append(Event(GONE, Path(filename).name))


@dataclass(slots=True)
class Platter:
    """One file: what surely is on the disk, and what was asked for since the last sync."""

    sure: bytearray = field(default_factory=bytearray)
    open: list[Event] = field(default_factory=list)

    def take(self, event: Event) -> None:
        if event.kind == SYNC:
            for waiting in self.open:
                _apply(self.sure, waiting)
            self.open.clear()
        else:
            self.open.append(event)

    def after_cut(self, draw: random.Random) -> bytes:
        """Give what may be there after a cut."""
        found = bytearray(self.sure)
        share = draw.choice((0.0, 0.3, 0.7, 1.0))
        for i, waiting in enumerate(self.open):
            last = i + 1 == len(self.open)
            if draw.random() < share or (last and draw.random() < 0.5):
                _apply(found, _torn(waiting, draw) if last or draw.random() < 0.2 else waiting)
        return bytes(found)


def _apply(content: bytearray, event: Event) -> None:
    if event.kind == CUT:
        del content[event.at :]
        return
    if len(content) < event.at:
        content.extend(bytes(event.at - len(content)))
    content[event.at : event.at + len(event.data)] = event.data


def _torn(event: Event, draw: random.Random) -> Event:
    """Tear a write: its beginning, then nothing, zeros or garbage."""
    if event.kind != WRITE or len(event.data) < 2:
        return event
    size = len(event.data)
    keep = draw.choice((draw.randrange(size), draw.randrange(size) // SECTOR * SECTOR))
    rest = draw.choice((b"", bytes(size - keep), draw.randbytes(size - keep)))
    return Event(WRITE, event.file, event.at, event.data[:keep] + rest)


def cut_at(
    events: Events, start: dict[str, bytes], at: int, draw: random.Random
) -> dict[str, bytes]:
    """Give the files as they may be if the power fails after event `at`."""
    disk = {name: Platter(bytearray(content)) for name, content in start.items()}
    for event in events[:at]:
        if event.kind == GONE:
            disk.pop(event.file, None)
        elif event.kind != MARK:
            disk.setdefault(event.file, Platter()).take(event)
    return {name: platter.after_cut(draw) for name, platter in disk.items()}
