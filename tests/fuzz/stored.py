"""Inputs out of the product's own files: journal rows, packed chunks, calibrations as JSON."""

import struct
import zlib
from pathlib import Path
from random import Random
from typing import Any

import numpy as np

from calibration_samples import FITTING, INSTRUMENT, calibration, check
from fuzz import mutate
from fuzz.laws import LawError, Target, law, one_message
from steadybead_collector.stores import journal_codec, packed
from steadybead_domain.calibration import codec
from steadybead_domain.calibration.codec import to_json
from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Columns
from store_samples import bits, steady

_SIZES = (1, 2, 7, 60, 300)


def columns(draw: Random) -> Columns:
    """Make readings, some of them odd to the bit."""
    rows = steady(draw.choice(_SIZES), seed=draw.randrange(1000))
    n = len(rows)
    value, raw = rows.value.copy(), rows.raw.copy()
    kind = draw.randrange(6)
    if kind == 0:
        value = raw
    elif kind == 1:
        value[:] = draw.choice(mutate.ODD_NUMBERS[-3:])
    elif kind > 2:
        pattern = struct.pack("<Q", draw.getrandbits(64))
        value[draw.randrange(n)] = np.frombuffer(pattern, "<f8")[0]
    quality, reason = rows.quality.copy(), rows.reason.copy()
    if draw.random() < 0.5:
        place = draw.randrange(n)
        quality[place], reason[place] = draw.randrange(3), draw.randrange(12)
    return Columns(rows.time, value, raw, quality, reason, rows.plant)


def _journal(draw: Random) -> tuple[bytes, Columns]:
    rows = columns(draw)
    cut = draw.randrange(len(rows) + 1)
    ids, starts = np.array([3, 2**31], np.int64), np.array([0, cut, len(rows)], np.int64)
    return journal_codec.encode(ids, starts, rows), rows


def _damaged(draw: Random, data: bytes) -> bytes:
    """Change bytes, mostly those of the head, where counts and lengths stand."""
    if draw.random() < 0.6:
        found = bytearray(data)
        for _ in range(draw.choice((1, 1, 2))):
            place = draw.randrange(min(len(found), 44))
            found[place] = draw.choice((*mutate.ODD_BYTES, draw.randrange(256)))
        return bytes(found)
    return mutate.data(draw, [data])


def journal_rows(_: Path) -> Target:
    """Decode rows of the journal: whole ones to the bit, damaged ones are refused."""

    def make(draw: Random) -> tuple[bytes, Columns | None]:
        data, rows = _journal(draw)
        kind = draw.random()
        if kind < 0.2:
            return data, rows
        changed = _damaged(draw, data)
        if kind < 0.6 and len(changed) > 4:  # as if its sum were right
            changed = changed[:-4] + struct.pack("<I", zlib.crc32(changed[:-4]))
        return changed, rows if changed == data else None

    def feed(given: tuple[bytes, Columns | None]) -> bool:
        data, rows = given
        try:
            _, starts, found = journal_codec.decode(data)
        except StoreError as error:
            law(rows is None, "a whole row is refused")
            return one_message(str(error))
        law(rows is None or bits(found) == bits(rows), "readings come back changed")
        law(len(found.value) == len(found.time) == len(found.plant), "columns of unlike lengths")
        law(rows is None or int(starts[-1]) == len(found), "rows of no channel")
        return True

    return Target("journal rows", make, feed, most_megabytes=64)


def chunks(_: Path) -> Target:
    """Unpack chunks: whole ones to the bit, damaged ones are refused or give whole columns."""
    ends = -(2**63), 2**63 - 1

    def make(draw: Random) -> tuple[bytes, Columns | None]:
        rows = columns(draw)
        data = packed.pack(rows)
        changed = data if draw.random() < 0.2 else _damaged(draw, data)
        return changed, rows if changed == data else None

    def feed(given: tuple[bytes, Columns | None]) -> bool:
        data, rows = given
        try:
            found = packed.unpack([data], *ends)
        except StoreError as error:
            law(rows is None, "a whole chunk is refused")
            return one_message(str(error))
        law(rows is None or bits(found) == bits(rows), "readings come back changed")
        law(len(found.value) == len(found.time) == len(found.plant), "columns of unlike lengths")
        return True

    return Target("packed chunks", make, feed, most_megabytes=64)


_RECORDS: tuple[tuple[Any, Any], ...] = (
    (codec.calibration_from_json, to_json(calibration())),
    (codec.instrument_from_json, to_json(INSTRUMENT)),
    (codec.fitting_from_json, to_json(FITTING)),
    (codec.check_from_json, to_json(check())),
)


def calibrations(_: Path) -> Target:
    """Read calibrations, instruments, fittings and checks from JSON members."""
    words = sorted({key for _, members in _RECORDS for key in members} | {"reference", "as_found"})

    def make(draw: Random) -> tuple[Any, Any]:
        read, members = draw.choice(_RECORDS)
        return read, mutate.tree(draw, members, words)

    def feed(given: tuple[Any, Any]) -> bool:
        read, members = given
        if not isinstance(members, dict):
            return False
        try:
            record = read(members)
        except (ValueError, KeyError, TypeError):
            return False
        try:
            again = read(to_json(record))
        except Exception as error:
            raise LawError(f"what was read cannot be written: {error}") from error
        law(repr(again) == repr(record), "it changes when it is written")
        return True

    return Target("calibrations", make, feed)
