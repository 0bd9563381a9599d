"""Hashes of sealed chunks: the leaves of a Merkle tree after RFC 9162, section 2.1.1.

A leaf is hashed over the readings themselves in a canonical form, so it stays the same whatever
codec packs them, and it outlives them.
"""

import hashlib
import struct
from collections.abc import Iterator
from dataclasses import dataclass

import apsw

from steadybead_collector.stores.packed import unpack
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns

_MAGIC = b"steadybead readings 1\n"


@dataclass(frozen=True, slots=True)
class Leaf:
    """The hash of one sealed chunk; `part` 0 is the first of its window, others are supplements.

    `start` is the window's start in µs; `kept` tells whether the readings are still there.
    """

    channel: ChannelId
    start: int
    part: int
    count: int
    sha256: bytes
    kept: bool


def read_leaves(connection: apsw.Connection, start: int, end: int) -> Iterator[Leaf]:
    """Walk the leaves of windows that begin in [start, end), by channel name, window and part."""
    rows = connection.execute(
        "SELECT name, window, part, count, leaf, chunk IS NOT NULL FROM channel"
        " JOIN window ON window.channel = channel.id WHERE window BETWEEN ? AND ?"
        " ORDER BY name, window, part",
        (-(-start // WINDOW), (end - 1) // WINDOW),
    )
    for name, window, part, count, leaf, kept in rows:
        yield Leaf(ChannelId.parse(name), window * WINDOW, part, count, leaf, bool(kept))


def read_sealed(
    connection: apsw.Connection, channel: ChannelId, start: int, end: int
) -> Iterator[tuple[Leaf, Columns]]:
    """Walk sealed chunks of a channel with their readings; forgotten ones come without."""
    found = connection.execute(
        "SELECT window, part, count, leaf, data FROM channel"
        " JOIN window ON window.channel = channel.id LEFT JOIN chunk ON chunk.id = window.chunk"
        " WHERE name = ? AND window BETWEEN ? AND ? ORDER BY window, part",
        (str(channel), start // WINDOW, (end - 1) // WINDOW),
    )
    for window, part, count, leaf, data in found:
        begin = window * WINDOW
        rows = Columns.empty() if data is None else unpack([data], begin, begin + WINDOW)
        yield Leaf(channel, begin, part, count, leaf, data is not None), rows


def canonical(channel: ChannelId, start: int, part: int, rows: Columns) -> bytes:
    """Write readings in the form that is hashed, little-endian: see the format's description."""
    name = str(channel).encode()
    return b"".join(
        (
            _MAGIC,
            struct.pack("<H", len(name)),
            name,
            struct.pack("<qIQ", start, part, len(rows)),
            rows.time.astype("<i8", copy=False).tobytes(),
            rows.value.astype("<f8", copy=False).tobytes(),
            rows.raw.astype("<f8", copy=False).tobytes(),
            rows.quality.astype("u1", copy=False).tobytes(),
            rows.reason.astype("u1", copy=False).tobytes(),
            rows.plant.astype("<u4", copy=False).tobytes(),
        )
    )


def leaf_hash(channel: ChannelId, start: int, part: int, rows: Columns) -> bytes:
    """Hash one chunk's readings: SHA-256(0x00 || canonical form)."""
    return hashlib.sha256(b"\x00" + canonical(channel, start, part, rows)).digest()
