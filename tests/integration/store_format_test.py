"""A stranger with the described format, Python's own SQLite and pcodec reads all that is there."""

import hashlib
import re
import sqlite3
import struct
from collections.abc import Callable
from contextlib import closing
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import steadybead_collector.stores
from steadybead_collector.stores import SqliteReadings
from steadybead_collector.stores.database import FILE_NAME
from steadybead_domain.readings import Batch, Columns
from steadybead_domain.times import DAY
from store_samples import NOZZLE, START, WINDOW, settle, steady

FORMAT = Path(steadybead_collector.stores.__file__).with_name("FORMAT.md")
SHAPES: dict[str, Callable[[Columns], Columns]] = {
    "decimals": lambda rows: rows,
    "value is raw": lambda rows: with_raw(rows, rows.value),
    "value follows from raw": lambda rows: with_raw(rows, np.round(rows.value, 1), np.sqrt),
    "no pattern": lambda rows: with_raw(rows, np.random.default_rng(1).normal(0, 1, len(rows))),
}


def with_raw(rows: Columns, raw: Any, convert: Callable[[Any], Any] | None = None) -> Columns:
    value = rows.value if convert is None else convert(raw)
    quality = rows.quality.copy()
    quality[::7] = 2
    return Columns(rows.time, value, raw, quality, rows.reason, rows.plant)


def described_reader() -> Callable[[bytes], dict[str, Any]]:
    """Take the reader out of the description and run it as it stands there."""
    (code,) = (
        block
        for block in re.findall(r"```python\n(.*?)```", FORMAT.read_text("utf-8"), re.DOTALL)
        if "def chunk" in block
    )
    found: dict[str, Any] = {}
    exec(code.split("\nfile = ")[0], found)  # noqa: S102 — the description's own example
    reader: Callable[[bytes], dict[str, Any]] = found["chunk"]
    return reader


@pytest.mark.parametrize("shape", SHAPES)
def test_the_described_reader_reads_every_chunk(tmp_path: Path, shape: str) -> None:
    rows = SHAPES[shape](steady(9_000))
    store = SqliteReadings(tmp_path)
    store.append(Batch(START, {NOZZLE: rows}))
    store.seal(START + DAY)
    settle(store)
    store.close()
    chunk = described_reader()
    with closing(sqlite3.connect(f"file:{tmp_path / FILE_NAME}?mode=ro", uri=True)) as file:
        found = file.execute(
            "SELECT window, part, leaf, count, n, low, high, total, worst, data FROM window"
            " JOIN chunk ON chunk.id = window.chunk ORDER BY window"
        ).fetchall()
    at = 0
    for window, part, leaf, count, n, low, high, total, worst, data in found:
        got = chunk(data)
        expected = rows.take(slice(at, at + count))
        at += count
        for field, column in got.items():
            np.testing.assert_array_equal(column, getattr(expected, field))
        assert leaf == described_leaf(window, part, got)
        good = got["value"][got["quality"] != 2].tolist()
        assert (n, low, high, worst) == (
            len(good),
            min(good),
            max(good),
            int(got["quality"].max()),
        )
        power = int.from_bytes(total[:2], "little", signed=True)
        whole = int.from_bytes(total[2:], "little", signed=True)
        assert Fraction(whole) * Fraction(2) ** power == sum(map(Fraction, good), Fraction())
    assert at == len(rows)


def described_leaf(window: int, part: int, columns: dict[str, Any]) -> bytes:
    name = str(NOZZLE).encode()
    text = b"steadybead readings 1\n" + struct.pack("<H", len(name)) + name
    text += struct.pack("<qIQ", window * WINDOW, part, len(columns["time"]))
    for field, dtype in (
        ("time", "<i8"),
        ("value", "<f8"),
        ("raw", "<f8"),
        ("quality", "u1"),
        ("reason", "u1"),
        ("plant", "<u4"),
    ):
        text += columns[field].astype(dtype).tobytes()
    return hashlib.sha256(b"\x00" + text).digest()


def test_the_described_tables_are_the_tables(tmp_path: Path) -> None:
    SqliteReadings(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as file:
        tables = {row[0] for row in file.execute("SELECT name FROM sqlite_master WHERE sql <> ''")}
        assert file.execute("PRAGMA application_id").fetchone() == (0x53746264,)
        (version,) = file.execute("PRAGMA user_version").fetchone()
    text = FORMAT.read_text("utf-8")
    described = set(re.findall(r"^\| `(\w+)` \|", text, re.MULTILINE))
    assert tables - {"sqlite_stat1"} == described
    assert f"Form {version} (`PRAGMA user_version`)" in text
