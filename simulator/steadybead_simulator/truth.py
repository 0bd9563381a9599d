"""What was really so: faults, acts of people, welds and wear, one row each."""

from collections.abc import Iterable
from dataclasses import dataclass, fields
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq


@dataclass(frozen=True, slots=True)
class Truth:
    """One thing that was really so.

    `what`: fault, act, weld or state. `kind`: a kind of fault, or a word such as
    `filter_changed`, `heat_forgotten`, `weld`, `filter_drop`. `cause`: scenario, people or wear.
    Times in µs since 1970, true time; `end` None: still so, or a moment; `full` is when a fault
    reached its size. For a weld `told_start`, `told_stop` say when the shop was told, None never.
    `recorded`: whether somebody wrote it down.
    """

    what: str
    kind: str
    id: str
    station: str
    gun: str | None
    channel: str | None
    start: int
    end: int | None = None
    full: int | None = None
    size: float | None = None
    unit: str | None = None
    course: str | None = None
    cause: str = "scenario"
    recorded: bool | None = None
    told_start: int | None = None
    told_stop: int | None = None
    detail: str = ""


_MOMENT = pa.timestamp("us", tz="UTC")
_TEXT = pa.string()
SCHEMA = pa.schema(
    [
        ("what", _TEXT),
        ("kind", _TEXT),
        ("id", _TEXT),
        ("station", _TEXT),
        ("gun", _TEXT),
        ("channel", _TEXT),
        ("start", _MOMENT),
        ("end", _MOMENT),
        ("full", _MOMENT),
        ("size", pa.float64()),
        ("unit", _TEXT),
        ("course", _TEXT),
        ("cause", _TEXT),
        ("recorded", pa.bool_()),
        ("told_start", _MOMENT),
        ("told_stop", _MOMENT),
        ("detail", _TEXT),
    ]
)


class TruthFile:
    """A Parquet file that grows by row groups, so that memory stays flat."""

    ROWS = 2_000

    def __init__(self, path: Path) -> None:
        self._part = path.with_name(path.name + ".part")
        self._path = path
        self._writer = pq.ParquetWriter(self._part, SCHEMA)
        self._rows: list[Truth] = []

    def add(self, rows: Iterable[Truth]) -> None:
        """Keep rows."""
        self._rows.extend(rows)
        if len(self._rows) >= self.ROWS:
            self._flush()

    def _flush(self) -> None:
        columns = {f.name: [getattr(r, f.name) for r in self._rows] for f in fields(Truth)}
        self._writer.write_table(pa.table(columns, SCHEMA))
        self._rows = []

    def close(self) -> None:
        """Write the rest and give the file its name: nobody ever sees half of it."""
        if self._rows:
            self._flush()
        self._writer.close()
        self._part.replace(self._path)


def read_truth(path: Path) -> list[dict[str, object]]:
    """Read a truth file as rows by column name; times are datetimes in UTC."""
    rows: list[dict[str, object]] = pq.read_table(path).to_pylist()
    return rows
