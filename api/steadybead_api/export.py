"""CSV and Parquet as streams in bounded memory."""

import csv
import io
import re
from collections.abc import Iterable, Iterator
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, Protocol

from fastapi.responses import StreamingResponse

from steadybead_api.columns import Table, moment
from steadybead_api.negotiation import CSV, PARQUET

if TYPE_CHECKING:
    import pyarrow as pa

_FORMULA = (*"=+-@\t\r\n", *"＝＋－＠")  # the last four where full-width signs are in use


class Part(Protocol):
    """Some rows of a file, in columns."""

    def table(self) -> Table:
        """Give columns of plain values."""

    def arrow(self) -> "dict[str, pa.Array]":
        """Give the same columns as Arrow arrays."""


def download(
    media: str, names: list[str], parts: Iterable[Part], file_name: str
) -> StreamingResponse:
    """Answer with a file; what fails before the first part is an error, not half a file."""
    walk = iter(parts)
    whole = chain(list(islice(walk, 1)), walk)
    stream = csv_stream(names, whole) if media == CSV else parquet_stream(names, whole)
    suffix = "csv" if media == CSV else "parquet"
    safe = re.sub(r"[^A-Za-z0-9_-]+", "_", file_name)
    disposition = f'attachment; filename="{safe}.{suffix}"'
    kind = "text/csv; charset=utf-8; header=present" if media == CSV else PARQUET
    return StreamingResponse(stream, media_type=kind, headers={"Content-Disposition": disposition})


def csv_stream(names: list[str], parts: Iterable[Part]) -> Iterator[bytes]:
    """Write one header line and a line for each row (RFC 4180)."""
    sink = io.StringIO(newline="")
    writer = csv.writer(sink)
    writer.writerow([safe_cell(name) for name in names])
    for part in parts:
        table = part.table()
        columns = [[safe_cell(cell) for cell in table[name]] for name in names]
        writer.writerows(zip(*columns, strict=True))
        yield _drained(sink)
    if sink.tell():
        yield _drained(sink)


def safe_cell(cell: object) -> object:
    """Keep a text from being taken for a formula when a spreadsheet opens the file."""
    if isinstance(cell, str) and cell.startswith(_FORMULA):
        return f"'{cell}"
    return cell


def parquet_stream(names: list[str], parts: Iterable[Part]) -> Iterator[bytes]:
    """Write a Parquet file, one row group for each part."""
    import pyarrow as pa  # noqa: PLC0415  what only files need is loaded for a file
    import pyarrow.parquet as pq  # noqa: PLC0415

    types = {
        **dict.fromkeys(("time", "start", "end"), moment()),
        **dict.fromkeys(("value", "min", "mean", "max"), pa.float64()),
        "n": pa.int64(),
    }
    schema = pa.schema([pa.field(name, types.get(name, pa.string())) for name in names])
    sink = _Sink()
    with pq.ParquetWriter(pa.PythonFile(sink, mode="w"), schema, compression="zstd") as writer:
        for part in parts:
            writer.write_table(pa.table(part.arrow(), schema=schema))
            yield sink.taken()
    yield sink.taken()


def _drained(sink: io.StringIO) -> bytes:
    text = sink.getvalue()
    sink.seek(0)
    sink.truncate()
    return text.encode()


class _Sink:
    """A file that is only written to, and emptied between two parts."""

    closed = False

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def write(self, data: Any) -> int:
        """Take bytes."""
        self._parts.append(bytes(data))
        return len(self._parts[-1])

    def flush(self) -> None:
        """Do nothing: nothing is held back."""

    def close(self) -> None:
        """Do nothing: the stream ends by itself."""

    def taken(self) -> bytes:
        """Give what was written since the last call."""
        data = b"".join(self._parts)
        self._parts.clear()
        return data
