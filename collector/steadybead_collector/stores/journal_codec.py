"""The byte form of one journal row: a batch of accepted readings, little-endian, CRC at the end."""

import struct
import zlib
from typing import Any

import numpy as np
import numpy.typing as npt

from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Columns, Float64, Int64, UInt8, UInt32

_HEAD = struct.Struct("<BBBBII")
_CRC = struct.Struct("<I")
_FORM = 1
_CONSTANT, _LISTED = 0, 1
_VALUE_IS_RAW, _VALUE_APART, _VALUE_MIXED = 0, 1, 2


def encode(ids: Int64, starts: Int64, rows: Columns) -> bytes:
    """Encode readings of the channels `ids` [k]; channel i owns rows `starts[i]:starts[i + 1]`."""
    raw = rows.raw.astype("<f8", copy=False).tobytes()
    value_form, values = _encode_value(raw, rows)
    quality_form, quality = _encode_constant(rows.quality)
    reason_form, reason = _encode_constant(rows.reason)
    plant_form, plant = _encode_constant(rows.plant)
    forms = quality_form | reason_form << 1 | plant_form << 2
    body = b"".join(
        (
            _HEAD.pack(_FORM, value_form, forms, 0, len(ids), len(rows)),
            ids.astype("<u4").tobytes(),
            (starts[1:] - starts[:-1]).astype("<u4").tobytes(),
            rows.time.astype("<i8", copy=False).tobytes(),
            raw,
            values,
            quality,
            reason,
            plant,
        )
    )
    return body + _CRC.pack(zlib.crc32(body))


def decode(data: bytes) -> tuple[Int64, Int64, Columns]:
    """Give ids, starts and rows back; raise StoreError if the bytes are damaged."""
    if len(data) < _HEAD.size + _CRC.size or _CRC.unpack(data[-4:])[0] != zlib.crc32(data[:-4]):
        raise _damaged()
    form, value_form, forms, _, k, n = _HEAD.unpack_from(data)
    if form != _FORM:
        raise StoreError(f"a journal row has form {form}: a newer Steadybead wrote it; update")
    try:
        return _decode_columns(_Taker(data, _HEAD.size), value_form, forms, k, n)
    except (ValueError, IndexError):
        raise _damaged() from None


def _decode_columns(
    take: "_Taker", value_form: int, forms: int, k: int, n: int
) -> tuple[Int64, Int64, Columns]:
    ids = take.array("<u4", k).astype(np.int64)
    starts = np.zeros(k + 1, np.int64)
    np.cumsum(take.array("<u4", k), out=starts[1:])
    if starts[-1] != n:
        raise ValueError
    time = take.array("<i8", n).astype(np.int64)
    raw = take.array("<f8", n).astype(np.float64)
    value = _decode_value(take, value_form, raw)
    quality = _decode_constant(take, forms & 1, "u1", n)
    reason = _decode_constant(take, forms >> 1 & 1, "u1", n)
    plant = _decode_constant(take, forms >> 2 & 1, "<u4", n)
    return ids, starts, Columns(time, value, raw, quality, reason, plant.astype(np.uint32))


def _encode_constant(column: UInt8 | UInt32) -> tuple[int, bytes]:
    data = column.tobytes()
    first = data[: column.itemsize]
    return (_CONSTANT, first) if data == first * len(column) else (_LISTED, data)


def _encode_value(raw: bytes, rows: Columns) -> tuple[int, bytes]:
    """Leave out values that are bit-identical to their raw samples."""
    values = rows.value.astype("<f8", copy=False).tobytes()
    if values == raw:
        return _VALUE_IS_RAW, b""
    apart = rows.value.view(np.int64) != rows.raw.view(np.int64)
    if apart.all():
        return _VALUE_APART, values
    return _VALUE_MIXED, np.packbits(apart).tobytes() + rows.value[apart].tobytes()


def _decode_value(take: "_Taker", form: int, raw: Float64) -> Float64:
    if form == _VALUE_IS_RAW:
        return raw.copy()
    if form == _VALUE_APART:
        return take.array("<f8", len(raw)).astype(np.float64)
    bits = take.array("u1", -(-len(raw) // 8))
    apart = np.unpackbits(bits, count=len(raw)).astype(np.bool_)
    value = raw.copy()
    value[apart] = take.array("<f8", int(np.count_nonzero(apart)))
    return value


def _decode_constant(take: "_Taker", form: int, dtype: str, n: int) -> npt.NDArray[Any]:
    if form == _CONSTANT:
        return np.full(n, take.array(dtype, 1)[0])
    return take.array(dtype, n).copy()


def _damaged() -> StoreError:
    return StoreError("a journal row is damaged: restore the readings from a backup")


class _Taker:
    """Reads arrays off a byte string, one after the other."""

    def __init__(self, data: bytes, offset: int) -> None:
        self.data = data
        self.offset = offset

    def array(self, dtype: str, n: int) -> npt.NDArray[Any]:
        """Take the next n numbers."""
        found = np.frombuffer(self.data, dtype, n, self.offset)
        self.offset += found.nbytes
        return found
