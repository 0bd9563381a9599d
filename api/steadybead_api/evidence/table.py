"""The raw readings of an evidence file as CSV, bit for bit, grouped by the store's chunks."""

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns

NAMES: Final = (
    "channel",
    "window_start_us",
    "part",
    "time_us",
    "value",
    "raw",
    "quality",
    "reason",
    "plant",
)
UNSEALED: Final = -1
_TYPES: Final = (
    pa.string(),
    pa.int64(),
    pa.int32(),
    pa.int64(),
    pa.float64(),
    pa.float64(),
    pa.uint8(),
    pa.uint8(),
    pa.uint32(),
)
_SCHEMA: Final = pa.schema(list(zip(NAMES, _TYPES, strict=True)))


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """The readings of one chunk, or those of a window that is not sealed (part -1)."""

    channel: ChannelId
    start: int
    part: int
    rows: Columns


def write_groups(groups: Sequence[Group]) -> bytes:
    """Write groups one after another under one header line."""
    sink = io.BytesIO()
    sink.write(",".join(NAMES).encode() + b"\n")
    options = pacsv.WriteOptions(include_header=False, quoting_style="none")
    with pacsv.CSVWriter(sink, _SCHEMA, write_options=options) as writer:
        for group in groups:
            writer.write_table(_arrow(group))
    return sink.getvalue()


def read_groups(data: bytes) -> Iterator[Group]:
    """Read what `write_groups` wrote; raise ValueError for anything else."""
    options = pacsv.ConvertOptions(column_types=_SCHEMA, strings_can_be_null=False)
    table = pacsv.read_csv(io.BytesIO(data), convert_options=options).combine_chunks()
    if table.column_names != list(NAMES):
        raise ValueError("the columns are not those of raw readings")
    columns = [table.column(i).to_numpy() for i in range(1, len(NAMES))]
    names = table.column(0).to_pylist()
    for first, last in _stretches(names, columns[0], columns[1]):
        cut = [c[first:last] for c in columns]
        rows = Columns(*(np.ascontiguousarray(c) for c in cut[2:]))
        yield Group(ChannelId.parse(names[first]), int(cut[0][0]), int(cut[1][0]), rows)


def _stretches(
    names: Sequence[str], starts: Sequence[int], parts: Sequence[int]
) -> Iterable[tuple[int, int]]:
    first = 0
    for i in range(1, len(names) + 1):
        if i == len(names) or (
            names[i] != names[first] or starts[i] != starts[first] or parts[i] != parts[first]
        ):
            yield first, i
            first = i


def _arrow(group: Group) -> pa.Table:
    rows, n = group.rows, len(group.rows)
    return pa.table(
        [
            pa.array([str(group.channel)] * n, pa.string()),
            pa.array(np.full(n, group.start, np.int64)),
            pa.array(np.full(n, group.part, np.int32)),
            pa.array(rows.time),
            pa.array(rows.value),
            pa.array(rows.raw),
            pa.array(rows.quality),
            pa.array(rows.reason),
            pa.array(rows.plant),
        ],
        schema=_SCHEMA,
    )
