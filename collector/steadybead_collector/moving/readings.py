"""Copying all readings from one store to another, and proving that they are the same."""

import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from steadybead_collector.stores.summary import counted
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import ReadingsStore, StoreError
from steadybead_domain.readings import Batch, Columns, Int64

EVER = 2**61
_SPANS = np.iinfo(np.int64)


@dataclass(slots=True)
class Digest:
    """Count and SHA-256 of the readings of one channel, however they are cut into parts."""

    count: int = 0
    valued: int = 0
    newest: int = _SPANS.min
    _columns: list["hashlib._Hash"] = field(
        default_factory=lambda: [hashlib.sha256() for _ in range(6)]
    )

    def add(self, rows: Columns) -> None:
        """Take a part, in ascending time after the parts before it."""
        self.count += len(rows)
        self.valued += int(np.count_nonzero(counted(rows)))
        self.newest = int(rows.time[-1])
        columns: list[npt.NDArray[Any]] = [
            rows.time,
            rows.value,
            rows.raw,
            rows.quality,
            rows.reason,
            rows.plant,
        ]
        for digest, column in zip(self._columns, columns, strict=True):
            digest.update(column.astype(column.dtype.newbyteorder("<"), copy=False).tobytes())

    def hex(self) -> str:
        """Give the hash of all columns."""
        return hashlib.sha256(b"".join(d.digest() for d in self._columns)).hexdigest()


@dataclass(frozen=True, slots=True)
class Moved:
    """What a copy has come to.

    `forgotten`: readings that the source itself only has summaries of. `positions` tells where in
    the target's journal a diagnosis goes on that had seen the source's journal up to a position.
    """

    channels: int
    readings: int
    forgotten: int
    sha256: str
    positions: Callable[[int], int]


def copy_readings(
    source: ReadingsStore,
    target: ReadingsStore,
    seen: int,
    received: int,
    say: Callable[[str], None] = lambda _line: None,
) -> Moved:
    """Copy everything, then read it back and compare. Can be run again after it was cut short.

    `seen`: the least journal position that a saved diagnosis has seen; what came after it is
    appended last, in its order, to be replayed. Raises StoreError, also where the target has
    another value for a (channel, time).
    """
    rest = list(source.since(seen))
    later = _times(rest)
    digests: dict[ChannelId, Digest] = {}
    for channel in sorted(source.channels()):
        digest = digests[channel] = Digest()
        for rows in source.read(channel, -EVER, EVER):
            digest.add(rows)
            _append(target, channel, rows, later.get(channel), received)
        say(f"{channel}: {digest.count} readings copied")
    positions = _append_rest(target, rest, received)
    _compare(target, digests)
    total = hashlib.sha256()
    for channel, digest in digests.items():
        total.update(f"{channel} {digest.count} {digest.hex()}\n".encode())
    count = sum(d.count for d in digests.values())
    return Moved(len(digests), count, _forgotten(source, digests), total.hexdigest(), positions)


def _times(rest: list[tuple[int, Batch]]) -> dict[ChannelId, Int64]:
    found: dict[ChannelId, list[Int64]] = {}
    for _, batch in rest:
        for channel, rows in batch.columns.items():
            found.setdefault(channel, []).append(rows.time)
    return {channel: np.concatenate(parts) for channel, parts in found.items()}


def _append(
    target: ReadingsStore, channel: ChannelId, rows: Columns, later: Int64 | None, received: int
) -> None:
    part = rows if later is None else rows.take(~np.isin(rows.time, later))
    if len(part):
        _check(target.append(Batch(received, {channel: part})).conflicts)


def _append_rest(
    target: ReadingsStore, rest: list[tuple[int, Batch]], received: int
) -> Callable[[int], int]:
    """Append what is to be replayed; give the map from old positions to new ones."""
    start = target.append(Batch(received, {})).position
    target.release(start)
    new: dict[int, int] = {}
    for position, batch in rest:
        result = target.append(batch)
        _check(result.conflicts)
        new[position] = result.position

    def mapped(position: int) -> int:
        return max((to for at, to in new.items() if at <= position), default=start)

    return mapped


def _check(conflicts: tuple[object, ...]) -> None:
    if conflicts:
        raise StoreError(
            f"the target holds other readings at the same times ({conflicts[0]}): move into an"
            " empty store"
        )


def _compare(target: ReadingsStore, digests: Mapping[ChannelId, Digest]) -> None:
    for channel, digest in digests.items():
        found = Digest()
        for rows in _upto(target, channel, digest.newest):
            found.add(rows)
        if (found.count, found.hex()) != (digest.count, digest.hex()):
            raise StoreError(
                f"{channel} is not the same in the target: {digest.count} readings there, but"
                f" {found.count} here; nothing was taken from the source"
            )


def _upto(store: ReadingsStore, channel: ChannelId, newest: int) -> Iterator[Columns]:
    if newest != _SPANS.min:
        yield from store.read(channel, -EVER, newest + 1)


def _forgotten(source: ReadingsStore, digests: Mapping[ChannelId, Digest]) -> int:
    missing = 0
    for channel, digest in digests.items():
        summary = source.buckets(channel, -EVER, EVER, 1)
        missing += int(summary.n.sum()) - digest.valued
    return missing
