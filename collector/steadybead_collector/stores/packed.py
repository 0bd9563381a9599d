"""The byte form of a chunk: the readings of one channel and window, column by column.

Numbers are packed by pcodec, a lossless codec, in the shortest of a few forms.
"""

import struct
from collections.abc import Container, Sequence
from enum import IntEnum
from typing import Any

import numpy as np
import numpy.typing as npt
from pcodec import ChunkConfig, DeltaSpec, ModeSpec, standalone

from steadybead_collector.stores.inflate import damaged, inflate
from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Columns, Float64, Int64

_FORM = 1
_LEVEL = 1  # 3 saves an eighth of the space, but takes half as long again to read
_DELTAS = (DeltaSpec.no_op(), DeltaSpec.try_consecutive(1), DeltaSpec.try_consecutive(2))
_NAMES = ("time", "value", "raw", "quality", "reason", "plant")
_HEAD = struct.Struct("<BBHI" + "BI" * len(_NAMES))
_TYPES: dict[str, np.dtype[Any]] = {
    "time": np.dtype("<i8"),
    "value": np.dtype("<f8"),
    "raw": np.dtype("<f8"),
    "quality": np.dtype("u1"),
    "reason": np.dtype("u1"),
    "plant": np.dtype("<u4"),
}
_CODED = {"quality": np.dtype("<u2"), "reason": np.dtype("<u2")}  # pcodec takes no bytes
_DECIMALS_AS = np.dtype("<i4")
_MOST_DECIMALS = 6
_TENS = [10.0**i for i in range(_MOST_DECIMALS + 1)]
_Array = npt.NDArray[Any]


class Coding(IntEnum):
    """How one column is written. The numbers are stored: never reuse one."""

    CONSTANT = 0
    PCO = 1
    PLAIN = 2
    AS_VALUE = 3
    BY_RAW = 4
    DECIMAL = 5


_CONSTANT, _PCO = int(Coding.CONSTANT), int(Coding.PCO)
_DECIMAL = int(Coding.DECIMAL)


def pack(rows: Columns) -> bytes:
    """Pack n > 0 readings; every column is unpacked again and compared before it is trusted."""
    columns = [_pack_column(rows, name) for name in _NAMES]
    entries = [number for coding, data in columns for number in (coding, len(data))]
    head = _HEAD.pack(_FORM, len(_NAMES), 0, len(rows), *entries)
    return b"".join((head, *(data for _, data in columns)))


def unpack(chunks: Sequence[bytes], start: int, end: int, only: Container[str] = _NAMES) -> Columns:
    """Give the readings in [start, end) of chunks, end to end in the order of the chunks.

    Columns that are not in `only` are zeros. Raises StoreError if the bytes are damaged.
    """
    cuts: list[_Cut] = []
    n = 0
    for data in chunks:
        chunk = Chunk(data)
        time = chunk.column("time")
        low, high = 0, chunk.n
        if time.item(0) < start or time.item(-1) >= end:
            low, high = time.searchsorted((start, end)).tolist()
            time = time[low:high]
        if low < high:
            cuts.append((chunk, slice(low, high), slice(n, n + high - low), time))
            n += high - low
    if not cuts:
        return Columns.empty()
    columns = {
        name: _join(cuts, name, n) if name in only else np.zeros(n, _TYPES[name])
        for name in _NAMES[1:]
    }
    return Columns(np.concatenate([cut[3] for cut in cuts]), **columns)


_Cut = tuple["Chunk", slice, slice, Int64]  # rows of a chunk, their place in the answer, times


def _join(cuts: Sequence[_Cut], name: str, n: int) -> _Array:
    column = np.empty(n, _TYPES[name])
    coding, data = first = cuts[0][0].columns[name]
    whole = coding == _CONSTANT and len(data) == column.itemsize
    if whole and all(cut[0].columns[name] == first for cut in cuts):
        column.fill(np.frombuffer(data, column.dtype)[0])
        return column
    for chunk, rows, place, _ in cuts:
        chunk.write(name, column[place], rows)
    return column


class Chunk:
    """A chunk whose columns are unpacked one at a time: `columns` gives coding and bytes."""

    __slots__ = ("columns", "n")

    def __init__(self, data: bytes) -> None:
        try:
            head = _HEAD.unpack_from(data)
        except struct.error:
            raise damaged() from None
        form, count, _, self.n, c0, n0, c1, n1, c2, n2, c3, n3, c4, n4, c5, n5 = head
        if form != _FORM or count != len(_NAMES):
            raise StoreError(f"a chunk has form {form}: a newer Steadybead wrote it; update")
        if self.n < 1 or (c0 != _PCO and n0 != 8 * self.n):
            raise damaged()  # a count that is wrong must not ask for memory
        a = _HEAD.size + n0
        b = a + n1
        c = b + n2
        d = c + n3
        e = d + n4
        self.columns = {
            "time": (c0, data[_HEAD.size : a]),
            "value": (c1, data[a:b]),
            "raw": (c2, data[b:c]),
            "quality": (c3, data[c:d]),
            "reason": (c4, data[d:e]),
            "plant": (c5, data[e : e + n5]),
        }

    def column(self, name: str) -> _Array:
        """Unpack one column."""
        coding, data = self.columns[name]
        if coding == _PCO and name not in _CODED:
            return inflate(data, self.n, _TYPES[name])
        column = np.empty(self.n, _TYPES[name])
        self.write(name, column, slice(0, self.n))
        return column

    def write(self, name: str, to: _Array, rows: slice) -> None:
        """Unpack some rows of one column into an array."""
        coding, data = self.columns[name]
        try:
            if coding == _DECIMAL:
                np.divide(inflate(data[1:], self.n, _DECIMALS_AS)[rows], _TENS[data[0]], to)
            elif coding == _PCO:
                to[:] = inflate(data, self.n, _CODED.get(name, to.dtype))[rows]
            else:
                self._write_seldom(coding, data, to, rows)
        except (TypeError, ValueError, IndexError, RecursionError, MemoryError) as error:
            raise damaged() from error

    def _write_seldom(self, coding: int, data: bytes, to: _Array, rows: slice) -> None:
        if coding == _CONSTANT:
            to[:] = np.frombuffer(data, to.dtype)[0]
        elif coding == Coding.PLAIN:
            to[:] = np.frombuffer(data, to.dtype)[rows]
        elif coding == Coding.AS_VALUE:
            self.write("value", to, rows)
        elif coding == Coding.BY_RAW:
            bits, place = np.unique(self.column("raw").view(np.int64), return_inverse=True)
            to[:] = inflate(data, len(bits), to.dtype)[place[rows]]
        else:
            raise StoreError(f"a column has coding {coding}: a newer Steadybead wrote it; update")


def _pack_column(rows: Columns, name: str) -> tuple[Coding, bytes]:
    column: _Array = getattr(rows, name).astype(_TYPES[name], copy=False)
    if _constant(column):
        return Coding.CONSTANT, column[:1].tobytes()
    if name == "raw" and _same_bits(column, rows.value):
        return Coding.AS_VALUE, b""
    if name in {"value", "raw"} and (decimal := _decimal(column)) is not None:
        return Coding.DECIMAL, decimal
    if name == "value" and (table := _by_raw(column, rows.raw)) is not None:
        return Coding.BY_RAW, table
    data = _deflate(column.astype(_CODED.get(name, column.dtype), copy=False), ModeSpec.auto())
    if data is None or len(data) >= column.nbytes:
        return Coding.PLAIN, column.tobytes()
    return Coding.PCO, data


def _decimal(column: Float64) -> bytes | None:
    """Write the count of decimals and the values as whole numbers of the last decimal.

    None unless each value is the double nearest to such a decimal number, as instruments give.
    """
    for decimals in range(_MOST_DECIMALS + 1):
        if _whole(column[:16], decimals) is not None:
            whole = _whole(column, decimals)
            if whole is not None:
                data = _deflate(whole, ModeSpec.classic())
                return None if data is None else bytes([decimals]) + data
    return None


def _whole(column: Float64, decimals: int) -> _Array | None:
    if not (np.abs(column) < 2.0**31 / 10.0**decimals - 1.0).all():
        return None
    scaled = np.rint(column * 10.0**decimals)
    whole = scaled.astype(np.int32)
    return whole if _same_bits(whole / 10.0**decimals, column) else None


def _by_raw(value: Float64, raw: Float64) -> bytes | None:
    """Write one value for each distinct raw sample, where values follow from raw and that pays.

    Converted values have long mantissas that do not compress; samples of a converter repeat.
    """
    bits, first, place = np.unique(raw.view(np.int64), return_index=True, return_inverse=True)
    if len(bits) * 2 > len(raw) or _same_bits(value, raw):
        return None
    table = value[first]
    return _deflate(table, ModeSpec.auto()) if _same_bits(table[place], value) else None


def _deflate(column: _Array, mode: ModeSpec) -> bytes | None:
    """Compress the shortest way; None if the codec does not give the same bits back.

    Level 0 without a mode is read almost twice as fast as what needs the entropy coder, so it may
    cost a twentieth of the space.
    """
    column = np.ascontiguousarray(column)
    data, delta = min(
        ((_compress(column, _LEVEL, mode, delta), delta) for delta in _DELTAS),
        key=lambda found: len(found[0]),
    )
    plain = _compress(column, 0, ModeSpec.classic(), delta)
    if len(plain) * 20 <= len(data) * 21:
        data = plain
    try:
        return data if _same_bits(inflate(data, len(column), column.dtype), column) else None
    except StoreError:
        return None


def _compress(column: _Array, level: int, mode: ModeSpec, delta: DeltaSpec) -> bytes:
    config = ChunkConfig(compression_level=level, mode_spec=mode, delta_spec=delta)
    data: bytes = standalone.simple_compress(column, config)
    return data


def _constant(column: _Array) -> bool:
    bits = np.ascontiguousarray(column).view(f"u{column.itemsize}")
    return bool(bits[0] == bits[-1] and (bits == bits[0]).all())


def _same_bits(one: _Array, other: _Array) -> bool:
    return one.dtype == other.dtype and one.tobytes() == other.tobytes()
