"""Unpacking of one packed column, with what it declares held to what is due before it is believed.

The codec asks for memory by counts in its data, and a process that does not get it ends. So it is
given the place to write to, and the heads that it reads first are read here before. Layout: the
format specification of pcodec (docs/format.md of its source, standalone format).
"""

from typing import Any

import numpy as np
import numpy.typing as npt
from pcodec import standalone

from steadybead_domain.ports import StoreError

_MAGIC, _STANDALONE = b"pco!", 3
_COUNT_AT = 6
_PAGE = 1 << 18  # a longer column is in several chunks of the codec
_PREAMBLE = 4  # type, count less 1
_MINOR_SINCE = 4  # the version of the format that has a second byte
_QUANTISED = 3
_MODES = 4  # plain, multiples of a whole number, of a float, quantised; not: by dictionary
_DELTAS = 2  # none, consecutive; not: looking back, in a window of up to 2^32


def inflate(data: bytes, n: int, dtype: np.dtype[Any]) -> npt.NDArray[Any]:
    """Unpack a column of n numbers of a type; raises StoreError if the bytes are damaged."""
    if not _plausible(data, n, dtype.itemsize):
        raise damaged()
    try:
        column = np.empty(n, dtype)
        progress = standalone.simple_decompress_into(data, column)
    except (RuntimeError, TypeError, MemoryError) as error:
        raise damaged() from error
    if progress.n_processed != n or not progress.finished:
        raise damaged()
    return column


def damaged() -> StoreError:
    """Build the error for `raise`."""
    return StoreError("a chunk of readings is damaged: restore the readings from a backup")


def _plausible(data: bytes, n: int, size: int) -> bool:
    """Tell whether the counts are n, and mode and delta such as ask for no memory of their own."""
    try:
        if data[:4] != _MAGIC or data[4] != _STANDALONE:
            return False
        bits = (data[_COUNT_AT] & 63) + 1
        place = _COUNT_AT + (6 + bits + 7) // 8
        count = int.from_bytes(data[_COUNT_AT:place], "little") >> 6
        place += 2 if data[place] >= _MINOR_SINCE else 1
        first = int.from_bytes(data[place + 1 : place + _PREAMBLE], "little") + 1
        mode = data[place + _PREAMBLE] & 15
        further = 0 if not mode else 1 if mode == _QUANTISED else size
        delta = data[place + _PREAMBLE + further] >> 4
    except IndexError:
        return False
    whole = first == n if n <= _PAGE else first <= _PAGE
    return count == n and whole and mode < _MODES and delta < _DELTAS
