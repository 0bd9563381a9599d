"""The byte form of a chunk: the readings of one channel and window, column by column.

Columns are packed by pcodec, a lossless codec for numbers, unless a shorter form fits.
"""

import struct
from enum import IntEnum
from typing import Any

import numpy as np
import numpy.typing as npt
from pcodec import ChunkConfig, standalone

from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Columns, Float64, UInt8

_FORM = 1
_HEAD = struct.Struct("<BBHI")
_ENTRY = struct.Struct("<BI")
_NAMES = ("time", "value", "quality", "reason", "plant", "raw")
_TYPES: dict[str, np.dtype[Any]] = {
    "time": np.dtype("<i8"),
    "value": np.dtype("<f8"),
    "quality": np.dtype("u1"),
    "reason": np.dtype("u1"),
    "plant": np.dtype("<u4"),
    "raw": np.dtype("<f8"),
}
_CODED = {"quality": np.dtype("<u2"), "reason": np.dtype("<u2")}  # pcodec takes no bytes
_CONFIG = ChunkConfig(compression_level=8)
_Array = npt.NDArray[Any]


class Coding(IntEnum):
    """How one column is written. The numbers are stored: never reuse one."""

    CONSTANT = 0
    PCO = 1
    PLAIN = 2
    AS_VALUE = 3
    BY_RAW = 4


def pack(rows: Columns) -> bytes:
    """Pack n > 0 readings; every column is unpacked again and compared before it is trusted."""
    columns = [_pack_column(rows, name) for name in _NAMES]
    entries = [_ENTRY.pack(coding, len(data)) for coding, data in columns]
    return b"".join(
        (_HEAD.pack(_FORM, len(_NAMES), 0, len(rows)), *entries, *(data for _, data in columns))
    )


def unpack(data: bytes) -> Columns:
    """Give the readings back; raise StoreError if the bytes are damaged."""
    chunk = Chunk(data)
    raw = chunk.column("raw")
    return Columns(
        chunk.column("time"),
        chunk.column("value"),
        raw,
        chunk.column("quality"),
        chunk.column("reason"),
        chunk.column("plant"),
    )


class Chunk:
    """A chunk whose columns are unpacked one at a time."""

    def __init__(self, data: bytes) -> None:
        try:
            form, count, _, self.n = _HEAD.unpack_from(data)
            if form != _FORM or count != len(_NAMES):
                raise StoreError(f"a chunk has form {form}: a newer Steadybead wrote it; update")
            at = _HEAD.size + count * _ENTRY.size
            self._found: dict[str, tuple[int, bytes]] = {}
            for i, name in enumerate(_NAMES):
                coding, length = _ENTRY.unpack_from(data, _HEAD.size + i * _ENTRY.size)
                self._found[name] = (coding, data[at : at + length])
                at += length
        except struct.error:
            raise _damaged() from None

    def constant(self, name: str) -> int | None:
        """Give the one number of a column that is constant, else None."""
        coding, data = self._found[name]
        if coding != Coding.CONSTANT:
            return None
        return int(np.frombuffer(data, _TYPES[name])[0])

    def column(self, name: str) -> _Array:
        """Unpack one column."""
        coding, data = self._found[name]
        try:
            column = self._column(name, coding, data)
        except (RuntimeError, TypeError, ValueError, IndexError) as error:
            raise _damaged() from error
        if len(column) != self.n:
            raise _damaged()
        return column

    def _column(self, name: str, coding: int, data: bytes) -> _Array:
        if coding == Coding.PCO:
            return _inflate(data).astype(_TYPES[name], copy=False)
        if coding == Coding.CONSTANT:
            return np.full(self.n, np.frombuffer(data, _TYPES[name])[0])
        if coding == Coding.PLAIN:
            return np.frombuffer(data, _TYPES[name]).copy()
        if coding == Coding.AS_VALUE:
            return self.column("value")
        if coding == Coding.BY_RAW:
            _, place = np.unique(self.column("raw").view(np.int64), return_inverse=True)
            spread: _Array = _inflate(data)[place]
            return spread
        raise _damaged()


def _pack_column(rows: Columns, name: str) -> tuple[Coding, bytes]:
    column: _Array = getattr(rows, name).astype(_TYPES[name], copy=False)
    if _constant(column):
        return Coding.CONSTANT, column[:1].tobytes()
    if name == "raw" and _same_bits(column, rows.value):
        return Coding.AS_VALUE, b""
    if name == "value" and (table := _by_raw(column, rows.raw)) is not None:
        return Coding.BY_RAW, table
    data = _deflate(column.astype(_CODED.get(name, column.dtype), copy=False))
    if data is None or len(data) >= column.nbytes:
        return Coding.PLAIN, column.tobytes()
    return Coding.PCO, data


def _by_raw(value: Float64, raw: Float64) -> bytes | None:
    """Write one value for each distinct raw sample, where values follow from raw and that pays.

    Converted values have long mantissas that do not compress; samples of a converter repeat.
    """
    bits, first, place = np.unique(raw.view(np.int64), return_index=True, return_inverse=True)
    if len(bits) * 2 > len(raw) or _same_bits(value, raw):
        return None
    table = value[first]
    return _deflate(table) if _same_bits(table[place], value) else None


def _deflate(column: _Array) -> bytes | None:
    """Compress; None if the codec does not give the same bits back."""
    data: bytes = standalone.simple_compress(np.ascontiguousarray(column), _CONFIG)
    return data if _same_bits(_inflate(data), column) else None


def _inflate(data: bytes) -> _Array:
    column = standalone.simple_decompress(data)
    if column is None:
        raise _damaged()
    found: _Array = column
    return found


def _constant(column: _Array) -> bool:
    raw: UInt8 = np.ascontiguousarray(column).view(np.uint8).reshape(len(column), -1)
    return bool((raw == raw[0]).all())


def _same_bits(one: _Array, other: _Array) -> bool:
    return one.dtype == other.dtype and one.tobytes() == other.tobytes()


def _damaged() -> StoreError:
    return StoreError("a chunk of readings is damaged: restore the readings from a backup")
